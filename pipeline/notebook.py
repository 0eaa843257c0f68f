"""The house from Python: few functions, for a notebook or a script of one's own.

``from pipeline import run_day, cut_and_fill`` and their like lead here. Each is the
stage that ``lath run`` uses, with the paths and the defaults that a person would want.
"""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from numpy.typing import ArrayLike

from pipeline import publish, run
from pipeline.compare import overlay, quantities
from pipeline.ingest import files
from pipeline.ingest.job.inputs import read_before_shots
from pipeline.ingest.job.job import read_job
from pipeline.ingest.job.morning import days
from pipeline.model import NO_LINES, Corridor, Floats, Linework, Quantity, Reading, Shots, Surface
from pipeline.settings import DesignRules, FileFormat, SurfaceRules
from pipeline.surface import locate, tin
from pipeline.units import Unit


def run_day(job: str | PathLike[str], day: str | None = None) -> run.Day:
    """Everything that a morning's shots tell: ground, design, cut and fill, lists, findings.

    Parameters
    ----------
    job : path
        The job folder.
    day : str, optional
        Folder of the day's shots; the latest if not given.

    Raises
    ------
    LathError
        An input or the design cannot be used; the message says which and what to do.
    """
    return publish.complete(run.run_day(Path(job), day, run.Stopwatch()))


def write_package(day: run.Day, out: str | PathLike[str] | None = None) -> Path:
    """Write the crew's package of a day, all or nothing; its folder.

    Raises
    ------
    OutputError
        It cannot be written; an earlier package is unchanged.
    """
    return publish.deliver(day, None if out is None else Path(out)).folder


def job_days(job: str | PathLike[str]) -> tuple[str, ...]:
    """The days that a job has shots of, the earliest first."""
    return tuple(days(read_job(Path(job))))


def read_file(
    path: str | PathLike[str], *, unit: Unit = "m", columns: dict[str, str] | None = None
) -> Reading:
    """Shots, lines, surfaces and alignments of any file that Lath reads.

    Parameters
    ----------
    path : path
        Table of points, LandXML, LAS, LAZ or DXF.
    unit : {"m", "ft", "ftUS"}
        Unit of a table; the other formats state their own.
    columns : dict, optional
        Our column -> the header's word, where the header's words are not known.

    Raises
    ------
    InputError
        The file cannot be used.
    """
    return files.read(Path(path), FileFormat(unit=unit, columns=columns))


def make_ground(shots: Shots, lines: Linework = NO_LINES, *, max_edge_m: float = 15.0) -> Surface:
    """The ground in triangles, with `lines` as its breaklines.

    Triangles at the outside with an edge longer than `max_edge_m` span ground that
    nobody shot and are left out.

    Raises
    ------
    SurfaceError
        No triangle can be made.
    """
    surface, _ = tin.build(shots, lines, SurfaceRules(max_edge_m=max_edge_m))
    return surface


def read_design(job: str | PathLike[str]) -> Corridor:
    """The design of a job; no shots are needed.

    Raises
    ------
    JobError, DesignError
        The job file or a design file cannot be used.
    """
    corridor, _ = run.build_corridor(read_before_shots(Path(job)))
    return corridor


def layer_surface(design: Corridor, layer: str) -> Surface:
    """One layer of a design in triangles that follow its curves to 2 mm.

    Raises
    ------
    KeyError
        The design has no such layer.
    """
    return run.layer_surface(design, design.layer(layer), DesignRules())


def cut_and_fill(ground: Surface, design: Surface) -> Quantity:
    """Cut and fill between two surfaces, exact, and the area where only the design is known."""
    found = overlay.overlay(ground, design)
    return quantities.quantity(design.name, found, tin.area(design))


def heights_at(surface: Surface, easting: ArrayLike, northing: ArrayLike) -> Floats:
    """Elevations of a surface at n places [m], NaN where it does not reach; shape (n,)."""
    return locate.interpolate(surface, easting, northing)
