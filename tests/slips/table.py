"""Slips that crews make: how each is planted, and what has to come of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline import run
from pipeline.design.alignment import point_at
from pipeline.design.corridor import break_line
from pipeline.ingest.job.inputs import read_inputs
from tests.slips.more import MORE
from tests.slips.slip import NO, Slip
from tests.slips.street import DAY, HUBS, MORNING, Street, higher, longer, turned

FOOT_M = 0.3048
SURVEY_FOOT_M = 1200 / 3937
END = ("5637.646", "3119.285", "266.8507")
"""Easting, northing [m] and azimuth [deg] of the demo's line at its end, looking back."""


def add_day_before(street: Street) -> None:
    street.write("shots/2026-05-13/hubs.csv", street.text(HUBS))


def yesterday(street: Street) -> None:
    street.write("shots/2026-05-13/morning.csv", street.text(MORNING))
    street.write("shots/2026-05-13/hubs.csv", street.text(HUBS))


def hub_kicked(street: Street) -> None:
    add_day_before(street)
    street.hubs(lambda e, n, z, row: (e, n, z - 0.040 * (row["point"] == "H07")))


def reversed_line(street: Street) -> None:
    # the end of the demo's line, and the azimuth back, as the other end's drafter would write it
    street.write(
        "design/alignment.csv",
        "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station\n"
        f"start,,,,,{END[0]},{END[1]},{END[2]},0.000\nline,50.000,,,,,,,\n"
        "arc,90.000,200.000,,right,,,,\nline,60.000,,,,,,,\n"
        "clothoid,30.000,inf,120.000,left,,,,\narc,75.000,120.000,,left,,,,\n"
        "clothoid,30.000,120.000,inf,left,,,,\nline,85.000,,,,,,,\n",
    )


def sections_mirrored(street: Street) -> None:
    text = street.text("design/sections.toml")
    first, second = text.split("[[section]]")[1:]
    second = second.replace("right = [", "LEFT = [").replace("left = [", "right = [")
    head = text.split("[[section]]")[0]
    street.write(
        "design/sections.toml",
        "[[section]]".join((head, first, second.replace("LEFT = [", "left = ["))),
    )


def line_mirrored(street: Street) -> None:
    street.edit("design/alignment.csv", (",right,", ",RIGHT,"), (",left,", ",right,"))
    street.edit("design/alignment.csv", (",RIGHT,", ",left,"))


def hubs_all_high(street: Street) -> None:
    add_day_before(street)
    street.hubs(lambda e, n, z, row: (e, n, z + 0.15))


def hub_names_exchanged(street: Street) -> None:
    add_day_before(street)
    street.edit(HUBS, ("H07;", "HXX;"), ("H08;", "H07;"), ("HXX;", "H08;"))


def curb_for_lip(street: Street) -> None:
    """Curb shot after the slipform, on its top, under the code of the lip."""
    code = (
        '[codes.FLP]\nwhat = "lip of the poured gutter"\nground = false\n'
        'kind = "object"\nbreak_name = "lip"\n\n[surface]\n'
    )
    street.edit("job.toml", ("[surface]\n", code))
    corridor, _ = run.build_corridor(read_inputs(street.folder, None))
    station = np.arange(20.0, 220.0, 10.0)
    offset, lip = break_line(corridor, "finish", "lip", 1, station)
    east, north, _ = point_at(corridor.alignment, station, offset)
    said, rows = street.table(MORNING)
    poured = [
        {
            **rows[-1], "id": str(9000 + k), "code": "FLP", "easting": f"{east[k]:.3f}",
            "northing": f"{north[k]:.3f}", "elevation": f"{lip[k] + 0.086 + 0.002 * (k % 3):.3f}",
        }
        for k in range(len(station))
    ]  # fmt: skip
    street.put(MORNING, said, rows + poured)


def day_mistyped(street: Street) -> None:
    (street.folder / "shots" / DAY).rename(street.folder / "shots" / "2026-5-14")


def no_control(street: Street) -> None:
    street.sub(MORNING, r"^\d+,[^\n]*,CP,[^\n]*\n", "")


def height_of_instrument(street: Street) -> None:
    """1.53 read for 1.35, and no control shot from that set-up."""
    street.shots(higher("S2", 0.18))
    street.sub(MORNING, r"^\d+,[^\n]*,CP,K\d,S2,[^\n]*\n", "")


def survey_feet(street: Street) -> None:
    """The file is in US survey feet, the job says feet."""
    said = 'files = "morning*.csv"\nunit = "m"'
    street.edit("job.toml", (said, said.replace('"m"', '"ft"')))
    street.shots(scaled(1 / SURVEY_FOOT_M, 1 / SURVEY_FOOT_M))


