"""From the morning's shots to the numbers on the lath."""

__version__ = "0.1.0"
