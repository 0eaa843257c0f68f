"""The units a LandXML file declares, as metres."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from pipeline.errors import InputError
from pipeline.ingest.source import shown
from pipeline.model import Finding
from pipeline.settings import FileFormat
from pipeline.units import EXACT_METRES

_LINEAR: dict[str, tuple[str, Fraction]] = {
    "millimeter": ("mm", Fraction(1, 1000)),
    "centimeter": ("cm", Fraction(1, 100)),
    "meter": ("m", Fraction(1)),
    "kilometer": ("km", Fraction(1000)),
    "foot": ("ft", EXACT_METRES["ft"]),
    "ussurveyfoot": ("ftUS", EXACT_METRES["ftUS"]),
    "inch": ("in", EXACT_METRES["ft"] / 12),
}
_SAME_HEIGHTS = {
    "meter": ("m",),
    "kilometer": ("km",),
    "feet": ("ft", "ftUS"),  # the schema has one word for both
    "foot": ("ft",),
    "ussurveyfoot": ("ftUS",),
}
_FT2 = EXACT_METRES["ft"] ** 2
_AREA: dict[str, Fraction] = {
    "squaremeter": Fraction(1),
    "squaremillimeter": Fraction(1, 10**6),
    "squarecentimeter": Fraction(1, 10**4),
    "hectare": Fraction(10**4),
    "squarefoot": _FT2,
    "acre": 43560 * _FT2,
    "squaremile": 27878400 * _FT2,
    "squaremiles": 27878400 * _FT2,
}


@dataclass(frozen=True, slots=True)
class Units:
    """Our name of the unit of length, metres and square metres in one (area 0: unknown)."""

    name: str
    metres: float
    area_m2: float


def units_of(
    declared: list[dict[str, str]], fmt: FileFormat, file: str
) -> tuple[Units, list[Finding]]:
    """The file's units, and what there is to say about them.

    Parameters
    ----------
    declared : list of dict
        Attributes of each ``Metric`` or ``Imperial`` element.
    fmt : FileFormat
        ``unit`` counts where the file declares none and the job file has a format
        for it; a contradiction is a note, the file wins.
    file : str

    Raises
    ------
    InputError
        No unit of length anywhere, one that is not known, or two that differ.

    Notes
    -----
    Exact ratios, rounded once to float64.
    """
    lengths = {one["linearUnit"] for one in declared if one.get("linearUnit")}
    if len(lengths) > 1:
        found = f"declares {' and '.join(sorted(shown(x) for x in lengths))}"
        raise InputError(file, found, "export it in one unit")
    # the settings cannot tell a stated "m" from the default; a format of its own can
    stated = fmt.unit != "m" or fmt.files != "*"
    if not lengths:
        if not stated:
            raise InputError(
                file,
                "declares no unit of length",
                f'give the job file a format with files = "{file}" and its unit',
            )
        text = f"{file}: declares no unit of length; read in {fmt.unit} as the job file states"
        note = Finding("note", "unit", text, "make sure that it is so", file=file)
        return Units(fmt.unit, float(EXACT_METRES[fmt.unit]), 0.0), [note]
    word = lengths.pop()
    if word.lower() not in _LINEAR:
        known = ", ".join(sorted(_LINEAR))
        raise InputError(file, f'declares the unit "{shown(word)}"', f"export it in {known}")
    name, metres = _LINEAR[word.lower()]
    _check_heights(declared, name, file)
    area = next((one["areaUnit"] for one in declared if one.get("areaUnit")), "").lower()
    square = _AREA.get(area, Fraction(0))
    if area == "squarefoot":  # of the file's own foot
        square = metres * metres
    units = Units(name, float(metres), float(square))
    if stated and name != fmt.unit:
        text = f"{file}: declares {word}, the job file {fmt.unit}; read as the file declares"
        do = "correct the unit in the job file, or the file"
        return units, [Finding("note", "unit", text, do, file=file)]
    return units, []


def _check_heights(declared: list[dict[str, str]], name: str, file: str) -> None:
    for one in declared:
        heights = one.get("elevationUnit", "")
        if heights and name not in _SAME_HEIGHTS.get(heights.lower(), ()):
            raise InputError(
                file,
                f'declares lengths in "{shown(one.get("linearUnit", ""))}"'
                f' and heights in "{shown(heights)}"',
                "export both in one unit",
            )
