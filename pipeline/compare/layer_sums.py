"""A layer's cut and fill by stretch and lane: what is left of its difference when it has gone."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.compare.crosslines import Lanes, lanes
from pipeline.compare.intervals import Intervals, by_interval, interval_stations
from pipeline.model import Corridor, Layer, Overlay, Surface
from pipeline.settings import DesignRules


@dataclass(frozen=True, slots=True, eq=False)
class LayerSums:
    """Cut and fill of one layer by stretch, and by lane in each of them.

    ``lanes`` is None where the design has no breaks to tell lanes by.
    """

    stretches: Intervals
    lanes: Intervals | None


def layer_sums(
    corridor: Corridor,
    layer: Layer,
    compared: tuple[Surface, Overlay],
    step_m: float,
    rules: DesignRules,
) -> LayerSums:
    """Cut and fill of a layer in stretches of `step_m`, from its design and difference.

    Lanes lie between the layer's own breaks, or a surface's by those of the lowest sections.
    """
    design, difference = compared
    line = corridor.alignment
    stations = interval_stations(float(line.station[0]), float(line.station[-1]), step_m)
    bounds = _lanes(corridor, layer, rules)
    return LayerSums(
        by_interval(layer.name, difference, design, line, stations),
        None
        if bounds is None
        else by_interval(layer.name, difference, design, line, stations, bounds),
    )


def _lanes(corridor: Corridor, layer: Layer, rules: DesignRules) -> Lanes | None:
    own = [one for one in (layer, *reversed(corridor.layers)) if one.breaks and not one.surface]
    return lanes(corridor, own[0].name, rules) if own else None
