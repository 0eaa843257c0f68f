"""What a file holds, in its own units: the reading behind ``lath read``."""
