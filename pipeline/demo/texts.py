"""The files of the demo job as text, built from the scenario and nothing else."""

from __future__ import annotations

import math
from collections.abc import Iterable

from pipeline.demo import known, line, section
from pipeline.demo.cells import lines, metres
from pipeline.demo.job import JOB
from pipeline.demo.shots import Shot, hubs
from pipeline.demo.slips import morning

DAY = "2026-05-14"
BOM = "\ufeff"
SHOT_HEADER = (
    "id", "northing", "easting", "elevation", "code", "note", "setup", "rod", "time",
    "sigma_h", "sigma_v",
)  # fmt: skip
HUB_HEADER = ("point", "north", "east", "height", "code", "remark")


def files() -> dict[str, str]:
    """Relative path and text of every file of the job folder, line ends as they are written."""
    return {
        "control.csv": _control(),
        "design/alignment.csv": _alignment(),
        "design/profile.csv": _profile(),
        "design/sections.toml": _sections(),
        f"shots/{DAY}/hubs.csv": _hubs(),
        f"shots/{DAY}/morning.csv": _morning(),
        "utilities.csv": _utilities(),
        "job.toml": JOB,
    }


def _alignment() -> str:
    rows: list[tuple[str, ...]] = [
        (
            "start", "", "", "", "",
            f"{line.START_EASTING:.3f}", f"{line.START_NORTHING:.3f}",
            f"{line.START_AZIMUTH_DEG:.4f}", "0.000",
        )
    ]  # fmt: skip
    turns = {0: "", +1: "right", -1: "left"}
    for element in line.ELEMENTS:
        radii = {
            "line": ("", ""),
            "arc": (_radius(element.radius_start), ""),
            "clothoid": (_radius(element.radius_start), _radius(element.radius_end)),
        }[element.kind]
        length = f"{element.length:.3f}"
        rows.append((element.kind, length, *radii, turns[element.turn], "", "", "", ""))
    header = "kind,length_m,radius_m,radius_end_m,turn,easting_m,northing_m,azimuth_deg,station"
    return lines(
        "# Thrumbel Lane, centreline: invented. Azimuth clockwise from grid north.",
        header,
        *(",".join(row) for row in rows),
    )


def _profile() -> str:
    return lines(
        "# Thrumbel Lane, finished crown: invented. Halves of each curve along the line.",
        "station,elevation_m,curve_in_m,curve_out_m",
        *(
            f"{p.station:.3f},{p.elevation:.3f},{p.curve_in:.3f},{p.curve_out:.3f}"
            for p in line.PROFILE
        ),
    )


def _sections() -> str:
    parts = [
        "# Thrumbel Lane, cross-sections: invented.",
        "# drop_m: crown of the layer below the profile. Strips from the crown outward;",
        "# fall_pct + is down, step_m + is up. Between two sections every break moves linearly.",
    ]
    for one in section.SECTIONS:
        parts += ["", "[[section]]", f'name = "{one.name}"']
        parts += [f"from = {one.start:.1f}", f"to = {one.end:.1f}"]
        for name in section.LAYERS:
            layer = one.layers[name]
            parts += ["", f'[section.layers."{name}"]', f"drop_m = {layer.drop_m:.3f}"]
            parts += _strips("right", layer.right)
            parts += ['left = "mirror"'] if layer.left is None else _strips("left", layer.left)
    return lines(*parts)


def _strips(side: str, strips: Iterable[section.Strip]) -> list[str]:
    rows = [f"{side} = ["]
    for strip in strips:
        slope = (
            f"fall_pct = {strip.fall_pct}"
            if strip.step_m is None
            else f"step_m = {strip.step_m:.3f}"
        )
        rows.append(f'  {{ to = "{strip.to}", width_m = {strip.width_m:.3f}, {slope} }},')
    return [*rows, "]"]


def _control() -> str:
    return lines(
        "id,northing_m,easting_m,elevation_m,description",
        *(
            f'{p.id},{p.northing:.3f},{p.easting:.3f},{p.elevation:.3f},"{p.description}"'
            for p in known.control()
        ),
    )


def _utilities() -> str:
    return lines(
        "# Records, not a locate: request the locate, expose by hand before mechanical work.",
        "# lid_elevation_m, depth_to_top_m (lid to the part that breaks): blank where unknown.",
        "id,kind,northing_m,easting_m,lid_elevation_m,depth_to_top_m,note",
        *(
            f"{b.id},{b.kind},{b.northing:.3f},{b.easting:.3f},{metres(b.lid)},"
            f'{metres(b.depth_to_top)},"{b.note}"'
            for b in known.buried()
        ),
    )


def _morning() -> str:
    return lines(",".join(SHOT_HEADER), *(",".join(_shot_cells(shot)) for shot in morning()))


def _shot_cells(shot: Shot) -> tuple[str, ...]:
    northing = f"{shot.northing:.3f}"
    if shot.flaw == "bad row":
        northing = northing[:-1] + "O"
    return (
        shot.id, northing, f"{shot.easting:.3f}", f"{shot.elevation:.3f}", shot.code, shot.note,
        shot.setup, metres(shot.rod), shot.time, metres(shot.sigma_h), metres(shot.sigma_v),
    )  # fmt: skip


def _hubs() -> str:
    """Another instrument's habits: byte order mark, semicolons, decimal comma, CRLF."""
    rows = [";".join(HUB_HEADER)]
    for hub in hubs():
        numbers = (f"{v:.3f}".replace(".", ",") for v in (hub.northing, hub.easting, hub.elevation))
        rows.append(";".join((hub.id, *numbers, hub.code, hub.note)))
    return BOM + "".join(f"{row}\r\n" for row in rows)


def _radius(value: float) -> str:
    return "inf" if math.isinf(value) else f"{value:.3f}"
