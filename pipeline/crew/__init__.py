"""Rows that a person acts on."""
