"""Points from text files."""
