"""Where the dirt goes."""
