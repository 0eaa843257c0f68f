"""What a height costs, what each input moves and the mass diagram, as PNG and SVG."""

from __future__ import annotations

from pipeline.deliver.pictures import both, figures
from pipeline.model.curves import BarChart, CurveChart

_INK, _GREY = "#000000", "#8a8a8a"


def curve_picture(chart: CurveChart, name: str) -> dict[str, bytes]:
    """``NAME.png`` and ``NAME.svg``: one curve, its ticks and its marks.

    Raises
    ------
    OutputError
        matplotlib is not installed.
    """
    with figures() as figure_of:
        figure = figure_of(10.0, 5.0)
        axes = figure.subplots()
        west, south, east, north = chart.reach
        axes.plot(chart.x, chart.y, color=_INK, linewidth=2.2)
        axes.set_xlim(west, east)
        axes.set_ylim(south, north)
        axes.set_xticks([at for at, _ in chart.x_ticks], [text for _, text in chart.x_ticks])
        axes.set_yticks([at for at, _ in chart.y_ticks], [text for _, text in chart.y_ticks])
        axes.grid(visible=True, linewidth=0.3, color="#999999")
        if chart.zero:
            axes.axhline(0.0, color=_INK, linewidth=1.0)
        for number, (x, text) in enumerate(chart.marks):
            axes.axvline(x, color=_INK, linewidth=1.2, linestyle=("--", ":")[number % 2])
            axes.annotate(
                text, (x, north), xytext=(4, -14 - 14 * number), textcoords="offset points",
                bbox={"facecolor": "#ffffff", "edgecolor": "none", "pad": 1.0},
            )  # fmt: skip
        axes.set_xlabel(chart.x_label)
        axes.set_ylabel(chart.y_label)
        axes.set_title(chart.title)
        figure.tight_layout()
        return both(figure, name)


def bars_picture(chart: BarChart, name: str) -> dict[str, bytes]:
    """``NAME.png`` and ``NAME.svg``: bars about zero, the longest on top; lower is hatched."""
    with figures() as figure_of:
        figure = figure_of(10.0, 1.6 + 0.5 * len(chart.bars))
        axes = figure.subplots()
        rows = range(len(chart.bars))
        low, high = [bar.low for bar in chart.bars], [bar.high for bar in chart.bars]
        look = {"edgecolor": _INK, "linewidth": 0.8, "height": 0.6}
        axes.barh(list(rows), low, color="#ffffff", hatch="////", label="input lower", **look)
        axes.barh(list(rows), high, color=_GREY, label="input higher", **look)
        for row, bar in enumerate(chart.bars):
            for value, text in ((bar.low, bar.low_words), (bar.high, bar.high_words)):
                right = value > 0 or (value == 0 and value is bar.high)
                axes.annotate(
                    text, (value, row), xytext=(4 if right else -4, 0), va="center",
                    textcoords="offset points", ha="left" if right else "right",
                )  # fmt: skip
        widest = max((max(abs(bar.low), abs(bar.high)) for bar in chart.bars), default=1.0)
        axes.set_xlim(-1.25 * max(widest, 0.1), 1.25 * max(widest, 0.1))
        axes.set_yticks(list(rows), [bar.name for bar in chart.bars])
        axes.invert_yaxis()
        axes.axvline(0.0, color=_INK, linewidth=1.0)
        axes.set_xlabel(chart.x_label)
        axes.set_title(chart.title)
        axes.legend(loc="lower right", frameon=False)
        figure.tight_layout()
        return both(figure, name)
