"""The cut and fill map of a day, as a drawing."""
