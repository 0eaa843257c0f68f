"""What is measured, at which sizes, and what is wanted of it."""

from __future__ import annotations

from dataclasses import dataclass

SIZES = (1_000, 10_000, 100_000, 1_000_000)


@dataclass(frozen=True)
class Group:
    """Measurements that are compared: ours first, then peers; ``most`` is a case's largest size."""

    title: str
    cases: tuple[str, ...]
    sizes: tuple[int, ...] = SIZES
    most: dict[str, int] | None = None
    note: str = ""


GROUPS = (
    Group(
        "Whole run, scan to package",
        ("run lath", "run floor", "script triangulate", "script grid volume", "script texts",
         "script contours"),
        note="The script is the sum of its four steps.",
    ),
    Group("Triangulate", ("tin lath", "tin pythoncdt", "tin startinpy", "tin scipy")),
    Group(
        "Heights of 1 M places on the ground of n shots",
        ("heights lath", "heights lath compiled", "heights matplotlib", "heights scipy"),
        most={"heights matplotlib": 100_000},
        note="matplotlib's finder takes minutes to build on a million.",
    ),
    Group("Station and offset of n places, 40 elements", ("stations lath", "stations shapely")),
    Group(
        "Exact cut and fill, ground of n shots against 100 000 triangles",
        ("volume lath fine design", "volume lath fine design compiled",
         "volume shapely fine design"),
        sizes=(100_000, 1_000_000),
    ),
    Group(
        "The same against 5 200 triangles",
        ("volume lath coarse design", "volume lath coarse design compiled"),
        sizes=(100_000, 1_000_000),
    ),
    Group(
        "Lines of equal height, 0.05 m",
        ("isolines lath", "isolines lath compiled", "isolines matplotlib"),
    ),
    Group(
        "DXF with n marks and texts", ("dxf lath", "dxf ezdxf"), sizes=(1_000, 10_000, 100_000)
    ),
    Group(
        "Loading the compiled loops, once a process", ("compiled loops loaded",), sizes=(1_000,),
        note="The compiled cases above have theirs loaded. A run takes what is through sooner.",
    ),
    Group("All checks of n shots by hand", ("checks lath",), sizes=(1_000, 10_000, 100_000)),
)  # fmt: skip


@dataclass(frozen=True)
class Target:
    """A limit on seconds (``case`` at ``size``), or on a ratio of two cases or sizes."""

    text: str
    case: str
    size: int
    limit: float
    over: str = ""
    over_size: int = 0
    memory: bool = False
    wall: bool = False
    at_least: bool = False


SCRIPT = ("script triangulate", "script grid volume", "script texts", "script contours")
TARGETS = (
    Target("station and offset of 1 M places under 0.3 s", "stations lath", 1_000_000, 0.3),
    Target("1 M heights on 2 M triangles under 1 s (loops loaded)", "heights lath compiled",
           1_000_000, 1.0),
    Target("- by numpy alone", "heights lath", 1_000_000, 1.0),
    Target("2 M against 100 000 triangles under 1.5 s (loops loaded, wall time)",
           "volume lath fine design compiled", 1_000_000, 1.5, wall=True),
    Target("- in processor time", "volume lath fine design compiled", 1_000_000, 1.5),
    Target("- by numpy alone", "volume lath fine design", 1_000_000, 1.5),
    Target("lines at 0.05 m on 2 M triangles under 0.3 s (loops loaded)", "isolines lath compiled",
           1_000_000, 0.3),
    Target("- by numpy alone", "isolines lath", 1_000_000, 0.3),
    Target("DXF with 100 000 marks under 3 s", "dxf lath", 100_000, 3.0),
    Target("1 M shots, at most 2 x reading and pythoncdt", "run lath", 1_000_000, 2.0,
           over="run floor", over_size=1_000_000),
    Target("1 M shots, at least 50 x the script", "script", 1_000_000, 50.0,
           over="run lath", over_size=1_000_000, at_least=True),
    Target("100 k to 1 M shots, at most 12 x in time", "run lath", 1_000_000, 12.0,
           over="run lath", over_size=100_000),
    Target("100 k to 1 M shots, at most 11 x in memory", "run lath", 1_000_000, 11.0,
           over="run lath", over_size=100_000, memory=True),
)  # fmt: skip
