"""Drawings in DXF, text or binary, R12 and later: points, breaklines, rings and faces in metres.

What the layers mean is the job's to say (`FileFormat.layers`). Words beside a point
are not taken for its name: which belongs to which would be a guess. Whatever is not
read is listed with its count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.dxf.about import about_drawing, bad_entities, layer_counts
from pipeline.ingest.dxf.faces import WELD_M, split, stacked, weld
from pipeline.ingest.dxf.lines import RINGS, Bad, judge_lines, why_unusable
from pipeline.ingest.dxf.load import Loaded, load
from pipeline.ingest.dxf.shapes import UnusableError
from pipeline.ingest.dxf.units import unit_of
from pipeline.ingest.dxf.walk import Gathered, Origin, Walk
from pipeline.ingest.limits import no_height, no_place, zero_heights
from pipeline.ingest.same_points import match
from pipeline.ingest.source import INVISIBLE, shown
from pipeline.model import (
    Bools,
    Finding,
    Floats,
    Ints,
    Linework,
    Mesh,
    Reading,
    Severity,
    Shots,
    Texts,
    make_shots,
    texts,
)
from pipeline.settings import FileFormat

SAGITTA_M = 0.001
"""An arc is read as chords that stay within this of it."""


def read_dxf(path: Path, fmt: FileFormat) -> Reading:
    """Points, lines and faces of a drawing, in metres.

    Parameters
    ----------
    path : Path
        DXF as text or binary.
    fmt : FileFormat
        ``layers`` says what lies where. ``unit`` counts where the file states none,
        and must agree with it where it does. ``surface`` names the layer whose
        faces are ground, where several have some.

    Returns
    -------
    Reading
        ``shots``: ``POINT`` entities, called by file and handle, their code the
        layer; then, where one layer has faces, those of their corners (``F`` and a
        number) that are no such point. ``lines``: polylines, arcs as chords within
        `SAGITTA_M`, and loose pieces joined where their ends are the same; ``name``
        is the layer, ``point`` the shot at a vertex. ``meshes``: one a layer, corners
        within `faces.WELD_M` being one. ``findings``: what was left out, counted.

    Raises
    ------
    InputError
        Damaged, too large, in a unit that contradicts `fmt`, blocks that never end,
        or nothing on the layers that `fmt` names.

    Notes
    -----
    A line at height 0 is taken to have none, unless its layer is said to hold
    breaklines: flat drawings lie there. A flat ring is laid on the ground. Four-sided
    faces are split along the shorter diagonal. The library takes some 70 µs an entity.
    """
    loaded = load(path)
    unit, metres, about = unit_of(loaded.unit_code, loaded.metric, fmt, loaded.file)
    reader = _Reader(loaded, fmt, metres, shown(path.stem, 80))
    return reader.reading(unit, about)


def judge(loaded: Loaded, metres: float) -> tuple[Reading, Gathered]:
    """All layers of a document as ground, and what was gathered for it; the unit is not judged."""
    reader = _Reader(loaded, FileFormat(), metres, Path(loaded.file).stem)
    return reader.reading("", []), reader.found


@dataclass(slots=True)
class _Reader:
    """Judges what was gathered and puts the reading together."""

    loaded: Loaded
    fmt: FileFormat
    metres: float
    stem: str
    bad: list[Bad] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    roles: dict[str, str | None] = field(default_factory=dict)
    found: Gathered = field(default_factory=Gathered)

    # what overflows lies on no grid and is listed by its handle
    @np.errstate(over="ignore", invalid="ignore")
    def reading(self, unit: str, about: list[Finding]) -> Reading:
        """All that is drawn, judged [m]; `about` is what there is to say of the unit."""
        self.findings = [*self.loaded.findings, *about]
        found = self.found = Walk(self.loaded, self.reads, SAGITTA_M / self.metres).run()
        self._refuse_nothing(found)
        self.bad += [(origin, "bad row", text) for origin, text in found.bad]
        judged = judge_lines(found, self.role, self.metres)
        self.bad += judged.bad
        points = self._points(found)
        meshes = self._meshes(found)
        shots = self._shots(*points, meshes)
        self.findings += about_drawing(self.loaded, found, judged)
        self._about_points(shots)
        self._about_patterns(found)
        return Reading(
            file=self.loaded.file,
            format="DXF",
            version=self.loaded.version,
            unit=unit,
            crs="",
            shots=shots,
            lines=_through(judged.lines, shots),
            meshes=meshes,
            findings=(*self.findings, *bad_entities(self.bad, self.loaded.file)),
            refused=len(self.bad),
        )

    def say(self, severity: Severity, kind: str, text: str, do: str) -> None:
        """One more finding about the file."""
        file = self.loaded.file
        self.findings.append(Finding(severity, kind, f"{file}: {text}", do, file=file))

    # ---- layers

    def role(self, layer: str) -> str | None:
        """What lies on a layer; None: it is not read."""
        if not self.fmt.layers:
            return "ground"
        if layer not in self.roles:
            self.roles[layer] = next(
                (what for pattern, what in self.fmt.layers.items() if _fits(layer, pattern)), None
            )
        return self.roles[layer]

    def reads(self, layer: str, kind: str) -> bool:
        """Whether a kind of shape on a layer is read."""
        role = self.role(layer)
        return role is not None and (role not in RINGS or kind in ("line", "loose"))

    def _refuse_nothing(self, found: Gathered) -> None:
        if found.left and not found.used_layers and not found.bad:
            raise InputError(
                self.loaded.file,
                f"nothing on the layers of the job file; there are {layer_counts(found.left)}",
                "name the layers of the ground in the job file's format",
            )

    def _about_patterns(self, found: Gathered) -> None:
        layers = {*found.used_layers, *(layer for layer, _ in found.left)}
        idle = [
            pattern
            for pattern in self.fmt.layers
            if not any(_fits(layer, pattern) for layer in layers)
        ]
        if idle:
            named = ", ".join(f'"{shown(pattern)}"' for pattern in idle)
            do = "compare the names of the layers with the job file"
            self.say("person", "layer missing", f"nothing is drawn on layers {named}", do)

    # ---- points

    def _points(self, found: Gathered) -> tuple[Floats, list[Origin]]:
        """Usable points [m]."""
        if not found.points:
            return np.empty((0, 3)), []
        raw = np.concatenate(found.points)
        xyz = raw * self.metres + 0.0
        lost, high, zero = _no_places(raw, xyz)
        for k in np.flatnonzero(lost | high | zero).tolist():
            kind, text = "no height", f"{raw[k, 2]:g} stands for no height"
            if lost[k]:
                kind, text = "bad row", f"E {raw[k, 0]:g}, N {raw[k, 1]:g} lies on no grid"
            elif zero[k]:
                text = "a height of exactly 0, while all others are far from it"
            self.bad.append((found.point_of[k], kind, text))
        keep = np.flatnonzero(~(lost | high | zero))
        return xyz[keep], [found.point_of[k] for k in keep]

    def _shots(self, xyz: Floats, origin: Sequence[Origin], meshes: tuple[Mesh, ...]) -> Shots:
        ids = _unique([f"{self.stem}:{one.handle}" for one in origin])
        code = texts(one.layer for one in origin)
        line: Ints = np.array([one.line for one in origin], dtype=np.int64)
        if len(meshes) == 1:
            mesh = meshes[0]
            corner = np.column_stack([mesh.easting, mesh.northing, mesh.elevation])
            fresh = ~_is_among(corner, xyz)
            xyz = np.concatenate([xyz, corner[fresh]])
            ids = np.concatenate([ids, texts(f"{self.stem}:F{one}" for one in mesh.id[fresh])])
            code = np.concatenate([code, texts([mesh.name] * int(fresh.sum()))])
            line = np.concatenate([line, np.zeros(int(fresh.sum()), dtype=np.int64)])
        east, north, up = xyz.T
        files = (self.loaded.file,)
        return make_shots(east, north, up, files=files, id=ids, code=code, line=line)

    def _about_points(self, shots: Shots) -> None:
        if len(shots) and not shots.elevation.any():
            text = f"the height of all {len(shots)} points is 0: places, not levels"
            self.say("person", "zero heights", text, "do not use them as ground")

    # ---- faces

    def _meshes(self, found: Gathered) -> tuple[Mesh, ...]:
        """A mesh of each layer that has faces, or of the one that `fmt` names."""
        by_layer: dict[str, list[Floats]] = {}
        warps = []
        why = self._wrong_corners(found.polygons)
        for k, (polygon, origin) in enumerate(zip(found.polygons, found.polygon_of, strict=True)):
            if k in why:
                self.bad.append((origin, *why[k]))
                continue
            try:
                made = split(polygon)
            except UnusableError as error:
                self.bad.append((origin, "bad row", str(error)))
                continue
            by_layer.setdefault(origin.layer, []).extend(made.triangles)
            if len(made.triangles) == 2:
                warps.append(made.warp * self.metres)
        self._about_warps(warps)
        if self.fmt.surface is not None:
            by_layer = {self.fmt.surface: self._one_layer(by_layer, self.fmt.surface)}
        made_meshes = [self._mesh(layer, stacked(rows)) for layer, rows in by_layer.items()]
        meshes = tuple(mesh for mesh in made_meshes if len(mesh.triangles))
        if len(meshes) > 1:
            quoted = ", ".join(f'"{shown(mesh.name)}"' for mesh in meshes)
            text = f"faces on {len(meshes)} layers ({quoted}): their corners are not taken as shots"
            do = "name the ground with surface in the job file, or leave layers out"
            self.say("person", "several surfaces", text, do)
        return meshes

    def _one_layer(self, by_layer: dict[str, list[Floats]], name: str) -> list[Floats]:
        if name not in by_layer:
            named = ", ".join(f'"{shown(layer)}"' for layer in by_layer) or "none"
            raise InputError(
                self.loaded.file,
                f'no faces on layer "{shown(name)}"; there are faces on {named}',
                "name one of them in the job file",
            )
        return by_layer[name]

    def _wrong_corners(self, polygons: Sequence[Floats]) -> dict[int, tuple[str, str]]:
        """(kind, text) of each polygon with a corner that cannot be used."""
        if not polygons:
            return {}
        raw = np.concatenate(polygons)
        of = np.repeat(np.arange(len(polygons)), [len(polygon) for polygon in polygons])
        return why_unusable(of, _no_places(raw, raw * self.metres))

    def _mesh(self, layer: str, raw: Floats) -> Mesh:
        welded = weld(raw * self.metres, layer)
        mesh = welded.mesh
        for count, what in (
            (welded.thin, "without three corners apart from each other"),
            (welded.twice, "that stand there before"),
        ):
            if count:
                text = f'layer "{shown(layer)}": {count} triangles {what} are left out'
                self.say("note", "bad face", text, "nothing, if the surface looks whole")
        if len(mesh.triangles) and not mesh.elevation.any():
            text = f'layer "{shown(layer)}": all faces are at height 0: places, not levels'
            self.say("person", "zero heights", text, "do not use them as ground")
        return mesh

    def _about_warps(self, warps: list[float]) -> None:
        if warps:
            text = (
                f"{len(warps)} four-sided faces are split along their shorter diagonal;"
                f" the other would lie up to {max(warps):.3f} m off"
            )
            severity: Severity = "person" if max(warps) > 0.01 else "note"
            self.say(severity, "split faces", text, "export triangles if it matters there")


def _fits(layer: str, pattern: str) -> bool:
    """Names of layers do not know capitals."""
    return fnmatchcase(layer.casefold(), pattern.casefold())


def _no_places(raw: Floats, xyz: Floats) -> tuple[Bools, Bools, Bools]:
    """Points on no grid, without a height, and at a zero that stands for none."""
    lost = no_place(xyz[:, 0], xyz[:, 1])
    high = no_height(raw[:, 2], xyz[:, 2]) & ~lost
    good = ~(lost | high)
    zero = np.zeros(len(xyz), dtype=np.bool_)
    zero[good] = zero_heights(xyz[good, 2])
    return lost, high, zero


def _unique(names: Sequence[str]) -> Texts:
    """The names, a number behind every one that was there before."""
    seen: dict[str, int] = {}
    listed = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        listed.append(name if seen[name] == 1 else f"{name}.{seen[name]}")
    return texts(INVISIBLE.sub(" ", name) for name in listed)


def _is_among(points: Floats, among: Floats) -> Bools:
    """True for points that are one of `among`, to `WELD_M`."""
    row = match(points, among)
    near: Bools = row >= 0
    near[near] = np.abs(points[near] - among[row[near]]).max(axis=1, initial=0.0) <= WELD_M
    return near


def _through(lines: Linework, shots: Shots) -> Linework:
    """The lines, each vertex knowing the shot that stands there."""
    places = np.column_stack([shots.easting, shots.northing, shots.elevation])
    corner = np.column_stack([lines.easting, lines.northing, lines.elevation])
    high = np.flatnonzero(np.isfinite(corner[:, 2]))
    point = np.full(len(corner), -1, dtype=np.int64)
    row = match(corner[high], places)
    row[~_is_among(corner[high], places)] = -1
    point[high] = row
    return Linework(
        lines.easting, lines.northing, lines.elevation, point, lines.start, lines.name, lines.kind
    )
