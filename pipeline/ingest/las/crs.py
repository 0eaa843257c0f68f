"""The units of a LAS file, from what it says itself: WKT, GeoTIFF codes, GeoTIFF unit keys.

Plan and height may have units of their own, and the three sources may
contradict each other. They are read apart, compared, and refused where they
differ: a foot that is not the other foot moves a point by 2 mm in a kilometre.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pipeline.errors import InputError
from pipeline.ingest.las.header import LasHeader
from pipeline.ingest.source import shown
from pipeline.model import Finding, Severity
from pipeline.units import EXACT_METRES, FOOT_M, US_SURVEY_FOOT_M, Unit

UNIT_WORDS: dict[Unit, str] = {"m": "metre", "ft": "foot", "ftUS": "US survey foot"}

# OGC GeoTIFF 1.1 (from memory): key numbers, and EPSG codes of the three units
GEOGRAPHIC, PROJECTED = 2048, 3072
_MODEL, _VERTICAL = 1024, 4096
_PLAN_UNIT, _PLAN_SIZE, _HEIGHT_UNIT = 3076, 3077, 4099
_UNIT_CODES: dict[int, Unit] = {9001: "m", 9002: "ft", 9003: "ftUS"}
_USER_DEFINED = 32767

# ASPRS LAS Specification 1.4-R15 (from memory): whose records and which of them
_USER = "LASF_Projection"
_WKT, _DIRECTORY, _DOUBLES = 2112, 34735, 34736
_STATE = "state the unit of these files in the job file"
_PROJECT = (
    "project the scan to the job's grid (metres or feet) before export; if the label is wrong,"
    " export it again with the right one"
)


@dataclass(frozen=True, slots=True)
class Said:
    """What one source says; empty where it is silent."""

    source: str
    crs: str = ""
    plan: Unit | None = None
    height: Unit | None = None


@dataclass(frozen=True, slots=True)
class LasUnits:
    """Units that the coordinates are in, the coordinate system's name, and what was said."""

    plan: Unit
    height: Unit
    crs: str
    findings: tuple[Finding, ...] = ()

    @property
    def text(self) -> str:
        """``m``; ``m, heights ftUS`` where the two differ."""
        return self.plan if self.plan == self.height else f"{self.plan}, heights {self.height}"


def las_units(header: LasHeader, stated: Unit) -> LasUnits:
    """Units of plan and height, with a finding for everything assumed or contradicted.

    Parameters
    ----------
    header : LasHeader
    stated : {"m", "ft", "ftUS"}
        Unit that the job states for the file. It is used where the file is
        silent. A foot stated there also settles a file that contradicts itself,
        if it is one of the two; a metre does not, for it may just be the default.

    Returns
    -------
    LasUnits

    Raises
    ------
    InputError
        Degrees or geocentric coordinates; a unit that is none of the three; two
        sources that disagree, or the file against a foot that the job states.
    """
    said, notes = las_said(header)
    plan = _settle(header, said, "plan", stated, notes)
    height = _settle(header, said, "height", stated, notes)
    if len({source.crs for source in said if source.crs}) > 1:
        text = "; ".join(f"{source.source}: {source.crs}" for source in said if source.crs)
        do = "find out which of them the scan is in; nothing is transformed"
        notes.append(header.finding("person", "coordinate system", text, do))
    if plan is None or height is None:
        notes.append(_assumed(header, plan, stated))
    plan = plan or stated
    height = height or plan
    if (plan, height) != ("m", "m"):
        notes.append(_converted(header, plan, height))
    return LasUnits(plan, height, said[0].crs if said else "", tuple(notes))


def las_said(header: LasHeader) -> tuple[list[Said], list[Finding]]:
    """What each source in the file says, and what is odd about that.

    Raises
    ------
    InputError
        Degrees or geocentric coordinates, or a unit that is none of the three.
    """
    notes: list[Finding] = []
    return [*_wkt(header, notes), *_keys(header, notes)], notes


def _assumed(header: LasHeader, plan: Unit | None, stated: Unit) -> Finding:
    if plan is None:
        text = f"the file does not say its unit; read as {UNIT_WORDS[stated]}, as the job says"
        do = "state the unit of these files in the job file if this is wrong"
        return header.finding("note", "unit", text, do)
    text = f"the file says {UNIT_WORDS[plan]} for the plan, nothing for heights; read in the same"
    do = "compare one height with a known point"
    # a scan in feet with heights in metres is the mixture that does occur
    return header.finding("note" if plan == "m" else "person", "unit", text, do)


