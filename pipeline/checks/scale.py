"""Feet for metres, axes exchanged, another origin: slips of a whole file, named.

What a fit to control shows (a scale, a mirror, the two feet) is `control.slips`;
here are those that show without a fit, by where a file falls and how high it stands.
Nothing is put right: a file is refused or a shot is named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.checks.references import matched
from pipeline.checks.telling import at
from pipeline.errors import InputError
from pipeline.model import Bools, Finding, Findings, Floats, Shots
from pipeline.model.telling import counted
from pipeline.units import FOOT_M, format_length

ROUND_M = 10_000.0
"""A false origin or cut-off leading digits are multiples of this; a street of a few hundred
metres meets one by chance once in some hundred files."""
_SAME_M = 0.1
_FEW = 3
_SCALES = (
    (FOOT_M, "is in feet and read as metres", "state the unit of the file"),
    (1.0 / FOOT_M, "is in metres and read as feet", "state the unit of the file"),
)


@dataclass(frozen=True, slots=True)
class Box:
    """Where the job's shots can lie: easting and northing from least to most [m]."""

    east: tuple[float, float]
    north: tuple[float, float]

    def holds(self, easting: Floats, northing: Floats) -> Bools:
        """True where a place lies within."""
        inside = (easting >= self.east[0]) & (easting <= self.east[1])
        return inside & (northing >= self.north[0]) & (northing <= self.north[1])


def box_around(easting: ArrayLike, northing: ArrayLike, margin_m: float) -> Box:
    """The box around places of the design and of control, with a margin [m]."""
    e, n = np.asarray(easting, np.float64), np.asarray(northing, np.float64)
    return Box(
        (float(e.min()) - margin_m, float(e.max()) + margin_m),
        (float(n.min()) - margin_m, float(n.max()) + margin_m),
    )


def refuse_slipped_files(shots: Shots, box: Box) -> None:
    """Refuse a file that is on the job only in another unit, order or origin.

    Parameters
    ----------
    shots : Shots
    box : Box
        As from `box_around`, with the margin ``checks.off_job_m``.

    Raises
    ------
    InputError
        Nine tenths or more of a file's shots (three at least) lie in the box under
        one slip, and not a tenth as they stand: which slip, and what to state.

    Notes
    -----
    Tried are feet for metres and the reverse, easting and northing exchanged, both
    together, and a shift by multiples of 10 km. A file that fits no slip is left to
    `place.off_job`.
    """
    for number, name in enumerate(shots.files):
        rows = shots.file == number
        e, n = shots.easting[rows], shots.northing[rows]
        if len(e) < _FEW or box.holds(e, n).mean() > 0.1:
            continue
        for what, do, (east, north) in _slips(e, n, box):
            if box.holds(east, north).mean() >= 0.9:
                found = f"its {counted(len(e), 'shot')} lie on the job only if the file {what}"
                raise InputError(name, found, do)


def _slips(e: Floats, n: Floats, box: Box) -> list[tuple[str, str, tuple[Floats, Floats]]]:
    """Each slip that is tried: what it is, what to do, and the places without it."""
    state = "state the columns in the job file the other way round"
    tried = [("has northing and easting exchanged", state, (n, e))]
    for factor, what, do in _SCALES:
        tried.append((what, do, (e * factor, n * factor)))
        both = f"{what}, and has northing and easting exchanged"
        tried.append((both, f"{do} and the order of its columns", (n * factor, e * factor)))
    shift = [
        float(np.rint((sum(side) / 2.0 - np.median(values)) / ROUND_M) * ROUND_M) + 0.0
        for side, values in ((box.east, e), (box.north, n))
    ]
    what = f"has another origin: {shift[0]:+.0f} m in easting, {shift[1]:+.0f} m in northing"
    do = "look for the zone, the false origin or leading digits that were cut off"
    return [*tried, (what, do, (e + shift[0], n + shift[1]))]


def slipped_shots(shots: Shots, off: Bools, box: Box) -> Findings:
    """Single shots off the job that lie on it in feet for metres or the reverse.

    ``off`` (n,) are those that `place.off_job` found; it names exchanged axes itself.
    """
    found = []
    for factor, what, do in _SCALES:
        inside = box.holds(shots.easting * factor, shots.northing * factor)
        rows = np.flatnonzero(off & inside)
        if len(rows):
            verb = "lies" if len(rows) == 1 else "lie"
            text = f"{counted(len(rows), 'shot')} {verb} on the job only if it {what}"
            found.append(at(Finding("person", "unit of a shot", text, do), shots, rows))
    return tuple(found)


