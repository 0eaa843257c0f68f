"""How high to leave the clay before it is stabilised."""
