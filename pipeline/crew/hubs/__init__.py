"""Points to set, and hubs as shot."""
