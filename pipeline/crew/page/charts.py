"""Profile and cross-sections of a day as curves, to be drawn for those who only look."""

from __future__ import annotations

from functools import partial

import numpy as np

from pipeline.compare.levels import layer_elevation
from pipeline.crew.hubs.stakes import interval_stations
from pipeline.crew.measures import METRIC, Measures
from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design.equations import station_text
from pipeline.model import Bools, Corridor, Feet, Floats, Shots, Surface
from pipeline.model.charts import Chart, Curve
from pipeline.settings import StakeRules
from pipeline.surface import locate
from pipeline.units import format_length

_STEP_M = 0.5
_ACROSS_M = 0.05
_BESIDE_M = 1.0
"""A shot this close to the line is shown on its profile [assumed]."""
_BEYOND_M = 2.0


def profile_chart(
    corridor: Corridor, target: str, ground: Surface, shots: tuple[Shots, Feet, Bools]
) -> Chart:
    """Ground and every layer along the alignment, with the used shots near it.

    Parameters
    ----------
    corridor : Corridor
    target : str
        Today's layer.
    ground : Surface
    shots : (Shots, Feet, ndarray of bool)
        All shots, where they lie, and which of them are ground.
    """
    station = _stations(corridor)
    curves = _curves(corridor, target, ground, (station, np.zeros(len(station))), station)
    points, feet, used = shots
    near = used & (np.abs(feet.offset) <= _BESIDE_M) & (feet.beyond == 0)
    seen = Curve(
        f"shots within {format_length(_BESIDE_M, step=0.1)} m of the line",
        "shots",
        feet.station[near],
        points.elevation[near],
    )
    called = partial(station_text, corridor.alignment)
    return Chart("Along the line", "station", (*curves, seen), called=called)


def edge_charts(corridor: Corridor, target: str, ground: Surface) -> tuple[Chart, ...]:
    """Ground and every layer along the left and the right edge of today's layer.

    None where that layer is a surface of its own, which has no breaks.
    """
    layer = corridor.layer(target)
    station = _stations(corridor)
    charts = []
    for end, side in ((0, "left"), (-1, "right")) if layer.breaks else ():
        offset, _ = sections.break_line(
            corridor, target, layer.breaks[end], layer.side[end], station
        )
        # a hair inside: on the edge itself the last bit decides what is designed there
        within = offset - np.sign(offset) * 1e-3
        curves = _curves(corridor, target, ground, (station, within), station)
        title = f"Along the edge {side}, {layer.breaks[end]}"
        called = partial(station_text, corridor.alignment)
        charts.append(Chart(title, "station", curves, called=called))
    return tuple(charts)


def section_charts(
    corridor: Corridor,
    target: str,
    ground: Surface,
    rules: StakeRules,
    unit: Measures = METRIC,
) -> tuple[Chart, ...]:
    """Ground and every layer across the street at every station that is staked on a tangent.

    Each says the cut or fill on the line, or that the ground was not surveyed there.
    """
    widest = [np.nanmax(np.abs(one.offset)) for one in corridor.layers if one.offset.size]
    reach = float(max(widest, default=6.0)) + _BEYOND_M
    offset = np.arange(-reach, reach + _ACROSS_M / 2, _ACROSS_M)
    stations = interval_stations(corridor, rules)
    whole = stations[np.abs(stations / rules.interval_m % 1.0) < 1e-9]
    charts = []
    for station in whole if len(whole) else stations:
        curves = _curves(corridor, target, ground, (np.full(len(offset), station), offset), offset)
        called = station_text(corridor.alignment, float(station))
        charts.append(Chart(called, "offset", curves, _on_line(curves, target, unit)))
    return tuple(charts)


def _stations(corridor: Corridor) -> Floats:
    """Every half metre of the line, and its end."""
    first, last = corridor.alignment.station[[0, -1]]
    return np.append(np.arange(first, last, _STEP_M), last)


def _curves(
    corridor: Corridor, target: str, ground: Surface, at: tuple[Floats, Floats], axis: Floats
) -> tuple[Curve, ...]:
    """Every layer from the top down, today's marked, then the ground."""
    station, offset = at
    east, north, _ = line.point_at(corridor.alignment, station, offset)
    found = [
        Curve(
            one.name,
            "today" if one.name == target else "layer",
            axis,
            layer_elevation(corridor, one, station, offset, east, north),
        )
        for one in corridor.layers
    ]
    return (
        *found,
        Curve("ground as shot", "ground", axis, locate.interpolate(ground, east, north)),
    )


def _on_line(curves: tuple[Curve, ...], target: str, unit: Measures) -> str:
    middle = int(np.argmin(np.abs(curves[-1].x)))
    (layer,) = (curve for curve in curves if curve.label == target)
    mark = unit.mark(float(curves[-1].z[middle] - layer.z[middle]))
    if not mark:
        return "NOT SURVEYED on the line"
    named = f" {unit.unit}" if mark[0] in "CF" else ""
    return f"{mark}{named} on the line"
