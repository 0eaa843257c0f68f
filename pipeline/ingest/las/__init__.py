"""Laser scans in LAS and LAZ."""
