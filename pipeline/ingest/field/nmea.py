"""Fix sentences (GGA) of satellite receivers: an open standard, written line by line.

Field numbers, the checksum rule and the quality digits are from memory of
NMEA 0183; the positions of the fields are checked on the sample that its public
descriptions share (tests).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.field.geodetic import degrees_minutes
from pipeline.model import Finding, Findings, Floats, Ints, Texts, texts
from pipeline.model.telling import counted
from pipeline.units import parse_number

_SENTENCE = re.compile(r"\$(?P<body>[A-Z]{2}GGA,[^*$]*)\*(?P<sum>[0-9A-Fa-f]{2})")
_TIME = re.compile(r"(\d{2})(\d{2})(\d{2}(?:\.\d{1,6})?)", re.ASCII)
QUALITY = {
    "1": "single", "2": "differential", "3": "single", "4": "fixed", "5": "float",
    "6": "estimated", "7": "manual", "8": "simulated",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Fixes:
    """Fixes of one file, n rows: radians, metres; ``altitude`` is the antenna above the geoid."""

    latitude: Floats
    longitude: Floats
    altitude: Floats
    separation: Floats
    quality: Texts
    time: Texts
    line: Ints
    findings: Findings
    refused: int


def checksum(body: str) -> int:
    """Exclusive or of the characters between ``$`` and ``*``.

    Examples
    --------
    >>> f"{checksum('GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,'):02X}"
    '47'
    """
    total = 0
    for letter in body.encode("ascii", errors="replace"):
        total ^= letter
    return total


def _fix(body: str) -> tuple[float, float, float, float, str, str]:
    fields = body.split(",")
    if len(fields) != 15:
        raise ValueError(f"{len(fields)} fields, a fix has 15")
    quality = QUALITY.get(fields[6])
    if quality is None:
        raise ValueError(f'quality "{fields[6]}": no fix')
    time = _TIME.fullmatch(fields[1])
    if time is None:
        raise ValueError(f'time "{fields[1]}" is not hhmmss')
    if (fields[10], fields[12]) != ("M", "M"):
        raise ValueError("heights are not in metres")
    return (
        degrees_minutes(fields[2], fields[3], "NS"),
        degrees_minutes(fields[4], fields[5], "EW"),
        parse_number(fields[9]),
        parse_number(fields[11]),
        quality,
        ":".join(time.groups()),
    )


def parse_fixes(file: str, text: str) -> Fixes:
    """Every GGA sentence of `text`; other sentences are counted, damaged ones are findings.

    `file` is the name that findings begin with.

    Raises
    ------
    InputError
        No sentence is a fix.
    """
    rows: list[tuple[float, float, float, float, str, str]] = []
    lines: list[int] = []
    found: list[Finding] = []
    other = junk = 0
    lined = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, raw in enumerate(lined, start=1):
        cell = raw.strip()
        if "GGA," not in cell[:8]:
            other += cell.startswith("$")
            junk += bool(cell) and not cell.startswith("$")
            continue
        try:
            rows.append(_fix(_checked(cell)))
            lines.append(number)
        except ValueError as why:
            said = f"{file} line {number}: {why}"
            do = "nothing, if the position was taken again; else shoot it again"
            found.append(Finding("person", "unreadable row", said, do, file=file, line=number))
    if not rows:
        first = found[0].text if found else "no sentence"
        raise InputError(file, f"no fix can be used; {first}", "look at the file")
    refused = len(found)
    if other or junk:
        no_sentence = counted(junk, "line that is no sentence", "lines that are no sentence")
        said = f"{file}: {counted(other, 'other sentence')} and {no_sentence} passed over"
        found.append(Finding("note", "not read", said, "nothing", file=file))
    columns = list(zip(*rows, strict=True))
    latitude, longitude, altitude, separation = (
        np.array(column, dtype=np.float64) for column in columns[:4]
    )
    return Fixes(
        latitude=latitude,
        longitude=longitude,
        altitude=altitude,
        separation=separation,
        quality=texts(str(word) for word in columns[4]),
        time=texts(str(word) for word in columns[5]),
        line=np.array(lines, dtype=np.int64),
        findings=tuple(found),
        refused=refused,
    )


def _checked(cell: str) -> str:
    match = _SENTENCE.fullmatch(cell)
    if match is None:
        raise ValueError("the sentence is cut or has no checksum")
    want = checksum(match["body"])
    if int(match["sum"], 16) != want:
        raise ValueError(f"checksum {match['sum']}, the line gives {want:02X}")
    return match["body"]
