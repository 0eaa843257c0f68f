"""Is every shot where the job is: on the street, not on its mirror image, not a valley away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.checks.telling import at
from pipeline.errors import InputError
from pipeline.model import Bools, Feet, Finding, Findings, Floats, Shots


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the job reaches along and across its alignment [m]."""

    first_station: float
    last_station: float
    half_width_m: float


def distance_outside(feet: Feet, reach: Reach) -> Floats:
    """Distance of each place from the corridor's edge [m]; 0 inside it."""
    along = np.maximum(reach.first_station - feet.station, feet.station - reach.last_station)
    across = np.abs(feet.offset) - reach.half_width_m
    return np.hypot(np.maximum(along, 0.0), np.maximum(across, 0.0))


def off_job(
    shots: Shots, feet: Feet, swapped: Feet, reach: Reach, limit_m: float
) -> tuple[Bools, Findings]:
    """Shots farther from the corridor than `limit_m`, each named.

    Parameters
    ----------
    shots : Shots
    feet, swapped : Feet
        Where each shot lies, and where it would lie with northing and easting exchanged.
    reach : Reach
    limit_m : float
        ``checks.off_job_m`` of the job.

    Returns
    -------
    off : bool (n,)
        These are listed and not used; nothing is deleted.
    findings : Findings

    Raises
    ------
    InputError
        Most shots of a file are on the job only with northing and easting
        exchanged, or none of its shots is on the job at all.
    """
    outside = distance_outside(feet, reach)
    off = outside > limit_m
    mirrored = off & (distance_outside(swapped, reach) <= limit_m)
    for number, name in enumerate(shots.files):
        _refuse_file(name, shots.file == number, off, mirrored)
    rows = np.flatnonzero(off)
    return off, tuple(_finding(shots, int(row), outside[row], mirrored[row]) for row in rows)


def _refuse_file(name: str, of_file: Bools, off: Bools, mirrored: Bools) -> None:
    total = int(of_file.sum())
    if total < 3:
        return
    if (of_file & mirrored).sum() > total / 2:
        raise InputError(
            name,
            f"{int((of_file & mirrored).sum())} of {total} shots lie on the job only with"
            " northing and easting exchanged",
            "state the columns in the job file the other way round",
        )
    if off[of_file].all():
        raise InputError(
            name,
            f"none of its {total} shots is on this job",
            "look for another job's file, another grid or another unit",
        )


def _finding(shots: Shots, row: int, distance: float, mirrored: bool) -> Finding:
    far = f"{distance / 1000:.1f} km" if distance >= 1000 else f"{distance:.0f} m"
    text = f"lies {far} outside the street; listed, not used"
    do = "check the point number and the set-up; shoot it again if it belongs to the job"
    if mirrored:
        text += "; northing and easting look swapped"
        do = "exchange its northing and easting in the file"
    return at(Finding("person", "off the job", text, do), shots, [row])


def off_design(shots: Shots, feet: Feet, design: Floats, limit_m: float) -> tuple[Bools, Findings]:
    """Ground shots farther above or below the design than `limit_m`: unit or rod slips.

    ``design`` is the height of today's layer at each shot (n,) [m], NaN where it does not reach.
    """
    gap = shots.elevation - design
    off = np.abs(np.nan_to_num(gap)) > limit_m
    do = "check rod height and unit, shoot it again"
    found = []
    for row in np.flatnonzero(off):
        side = "above" if gap[row] > 0 else "below"
        text = f"stands {abs(gap[row]):.2f} m {side} the design; listed, not used"
        found.append(at(Finding("person", "far off the design", text, do), shots, [row], feet))
    return off, tuple(found)
