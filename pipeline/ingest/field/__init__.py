"""Sightings, level books and satellite positions."""
