"""Streets that several tests reckon by hand, read from the job's own tables."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.design import alignment, profile, section
from pipeline.ingest.job.design import read_alignment, read_profile
from pipeline.ingest.job.sections import read_sections
from pipeline.model import Corridor
from pipeline.settings import LayerRule

_COLUMNS = "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station\n"


def street(
    folder: Path, elements: str, heights: str, sections: str, layers: Sequence[str]
) -> Corridor:
    """A street of ``alignment.csv`` and ``profile.csv`` without headings, and ``sections.toml``."""
    tables = {
        "alignment.csv": _COLUMNS + elements,
        "profile.csv": f"station,elevation_m,curve_in_m,curve_out_m\n{heights}",
        "sections.toml": sections,
    }
    for name, text in tables.items():
        (folder / name).write_text(text, encoding="utf-8")
    line, _ = alignment.build(read_alignment(folder / "alignment.csv"))
    grade, _ = profile.build(read_profile(folder / "profile.csv"))
    rules = [LayerRule(name=name) for name in layers]
    return Corridor(
        "street", line, grade, section.layers(read_sections(folder / "sections.toml"), rules)
    )


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