def scaled(factor: float, up: float) -> Callable[..., tuple[float, float, float]]:
    return lambda e, n, z, row: (e * factor, n * factor, z * up)


def raised(metres: float) -> Callable[..., tuple[float, float, float]]:
    return lambda e, n, z, row: (e, n, z + metres)


def bumped(e: float, n: float, z: float, row: dict[str, str]) -> tuple[float, float, float]:
    """The instrument sinks 30 mm in the middle of a set-up."""
    return e, n, z - 0.030 * (row["setup"] == "S3" and int(row["id"]) > 1600)


def profile_heights(by: Callable[[float], float]) -> Callable[[Street], None]:
    return lambda street: street.sub(
        "design/profile.csv", r",(10\d\.\d+),", lambda found: f",{by(float(found[1])):.3f},"
    )


def edited(name: str, *changes: tuple[str, str]) -> Callable[[Street], None]:
    return lambda street: street.edit(name, *changes)


def shot(by: Callable[..., tuple[float, float, float]]) -> Callable[[Street], None]:
    return lambda street: street.shots(by)


def small_letters(street: Street) -> None:
    street.sub(MORNING, r",(GR|CL|LIP|EC\d|TB\d|BB\d),", lambda found: found[0].lower())


SLIPS: tuple[Slip, ...] = (
    Slip(
        "rod height 0.20 m wrong for a whole set-up",
        "held",
        "control check",
        shot(higher("S2", 0.20)),
    ),
    Slip(
        "rod height 0.15 m wrong for a run of shots (in the demo itself)", "told", "suspected bust"
    ),
    Slip(
        "instrument height misread, 1.53 for 1.35, and no control shot",
        "told",
        "suspected bust",
        height_of_instrument,
    ),
    Slip("no control shot at all", "told", "control not checked", no_control),
    Slip(
        "backsight read to the wrong mark: 5 minutes of arc",
        "held",
        "control check",
        shot(turned("S3", 5 / 60)),
    ),
    Slip("backsight to the wrong control point", "held", "control check", shot(turned("S2", 14.0))),
    Slip(
        "control point named wrongly in the field",
        "held",
        "control check",
        edited(MORNING, (",CP,K1,", ",CP,K2,")),
    ),
    Slip(
        "control point's height mistyped in the list",
        "held",
        "control check",
        edited("control.csv", ("103.151", "103.511")),
    ),
    Slip("instrument sinks 30 mm in the middle of a set-up", "held", "control check", shot(bumped)),
    Slip("prism constant forgotten, 34 mm", "held", "control check", shot(longer("S2", 0.034))),
    Slip(
        "ground distances for grid distances, 400 ppm",
        "held",
        "control check",
        shot(scaled(0.9996, 1.0)),
    ),
    Slip(
        "northing and easting exchanged in the shots",
        "refused",
        "exchanged",
        edited(MORNING, ("northing,easting", "easting,northing")),
    ),
    Slip(
        "northing and easting exchanged in the control",
        "refused",
        "exchanged",
        edited("control.csv", ("northing_m,easting_m", "easting_m,northing_m")),
    ),
    Slip(
        "northing and easting exchanged in the records of buried things",
        "refused",
        "exchanged",
        edited("utilities.csv", ("northing_m,easting_m", "easting_m,northing_m")),
    ),
    Slip(
        "sign of the easting lost",
        "refused",
        "none of its 766 shots is on this job",
        shot(lambda e, n, z, row: (-e, n, z)),
    ),
    Slip(
        "wrong zone or false origin",
        "refused",
        "another origin",
        shot(lambda e, n, z, row: (e + 500_000.0, n, z)),
    ),
    Slip(
        "feet read as metres",
        "refused",
        "in feet and read as metres",
        shot(scaled(1 / FOOT_M, 1 / FOOT_M)),
    ),
    Slip("only the heights in feet", "held", "unit of heights", shot(scaled(1.0, 1 / FOOT_M))),
    Slip(
        "hubs' heights in feet",
        "held",
        "hubs off the design",
        lambda street: street.hubs(scaled(1.0, 1 / FOOT_M)),
    ),
    Slip("profile in feet", "held", "unit of heights", profile_heights(lambda z: z / FOOT_M)),
    Slip("US survey feet read as international feet", "told", "control check", survey_feet),
    Slip(
        "decimal comma not stated",
        "refused",
        "State decimal",
        edited("job.toml", ('decimal = ","', 'decimal = "."')),
    ),
    Slip("geoid forgotten: ellipsoid heights", "held", "another origin", shot(raised(18.4))),
    Slip("geoid of another model, 0.12 m", "held", "control check", shot(raised(0.12))),
    Slip("yesterday's file in today's folder", "refused", "in yesterday's files", yesterday),
    Slip(
        "day of the shots' clock is another",
        "held",
        "another day",
        edited(MORNING, (f"{DAY}T", "2026-05-12T")),
    ),
    Slip("folder of the day mistyped", "refused", "looks like a day and is none", day_mistyped),
    Slip(
        "one file twice, under two names",
        "held",
        "most of the ground not used",
        lambda street: street.write(f"shots/{DAY}/morning-2.csv", street.text(MORNING)),
    ),
    Slip(
        "another street's design",
        "refused",
        "none of its 86 shots is on this job",
        edited("design/alignment.csv", ("5240.000,3110.000,", "5300.000,2990.000,")),
    ),
    Slip("reversed alignment", "held", "most of the ground not used", reversed_line),
    Slip("line turned left for right", "held", "most of the ground not used", line_mirrored),
    Slip(
        "offset side mirrored: sections left for right", "told", "hub disturbed", sections_mirrored
    ),
    Slip(
        "station equation missed: profile 20 m along",
        "held",
        "design shifted along",
        edited("design/profile.csv", ("120.000,", "140.000,"), ("290.000,", "310.000,")),
    ),
    Slip(
        "wrong start station of the line",
        "held",
        "design shifted along",
        edited("design/alignment.csv", ("62.5000,0.000", "62.5000,20.000")),
    ),
    Slip(
        "profile of another datum, 0.30 m",
        "told",
        "ground off throughout",
        profile_heights(lambda z: z + 0.30),
    ),
    Slip(
        "one height of the profile mistyped by 1 m",
        "told",
        "suspected bust",
        edited("design/profile.csv", ("120.000,103.800", "120.000,104.800")),
    ),
    Slip(
        "wrong layer: top of gravel for clay",
        "told",
        "ground off throughout",
        edited("job.toml", ('layer = "clay subgrade"', 'layer = "gravel top"')),
    ),
    Slip(
        "thickness of a layer mistyped by 0.10 m",
        "told",
        "ground off throughout",
        edited("design/sections.toml", ("drop_m = 0.335", "drop_m = 0.235")),
    ),
    Slip(
        "crossfall with the wrong sign",
        "held",
        "design tilted",
        lambda street: street.sub(
            "design/sections.toml", r"(edge of clay.*fall_pct = )", r"\g<1>-"
        ),
    ),
    Slip("top of curb taken for lip", "told", "suspected reference", curb_for_lip),
    Slip(
        "hubs shot 0.150 m high: top of curb for flow line", "told", "hub disturbed", hubs_all_high
    ),
    Slip("a hub kicked since yesterday", "told", "hub disturbed", hub_kicked),
    Slip("names of two hubs exchanged", "told", "hub disturbed", hub_names_exchanged),
    Slip(
        "crown not shot",
        "told",
        "break not shot",
        lambda street: street.sub(MORNING, r"^\d+,[^\n]*,CL,[^\n]*\n", ""),
    ),
    Slip(
        "crown coded as plain ground", "told", "break not shot", edited(MORNING, (",CL,", ",GR,"))
    ),
    Slip(
        "edge coded with the other side's number",
        "told",
        "crossing",
        edited(MORNING, (",EC2,", ",EC1,")),
    ),
    Slip("codes in small letters", "refused", "unknown code", small_letters),
    Slip(
        "a digit of a height mistyped",
        "told",
        "spike",
        edited(MORNING, ("5248.833,101.870", "5248.833,101.370")),
    ),
    *MORE,
    Slip(
        "rod leaning, 3 degrees at 2 m",
        NO,
        (
            "0.10 m in plan and 3 mm in height: on ground of a few per cent that is within "
            "what a shot is worth"
        ),
        caution=("the bubble is looked at for every shot; hubs and control are shot with a bipod"),
    ),
    Slip(
        "a superseded revision of the design",
        NO,
        ("both revisions are whole designs; nothing in the files says which is in force"),
        caution=(
            "the revision and the day of the package stand on every page; the foreman "
            "compares them with the drawing on site"
        ),
    ),
    Slip(
        "depth of a buried thing in feet read as metres",
        NO,
        "any depth is possible, and nobody has seen it",
        caution=(
            "arithmetic on records, not a locate: request and renew the locate, expose by "
            "hand before the blade or the mixer"
        ),
    ),
    Slip(
        "a thing that is on no record",
        NO,
        "what nobody recorded and nobody shot is in no file",
        caution=(
            "arithmetic on records, not a locate: where marks and list disagree, stop and ask"
        ),
    ),
    Slip(
        "the right number painted at the wrong lath",
        NO,
        "it happens after the list",
        caution=(
            "station, side and id stand at the head of each line; the back of a lath is read "
            "before its front"
        ),
    ),
)
