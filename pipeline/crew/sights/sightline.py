"""Boning rods: what a sight over two dots reads at every place between them.

Two rods of one length stand on dots at grade. A third of the same length, set on ground
that is at grade, stands above or below the line of sight by exactly as much as the
design stands above or below the straight line between the dots.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipeline.compare.levels import layer_elevation
from pipeline.compare.streets import reach_of
from pipeline.crew.dots import spots, where_shot
from pipeline.crew.stretches import edge_layer, outermost
from pipeline.design import alignment as line
from pipeline.model import Corridor, Floats, Surface
from pipeline.settings_crew import SightRules
from pipeline.surface import locate
from pipeline.units import format_side

ARC_MINUTE = np.pi / 180.0 / 60.0
LOOKS_M = 0.5
"""Ground under a sight is looked at each so many metres."""

Way = Literal["across", "along"]


def correction(design: ArrayLike, share: ArrayLike, first: float, second: float) -> Floats:
    """Design above the straight line between two dots [m]: what the middle rod shows, + above.

    Parameters
    ----------
    design : array_like, shape (n,)
        Designed elevation at the places between [m].
    share : array_like, shape (n,)
        How far along from the first dot to the second, 0 to 1.
    first, second : float
        Elevations of the two dots [m].

    Examples
    --------
    Lips at 100.000 and 100.060, 8 m apart, and a crown 80 mm above the line between them:

    >>> round(float(correction([100.110], [0.5], 100.000, 100.060)[0]), 3)
    0.08
    """
    t = np.asarray(share, dtype=np.float64)
    return np.asarray(design, dtype=np.float64) - (first + (second - first) * t)


def sight_error(share: ArrayLike, length: float, rules: SightRules) -> Floats:
    r"""Standard deviation of a height set by sighting over two dots [m], shape (n,).

    The two dots carry :math:`s \sqrt{(1 - t)^2 + t^2}` to the place at share t; the eye,
    at the farther dot, tells apart one angle times its distance from there.

    Examples
    --------
    One minute of arc alone is 2.3 mm at 8 m, 5.8 mm at 20 m and 11.6 mm at 40 m:

    >>> rules = SightRules(dot_sigma_m=1e-9)
    >>> [round(1000 * float(sight_error(1.0, d, rules)), 1) for d in (8.0, 20.0, 40.0)]
    [2.3, 5.8, 11.6]
    """
    t = np.asarray(share, dtype=np.float64)
    dots = rules.dot_sigma_m * np.hypot(1.0 - t, t)
    eye = rules.eye_arcmin * ARC_MINUTE * length * np.maximum(t, 1.0 - t)
    return np.asarray(np.hypot(dots, eye))


@dataclass(frozen=True, slots=True)
class Dot:
    """A dot: where it is, its designed height and today's ground there, NaN where not shot."""

    station: float
    offset: float
    easting: float
    northing: float
    design: float
    ground: float


@dataclass(frozen=True, slots=True)
class Reading:
    """What the rod shows at one place on a sight.

    ``delta_m`` is the design above the sight less the rod; ``error_m`` its standard
    deviation; ``extra`` is True where a dot of its own is needed.
    """

    station: float
    offset: float
    what: str
    delta_m: float
    error_m: float
    extra: bool


@dataclass(frozen=True, slots=True)
class Sight:
    """A sight from one dot over another, and whether it works.

    ``why_not`` is empty where it does; else it says what is in the way.
    """

    way: Way
    first: Dot
    second: Dot
    length_m: float
    readings: tuple[Reading, ...]
    why_not: str