def _converted(header: LasHeader, plan: Unit, height: Unit) -> Finding:
    what = UNIT_WORDS[plan] if plan == height else f"{UNIT_WORDS[plan]} in plan"
    if plan != height:
        what += f", {UNIT_WORDS[height]} in height"
    exact = " and ".join(
        f"1 {unit} = {EXACT_METRES[unit]} m" for unit in dict.fromkeys((plan, height))
    )
    return header.finding("note", "unit", f"{what}, converted to metres ({exact})", "nothing to do")


def _settle(
    header: LasHeader, said: list[Said], axis: str, stated: Unit, notes: list[Finding]
) -> Unit | None:
    """The one unit of `axis` that every source agrees on; None where all are silent."""
    units = {source.source: getattr(source, axis) for source in said if getattr(source, axis)}
    if not units:
        return None
    listed = "; ".join(f"{source}: {UNIT_WORDS[unit]}" for source, unit in units.items())
    different: set[Unit] = set(units.values())
    settled = stated != "m" and stated in different
    if len(different) > 1 and not settled:
        raise InputError(
            header.file,
            f"contradicts itself about the unit of its {axis} ({listed})",
            "state the true foot as unit of this file in the job file, or export the scan again"
            " with one unit",
        )
    if len(different) > 1:
        text = f"contradicts itself about its {axis} ({listed}); read in {UNIT_WORDS[stated]}"
        do = "compare one point with a known one"
        notes.append(header.finding("person", "unit", text + ", as the job says", do))
        return stated
    if stated not in ("m", *different):
        raise InputError(
            header.file,
            f"the job says {UNIT_WORDS[stated]} for its {axis}, the file does not ({listed})",
            "correct the unit in the job file, or export the scan again with the right label",
        )
    return different.pop()


def _wkt(header: LasHeader, notes: list[Finding]) -> list[Said]:
    text = wkt_text(header)
    if text is None:
        return []
    if not text:
        found = "the record of the coordinate system (WKT) is empty"
        notes.append(header.finding("note", "coordinate system", found, "nothing to do"))
        return []
    from pyproj import CRS

    crs = _known(lambda: CRS.from_wkt(text))
    if crs is None:
        found = f"coordinate system (WKT) cannot be read: {text[:60]!r}"
        notes.append(header.finding("person", "coordinate system", found, _STATE))
        return []
    return [_from_crs(header, "WKT", crs)]


def wkt_text(header: LasHeader) -> str | None:
    """The coordinate system as WKT, empty where its record is; None where there is no record."""
    data = header.record(_USER, _WKT)
    return None if data is None else data.split(b"\0")[0].decode("utf-8", "replace").strip()


def _known(make: Callable[[], Any]) -> Any | None:
    """A coordinate system, or None where the library does not know it."""
    from pyproj.exceptions import CRSError

    try:
        return make()
    except CRSError:
        return None


def _from_crs(header: LasHeader, source: str, crs: Any) -> Said:
    name = _name(crs)
    base = crs.source_crs if crs.is_bound else crs
    axes = base.axis_info
    if any(axis.unit_name in ("degree", "radian", "grad") for axis in axes) or base.is_geographic:
        header.refuse(f"coordinates in degrees ({source}: {name})", _PROJECT)
    if base.is_geocentric:
        header.refuse(f"geocentric coordinates ({source}: {name})", _PROJECT)
    plan = {_unit(header, source, axis) for axis in axes if axis.direction not in ("up", "down")}
    height = [_unit(header, source, axis) for axis in axes if axis.direction in ("up", "down")]
    if len(plan) > 1:
        header.refuse(f"easting and northing in different units ({source}: {name})", _PROJECT)
    return Said(source, name, plan.pop() if plan else None, height[0] if height else None)


def _name(crs: Any) -> str:
    """``EPSG:2903``, both codes of a compound system, else its name."""
    parts = [_code(part) for part in crs.sub_crs_list] if crs.is_compound else []
    if parts and all(parts):
        first, *others = parts
        return "+".join([first, *(code.removeprefix("EPSG:") for code in others)])
    return _code(crs) or shown(str(crs.name), 80)


def _code(crs: Any) -> str:
    known = crs.to_json_dict().get("id")
    return shown(f"{known['authority']}:{known['code']}") if known else ""


