"""How fast, against what a competent person would script with general libraries.

``python -m benchmarks`` measures and prints; ``--write`` puts it into RESULTS.md.
"""
