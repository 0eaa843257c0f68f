"""The morning's files as shots on the job grid: sightings reduced, positions tied, scans thinned.

A room under the roof, for it takes `control` and `surface` together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.cluster import work
from pipeline.control.localisation import (
    LocalisationRules,
    apply_localisation,
    beyond_control,
    localise,
)
from pipeline.control.reduction import Corrections, Precision
from pipeline.control.setups import reduce_observations
from pipeline.errors import InputError
from pipeline.ingest.job.inputs import Inputs
from pipeline.ingest.job.morning import MorningFile
from pipeline.ingest.las.read import reading_of
from pipeline.ingest.las.spill import LargeScan, spilled
from pipeline.kept.calls import keep
from pipeline.model import (
    NO_LINES,
    Bools,
    FieldNotes,
    Findings,
    Reading,
    Shots,
    join_shots,
    make_shots,
    texts,
)
from pipeline.settings import Job, Scans
from pipeline.surface.bare_earth import BareEarthRules, bare_earth, taken_out
from pipeline.surface.by_pieces import Extent, Wishes, cleared_and_thinned
from pipeline.surface.thin import thin

BY_HAND = frozenset({"CSV", "sightings"})
"""Formats whose shots a person took one after the other."""
SATELLITE = frozenset({"positions"})
"""Formats whose heights no level has seen."""


@dataclass(frozen=True, slots=True, eq=False)
class OnGrid:
    """All shots of the morning on the job grid, file by file, and what was said on the way."""

    shots: Shots
    readings: tuple[Reading, ...]
    keeps_faces: tuple[bool, ...]
    findings: Findings

    @property
    def by_hand(self) -> Bools:
        """True where a person took the shot, one after the other, (n,)."""
        parts = [np.full(len(one.shots), one.format in BY_HAND) for one in self.readings]
        return np.concatenate(parts).astype(bool)

    @property
    def satellite(self) -> Bools:
        """True where a satellite receiver gave the position, (n,)."""
        parts = [np.full(len(one.shots), one.format in SATELLITE) for one in self.readings]
        return np.concatenate(parts).astype(bool)

    @property
    def refused(self) -> int:
        """Rows that could not be read."""
        return sum(reading.refused for reading in self.readings)


def on_grid(inputs: Inputs) -> OnGrid:
    """Every file of the day as shots on the job grid.

    Raises
    ------
    InputError
        Sightings or positions without the control that they need, or a fit that
        control does not allow.
    """
    pairs = list(zip(inputs.files, inputs.readings, strict=True))
    readings = tuple(_on_grid(file, reading, inputs) for file, reading in pairs)
    return OnGrid(
        shots=join_shots(reading.shots for reading in readings),
        readings=readings,
        keeps_faces=tuple(
            file.format.faces == "keep" and bool(reading.meshes)
            for file, reading in zip(inputs.files, readings, strict=True)
        ),
        findings=tuple(finding for reading in readings for finding in reading.findings),
    )


def _on_grid(
    file: MorningFile, reading: Reading | FieldNotes | LargeScan, inputs: Inputs
) -> Reading:
    if isinstance(reading, LargeScan):
        sums = [one.sha256 for one in inputs.fingerprints if Path(one.file).name == file.path.name]
        return keep(in_pieces, reading, inputs.job.shots.scans, tuple(sums))
    if isinstance(reading, FieldNotes):
        return _reduced(reading, inputs)
    if file.format.kind == "positions":
        if inputs.job.shots.positions.localise:
            reading = _localised(reading, inputs)
        reading = replace(reading, format="positions")
    if file.format.kind == "scan":
        reading = _thinned(reading, inputs.job.shots.scans)
    return _with_code(reading, file.format.code)


def _with_code(reading: Reading, code: str) -> Reading:
    """Points without a code carry the one that the job states for the file."""
    if not code:
        return reading
    filled = np.where(reading.shots.code == "", code, reading.shots.code).astype(object)
    return replace(reading, shots=replace(reading.shots, code=filled))


def _reduced(notes: FieldNotes, inputs: Inputs) -> Reading:
    """Sightings reduced on the job's control."""
    control = _control(inputs, notes.file, "sightings")
    corrections, precision = _sighting_rules(inputs.job)
    reduced = reduce_observations(notes.observations, control, corrections, precision)
    return Reading(
        file=notes.file,
        format="sightings",
        version=notes.version,
        unit=notes.unit,
        crs="",
        shots=reduced.shots,
        lines=NO_LINES,
        findings=(*notes.findings, *reduced.findings),
        refused=notes.refused,
    )