def origin_findings(shots: Shots, record: Shots, least_m: float) -> Findings:
    """A constant shift of named control shots against their record.

    Parameters
    ----------
    shots : Shots
        Control and hubs shot again; only those that name their record count.
    record : Shots
    least_m : float
        A smaller shift is the business of `control.control_shots` [m].

    Returns
    -------
    Findings
        ``stop`` for a file whose named shots, two at least, are all shifted by one
        amount within 0.1 m; said with it whether the amount is round, as that of a
        false origin, a zone or a datum is.
    """
    rows = matched(shots, record, 0.0)
    found = []
    for number, name in enumerate(shots.files):
        own = np.flatnonzero((rows >= 0) & (shots.file == number))
        if len(set(rows[own].tolist())) < 2:
            continue
        off = np.column_stack(
            [
                getattr(shots, axis)[own] - getattr(record, axis)[rows[own]]
                for axis in ("easting", "northing", "elevation")
            ]
        )
        shift = np.median(off, axis=0)
        if np.abs(off - shift).max() > _SAME_M or np.abs(shift).max() < least_m:
            continue
        text = f"{name}: {counted(len(own), 'known point')} all stand off by {_shift_text(shift)}"
        do = "look for another origin, zone or datum of the file; do not shift it away"
        found.append(at(Finding("stop", "another origin", text, do), shots, own))
    return tuple(found)


def _shift_text(shift: Floats) -> str:
    said = []
    for axis, value in zip(("easting", "northing", "elevation"), shift, strict=True):
        if abs(value) <= _SAME_M:
            continue
        text = f"{axis} {'+' if value > 0 else ''}{format_length(float(value))} m"
        whole = next(
            (step for step in (1e6, 1e5, 1e4, 1e3, 1e2, 1e1, 1.0) if abs(value) > step / 2), 1.0
        )
        near = float(np.rint(value / whole) * whole)
        said.append(text + (f" (a round {near:+.0f})" if abs(value - near) <= _SAME_M else ""))
    return ", ".join(said) if said else "less than 0.1 m"


def height_findings(shots: Shots, design: ArrayLike, ground: Bools) -> Findings:
    """Files whose heights are in feet while the design is in metres, or the reverse.

    Parameters
    ----------
    shots : Shots
    design : array_like, shape (n,)
        Today's layer at each shot [m], NaN where it does not reach.
    ground : bool (n,)
        Shots that are ground.

    Returns
    -------
    Findings
        ``stop``: by the factor the heights would stand within a metre of the design,
        and as they are they do not; or, with heights on another datum, they rise and
        fall with the design by the factor.

    Notes
    -----
    The second needs design heights that range over a metre and more: the slope of
    shots against design (Theil-Sen) is then 3.28 within a tenth. Horizontal units are
    another matter and not concluded from.
    """
    z = np.asarray(design, dtype=np.float64)
    found = []
    for number, name in enumerate(shots.files):
        rows = np.flatnonzero((shots.file == number) & ground & ~np.isnan(z))
        if len(rows) < _FEW:
            continue
        factor, how = _height_factor(shots.elevation[rows], z[rows])
        if factor:
            unit = "feet read as metres" if factor < 1.0 else "metres read as feet"
            other = "metres read as feet" if factor < 1.0 else "feet read as metres"
            text = f"{name}: {how}: its heights look like {unit}, or the design's like {other}"
            do = "state the unit of the file, or write the profile in metres; nothing was converted"
            found.append(at(Finding("stop", "unit of heights", text, do), shots, rows))
    return tuple(found)


def _height_factor(height: Floats, design: Floats) -> tuple[float, str]:
    """The factor that brings heights to the design, and what shows it; 0 for none."""
    away = float(np.median(np.abs(height - design)))
    for factor in (FOOT_M, 1.0 / FOOT_M):
        left = float(np.median(np.abs(height * factor - design)))
        if left < 1.0 and away > 5.0 * max(left, 0.2):
            shown = f"{away:.1f} m off the design, {left:.2f} m if multiplied by {factor:.4f}"
            return factor, shown
    if np.ptp(design) < 1.0 or away < 1.0:
        return 0.0, ""
    from scipy.stats import theilslopes

    # some hundred shots show a slope as well as a million do
    few = np.linspace(0, len(design) - 1, min(len(design), 400)).astype(np.int64)
    slope = float(theilslopes(height[few], design[few]).slope)
    for factor in (FOOT_M, 1.0 / FOOT_M):
        if abs(slope * factor - 1.0) < 0.1:
            return factor, f"they rise {slope:.2f} for each unit of the design"
    return 0.0, ""
