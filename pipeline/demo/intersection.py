"""An invented intersection with a cul-de-sac: its job and design files, by mathematics alone.

Wenlow Street goes through, north at 1.2 % down. Tarrow Court leaves it to the east at
station 65, falls 2 % and ends in a bulb whose edge falls 1 % to a basin at its back.
Curb returns of 9 m to the lip. Nothing here is a real place.
"""

from __future__ import annotations

import math
from pathlib import Path

from pipeline.demo.codes import CODES

LIP_M, FALL = 4.0, 0.02
"""The lip of the gutter from a street's line [m], and the fall of the lane to it [m/m]."""
MAIN_START_Z, MAIN_GRADE = 50.0, -0.012
"""Crown of the through street at its start [m], and its grade from there [m/m]."""
MEETING = 65.0
"""Station of the through street at which the side street leaves it."""
SIDE_GRADE = -0.02
CENTRE, BULB_M = 56.0, 11.0
"""The bulb: its middle, a station of the side street, and the radius of its lip [m]."""
THROAT_M = 6.5
"""Radius of the throat's curves; with 11 m the throat lies 14 m before the centre, exactly."""
EDGE_GRADE = -0.010
"""Of the bulb's lip, from either side of the throat to its back."""
WEST, SOUTH = 1000.0, 2000.0
"""Easting and northing at which the through street begins [m]."""
GRAVEL, CLAY = (0.120, 4.65), (0.335, 4.95)
"""Each layer's crown below the finished crown, and its edge from a street's line [m]."""
LAYER_FALL = 0.025

JOB = """\
# An invented intersection: no such streets, no such levels. Not for construction.
name = "Wenlow Street at Tarrow Court (invented)"
control = ""
utilities = "utilities.csv"

[design]
name = "Wenlow Street"
alignment = "design/wenlow_alignment.csv"
profile = "design/wenlow_profile.csv"
sections = "design/wenlow_sections.toml"

[[design.streets]]
name = "Tarrow Court"
alignment = "design/tarrow_alignment.csv"
profile = "design/tarrow_profile.csv"
sections = "design/tarrow_sections.toml"

[[design.streets.warps]]
end = "start"
onto = "main"
at = "lip"
length_m = 15.0

[[design.returns]]
name = "south return"
from_side = "right"
to_street = "Tarrow Court"
to_side = "right"
radius_m = 9.0

[[design.returns]]
name = "north return"
from_side = "right"
to_street = "Tarrow Court"
to_side = "left"
radius_m = 9.0

[[design.edges]]
name = "bulb"
kind = "bulb"
street = "Tarrow Court"
alignment = "design/bulb_alignment.csv"
profile = "design/bulb_profile.csv"
sections = "design/bulb_sections.toml"
throat = 42.0
centre = 56.0

[[layers]]
name = "finish"

[[layers]]
name = "gravel top"
least_m = 0.10

[[layers]]
name = "clay subgrade"
least_m = 0.15

[stakes]
reference = "top back of curb"

[target]
layer = "clay subgrade"
"""

MORNING_JOB = (
    """\

# EC, BB and TB carry a line number in the field, CL too.
[codes.CL]
what = "clay on the centreline"
line = true
break_name = "crown"
max_step_m = 12.0

[codes.EC]
what = "edge of clay"
line = true
break_name = "edge of clay"
max_step_m = 12.0

[codes.BB]
what = "bottom of the backing bank"
line = true
max_step_m = 12.0

[codes.TB]
what = "top of the backing bank"
line = true
max_step_m = 12.0

"""
    + CODES
    + """\
[surface]
max_edge_m = 12.0
"""
)
"""What the job states besides for its morning."""

CURB = """\
  { to = "flowline", width_m = 0.300, step_m = -0.018 },
  { to = "top of face", width_m = 0.050, step_m = 0.140 },
  { to = "top back of curb", width_m = 0.150, step_m = 0.010 },
"""


def section_text(name: str, end: float) -> str:
    """A street's section, the same on both sides from its start to `end`."""
    layers = [
        ("gravel top", GRAVEL[0], "edge of gravel", GRAVEL[1]),
        ("clay subgrade", CLAY[0], "edge of clay", CLAY[1]),
    ]
    text = (
        f'# {name}: invented.\n[[section]]\nname = "{name}"\nfrom = 0.0\nto = {end}\n\n'
        f'[section.layers.finish]\nright = [\n  {{ to = "lip", width_m = {LIP_M},'
        f' fall_pct = {100 * FALL} }},\n{CURB}]\nleft = "mirror"\n'
    )
    for layer, drop, edge, width in layers:
        text += (
            f'\n[section.layers."{layer}"]\ndrop_m = {drop}\nright = [{{ to = "{edge}", width_m ='
            f' {width}, fall_pct = {100 * LAYER_FALL} }}]\nleft = "mirror"\n'
        )
    return text


