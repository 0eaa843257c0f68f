"""Ground against design."""
