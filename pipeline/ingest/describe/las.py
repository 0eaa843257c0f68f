"""What a LAS or LAZ file holds: every point counted, in memory bounded by a piece of the file.

A scan that no job could use, in degrees, with a wrong label, without a point or with
its last one cut, is described as far as its header can be believed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import InputError
from pipeline.ingest.describe.description import Asked, Description, Extent, Tell, own, told
from pipeline.ingest.las.crs import (
    GEOGRAPHIC,
    PROJECTED,
    UNIT_WORDS,
    Said,
    geokeys,
    las_said,
    wkt_text,
)
from pipeline.ingest.las.header import LasHeader, read_header
from pipeline.ingest.las.points import SYNTHETIC, WITHHELD, class_name
from pipeline.ingest.las.read import COARSE_M, raw_points, wrong_box
from pipeline.ingest.source import shown
from pipeline.ingest.whereabouts import known_crs, whereabouts
from pipeline.model import Finding, Ints, Severity
from pipeline.units import Unit, metres_per

if TYPE_CHECKING:
    from pyproj import CRS

_CHUNK = 500_000
_EARTH_M = (6.3e6, 6.5e6)
"""Distance of any ground from the middle of the Earth, roomy on both sides [memory]."""


@dataclass(slots=True)
class _Label:
    """What the file says of its units and its coordinate system."""

    units: str | None = None
    plan: Unit | None = None
    height: Unit | None = None
    crs: str | None = None
    system: CRS | None = None
    contradicted: bool = False
    first: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def say(self, severity: Severity, kind: str, text: str) -> None:
        """One more thing that is odd, told after what stands in ``first``."""
        self.findings.append(Finding(severity, kind, text, "look at the label"))


@dataclass(slots=True)
class _Count:
    """What the points are, all of them and without those at 0, 0, 0."""

    points: int = 0
    classes: Ints = field(default_factory=lambda: np.zeros(256, dtype=np.int64))
    withheld: int = 0
    synthetic: int = 0
    at_zero: int = 0
    all: Extent = field(default_factory=Extent)
    placed: Extent = field(default_factory=Extent)

    def take(self, points: NDArray[Any], header: LasHeader) -> None:
        """One more piece of the file."""
        place = [points[axis] * header.scale[k] + header.offset[k] for k, axis in enumerate("xyz")]
        zero = (place[0] == 0.0) & (place[1] == 0.0) & (place[2] == 0.0)
        self.all.add(*place)
        if zero.any():
            self.at_zero += int(zero.sum())
            place = [column[~zero] for column in place]
        self.placed.add(*place)
        self.classes += np.bincount(points["class"], minlength=256)
        self.withheld += int(((points["flags"] & WITHHELD) != 0).sum())
        self.synthetic += int(((points["flags"] & SYNTHETIC) != 0).sum())
        self.points += len(points)


def describe_las(path: Path, asked: Asked, tell: Tell) -> Description:
    """Counts, extents, classes, units and coordinate system of a scan, in its own unit.

    Raises
    ------
    InputError
        The header cannot be what the file is, or the points cannot be decoded.
    """
    doubts: list[str] = []
    header = read_header(path, doubts)
    count = _Count()
    if header.points:
        for points in raw_points(path, header, _CHUNK):
            count.take(points, header)
            tell(f"{count.points:,} of {header.points:,} points")
    if count.points != header.points:
        header.refuse(f"the header says {header.points:,} points, {count.points:,} were read")
    label = _label(header, asked)
    place = _whereabouts(label, count)
    first = [*doubts, *label.first, *_about_numbers(header, count, label)]
    return Description(
        file=header.file,
        format="LAZ" if header.compressed else "LAS",
        version=header.version,
        bytes=header.size,
        units=label.units,
        crs=label.crs,
        system="" if label.system is None else label.system.to_wkt(),
        points=count.points,
        bbox=count.all.box(),
        elevation=count.all.heights(),
        oddities=told(label.findings, header.file, [*first, *place.pop("oddity", [])]),
        more={
            "point_format": header.point_format,
            "scale": list(header.scale),
            "classes": {str(k): int(n) for k, n in enumerate(count.classes) if n},
            "class_names": {str(k): class_name(k) for k, n in enumerate(count.classes) if n},
            "withheld": count.withheld,
            **place,
        },
    )


# ---- units and coordinate system


def _label(header: LasHeader, asked: Asked) -> _Label:
    label = _Label()
    systems = _systems(header)
    if systems:
        label.system = systems[0]
        label.crs = crs_name(systems[0])
    try:
        said, label.findings = las_said(header)
    except InputError as refusal:
        label.first.append(refusal.found)
        label.units = axis_words(systems[0]) if systems else None
        return label
    names = dict.fromkeys(source.crs for source in said if source.crs)
    label.crs = next(iter(names), label.crs)
    if len(names) > 1:
        label.first.append(f"names two coordinate systems: {_listed(said, 'crs')}")
    label.plan = _settle(said, "plan", asked, label)
    label.height = _settle(said, "height", asked, label)
    label.units = _units(label, asked)
    return label


def _settle(said: list[Said], axis: str, asked: Asked, label: _Label) -> Unit | None:
    units = {getattr(source, axis) for source in said} - {None}
    if len(units) > 1:
        what = f"contradicts itself about the unit of its {axis}: {_listed(said, axis)}"
        label.first.append(what)
        label.contradicted = True
        return asked.unit if asked.unit in units else None
    unit: Unit | None = units.pop() if units else None
    if unit and asked.unit and unit != asked.unit:
        label.first.append(f"says {UNIT_WORDS[unit]} for its {axis}, not {asked.unit}")
    return unit


def _listed(said: list[Said], what: str) -> str:
    rows = [(source.source, getattr(source, what)) for source in said if getattr(source, what)]
    return "; ".join(f"{source}: {UNIT_WORDS.get(value, value)}" for source, value in rows)


def _units(label: _Label, asked: Asked) -> str | None:
    """``ftUS``, ``m, heights ftUS``; None where it is contradicted or nobody says."""
    if label.plan is None and not label.contradicted:
        label.plan = asked.unit
        how = f"told in {UNIT_WORDS[asked.unit]}, as stated" if asked.unit else "none is assumed"
        label.say("person", "unit unsaid", f"does not say its unit; {how}")
    elif label.plan and label.height is None and not label.contradicted:
        text = f"says {UNIT_WORDS[label.plan]} for the plan, nothing for heights"
        # a scan in feet with heights in metres is the mixture that does occur
        severity: Severity = "note" if label.plan == "m" else "person"
        label.say(severity, "heights unsaid", text)
    if label.plan is None:
        return None
    if label.height in (None, label.plan):
        return label.plan
    plan, height = UNIT_WORDS[label.plan], UNIT_WORDS[label.height or "m"]
    label.first.append(f"mixed units: {plan} in plan, {height} in height")
    return f"{label.plan}, heights {label.height}"


def _systems(header: LasHeader) -> list[CRS]:
    """Coordinate systems that the file names and the library knows, WKT first."""
    keys = geokeys(header)
    names = [wkt_text(header) or ""]
    names += [f"EPSG:{keys[key]}" for key in (PROJECTED, GEOGRAPHIC) if keys.get(key)]
    return [crs for crs in map(known_crs, names) if crs is not None]


def crs_name(crs: CRS) -> str:
    """``EPSG:2903``, both codes of a compound system, else its name."""
    # a label only: degrees and geocentric coordinates are told, never computed with
    sure = 70 if crs.is_geocentric or crs.is_geographic else 100
    codes = [part.to_epsg(min_confidence=sure) for part in crs.sub_crs_list or [crs]]
    if all(codes):
        return f"EPSG:{'+'.join(str(code) for code in codes)}"
    kind = "" if crs.is_projected or crs.is_geographic else f" ({crs.type_name})"
    return shown(crs.name, 80) + kind


def axis_words(crs: CRS) -> str | None:
    """Units of the axes as the system names them: ``degrees``, ``m``."""
    names = dict.fromkeys(axis.unit_name for axis in crs.axis_info)
    words = {"degree": "degrees", "metre": "m", "meter": "m"}
    return ", ".join(words.get(name.lower(), shown(name)) for name in names) or None


def _whereabouts(label: _Label, count: _Count) -> dict[str, Any]:
    """Middle of the file and what is odd about it, as parts of the description."""
    box = count.placed.box()
    if box is None or label.system is None:
        return {}
    if label.system.is_geocentric:
        return {"oddity": _not_on_earth(count)}
    if label.system.is_geographic and max(map(abs, (*box[1::2], box[0] / 4, box[2] / 4))) > 90.0:
        return {"oddity": ["the label is wrong: no latitude or longitude is as large as these"]}
    metres = metres_per(label.plan) if label.plan else None
    place = whereabouts(label.system, box, metres)
    if place is None:
        return {}
    if place.oddity:
        return {"oddity": [place.oddity]}
    middle = {"latitude": round(place.latitude, 5), "longitude": round(place.longitude, 5)}
    return {"middle": middle}


def _not_on_earth(count: _Count) -> list[str]:
    far = float(np.linalg.norm((count.placed.low + count.placed.high) / 2.0))
    if _EARTH_M[0] < far < _EARTH_M[1]:
        return []
    return [f"the label is wrong: its points lie {far:,.0f} m from the middle of the Earth"]


# ---- numbers


def _about_numbers(header: LasHeader, count: _Count, label: _Label) -> Iterable[str]:
    if count.at_zero:
        left = count.placed.box()
        rest = f"; without them from {_corner(left)}" if left else ""
        yield f"{count.at_zero:,} points at exactly 0, 0, 0{rest}"
    if count.withheld:
        yield f"{count.withheld:,} points are marked as withheld"
    if count.synthetic:
        yield f"{count.synthetic:,} points are marked as made, not measured"
    if count.points and (text := wrong_box(header, count.all.low, count.all.high)):
        yield text
    step = header.scale[2] * metres_per(label.height or label.plan or "m")
    if step > COARSE_M:
        yield f"heights are stored in steps of {header.scale[2]:g}"


def _corner(box: tuple[float, ...]) -> str:
    east, north, last_east, last_north = (own(x) for x in box)
    return f"E {east:g} N {north:g} to E {last_east:g} N {last_north:g}"
