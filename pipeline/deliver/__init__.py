"""Files out, all or nothing."""
