"""The pages that a grade person carries."""
