"""Boning rods: sights over dots, and what they read."""
