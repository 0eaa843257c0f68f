"""Buried and standing things against today's blade and the mixer's rotor.

The rotor reaches a mixing depth below the plane that the blade leaves, so a lid that
was lowered below the cut can still be in its way: every thing has two margins, and the
worst case of the smaller one decides. This is arithmetic on surveyed and recorded
heights. It is no locate and no clearance to dig.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from pipeline.compare.levels import ruling
from pipeline.compare.streets import home_of
from pipeline.crew.buried.listed import NOTHING, joined
from pipeline.crew.measures import METRIC, Measures
from pipeline.design import feet as feet_of
from pipeline.design.equations import named
from pipeline.model import (
    Alignment,
    Bools,
    Corridor,
    Feet,
    Finding,
    Findings,
    Floats,
    Ints,
    Shots,
    Surface,
    Texts,
    Utilities,
    texts,
)
from pipeline.model.arrays import lock_fields
from pipeline.settings_crew import HazardRules
from pipeline.surface import locate
from pipeline.units import format_side

CAUTION = (
    "This is an arithmetic check of surveyed and recorded heights, not a locate. Marks and records"
    " show approximate horizontal position; depth is unknown until exposed. Request and renew the"
    " locate ticket, respect the tolerance zone of local law, expose by hand or other safe means"
    " before mechanical work, and keep the owner's instructions. The utility's and local rules"
    " decide; this list is no clearance to dig. If a mark, a ticket or this sheet disagree: stop"
    " and call. Survey certification, legal boundary and design changes belong to the licensed"
    " professional."
)
"""Stands on every page and beside every list that shows a buried thing."""

EXPOSE = "have it located and exposed by hand, then lower it or work around it"
"""What to do where the blade or the rotor may meet a thing."""

CLASSES = ("UNKNOWN", "HIT", "HAND", "SLOW", "CLEAR")
"""The worst first."""


@dataclass(frozen=True, slots=True, eq=False)
class Margins:
    """How far n tops lie below blade and rotor [m], + is below; the worst case of each, too."""

    blade: Floats
    rotor: Floats
    blade_worst: Floats
    rotor_worst: Floats

    def __post_init__(self) -> None:
        n = len(self.blade)
        names = ("blade", "rotor", "blade_worst", "rotor_worst")
        lock_fields(self, dict.fromkeys(names, (np.float64, (n,))))

    def take(self, rows: Ints) -> Margins:
        """Those of some tops, in that order."""
        return Margins(*(getattr(self, one.name)[rows] for one in fields(self)))


def margins(plane: ArrayLike, top: ArrayLike, sigma_top: ArrayLike, rules: HazardRules) -> Margins:
    r"""Margins of tops below the blade's plane and below the rotor, and their worst cases.

    Parameters
    ----------
    plane : array_like, shape (n,)
        Height that the blade leaves the clay at [m].
    top : array_like, shape (n,)
        Height of what is hit first [m]; NaN where nobody knows.
    sigma_top : array_like, shape (n,)
        Its standard deviation [m].
    rules : HazardRules

    Returns
    -------
    Margins
        NaN where plane or top is.

    Notes
    -----
    Blade: plane - top. Rotor: plane - mixing depth - overcut - top; where
    nothing is mixed, the same as the blade. Worst case:
    margin :math:`- k \sqrt{s_{top}^2 + s_{ground}^2 + s_{blade}^2 [+ s_{rotor}^2]}`.

    Examples
    --------
    A plane at 100.195, mixed 0.30 deep, over a lid at 99.780 known to 10 mm:

    >>> found = margins([100.195], [99.780], [0.010], HazardRules())
    >>> [round(float(x[0]), 3) for x in (found.blade, found.rotor, found.rotor_worst)]
    [0.415, 0.085, 0.051]
    """
    blade = np.asarray(plane, dtype=np.float64) - np.asarray(top, dtype=np.float64)
    mixed = rules.mixing_depth_m > 0
    rotor = blade - (rules.mixing_depth_m + rules.overcut_m if mixed else 0.0)
    variance = (
        np.asarray(sigma_top, dtype=np.float64) ** 2
        + rules.sigma_ground_m**2
        + rules.sigma_blade_m**2
    )
    return Margins(
        blade=blade,
        rotor=rotor,
        blade_worst=blade - rules.worst_k * np.sqrt(variance),
        rotor_worst=rotor - rules.worst_k * np.sqrt(variance + rules.sigma_rotor_m**2),
    )


def classes(worst: Floats, rules: HazardRules) -> Texts:
    """HIT at 0 or less, HAND and SLOW below their limits, CLEAR above; NaN is UNKNOWN, (n,)."""
    with np.errstate(invalid="ignore"):
        found = np.select(
            [np.isnan(worst), worst <= 0.0, worst < rules.hand_m, worst < rules.slow_m],
            ["UNKNOWN", "HIT", "HAND", "SLOW"],
            "CLEAR",
        )
    return texts(found.tolist())


def _by_hand(found: Texts, unlisted: Bools) -> Texts:
    """The classes, HAND where they are better for a thing that is on no list."""
    better = np.isin(found.astype(str), CLASSES[CLASSES.index("HAND") :])
    return texts(np.where(better & unlisted, "HAND", found).tolist())


@dataclass(frozen=True, slots=True, eq=False)
class Things:
    """Every thing that is on the list, was shot, or both: n rows in driving order.

    ``top`` is the higher of shot and list, NaN where neither knows. ``part`` is the part
    that breaks: at the top where its depth is not on record. ``listed`` and ``shot`` say
    where the thing comes from; ``shot_id`` is empty where nobody shot it. ``street`` is the
    part of the design that ``feet`` are along.
    """

    id: Texts
    kind: Texts
    easting: Floats
    northing: Floats
    feet: Feet
    top: Floats
    part: Floats
    listed: Texts
    shot_id: Texts
    ground: Floats
    margins: Margins
    verdict: Texts
    note: Texts
    street: Texts

    def __post_init__(self) -> None:
        n = len(self.easting)
        names = ("id", "kind", "listed", "shot_id", "verdict", "note", "street")
        lock_fields(self, dict.fromkeys(names, (object, (n,))))
        numbers = ("easting", "northing", "top", "part", "ground")
        lock_fields(self, dict.fromkeys(numbers, (np.float64, (n,))))

    def __len__(self) -> int:
        return len(self.easting)

    def take(self, rows: Ints, feet: Feet, street: str) -> Things:
        """Some of the things, told along another street."""
        whole = {"feet", "margins", "street"}
        kept = {
            one.name: getattr(self, one.name)[rows] for one in fields(self) if one.name not in whole
        }
        names = texts([street] * len(rows))
        return Things(**kept, feet=feet, margins=self.margins.take(rows), street=names)

    @property
    def cover(self) -> Floats:
        """Ground of today above the top [m]."""
        return self.ground - self.top

    @property
    def part_below_rotor(self) -> Floats:
        """The part that breaks below the rotor's reach [m]."""
        return self.margins.rotor + self.top - self.part


