"""One measurement each: what is to be timed, and how large a part of the whole it is.

A case gets a size, prepares, and returns (work, part): ``work()`` is timed, and its time
divided by ``part`` stands for the whole where a peer would take minutes.
"""

from __future__ import annotations

import importlib
import io
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks import inputs, jobs
from pipeline.model import NO_LINES, make_shots

Case = Callable[[int], tuple[Callable[[], object], float]]
CASES: dict[str, Case] = {}


def case(function: Case) -> Case:
    CASES[function.__name__.replace("_", " ")] = function
    return function


# loops that have two forms

BREAK_EVENS = ("compare.overlay", "compare.quantities", "surface.locate", "surface.contour")


def _form(compiled: bool) -> None:
    """One form for every size, whatever would be chosen."""
    for place in BREAK_EVENS:
        importlib.import_module(f"pipeline.{place}").BREAK_EVEN = 0 if compiled else 1 << 62


def _small() -> None:
    """Each compiled loop once, on little."""
    from pipeline.compare import overlay, quantities
    from pipeline.surface import contour, locate

    s = inputs.design(2600)
    quantities.parts(overlay.overlay(s, s))
    locate.interpolate(s, s.x, s.y)
    contour.isolines(s.x, s.y, s.z, s.triangles, [0.0], s.neighbours)


def _compiled(made: Case) -> Case:
    """The same case by compiled loops that are loaded already; what loading takes is a case too."""

    def compiled(n: int):
        __import__("numba")
        work, part = made(n)
        _form(True)
        _small()
        return work, part

    compiled.__name__ = f"{made.__name__}_compiled"
    return case(compiled)


@case
def compiled_loops_loaded(_n: int):
    """numba and every loop, as the first of a process has them; kept compiled by an earlier one."""
    _form(True)
    inputs.design(2600)
    command = "import benchmarks.cases as c; c._form(True); c._small()"
    subprocess.run([sys.executable, "-c", command], check=True)
    return _small, 1.0


# the whole run


def _job(n: int) -> Path:
    folder = inputs.KEPT / f"scan-{n}"
    if not (folder / "job.toml").exists():
        jobs.scan_job(folder, n)
    return folder


@case
def run_lath(n: int):
    job, out = _job(n), inputs.KEPT / "out"

    def work():
        from pipeline import publish
        from pipeline.run import Stopwatch, run_day
        from pipeline.running import keep_freed_memory

        keep_freed_memory()
        publish.deliver(publish.complete(run_day(job, None, Stopwatch())), out)

    return work, 1.0


@case
def run_floor(n: int):
    """Reading the file, and pythoncdt on what it holds."""
    path = next((_job(n) / "shots" / jobs.DAY).iterdir())

    def work():
        import laspy
        import pythoncdt

        xyz = laspy.read(path).xyz
        cdt = pythoncdt.Triangulation(
            pythoncdt.VertexInsertionOrder.AUTO,
            pythoncdt.IntersectingConstraintEdges.NOT_ALLOWED,
            0.0,
        )
        cdt.insert_vertices(np.unique(xyz[:, :2] - xyz[0, :2].round(), axis=0))
        cdt.erase_super_triangle()
        return cdt.triangles_array(copy=False)

    return work, 1.0


# the script that a competent person would write, in its four steps


@case
def script_triangulate(n: int):
    path = next((_job(n) / "shots" / jobs.DAY).iterdir())

    def work():
        import laspy
        from scipy.spatial import Delaunay

        xyz = laspy.read(path).xyz
        return Delaunay(xyz[:, :2] - xyz[0, :2])

    return work, 1.0


