"""Buried and standing things."""
