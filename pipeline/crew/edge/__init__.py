"""The edge of the clay, the bank behind it and the curb machine's room."""
