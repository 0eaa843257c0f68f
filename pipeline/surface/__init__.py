"""The ground as a triangulated surface."""
