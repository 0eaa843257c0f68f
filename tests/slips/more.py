"""More slips: of the copying, of the design, at an intersection and in feet."""

from __future__ import annotations

from collections.abc import Callable

from tests.slips.slip import Slip
from tests.slips.street import DAY, HUBS, MORNING, Street, higher

FOOT_M = 0.3048
PROFILE, LINE, SECTIONS = "design/profile.csv", "design/alignment.csv", "design/sections.toml"
CORNER = "intersection"


def edited(name: str, *changes: tuple[str, str]) -> Callable[[Street], None]:
    return lambda street: street.edit(name, *changes)


def too_deep(street: Street) -> None:
    """The second half of the morning was copied with the folder that it had on the card."""
    lines = street.text(MORNING).splitlines()
    street.write(MORNING, "\n".join([*lines[:400], ""]))
    street.write(f"shots/{DAY}/card/morning-2.csv", "\n".join([lines[0], *lines[400:], ""]))


def first_half(street: Street) -> None:
    street.write(MORNING, "\n".join([*street.text(MORNING).splitlines()[:400], ""]))


def hub_mistyped(street: Street) -> None:
    """103.149 typed as 103.419, and no earlier morning to tell."""
    street.edit(HUBS, (";103,149;", ";103,419;"))


def rod_in_feet(street: Street) -> None:
    """A rod of 1.800 m entered as 5.906."""
    street.shots(higher("S2", 1.8 - 1.8 / FOOT_M))


def in_feet(street: Street) -> None:
    """The morning and its marks in feet."""
    stated = 'files = "morning*.csv"\nunit = "m"'
    street.edit("job.toml", (stated, stated.replace('"m"', '"ft"')))
    street.edit("job.toml", ("[rounding]", '[rounding]\nmarks_unit = "ft"'))


def foot_of_rod(street: Street) -> None:
    """A rod drawn out by a foot more than was entered."""
    in_feet(street)
    by = higher("S2", 1.0)
    street.shots(lambda e, n, z, row: by(e / FOOT_M, n / FOOT_M, z / FOOT_M, row))


MORE: tuple[Slip, ...] = (
    Slip("shots a folder too deep on the card", "told", "not read", too_deep),
    Slip("half of the morning's file copied", "told", "gap in the shots", first_half),
    Slip("a hub's height with two digits exchanged", "told", "hub disturbed", hub_mistyped),
    Slip(
        "names of two control points exchanged in the list",
        "held",
        "control check",
        edited("control.csv", ("K1,", "KX,"), ("K2,", "K1,"), ("KX,", "K2,")),
    ),
    Slip("rod height in feet in a job in metres", "held", "control check", rod_in_feet),
    Slip(
        "a radius of the line mistyped, 220 for 200 m",
        "told",
        "code away from its break",
        edited(LINE, ("200.000", "220.000")),
    ),
    Slip(
        "two digits of the line's azimuth exchanged",
        "told",
        "code away from its break",
        edited(LINE, ("62.5000", "65.2000")),
    ),
    Slip(
        "a vertical curve ten times too short",
        "told",
        "suspected bust",
        edited(PROFILE, ("30.000,50.000", "3.000,5.000")),
    ),
    Slip(
        "whole lengths of vertical curves typed for halves",
        "told",
        "vertical curves overlap",
        edited(PROFILE, ("30.000,50.000", "60.000,100.000"), ("40.000,40.000", "80.000,80.000")),
    ),
    Slip(
        "thickness of a layer in millimetres",
        "held",
        "most of the ground not used",
        edited(SECTIONS, ("drop_m = 0.335", "drop_m = 335")),
    ),
    Slip(
        "station of a section mistyped, 27 for 270",
        "told",
        "hub disturbed",
        edited(SECTIONS, ("to = 270.0", "to = 27.0")),
    ),
    Slip(
        "manholes coded as ground",
        "told",
        "on the list, not shot",
        edited(MORNING, (",MH,", ",GR,")),
    ),
    Slip(
        "intersection: profile of the side street of another datum",
        "refused",
        "its edge misses the street by",
        edited(
            "design/tarrow_profile.csv", ("49.220000000", "49.520000000"),
            ("48.100000000", "48.400000000"),
        ),
        kind=CORNER,
    ),
    Slip(
        "intersection: side street drawn the other way",
        "refused",
        "no arc of 9.0 m touches",
        edited("design/tarrow_alignment.csv", (",90.0,0.0", ",270.0,0.0")),
        kind=CORNER,
    ),
    Slip(
        "intersection: radius of a curb return mistyped, 19 for 9 m",
        "told",
        "code away from its break",
        edited("job.toml", ("radius_m = 9.0", "radius_m = 19.0")),
        kind=CORNER,
    ),
    Slip(
        "intersection: profile of the main street from its other end",
        "held",
        "most of the ground not used",
        edited(
            "design/wenlow_profile.csv", ("0.000000000,50.000000000", "0.000000000,48.440000001"),
            ("130.000000000,48.440000000", "130.000000000,50.000000000"),
        ),
        kind=CORNER,
    ),
    Slip(
        "job in feet: file in metres read as feet",
        "refused",
        "in metres and read as feet",
        in_feet,
    ),
    Slip("job in feet: rod a foot longer than entered", "held", "control check", foot_of_rod),
)  # fmt: skip
