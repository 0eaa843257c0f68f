"""Plan, profile and cross-sections as PNG and SVG, for those who only look.

matplotlib draws them; it is not needed for anything else and is imported here,
inside the functions. The same day gives the same bytes.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.errors import OutputError
from pipeline.model import PENS, Drawing, Fill, Floats, Lines, Marks, Words
from pipeline.model.charts import Chart, Look
from pipeline.units import format_station

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PNG_DPI = 110
_MM_PER_INCH = 25.4
_CAPITAL = 0.73
"""Height of a capital of the font over its size."""
_MARKERS = {
    "plus": "+", "cross": "x", "circle": "o", "square": "s", "triangle": "^", "diamond": "D",
}  # fmt: skip
_LOOKS: dict[Look, dict[str, Any]] = {
    "ground": {"color": "#000000", "linewidth": 2.2},
    "today": {"color": "#004d40", "linewidth": 2.0, "linestyle": (0, (7, 2))},
    "layer": {"color": "#555555", "linewidth": 1.0},
    "shots": {"color": "#000000", "linestyle": "none", "marker": "+", "markersize": 5},
}
_DASHES: tuple[Any, ...] = ("-", (0, (2, 2)), (0, (8, 2, 2, 2)), (0, (1, 1)))
"""Other layers from the top down, so that they read in grey."""
SECTIONS_A_SHEET = 24
_COLUMNS = 4


def plan_picture(drawing: Drawing, scale: int, name: str = "plan") -> dict[str, bytes]:
    """``plan.png`` and ``plan.svg``, or of another name: a map at its own scale.

    Parameters
    ----------
    drawing : Drawing
        Its map; sheets are left to the drawing itself.
    scale : int
        A text that is 2.5 mm on paper at 1:`scale` is so in the picture.
    name : str
        Of both files.

    Raises
    ------
    OutputError
        matplotlib is not installed.
    """
    with figures() as figure_of:
        west, south, east, north = _reach(drawing)
        inch = 1000.0 / (scale * _MM_PER_INCH)
        figure = figure_of((east - west) * inch, (north - south) * inch)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(west, east)
        axes.set_ylim(south, north)
        axes.set_axis_off()
        _draw(axes, drawing, 72.0 * inch)
        return both(figure, name)


def profile_picture(chart: Chart) -> dict[str, bytes]:
    """``profile.png`` and ``profile.svg``."""
    with figures() as figure_of:
        figure = figure_of(16.0, 6.0)
        axes = figure.subplots()
        _chart(axes, chart)
        axes.set_xlabel("station")
        axes.set_ylabel("elevation m")
        axes.set_title(chart.title)
        axes.legend(loc="best", frameon=False)
        figure.tight_layout()
        return both(figure, "profile")


def section_pictures(charts: Sequence[Chart]) -> dict[str, bytes]:
    """``sections-1.png`` and so on, twenty-four sections a sheet."""
    files: dict[str, bytes] = {}
    with figures() as figure_of:
        for sheet in range(math.ceil(len(charts) / SECTIONS_A_SHEET)):
            part = charts[sheet * SECTIONS_A_SHEET : (sheet + 1) * SECTIONS_A_SHEET]
            rows = math.ceil(len(part) / _COLUMNS)
            figure = figure_of(16.0, 2.4 * rows + 0.6)
            every = figure.subplots(rows, _COLUMNS, squeeze=False).ravel()
            for axes, chart in zip(every, part, strict=False):
                _chart(axes, chart)
                axes.set_title(f"{chart.title}   {chart.note}", fontsize=9, fontweight="bold")
                axes.tick_params(labelsize=7)
            for axes in every[len(part) :]:
                axes.set_axis_off()
            handles, labels = every[0].get_legend_handles_labels()
            figure.legend(handles, labels, loc="lower center", ncols=len(labels), frameon=False)
            figure.tight_layout(rect=(0.0, 0.5 / (2.4 * rows + 0.6), 1.0, 1.0))
            files |= both(figure, f"sections-{sheet + 1}")
    return files


@contextmanager
def figures() -> Iterator[Any]:
    """A maker of figures of a size in inches, with texts and ids the same every time."""
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure
    except ImportError as fault:
        raise OutputError(
            "pictures", "matplotlib is not installed", "install it: pip install matplotlib"
        ) from fault
    fixed: Any = {
        "svg.hashsalt": "lath", "svg.fonttype": "none", "font.family": "DejaVu Sans",
        "font.size": 10.0, "path.simplify": False, "hatch.linewidth": 0.4,
        # a dollar sign of the data is no formula
        "text.parse_math": False,
    }  # fmt: skip
    with mpl.rc_context({**mpl.rcParamsDefault, **fixed}):
        yield lambda width, height: Figure(figsize=(width, height), facecolor="#ffffff")


def both(figure: Figure, name: str) -> dict[str, bytes]:
    """A figure as PNG and as SVG, the same bytes every time."""
    files = {}
    for kind, about in (("png", {"Software": None}), ("svg", {"Date": None, "Creator": None})):
        stream = io.BytesIO()
        figure.savefig(stream, format=kind, dpi=PNG_DPI, metadata=about)
        files[f"{name}.{kind}"] = stream.getvalue()
    return files


def _chart(axes: Axes, chart: Chart) -> None:
    from matplotlib.ticker import FuncFormatter

    layers = 0
    for curve in chart.curves:
        look = dict(_LOOKS[curve.look])
        if curve.look == "layer":
            look["linestyle"] = _DASHES[layers % len(_DASHES)]
            layers += 1
        axes.plot(curve.x, curve.z, label=curve.label, **look)
    # all sections of a sheet are as wide as they were asked for, surveyed or not
    reach = np.concatenate([curve.x for curve in chart.curves])
    axes.set_xlim(float(reach.min()), float(reach.max()))
    axes.grid(visible=True, linewidth=0.3, color="#999999")
    axes.yaxis.set_major_formatter(FuncFormatter(lambda z, _: f"{z:.2f}"))
    words = (chart.called or format_station) if chart.along == "station" else _side
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: words(x)))
    if all(np.isnan(curve.z).all() for curve in chart.curves):
        axes.text(0.5, 0.5, "NOT SURVEYED", transform=axes.transAxes, ha="center")


def _side(offset: float) -> str:
    if abs(offset) < 1e-9:
        return "CL"
    return f"{'R' if offset > 0 else 'L'} {abs(offset):g}"


def _reach(drawing: Drawing) -> tuple[float, float, float, float]:
    """West, south, east and north of the paper that the map lies on."""
    rings = [ring for fill in drawing.picture.fills for ring in fill.rings]
    points = np.concatenate(rings)
    west, south = points.min(axis=0)
    east, north = points.max(axis=0)
    return float(west), float(south), float(east), float(north)


def _draw(axes: Axes, drawing: Drawing, points_a_metre: float) -> None:
    """Fills first and texts last, as the drawing has them."""
    picture = drawing.picture
    order: list[Fill | Lines | Marks | Words] = [
        *picture.fills,
        *picture.lines,
        *picture.marks,
        *picture.words,
    ]
    for number, part in enumerate(order):
        if isinstance(part, Fill):
            _fill(axes, part, number)
        elif isinstance(part, Lines):
            _lines(axes, part, number)
        elif isinstance(part, Marks):
            _marks(axes, part, number, points_a_metre)
        else:
            _words(axes, part, number, points_a_metre)


def _colour(layer: str, pen: str) -> tuple[float, float, float]:
    red, green, blue = PENS[pen or layer].colour
    return red / 255.0, green / 255.0, blue / 255.0


def _fill(axes: Axes, fill: Fill, number: int) -> None:
    """A region with its holes; cut leans to the right, fill to the left, for grey paper."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    corners = [np.concatenate([ring, ring[:1]]) for ring in fill.rings]
    codes = [
        np.array([Path.MOVETO, *[Path.LINETO] * (len(ring) - 2), Path.CLOSEPOLY])
        for ring in corners
    ]
    look = fill.pen or fill.layer
    side, _, count = look.removeprefix("band-").partition("-")
    stroke = {"cut": "/", "fill": "\\"}.get(side if look.startswith("band-") else "", "")
    colour = _colour(fill.layer, fill.pen)
    dark = sum(colour) < 1.4
    axes.add_patch(
        PathPatch(
            Path(np.concatenate(corners), np.concatenate(codes)),
            facecolor=colour,
            edgecolor="#ffffff" if dark else "#000000",
            linewidth=0.0,
            hatch=stroke * int(count) if stroke else None,
            zorder=number,
        )
    )


