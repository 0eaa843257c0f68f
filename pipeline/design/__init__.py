"""The design: station, offset, layers."""
