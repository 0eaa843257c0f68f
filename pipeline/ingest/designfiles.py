"""Which design files a job has, read each by its own reader."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pipeline.errors import DesignError
from pipeline.ingest.design import read_alignment, read_profile, read_sections
from pipeline.ingest.job import job_path
from pipeline.ingest.landxml import read_landxml
from pipeline.model import (
    AlignmentRows,
    Finding,
    Findings,
    Mesh,
    ProfileRows,
    Reading,
    SectionTable,
)
from pipeline.settings import FileFormat, Job

_Named = TypeVar("_Named", AlignmentRows, ProfileRows, Mesh)


@dataclass(frozen=True, slots=True, eq=False)
class DesignFiles:
    """The design as read. ``meshes`` holds one mesh for each surface layer, by layer name."""

    alignment: AlignmentRows
    profile: ProfileRows
    sections: SectionTable | None
    meshes: dict[str, Mesh]
    paths: tuple[Path, ...]
    findings: Findings


def read_design(job: Job) -> DesignFiles:
    """Alignment, profile, section table and surface layers of the job.

    Raises
    ------
    DesignError
        A file is missing, cannot be read, or holds several things of which the
        job names none.
    """
    library = _Library(job)
    alignment = library.alignment(job.design.alignment, job.design.alignment_name)
    profile = library.profile(job.design.profile, job.design.profile_name or alignment.name)
    sections = None
    if any(not layer.file for layer in job.layers):
        sections = read_sections(library.path(job.design.sections, "design.sections"))
    meshes = {
        layer.name: library.mesh(layer.file, layer.surface) for layer in job.layers if layer.file
    }
    return DesignFiles(
        alignment, profile, sections, meshes, tuple(library.paths), tuple(library.findings)
    )


class _Library:
    """Each file is read once, however many things are taken from it."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.read: dict[Path, Reading] = {}
        self.paths: list[Path] = []
        self.findings: list[Finding] = []

    def path(self, relative: str, setting: str) -> Path:
        path = job_path(self.job, relative)
        if not path.is_file():
            raise DesignError(
                f"{relative} ({setting} of the job file)", "no such file", "put it there or name it"
            )
        if path not in self.paths:
            self.paths.append(path)
        return path

    def reading(self, path: Path) -> Reading:
        if path not in self.read:
            self.read[path] = read_landxml(path, FileFormat())
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

    def mesh(self, relative: str, name: str) -> Mesh:
        path = self.path(relative, "layers.file")
        return _pick(self.reading(path).meshes, name, path, "surface")


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