def _sighting_rules(job: Job) -> tuple[Corrections, Precision]:
    rules = job.shots.sightings
    corrections = Corrections(
        curvature_refraction=rules.curvature_refraction,
        refraction=rules.refraction,
        grid_scale=rules.grid_scale,
        elevation_factor=rules.elevation_factor,
    )
    precision = Precision(
        angle_arcsec=rules.angle_arcsec,
        distance_m=rules.distance_m,
        distance_ppm=rules.distance_ppm,
        centring_m=rules.centring_m,
        height_m=rules.height_m,
    )
    return corrections, precision


def _localised(reading: Reading, inputs: Inputs) -> Reading:
    """Positions moved onto the job's control by the best fit, with its residuals said."""
    control = _control(inputs, reading.file, "positions")
    rules, checks = inputs.job.shots.positions, inputs.job.checks
    fit = localise(
        reading.shots,
        control,
        LocalisationRules(
            scale=rules.scale,
            vertical=rules.vertical,
            warn_h_m=checks.control_warn_h_m,
            warn_v_m=checks.control_warn_v_m,
            stop_h_m=checks.control_stop_h_m,
            stop_v_m=checks.control_stop_v_m,
        ),
    )
    shots = apply_localisation(fit, reading.shots)
    _, outside = beyond_control(fit, shots, allowed_m=rules.beyond_control_m)
    settled = {"not localised"} | ({"ellipsoid heights"} if rules.vertical != "none" else set())
    findings = tuple(one for one in reading.findings if one.kind not in settled)
    return replace(reading, shots=shots, findings=(*findings, *fit.findings, *outside))


def _control(inputs: Inputs, file: str, what: str) -> Shots:
    if inputs.control is None:
        raise InputError(file, f"{what} need the job's control", "name it as control = ...")
    return inputs.control


def in_pieces(scan: LargeScan, rules: Scans, _sums: tuple[str, ...] = ()) -> Reading:
    """A scan larger than memory, cleared and thinned: the points that `_thinned` would keep.

    ``_sums`` are those of the file's content: a result that was kept is of this file.
    """
    bare = BareEarthRules(step_m=rules.step_m, widest_m=rules.widest_m)
    wishes = Wishes(rules.cell_m, rules.keep, bare if rules.take_out_objects else None)
    with spilled(scan) as laid:
        extent = Extent(laid.least, laid.most)
        found = cleared_and_thinned(laid.pieces, extent, wishes, work)
        tally = laid.tally
    x, y, z, record = found.points
    shots = make_shots(
        x, y, z,
        files=(scan.path.name,),
        id=texts(str(number) for number in record.tolist()),
        code=texts([rules.code] * len(x)),
        line=record,
    )  # fmt: skip
    reading = reading_of(tally, shots)
    told = () if found.bare is None else taken_out(found.bare, reading.file)
    return replace(reading, findings=(*reading.findings, *told))


def _thinned(reading: Reading, rules: Scans) -> Reading:
    """A scan without what stands on the ground, one point a cell."""
    shots, findings = reading.shots, list(reading.findings)
    x, y = shots.easting - shots.easting.min(), shots.northing - shots.northing.min()
    rows = np.arange(len(shots))
    if rules.take_out_objects:
        # on the grid as it is, for the places are named to a person who goes there
        found = bare_earth(
            shots.easting, shots.northing, shots.elevation,
            BareEarthRules(step_m=rules.step_m, widest_m=rules.widest_m),
        )  # fmt: skip
        findings += taken_out(found, reading.file)
        rows = np.flatnonzero(found.ground)
    rows = rows[thin(x[rows], y[rows], shots.elevation[rows], rules.cell_m, keep=rules.keep)]
    kept = shots.take(rows)
    coded = replace(kept, code=texts([rules.code] * len(kept)))
    return replace(reading, shots=coded, findings=tuple(findings))