def _unit(header: LasHeader, source: str, axis: Any) -> Unit:
    return _unit_of(header, axis.unit_conversion_factor, f"{source}: {shown(axis.unit_name)}")


def _unit_of(header: LasHeader, metres: float, where: str) -> Unit:
    exact: dict[Unit, float] = {"m": 1.0, "ft": FOOT_M, "ftUS": US_SURVEY_FOOT_M}
    # the two feet differ by 6e-7 m; WKT texts carry 10 to 16 digits
    near = [unit for unit, size in exact.items() if abs(metres - size) < 1e-9]
    if not near:
        header.refuse(
            f"a unit of {metres!r} m ({where})",
            "export the scan in metres, feet or US survey feet",
        )
    return near[0]


def _keys(header: LasHeader, notes: list[Finding]) -> list[Said]:
    keys = geokeys(header)
    if not keys:
        return []
    named = [key for key in (PROJECTED, _VERTICAL) if 0 < keys.get(key, 0) < _USER_DEFINED]
    if not named and keys.get(_MODEL, 0) != 1 and _PLAN_UNIT not in keys:
        if keys.get(_MODEL) == 3:
            header.refuse("geocentric coordinates (GeoTIFF key 1024: 3)", _PROJECT)
        if keys.get(_MODEL) == 2 or GEOGRAPHIC in keys:
            code = keys.get(GEOGRAPHIC, 0)
            header.refuse(f"coordinates in degrees (GeoTIFF key 2048: {code})", _PROJECT)
    said = []
    for key in named:
        found = _from_code(header, key, keys, notes)
        said += [found] if found else []
    plan, height = _key_unit(header, keys, _PLAN_UNIT), _key_unit(header, keys, _HEIGHT_UNIT)
    if plan:
        said.append(Said(f"GeoTIFF key {_PLAN_UNIT}", plan=plan))
    if height:
        said.append(Said(f"GeoTIFF key {_HEIGHT_UNIT}", height=height))
    return said


def _from_code(
    header: LasHeader, key: int, keys: dict[int, Any], notes: list[Finding]
) -> Said | None:
    from pyproj import CRS

    source = f"GeoTIFF key {key} ({keys[key]})"
    crs = _known(lambda: CRS.from_epsg(keys[key]))
    if crs is None:
        # harmless where the unit has a key of its own
        unit_said = (_PLAN_UNIT if key == PROJECTED else _HEIGHT_UNIT) in keys
        severity: Severity = "note" if unit_said else "person"
        do = "nothing to do" if unit_said else _STATE
        found = f"{source} is not a coordinate system that is known here"
        notes.append(header.finding(severity, "coordinate system", found, do))
        return None
    said = _from_crs(header, source, crs)
    # the vertical system is not a second name of the horizontal one
    return said if key == PROJECTED else Said(source, height=said.height)


def _key_unit(header: LasHeader, keys: dict[int, Any], key: int) -> Unit | None:
    code = keys.get(key, 0)
    if code == 0:
        return None
    if code == _USER_DEFINED and key == _PLAN_UNIT and _PLAN_SIZE in keys:
        return _unit_of(header, keys[_PLAN_SIZE], f"GeoTIFF key {_PLAN_SIZE}")
    if code not in _UNIT_CODES:
        header.refuse(
            f"unit code {code} (GeoTIFF key {key}), neither metre, foot nor US survey foot",
            "export the scan in one of those",
        )
    return _UNIT_CODES[int(code)]


def geokeys(header: LasHeader) -> dict[int, Any]:
    """GeoTIFF keys with a number: the code itself, or the double it points to.

    A directory cut short gives the keys that are whole; keys that point outside
    the doubles, and texts, are left out.
    """
    directory = header.record(_USER, _DIRECTORY) or b""
    doubles = header.record(_USER, _DOUBLES) or b""
    if len(directory) < 8:
        return {}
    (count,) = struct.unpack_from("<H", directory, 6)
    found: dict[int, Any] = {}
    for k in range(1, min(count, len(directory) // 8 - 1) + 1):
        key, place, _, value = struct.unpack_from("<4H", directory, 8 * k)
        if place == 0:
            found[key] = value
        elif place == _DOUBLES and 8 * (value + 1) <= len(doubles):
            (found[key],) = struct.unpack_from("<d", doubles, 8 * value)
    return found
