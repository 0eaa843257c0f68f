"""What became of every shot: used, or listed with the reason. Nothing is deleted."""

from __future__ import annotations

import numpy as np

from pipeline.crew.words import paint
from pipeline.design.equations import named
from pipeline.model import Alignment, Bools, Differences, Shots, Table, Texts
from pipeline.settings import Rounding
from pipeline.units import format_length, format_side


def table(
    shots: Shots, fate: Texts, at_shots: Differences, rounding: Rounding, rows: Bools,
    alignment: Alignment | None = None,
) -> Table:  # fmt: skip
    """``points.csv``: shots as read, in order, with their fate and their cut to the target layer.

    Parameters
    ----------
    shots : Shots
        All n shots of the morning.
    fate : text (n,)
        ``in the surface``, ``hub``, or why the shot is not used.
    at_shots : Differences
        Ground against the target layer at each shot; NaN where the shot is no ground.
    rounding : Rounding
    rows : bool (n,)
        Which of them are listed.
    alignment : Alignment, optional
        That names the stations.

    Returns
    -------
    Table
    """
    columns = (
        "id", "code", "station", "side", "offset_m", "easting_m", "northing_m", "elevation_m",
        "cut_m", "mark", "fate", "file", "line", "note",
    )  # fmt: skip
    listed = [
        (
            shots.id[i],
            shots.code[i],
            named(alignment, float(at_shots.station[i])),
            format_side(at_shots.offset[i]),
            format_length(at_shots.offset[i]),
            format_length(shots.easting[i]),
            format_length(shots.northing[i]),
            format_length(shots.elevation[i]),
            format_length(at_shots.cut[i]),
            paint(float(at_shots.cut[i]), rounding) if np.isfinite(at_shots.cut[i]) else "",
            fate[i],
            shots.files[shots.file[i]],
            str(shots.line[i]),
            shots.note[i],
        )
        for i in np.flatnonzero(rows)
    ]
    text = frozenset({"id", "code", "station", "side", "mark", "fate", "file", "note"})
    return Table("points", columns, tuple(listed), text)
