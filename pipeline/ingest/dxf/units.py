"""The unit of a drawing, as metres."""

from __future__ import annotations

from fractions import Fraction

from pipeline.errors import InputError
from pipeline.model import Finding
from pipeline.settings import FileFormat
from pipeline.units import EXACT_METRES

_INCH = EXACT_METRES["ft"] / 12
_STATED: dict[int, tuple[str, Fraction]] = {
    1: ("in", _INCH),
    2: ("ft", EXACT_METRES["ft"]),
    4: ("mm", Fraction(1, 1000)),
    5: ("cm", Fraction(1, 100)),
    6: ("m", Fraction(1)),
    7: ("km", Fraction(1000)),
    10: ("yd", 3 * EXACT_METRES["ft"]),
    14: ("dm", Fraction(1, 10)),
    21: ("ftUS", EXACT_METRES["ftUS"]),
}
"""Numbers of ``$INSUNITS`` in the DXF reference, header section [memory]."""

_IMPERIAL = frozenset({"in", "ft", "yd", "ftUS"})


def unit_of(
    code: int, metric: bool | None, fmt: FileFormat, file: str
) -> tuple[str, float, list[Finding]]:
    """Name of the drawing unit, metres in one, and what there is to say about it.

    Parameters
    ----------
    code : int
        ``$INSUNITS``, 0 where the file states none.
    metric : bool or None
        ``$MEASUREMENT``; it chooses hatches and line types, not lengths.
    fmt : FileFormat
        ``unit`` counts where the file states none, and must agree where it does.
    file : str

    Raises
    ------
    InputError
        A unit that is not known, or another than the job file states.

    Notes
    -----
    Exact ratios, rounded once to float64.
    """
    # the settings cannot tell a stated "m" from the default; a format of its own can
    stated = fmt.unit != "m" or fmt.files != "*"
    if code == 0:
        return fmt.unit, float(EXACT_METRES[fmt.unit]), [_not_stated(fmt, stated, file)]
    if code not in _STATED:
        known = ", ".join(f"{name} ({number})" for number, (name, _) in _STATED.items())
        raise InputError(
            file, f"its unit ($INSUNITS) is number {code}", f"set it to one of {known}"
        )
    name, metres = _STATED[code]
    if stated and name != fmt.unit:
        raise InputError(
            file,
            f"its unit ($INSUNITS {code}) is {name}, the job file's format states {fmt.unit}",
            "find out which it was drawn in and correct the other",
        )
    if metric is not None and metric == (name in _IMPERIAL):
        system = "metric" if metric else "imperial"
        text = f"{file}: its unit is {name} while its $MEASUREMENT says {system}; read in {name}"
        do = "compare a known distance"
        return name, float(metres), [Finding("note", "unit", text, do, file=file)]
    return name, float(metres), []


def _not_stated(fmt: FileFormat, stated: bool, file: str) -> Finding:
    if stated:
        text = f"{file}: states no unit; read in {fmt.unit} as the job file states"
        return Finding("note", "unit", text, "make sure that it is so", file=file)
    text = f"{file}: states no unit, nor does the job file; read in {fmt.unit}"
    do = f'give the job file a format with files = "{file}" and its unit'
    return Finding("person", "unit", text, do, file=file)
