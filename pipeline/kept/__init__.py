"""Results of an earlier run, taken again only where everything they came from is the same."""
