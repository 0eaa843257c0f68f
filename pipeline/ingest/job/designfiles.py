"""Which design files a job has, read each by its own reader."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from pipeline.errors import DesignError
from pipeline.ingest.files import read
from pipeline.ingest.job.design import read_alignment, read_profile
from pipeline.ingest.job.job import job_path
from pipeline.ingest.job.morning import Seen, see
from pipeline.ingest.job.sections import read_sections
from pipeline.model import (
    AlignmentRows,
    Finding,
    Findings,
    Floats,
    Linework,
    Mesh,
    ProfileRows,
    Reading,
    SectionTable,
)
from pipeline.settings import FileFormat, Job
from pipeline.settings_design import EdgeLineRules, StreetRules

_Named = TypeVar("_Named", AlignmentRows, ProfileRows, Mesh)


@dataclass(frozen=True, slots=True, eq=False)
class LineFiles:
    """One more street, or the edge of a bulb or an eyebrow, as read."""

    alignment: AlignmentRows
    profile: ProfileRows
    sections: SectionTable


@dataclass(frozen=True, slots=True, eq=False)
class DesignFiles:
    """The design as read.

    ``meshes`` holds the faces or the strings of each surface layer, by layer name, ``patches``
    those of each patch, ``lines`` the other streets and edges by name, ``ties`` the shots of
    the existing edge of each tie, in the order of the job file.
    """

    alignment: AlignmentRows
    profile: ProfileRows
    sections: SectionTable | None
    meshes: dict[str, Mesh | Linework]
    seen: tuple[Seen, ...]
    findings: Findings
    lines: dict[str, LineFiles]
    patches: dict[str, Mesh | Linework]
    ties: tuple[Floats, ...]


def read_design(job: Job) -> DesignFiles:
    """Alignment, profile, section table, surface layers and every other part of the job.

    Raises
    ------
    DesignError
        A file is missing, cannot be read, or holds several things of which the
        job names none; two parts have one name.
    """
    library = _Library(job)
    design = job.design
    _check_names(job)
    alignment = library.alignment(design.alignment, design.alignment_name)
    profile = library.profile(design.profile, design.profile_name or alignment.name)
    sections = None
    if any(not (layer.file or layer.below) for layer in job.layers):
        sections = read_sections(library.path(design.sections, "design.sections"))
    meshes = {
        layer.name: library.faces(layer.file, layer.surface) for layer in job.layers if layer.file
    }
    lines = {
        street.name: library.line(street, street.alignment_name, street.profile_name)
        for street in design.streets
    }
    lines |= {edge.name: library.line(edge, "", "") for edge in design.edges}
    patches = {patch.name: library.faces(patch.file, patch.surface) for patch in design.patches}
    ties = tuple(library.shots(tie.file) for tie in design.ties)
    return DesignFiles(
        alignment, profile, sections, meshes, tuple(library.seen.values()), tuple(library.findings),
        lines, patches, ties,
    )  # fmt: skip


def _check_names(job: Job) -> None:
    """Refuse two parts of one name, and a part that names another that is not there."""
    design = job.design
    names = ["main"]
    for parts in (design.streets, design.returns, design.edges, design.patches):
        names += [part.name for part in parts]
    called = [*names, design.name] if design.name else names
    for name in called:
        if called.count(name) > 1:
            raise DesignError(
                f"part {name!r} of the job file", "two parts have this name", "rename one"
            )
    streets = {"main", *(street.name for street in design.streets)}
    wanted = [(one.name, name) for one in design.returns for name in
              (one.from_street, one.to_street)]  # fmt: skip
    wanted += [(edge.name, edge.street) for edge in design.edges]
    wanted += [(street.name, warp.onto) for street in design.streets for warp in street.warps]
    wanted += [("tie", tie.street) for tie in design.ties]
    for part, name in wanted:
        if name not in streets:
            raise DesignError(
                f"part {part!r} of the job file", f"it names the street {name!r}; there are "
                + ", ".join(sorted(streets)), "name one of them",
            )  # fmt: skip
    for name in design.priority:
        if name not in names:
            raise DesignError(
                "design.priority of the job file", f"it names {name!r}; there are "
                + ", ".join(names), "name parts of the job",
            )  # fmt: skip


class _Library:
    """Each file is read once, however many things are taken from it."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.read: dict[Path, Reading] = {}
        self.seen: dict[Path, Seen] = {}
        self.findings: list[Finding] = []

    def path(self, relative: str, setting: str) -> Path:
        path = job_path(self.job, relative)
        if not path.is_file():
            raise DesignError(
                f"{relative} ({setting} of the job file)", "no such file", "put it there or name it"
            )
        self.seen.setdefault(path, see(path))
        return path

    def reading(self, path: Path) -> Reading:
        if path not in self.read:
            self.read[path] = read(path, FileFormat())
            self.findings.extend(self.read[path].findings)
        return self.read[path]

    def alignment(self, relative: str, name: str) -> AlignmentRows:
        path = self.path(relative, "design.alignment")
        if path.suffix.lower() == ".csv":
            return read_alignment(path)
        return _pick(self.reading(path).alignments, name, path, "alignment")

    def profile(self, relative: str, name: str) -> ProfileRows:
        path = self.path(relative, "design.profile")
        if path.suffix.lower() == ".csv":
            return read_profile(path)
        pairs = self.reading(path).profiles
        of_alignment = tuple(rows for owner, rows in pairs if name in (owner, rows.name))
        return _pick(of_alignment or tuple(rows for _, rows in pairs), "", path, "profile")

    def line(self, rules: StreetRules | EdgeLineRules, alignment: str, profile: str) -> LineFiles:
        rows = self.alignment(rules.alignment, alignment)
        return LineFiles(
            replace(rows, name=rules.name),
            self.profile(rules.profile, profile or rows.name),
            read_sections(self.path(rules.sections, "sections")),
        )

    def faces(self, relative: str, name: str) -> Mesh | Linework:
        """The faces of a file, or its strings where it has no faces."""
        path = self.path(relative, "file")
        reading = self.reading(path)
        if not reading.meshes and len(reading.lines):
            return reading.lines
        return _pick(reading.meshes, name, path, "surface")

    def shots(self, relative: str) -> Floats:
        """Easting, northing, elevation of the points of a file [m], shape (n, 3)."""
        shots = self.reading(self.path(relative, "design.ties.file")).shots
        return np.stack([shots.easting, shots.northing, shots.elevation], axis=1)


def _pick(candidates: tuple[_Named, ...], name: str, path: Path, noun: str) -> _Named:
    chosen = [one for one in candidates if not name or one.name == name]
    if len(chosen) == 1:
        return chosen[0]
    names = ", ".join(repr(one.name) for one in candidates) or "none"
    raise DesignError(
        path.name,
        f"{len(chosen)} {noun}s{f' called {name!r}' if name else ''}; the file holds {names}",
        f"name one {noun} in the job file",
    )
