"""The earthworks on the foreman's page: the same words and rows as on paper, as lists."""

from __future__ import annotations

from dataclasses import replace

from pipeline.crew.earth import Earthworks, Pregrade, lot_tables
from pipeline.crew.haul import moves as haul
from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.volume_sheet import interval_table
from pipeline.model import Alignment, Table
from pipeline.model.daypage import PageList

TITLES = {
    "pregrade_remaining": "Clay before mixing",
    "pregrade_tornado": "What each input moves",
    "pregrade_inputs": "What it rests on",
}
"""Tables of a lot that the page shows; the cost curve is a picture."""


def earth_lists(
    found: Earthworks, line: Alignment, said: tuple[str, ...], unit: Measures = METRIC
) -> tuple[PageList, ...]:
    """How high to leave the clay, volumes by stretch, where the dirt goes.

    Parameters
    ----------
    found : Earthworks
    line : Alignment
        That names the stations.
    said : tuple of str
        What is said of the volumes of today's layer.
    unit : Measures
        The crew's: files for software stay metric, a page does not.
    """
    target, plan = found.target, found.haul
    lists = [] if found.pregrade is None else [_heights(found.pregrade, line, unit)]
    volumes = interval_table(target.stretches, line, target.errors, unit)
    lists.append(
        PageList(
            "Volumes by stretch", said,
            (_readable(volumes, f"Cut and fill to {target.quantity.layer} by stretch"),),
        )
    )  # fmt: skip
    moves = None if plan.moves is None else haul.table(plan.moves, line, unit)
    tables = () if moves is None else (_readable(moves, "Moves"),)
    return (*lists, PageList("Where to push the dirt", plan.words, tables))


def _heights(found: Pregrade, line: Alignment, unit: Measures) -> PageList:
    lots = found.lots
    shown = [(lot, table) for lot in lots for table in lot_tables(lot, line, unit)]
    tables = [
        _readable(table, f"{TITLES[table.name]}{f': {lot.name}' if len(lots) > 1 else ''}")
        for lot, table in shown
        if table.name in TITLES and table.rows
    ]
    words = ("A recommendation with a range; the crew decides.", *found.words)
    return PageList("How high to leave the clay", (*words, *found.honesty), tuple(tables))


def _readable(table: Table, name: str) -> Table:
    """The table under a name for people, its columns' names without underscores."""
    columns = tuple(column.replace("_", " ") for column in table.columns)
    text = frozenset(column.replace("_", " ") for column in table.text_columns)
    return replace(table, name=name, columns=columns, text_columns=text)
