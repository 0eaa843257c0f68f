"""What a file holds, whatever it is: the reading behind ``lath read``."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TypeAlias, cast

from pipeline.errors import InputError
from pipeline.ingest.describe.description import Asked, Description, Tell
from pipeline.ingest.files import kind_of
from pipeline.ingest.source import shown

_Describer: TypeAlias = Callable[[Path, Asked, Tell], Description]

# (module, function); imported when the first such file comes
_DESCRIBERS = {
    "table": ("pipeline.ingest.describe.text", "describe_text"),
    "landxml": ("pipeline.ingest.describe.landxml", "describe_landxml"),
    "las": ("pipeline.ingest.describe.las", "describe_las"),
    "dxf": ("pipeline.ingest.describe.dxf", "describe_dxf"),
}


def describe(path: Path, asked: Asked, tell: Tell) -> Description:
    """What a file holds, told as far as it can be trusted, in its own units.

    Parameters
    ----------
    path : Path
        Points as text, sightings, levels, positions, LandXML, LAS or LAZ, DXF.
    asked : Asked
        Unit, columns and surface that the person states.
    tell : callable
        Takes words on how far a big file has been read.

    Returns
    -------
    Description
        Also of a file that a job could not use; why stands first among ``oddities``.

    Raises
    ------
    InputError
        The file is missing, empty, of no kind that is read, or damaged so that
        nothing in it can be trusted.
    JobError
        What `asked` states does not fit the file.
    """
    module, function = _DESCRIBERS[kind_of(path)]
    describer = cast("_Describer", getattr(import_module(module), function))
    try:
        return describer(path, asked, tell)
    except MemoryError:
        name = shown(path.name, 80)
        raise InputError(name, "needs more memory than there is", "split it") from None
