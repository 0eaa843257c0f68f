"""How much of the computations each room's own tests run: `python -m tests.covered`."""
