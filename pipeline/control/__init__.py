"""Observations and positions onto the job grid."""