def things(
    design: tuple[Corridor, str],
    ground: Surface,
    found: tuple[Utilities | None, Shots],
    rules: HazardRules,
) -> Things:
    """Every thing on the list or shot, against the plane of `design`'s layer, in driving order.

    Where the design has several parts the plane is that of the part which rules at a place,
    and each thing is told along the part that it lies in or nearest to, street after street.

    Parameters
    ----------
    design : tuple of Corridor and str
        The street, and the layer whose plane the blade leaves.
    ground : Surface
    found : tuple of Utilities or None, and Shots
        The list, and the shots of lids, valves, poles.
    rules : HazardRules

    Notes
    -----
    A height that is only recorded is believed less than one shot this morning; one that
    nobody knows is UNKNOWN and is treated as a hit. The higher of shot and list counts. Of a
    thing on no list only the top as shot is known, so it is never better than HAND.
    """
    corridor, name = design
    rows = joined(found[0] if found[0] is not None else NOTHING, found[1], rules)
    grid = rows["easting"], rows["northing"]
    main = feet_of.locate(corridor.alignment, *grid)
    plane, _ = ruling(corridor, name, (main.station, main.offset), grid)
    streets, number, at = home_of(corridor, name, grid)
    sigma = np.where(rows["shot"] != "", rules.sigma_lid_m, rules.sigma_record_m).astype(float)
    margin = margins(plane, rows["top"], sigma, rules)
    order = np.lexsort((at.station, number))
    return Things(
        id=rows["id"][order],
        kind=rows["kind"][order],
        easting=rows["easting"][order],
        northing=rows["northing"][order],
        feet=at.take(order),
        top=rows["top"][order],
        part=rows["part"][order],
        listed=rows["listed"][order],
        shot_id=rows["shot"][order],
        ground=locate.interpolate(ground, rows["easting"], rows["northing"])[order],
        margins=margin.take(order),
        verdict=_by_hand(
            classes(np.minimum(margin.blade_worst, margin.rotor_worst), rules), rows["listed"] == ""
        )[order],
        note=rows["note"][order],
        street=texts([streets[int(k)].name for k in number[order]]),
    )