def bulb_section_text(length: float) -> str:
    """What lies outside the bulb's lip, on the left of its edge; every drop is below the lip."""
    lip = -FALL * LIP_M
    text = (
        '# Bulb: the crown of this section is the lip.\n[[section]]\nname = "bulb"\nfrom = 0.0\n'
        f"to = {length:.9f}\n\n[section.layers.finish]\nright = []\nleft = [\n{CURB}]\n"
    )
    for layer, (drop, width), edge in (
        ("gravel top", GRAVEL, "edge of gravel"), ("clay subgrade", CLAY, "edge of clay"),
    ):  # fmt: skip
        below = lip + drop + LAYER_FALL * LIP_M
        text += (
            f'\n[section.layers."{layer}"]\ndrop_m = {below:.6f}\nright = []\nleft = [{{ to ='
            f' "{edge}", width_m = {width - LIP_M:.3f}, fall_pct = {100 * LAYER_FALL} }}]\n'
        )
    return text


def bulb_turn() -> float:
    """Angle that each curve of the throat turns: its cosine is (4 + 6.5) / (11 + 6.5)."""
    return math.acos((LIP_M + THROAT_M) / (BULB_M + THROAT_M))


def bulb_length() -> float:
    """Length of the bulb's edge from one side of the throat to the other."""
    return 2.0 * THROAT_M * bulb_turn() + BULB_M * (math.pi + 2.0 * bulb_turn())


def side_height(station: float) -> float:
    """Crown of the side street: it leaves the through street's crown."""
    return MAIN_START_Z + MAIN_GRADE * MEETING + SIDE_GRADE * station


def alignment_text(rows: list[str]) -> str:
    """An alignment table."""
    header = "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station"
    return "\n".join([header, *rows]) + "\n"


def profile_text(points: list[tuple[float, float, float]]) -> str:
    """A profile table of (station, elevation, half of the curve)."""
    rows = [f"{s:.9f},{z:.9f},{half},{half}" for s, z, half in points]
    return "\n".join(["station,elevation_m,curve_in_m,curve_out_m", *rows]) + "\n"


def files() -> dict[str, str]:
    """Every file of the job folder with its morning, by its path inside it; the job file last."""
    from pipeline.demo import intersection_morning

    written = {**design_files(), **intersection_morning.files()}
    del written["job.toml"]
    job = JOB.replace('control = ""', 'control = "control.csv"')
    return {**written, "job.toml": job + MORNING_JOB}


def design_files() -> dict[str, str]:
    """The files of a job that has its design and records, and nothing shot yet."""
    turn, length = bulb_turn(), bulb_length()
    throat = CENTRE - math.sqrt((BULB_M + THROAT_M) ** 2 - (LIP_M + THROAT_M) ** 2)
    north = SOUTH + MEETING
    lip = side_height(throat) - FALL * LIP_M
    main_end = 130.0
    small, large = THROAT_M * turn, BULB_M * (math.pi + 2.0 * turn)
    return {
        "job.toml": JOB,
        "utilities.csv": (
            "# Records, not a locate: request the locate, expose by hand.\n"
            "id,kind,northing_m,easting_m,lid_elevation_m,depth_to_top_m,note\n"
            f"CB1,catch basin,{north:.3f},{WEST + CENTRE + BULB_M + 0.3:.3f},,,at the bulb's back\n"
        ),
        "design/wenlow_alignment.csv": alignment_text(
            [f"start,,,,,{WEST},{SOUTH},0.0,0.0", f"line,{main_end},,,,,,,"]
        ),
        "design/wenlow_profile.csv": profile_text(
            [(0.0, MAIN_START_Z, 0.0), (main_end, MAIN_START_Z + MAIN_GRADE * main_end, 0.0)]
        ),
        "design/wenlow_sections.toml": section_text("Wenlow Street", main_end),
        "design/tarrow_alignment.csv": alignment_text(
            [f"start,,,,,{WEST},{north},90.0,0.0", f"line,{CENTRE},,,,,,,"]
        ),
        "design/tarrow_profile.csv": profile_text(
            [(0.0, side_height(0.0), 0.0), (CENTRE, side_height(CENTRE), 0.0)]
        ),
        "design/tarrow_sections.toml": section_text("Tarrow Court", throat),
        "design/bulb_alignment.csv": alignment_text([
            f"start,,,,,{WEST + throat},{north + LIP_M},90.0,0.0",
            f"arc,{small:.12f},{THROAT_M},,left,,,,",
            f"arc,{large:.12f},{BULB_M},,right,,,,",
            f"arc,{small:.12f},{THROAT_M},,left,,,,",
        ]),
        "design/bulb_profile.csv": profile_text([
            (0.0, lip, 0.0), (0.5 * length, lip + EDGE_GRADE * 0.5 * length, 2.0),
            (length, lip, 0.0),
        ]),
        "design/bulb_sections.toml": bulb_section_text(length),
    }  # fmt: skip


def lay_down(folder: Path) -> None:
    """Write the job without a morning into `folder`, over what stands there."""
    for name, text in design_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