def sights(
    design: tuple[Corridor, str],
    ground: Surface,
    station: Floats,
    rules: SightRules,
    on_grade_m: float,
) -> tuple[Sight, ...]:
    """Sights across the street at each station, then along both edges from station to station.

    Parameters
    ----------
    design : tuple of Corridor and str
        The street and today's layer.
    ground : Surface
    station : ndarray, shape (n,)
        Where laths stand, increasing.
    rules : SightRules
    on_grade_m : float
        Ground within this of the layer carries a dot.

    Returns
    -------
    tuple of Sight
        All there are, working or not. None where the job has no layer with edges.

    Notes
    -----
    A sight works where both dots can be painted on ground that is at grade, it is no
    longer than ``longest_m``, and today's ground stays ``clear_m`` below it.
    """
    corridor, target = design
    layer = edge_layer(corridor, target)
    if not layer:
        return ()
    first, last = reach_of(corridor)
    station = station[(station >= first) & (station <= last)]
    drawn = _across(corridor, layer, station)
    for side in (-1, 1):
        drawn += _along(corridor, layer, station, side)
    found = _on_ground(_read(design, drawn, rules), design, ground)
    blocked = _blocked(found, ground, rules)
    return tuple(
        replace(sight, why_not=_why_not(sight, stands, rules, on_grade_m))
        for sight, stands in zip(found, blocked, strict=True)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Drawn:
    """A sight before anything is known of heights: both its dots, then the places read."""

    way: Way
    station: Floats
    offset: Floats
    what: tuple[str, ...]


def _read(design: tuple[Corridor, str], drawn: list[_Drawn], rules: SightRules) -> list[Sight]:
    """The sights with their designed heights, all looked up at once."""
    if not drawn:
        return []
    corridor, target = design
    s = np.concatenate([one.station for one in drawn])
    o = np.concatenate([one.offset for one in drawn])
    e, n, _ = line.point_at(corridor.alignment, s, o)
    z = layer_elevation(corridor, corridor.layer(target), s, o, e, n)
    ends = np.cumsum([0] + [len(one.station) for one in drawn])
    found = []
    for one, a, b in zip(drawn, ends[:-1], ends[1:], strict=True):
        first, second = (
            Dot(float(s[k]), float(o[k]), float(e[k]), float(n[k]), float(z[k]), float("nan"))
            for k in (a, a + 1)
        )
        places = (e[a + 2 : b], n[a + 2 : b], z[a + 2 : b])
        reading = _readings(one, (first, second), places, rules)
        length = float(np.hypot(second.easting - first.easting, second.northing - first.northing))
        if one.way == "across":
            length = second.offset - first.offset
        found.append(Sight(one.way, first, second, length, reading, ""))
    return found


def _on_ground(found: list[Sight], design: tuple[Corridor, str], ground: Surface) -> list[Sight]:
    """The sights with today's ground at their dots, all looked up at once."""
    corridor, target = design
    dots = [dot for sight in found for dot in (sight.first, sight.second)]
    s = np.array([dot.station for dot in dots])
    o = np.array([dot.offset for dot in dots])
    read_at = where_shot(corridor, ground, s, o)
    e, n, _ = line.point_at(corridor.alignment, read_at, o)
    layer = corridor.layer(target)
    off = locate.interpolate(ground, e, n) - layer_elevation(corridor, layer, read_at, o, e, n)
    z = [dot.design + float(cut) for dot, cut in zip(dots, off, strict=True)]
    return [
        replace(
            sight,
            first=replace(sight.first, ground=z[2 * k]),
            second=replace(sight.second, ground=z[2 * k + 1]),
        )
        for k, sight in enumerate(found)
    ]


def _across(corridor: Corridor, layer: str, station: Floats) -> list[_Drawn]:
    """From edge to edge, read at every break of today's and the top layer and at the quarters."""
    left, right = (outermost(corridor, layer, side, station)[0] for side in (-1, 1))
    at, offset, what = spots(corridor, station, _layers(corridor, layer))
    bounds = np.searchsorted(at, station), np.searchsorted(at, station, side="right")
    found = []
    for s, *ends, a, b in zip(
        station.tolist(), left.tolist(), right.tolist(), *(x.tolist() for x in bounds), strict=True
    ):
        if not np.isfinite(ends).all():
            continue
        places = [
            (o, name)
            for o, name in zip(offset[a:b].tolist(), what[a:b], strict=True)
            if ends[0] + 0.05 < o < ends[1] - 0.05
        ]
        places = _with_quarters(places, ends, corridor.on)
        offsets = np.array([*ends, *(o for o, _ in places)])
        names = tuple(name for _, name in places)
        found.append(_Drawn("across", np.full(len(offsets), s), offsets, names))
    return found


def _with_quarters(
    places: list[tuple[float, str]], ends: list[float], on: str
) -> list[tuple[float, str]]:
    """The places and, halfway from the line to each end, one more where there is none."""
    taken = [o for o, _ in places]
    crown = next((o for o, name in places if name == on), 0.0)
    quarters = [0.5 * (crown + end) for end in ends]
    more = [(o, "quarter") for o in quarters if all(abs(o - one) > 0.05 for one in taken)]
    return sorted(places + more)


def _layers(corridor: Corridor, layer: str) -> list[str]:
    top = corridor.layers[0]
    return [layer] + ([top.name] if top.surface is None and top.name != layer else [])


def _along(corridor: Corridor, layer: str, station: Floats, side: int) -> list[_Drawn]:
    """From one lath to the next along an edge, read at the quarters of the way."""
    start, end = station[:-1, None], station[1:, None]
    share = np.array([0.0, 1.0, 0.25, 0.5, 0.75])
    at = start + (end - start) * share
    offset = outermost(corridor, layer, side, at.ravel())[0].reshape(at.shape)
    return [
        _Drawn("along", s, o, ("quarter", "middle", "quarter"))
        for s, o in zip(at, offset, strict=True)
        if np.isfinite(o).all()
    ]


def _readings(
    sight: _Drawn, dots: tuple[Dot, Dot], grid: tuple[Floats, Floats, Floats], rules: SightRules
) -> tuple[Reading, ...]:
    east, north, z = grid
    first, second = dots
    dx, dy = second.easting - first.easting, second.northing - first.northing
    length = float(np.hypot(dx, dy))
    # a place beside the line of sight, on a bend, is read where it is square to it
    share = ((east - first.easting) * dx + (north - first.northing) * dy) / length**2
    delta = correction(z, share, first.design, second.design)
    error = sight_error(share, length, rules)
    along = first.station != second.station
    return tuple(
        Reading(
            station=float(sight.station[k + 2]),
            offset=float(sight.offset[k + 2]),
            what=sight.what[k],
            delta_m=float(delta[k]),
            error_m=float(error[k]),
            extra=along and abs(float(delta[k])) > rules.most_sagitta_m,
        )
        for k in range(len(sight.what))
        if np.isfinite(delta[k])
    )


def _why_not(sight: Sight, blocked: bool, rules: SightRules, on_grade: float) -> str:
    """What keeps a sight from working; empty where it works."""
    off = []
    for dot in (sight.first, sight.second):
        side = format_side(dot.offset)
        if np.isnan(dot.ground):
            off.append(f"{side} not shot")
        elif abs(dot.ground - dot.design) > on_grade + 1e-9:
            off.append(f"{side} {'high' if dot.ground > dot.design else 'low'}")
    why = [f"no dot: {', '.join(dict.fromkeys(off))}"] if off else []
    if sight.length_m > rules.longest_m + 1e-9:
        why.append("longer than the longest sight")
    if blocked:
        why.append("ground in the sight")
    return "; ".join(why)


def _blocked(found: list[Sight], ground: Surface, rules: SightRules) -> list[bool]:
    """Whether ground stands in each sight; what nobody shot is not known to."""
    counts = [max(2, int(sight.length_m / LOOKS_M) + 1) for sight in found]
    share = [np.linspace(0.0, 1.0, count) for count in counts]
    pairs = list(zip(found, share, strict=True))

    def between(name: str) -> Floats:
        return np.concatenate(
            [getattr(x.first, name) * (1.0 - t) + getattr(x.second, name) * t for x, t in pairs]
        )

    if not pairs:
        return []
    eye = between("design") + rules.rod_m
    z = locate.interpolate(ground, between("easting"), between("northing"))
    with np.errstate(invalid="ignore"):
        high = z > eye - rules.clear_m
    return [bool(part.any()) for part in np.split(high, np.cumsum(counts)[:-1])]
