"""Files in: one reader a format."""
