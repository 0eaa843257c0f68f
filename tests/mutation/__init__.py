"""How many small faults in the computations the tests notice: `python -m tests.mutation`."""