def _lines(axes: Axes, lines: Lines, number: int) -> None:
    from matplotlib.collections import LineCollection

    parts: list[Floats] = []
    for k in range(len(lines.start) - 1):
        rows = slice(lines.start[k], lines.start[k + 1])
        part = np.column_stack([lines.x[rows], lines.y[rows]])
        parts.append(np.concatenate([part, part[:1]]) if lines.closed and len(part) else part)
    width = PENS[lines.pen or lines.layer].width / 100.0 * 72.0 / _MM_PER_INCH
    axes.add_collection(
        LineCollection(
            parts, colors=[_colour(lines.layer, lines.pen)], linewidths=width, zorder=number
        ),
        autolim=False,
    )


def _marks(axes: Axes, marks: Marks, number: int, points_a_metre: float) -> None:
    colour = _colour(marks.layer, marks.pen)
    open_shape = marks.shape not in {"plus", "cross"}
    axes.plot(
        marks.x, marks.y, linestyle="none", marker=_MARKERS[marks.shape], color=colour,
        markersize=max(marks.size * points_a_metre, 2.0), markeredgewidth=0.8,
        markerfacecolor="none" if open_shape else colour, zorder=number,
        scalex=False, scaley=False,
    )  # fmt: skip


def _words(axes: Axes, words: Words, number: int, points_a_metre: float) -> None:
    side = {"left": "left", "centre": "center", "right": "right"}[words.anchor]
    colour = _colour(words.layer, "")
    for text, x, y, height, angle in zip(
        words.text, words.x, words.y, words.height, words.angle, strict=True
    ):
        axes.text(
            x, y, text, color=colour, ha=side, va="center_baseline",
            fontsize=height * points_a_metre / _CAPITAL, rotation=math.degrees(angle),
            rotation_mode="anchor", zorder=number, clip_on=True,
        )  # fmt: skip