@case
def script_grid_volume(n: int):
    """Both surfaces on a grid of 0.25 m; one row of cells in so many of a large one."""
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import Delaunay

    x, y, z = inputs.points(n)
    mesh = Delaunay(np.stack([x, y], axis=1))
    few = inputs.points(1000)
    grid = np.meshgrid(np.arange(x.min(), x.max(), 0.25), np.arange(y.min(), y.max(), 0.25))
    every = max(1, n // 20_000)
    part = [axis[::every] for axis in grid]

    def work():
        ground = LinearNDInterpolator(mesh, z)(*part)
        design = LinearNDInterpolator(few[:2].T, few[2])(*part)
        off = np.nan_to_num(ground - design) * 0.0625
        return off.clip(0).sum(), off.clip(max=0).sum()

    return work, part[0].size / grid[0].size


@case
def script_texts(n: int):
    """One text a shot, and no more, with the library's own calls."""
    x, y, z = inputs.points(n)
    few = min(n, 50_000)

    def work():
        import ezdxf

        document = ezdxf.new("R2010")
        space = document.modelspace()
        for a, b, c in zip(x[:few].tolist(), y[:few].tolist(), z[:few].tolist(), strict=True):
            space.add_point((a, b, c))
            space.add_text(f"{c:.3f}", height=0.5).set_placement((a, b))
        document.write(io.StringIO())

    return work, few / n


@case
def script_contours(n: int):
    x, y, z = inputs.points(n)
    levels = np.arange(np.floor(z.min()), z.max(), 0.05)
    few = levels[:: max(1, n // 50_000)]

    def work():
        import matplotlib as mpl

        mpl.use("Agg")
        import matplotlib.pyplot as plt

        return plt.tricontour(x, y, z, levels=few)

    return work, len(few) / len(levels)


# stages


@case
def tin_lath(n: int):
    from pipeline.surface import tin

    shots = make_shots(*inputs.points(n))
    return lambda: tin.build(shots, NO_LINES, inputs.NO_MERGING), 1.0


@case
def tin_pythoncdt(n: int):
    import pythoncdt

    plan = np.ascontiguousarray(inputs.points(n)[:2].T)

    def work():
        cdt = pythoncdt.Triangulation(
            pythoncdt.VertexInsertionOrder.AUTO,
            pythoncdt.IntersectingConstraintEdges.NOT_ALLOWED,
            0.0,
        )
        cdt.insert_vertices(plan)
        cdt.erase_super_triangle()

    return work, 1.0


@case
def tin_scipy(n: int):
    from scipy.spatial import Delaunay

    plan = inputs.points(n)[:2].T
    return lambda: Delaunay(plan), 1.0


@case
def tin_startinpy(n: int):
    import startinpy

    rows = np.ascontiguousarray(inputs.points(n).T)

    def work():
        dt = startinpy.DT()
        dt.insert(rows, insertionstrategy="BBox")

    return work, 1.0


@case
def heights_lath(n: int):
    from pipeline.surface import locate

    surface, at = inputs.ground(n), inputs.queries(1_000_000)
    _form(False)
    return lambda: locate.interpolate(surface, *at), 1.0


_compiled(heights_lath)


@case
def heights_scipy(n: int):
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import Delaunay

    x, y, z = inputs.points(n)
    made = LinearNDInterpolator(Delaunay(np.stack([x, y], axis=1)), z)
    few = 10_000
    at = inputs.queries(few)
    return lambda: made(*at), few / 1_000_000


@case
def heights_matplotlib(n: int):
    """Its finder is built within the time, as ours is; one query in ten."""
    from matplotlib import tri

    surface = inputs.ground(n)
    mesh = tri.Triangulation(surface.x, surface.y, surface.triangles)
    at = inputs.queries(100_000)

    def work():
        return tri.LinearTriInterpolator(mesh, surface.z)(*at)

    return work, 0.1


@case
def stations_lath(n: int):
    from pipeline.design import feet

    line = inputs.line_of_40()
    at = inputs.beside_line(line, n)
    return lambda: feet.locate(line, *at), 1.0


@case
def stations_shapely(n: int):
    """Chords of 0.5 m: up to 0.3 m off, where ours is exact."""
    import shapely

    from pipeline.design import alignment

    line = inputs.line_of_40()
    few = min(n, 20_000)
    at = inputs.beside_line(line, few)
    east, north, _ = alignment.point_at(line, np.arange(line.station[0], line.station[-1], 0.5))
    chords = shapely.LineString(np.stack([east, north], axis=1))
    shapely.prepare(chords)
    return lambda: shapely.line_locate_point(chords, shapely.points(*at)), few / n


def _overlay(n: int, design: int):
    from pipeline.compare import overlay, quantities
    from pipeline.surface import tin

    above, below = inputs.ground(n), inputs.design(design)
    area = tin.area(below)
    _form(False)
    return lambda: quantities.quantity("x", overlay.overlay(above, below), area), 1.0


@case
def volume_lath_coarse_design(n: int):
    return _overlay(n, 2600)


_compiled(volume_lath_coarse_design)


@case
def volume_lath_fine_design(n: int):
    return _overlay(n, 50_000)


_compiled(volume_lath_fine_design)


@case
def volume_shapely_fine_design(n: int):
    """Pair by pair with a polygon library, on a part of the ground's triangles."""
    import shapely

    above, below = inputs.ground(n), inputs.design(50_000)
    shift = above.origin - below.origin
    few = min(len(above.triangles), 5_000)
    rows = np.linspace(0, len(above.triangles) - 1, few).astype(np.int64)

    def corners(surface, triangles, shift):
        at = np.stack([surface.x + shift[0], surface.y + shift[1]], axis=1)[triangles]
        return shapely.polygons(at)

    def work():
        tree = shapely.STRtree(corners(below, below.triangles, (0.0, 0.0)))
        part = corners(above, above.triangles[rows], shift)
        a, b = tree.query(part, predicate="intersects")
        pieces = shapely.intersection(part[a], tree.geometries[b])
        return shapely.area(pieces).sum()

    return work, few / len(above.triangles)


def _levels(z):
    return np.arange(np.floor(z.min()), z.max(), 0.05)


@case
def isolines_lath(n: int):
    from pipeline.surface.contour import isolines

    s = inputs.ground(n)
    _form(False)
    return lambda: isolines(s.x, s.y, s.z, s.triangles, _levels(s.z), s.neighbours), 1.0


_compiled(isolines_lath)


@case
def isolines_matplotlib(n: int):
    from matplotlib import _tri, tri

    s = inputs.ground(n)
    mesh = tri.Triangulation(s.x, s.y, s.triangles)
    levels = _levels(s.z)
    few = levels[:: max(1, n // 50_000)]

    def work():
        made = _tri.TriContourGenerator(mesh.get_cpp_triangulation(), s.z)
        return [made.create_contour(level) for level in few]

    return work, len(few) / len(levels)


@case
def dxf_lath(n: int):
    from pipeline.deliver.dxf import dxf_bytes
    from pipeline.model import Drawing, Marks, Picture, Words, texts

    x, y, z = inputs.points(n)
    words = Words("text-shot", texts(f"{v:.3f}" for v in z), x, y, np.full(n, 0.5), np.zeros(n))
    marks = Marks("mark-shot", "plus", 0.5, x, y, z)
    picture = Picture(words=(words,), marks=(marks,))
    return lambda: dxf_bytes(Drawing("marks", picture)), 1.0


@case
def dxf_ezdxf(n: int):
    return script_texts(n)


@case
def checks_lath(n: int):
    """Every check of n shots by hand."""
    folder = inputs.KEPT / f"hand-{n}"
    if not (folder / "job.toml").exists():
        jobs.hand_job(folder, n)

    from pipeline.ingest.job.inputs import read_inputs
    from pipeline.judging import judge
    from pipeline.ongrid import on_grid
    from pipeline.run import build_corridor

    read = read_inputs(folder, None)
    design, placed = build_corridor(read), on_grid(read)
    return lambda: judge(read, placed, design), 1.0
