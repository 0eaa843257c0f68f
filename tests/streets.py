"""The curbed street that several tests reckon by hand."""

from __future__ import annotations


def curbed_sections(length_m: float) -> str:
    """Both sides alike: lip 3.70, flowline 4.00, curb 4.25 and 150 mm high, clay to 4.85."""
    return f"""\
[[section]]
name = "both sides"
from = 0.0
to = {length_m}

[section.layers.finish]
right = [
    {{ to = "lip", width_m = 3.70, fall_pct = 2.0 }},
    {{ to = "flowline", width_m = 0.30, fall_pct = 6.0 }},
    {{ to = "top back of curb", width_m = 0.25, step_m = 0.150 }},
]
left = "mirror"

[section.layers."clay subgrade"]
drop_m = 0.40
right = [{{ to = "edge of clay", width_m = 4.85, fall_pct = 2.5 }}]
left = "mirror"
"""
