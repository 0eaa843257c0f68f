"""What one file gave."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.model.crosssections import CrossSection
from pipeline.model.design import AlignmentRows, ProfileRows
from pipeline.model.ground import Linework, Mesh
from pipeline.model.shots import Findings, Shots


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one file gave: any of shots, lines, meshes, alignments and profiles."""

    file: str
    format: str
    version: str
    unit: str
    crs: str
    shots: Shots
    lines: Linework
    meshes: tuple[Mesh, ...] = ()
    alignments: tuple[AlignmentRows, ...] = ()
    profiles: tuple[tuple[str, ProfileRows], ...] = ()
    """(name of the alignment, profile)."""
    cross_sections: tuple[CrossSection, ...] = ()
    findings: Findings = ()
    refused: int = 0
    """Rows that could not be used; each is among the findings."""


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """What a file was when it was read: name, size, SHA-256 of its bytes."""

    file: str
    bytes: int
    sha256: str