def beside(found: Things, corridor: Corridor, aside_m: float) -> Things:
    """The things within a distance of one street's sections, told along it, in driving order."""
    at = feet_of.locate(corridor.alignment, found.easting, found.northing)
    widest = max(
        (float(np.nanmax(np.abs(x.offset))) for x in corridor.layers if x.offset.size), default=0.0
    )
    rows = np.flatnonzero((at.beyond == 0) & (np.abs(at.offset) <= widest + aside_m))
    rows = rows[np.argsort(at.station[rows], kind="stable")]
    return found.take(rows, at.take(rows), corridor.name)


def verdict_words(found: Things, row: int, unit: Measures = METRIC) -> str:
    """What to do at one thing, with distance and survey uncertainty, in the crew's small unit.

    Distances are rounded towards the danger.
    """
    verdict = str(found.verdict[row])
    if verdict == "UNKNOWN":
        why = "height not known" if np.isnan(found.top[row]) else "outside today's layer"
        return f"UNKNOWN, treat as HIT: {why}"
    margin = found.margins
    # the rotor reaches deeper; the blade is named where it hits as well, or works alone
    by_blade = margin.blade[row] <= 0 or margin.blade[row] == margin.rotor[row]
    tool = "blade" if by_blade else "rotor"
    here = float((margin.blade if tool == "blade" else margin.rotor)[row])
    worst = float((margin.blade_worst if tool == "blade" else margin.rotor_worst)[row])
    doubt, name = unit.outward(here - worst, "up"), unit.small_unit
    if verdict == "HIT":
        if here <= 0:
            return f"HIT: {tool} {unit.outward(-here, 'up')} {name} into it, +-{doubt} {name}"
        over = f"{unit.outward(here, 'down')} {name}"
        return f"HIT: {tool} {over} over it, the survey may be {doubt} {name} off"
    known = "" if found.listed[row] else "on no list, its top as shot "
    return f"{verdict}: {known}at worst {unit.outward(worst, 'down')} {name} under the {tool}"


def below_words(metres: float, unit: Measures = METRIC) -> str:
    """How far a thing lies below something, rounded towards the danger; ``?`` if unknown."""
    return "?" if np.isnan(metres) else unit.outward(metres, "down")


def mark(found: Things, row: int, unit: Measures = METRIC) -> str:
    """What is written at the thing: ``DN 41`` and ``ROTOR 8``, cm (ft) below blade and rotor."""
    if found.verdict[row] in {"UNKNOWN", "HIT"}:
        return f"{found.verdict[row]}"
    below = [
        unit.outward(float(x[row]), "down") for x in (found.margins.blade, found.margins.rotor)
    ]
    return f"DN {below[0]} / ROTOR {below[1]}"


def buried(found: Things, rules: HazardRules) -> Bools:
    """True where more ground than the rules allow lies on a top, shape (n,)."""
    with np.errstate(invalid="ignore"):
        return np.asarray(found.cover > rules.buried_m)


def findings(found: Things, line: Alignment | None = None, unit: Measures = METRIC) -> Findings:
    """What needs a person: hits, things unknown, and list and shots that miss each other.

    One finding a thing: two about one lid read as two lids. Stations are as `line` names them.
    """
    said = []
    for i in range(len(found)):
        thing, (what, do) = (found, i, line), _missing(found, i)
        if found.verdict[i] in {"UNKNOWN", "HIT"}:
            what = "; ".join(filter(None, (verdict_words(found, i, unit), what)))
            do = "; ".join(filter(None, (EXPOSE, do)))
            said.append(_finding(thing, "in reach of blade or rotor", what, do))
        elif not found.shot_id[i]:
            said.append(_finding(thing, "on the list, not shot", what, do))
        elif not found.listed[i]:
            said.append(_finding(thing, "shot, not on the list", what, do))
    return tuple(said)


def _missing(found: Things, row: int) -> tuple[str, str]:
    """Words and what to do where list and shots do not both have the thing, else empty."""
    if not found.shot_id[row]:
        return "not shot this morning", "find it on the ground, or ask its owner where it went"
    if not found.listed[row]:
        return (
            "on no list, only its top as shot is known",
            "ask whose it is and put it on the list; work around it by hand until then",
        )
    return "", ""


def _finding(thing: tuple[Things, int, Alignment | None], kind: str, what: str, do: str) -> Finding:
    found, i, line = thing
    station, offset = float(found.feet.station[i]), float(found.feet.offset[i])
    place = f"{named(line, station)} {format_side(offset)}"
    return Finding(
        severity="person",
        kind=kind,
        text=f"{found.kind[i]} {found.id[i]} at {place}: {what}",
        do=do,
        points=(str(found.shot_id[i]),) if found.shot_id[i] else (),
        station=station,
        offset=offset,
    )
