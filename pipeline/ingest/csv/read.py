"""Points from a text file: any delimiter, with or without a header, one row a point.

A row that cannot be used is a finding with its line and column, and the reading
goes on. Rows in = shots + listed rows, always.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.badrows import BadRow, bad_findings, line_words
from pipeline.ingest.csv.layout import find_layout
from pipeline.ingest.csv.rows import Rows
from pipeline.ingest.limits import zero_heights
from pipeline.ingest.source import read_text, shown
from pipeline.model import NO_LINES, Finding, Findings, Reading, Shots, make_shots, texts
from pipeline.model.telling import counted
from pipeline.settings import FileFormat

LONGEST_LINE = 1 << 20
"""A longer line is no row of a point file [characters]."""

CELL_NOT_READ = "cell not read"
"""Kind of the finding on cells without which a row is used all the same."""

_CHUNK = 20_000
"""Lines taken as one stretch, plain or with care."""

_SEE = "compare with the file; state columns in the job file if it is wrong"
_ZERO = "a height of exactly 0, while all others are far from it: no height"
_UNREAD = "nothing, if they are meant to be left out; else state columns in the job file"


def read_csv(path: Path, fmt: FileFormat) -> Reading:
    """Every usable point of a text file, in metres, and a finding for every other row.

    The layout is found from the file where the file says it, taken from `fmt`
    where that states it, and always told in a finding of the kind ``columns``.
    North and east are never guessed: a file without a header needs `fmt.columns`.

    Parameters
    ----------
    path : Path
        UTF-8, UTF-16 with a byte order mark, Windows-1252, or `fmt.encoding`.
    fmt : FileFormat
        ``unit`` of all lengths that state none; ``columns``, ``delimiter``,
        ``decimal``, ``header`` and ``encoding`` where the file does not say.

    Returns
    -------
    Reading
        ``shots`` in file order. A point without an id is called by file and line.
        ``findings``: ``bad row`` and ``no height`` (severity ``person``), one a
        row up to `badrows.LISTED`; notes for encoding, columns, comments.

    Raises
    ------
    InputError
        Not a text file, a header that does not settle what is what, or no row
        that can be used.
    JobError
        `fmt` contradicts itself or the file.

    Notes
    -----
    Plain stretches of the file are converted a column at a time; a stretch with
    anything odd in it is read row by row. Both give the same numbers, because
    both convert with ``float`` what the same grammar lets through. Feet are
    multiplied by the float64 nearest to the exact ratio (relative error 2e-16).
    """
    name = shown(path.name, 80)
    text, encoding = read_text(path, fmt.encoding)
    lines = lines_of(text, name)
    del text
    layout = find_layout(lines, fmt, name)
    rows = Rows(layout)
    for start in range(layout.first, len(lines), _CHUNK):
        chunk = lines[start : start + _CHUNK]
        if not rows.take_plain(chunk, start + 1):
            rows.take_careful(chunk, start + 1)
    shots, bad = _shots(rows, path)
    if not len(shots):
        raise InputError(
            name,
            f"no row can be used ({layout.words})"
            + (f"; line {bad[0].line}: {bad[0].text}" if bad else ""),
            "check delimiter, decimal mark and columns in the job file",
        )
    findings = (
        *_about_file(name, encoding, fmt),
        Finding("note", "columns", f"{name}: {layout.words}", _SEE, file=name),
        *_about_rows(rows, layout.unread, name),
        *bad_findings(bad, name),
    )
    return Reading(
        file=name,
        format="CSV",
        version="",
        unit=fmt.unit,
        crs="",
        shots=shots,
        lines=NO_LINES,
        findings=findings,
        refused=len(bad),
    )


def lines_of(text: str, name: str) -> list[str]:
    """The lines, whatever ends them; the end mark of an old text file is dropped.

    Raises
    ------
    InputError
        A line longer than `LONGEST_LINE`.
    """
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.rstrip("\x1a").removeprefix("\ufeff").split("\n")
    longest = max(map(len, lines))
    if longest > LONGEST_LINE:
        line = next(k for k, one in enumerate(lines, start=1) if len(one) == longest)
        raise InputError(
            f"{name} line {line}",
            f"a line of {longest:,} characters",
            "this is no file of points, or its line ends are lost: export it again",
        )
    return lines


def _shots(rows: Rows, path: Path) -> tuple[Shots, list[BadRow]]:
    """The points in metres without the zero heights that stand for none; all bad rows by line."""
    metres = {
        ours: (np.concatenate(parts) if parts else np.empty(0)) * rows.layout.scales[ours] + 0.0
        for ours, parts in rows.numbers.items()
    }
    lines = np.array(rows.lines, dtype=np.int64)
    words = {ours: texts(column) for ours, column in rows.words.items()}
    if "date" in words:
        dates = words.pop("date")
        times = words.get("time", np.full(len(lines), "", dtype=object))
        words["time"] = texts(f"{d} {t}".strip() for d, t in zip(dates, times, strict=True))
    ids = words.get("id", np.full(len(lines), "", dtype=object))
    stem = shown(path.stem, 80)
    for k in np.flatnonzero(ids == ""):
        ids[k] = f"{stem}:{lines[k]}"
    words["id"] = ids
    zero = zero_heights(metres["elevation"])
    bad = rows.bad + [
        BadRow(int(lines[k]), "no height", shown(ids[k]), _ZERO, "shoot it again if it is needed")
        for k in np.flatnonzero(zero)
    ]
    keep = ~zero
    columns = {ours: values[keep] for ours, values in (metres | words).items()}
    shots = make_shots(**columns, line=lines[keep], files=(shown(path.name, 80),))
    return shots, sorted(bad)


def _about_file(name: str, encoding: str, fmt: FileFormat) -> Findings:
    if encoding.startswith("utf-8") or encoding == fmt.encoding:
        return ()
    text = f"{name}: read as {encoding}" + (", as it is not UTF-8" if encoding == "cp1252" else "")
    do = "state encoding in the job file if names look wrong"
    return (Finding("note", "encoding", text, do, file=name),)


def _about_rows(rows: Rows, unread: Sequence[str], name: str) -> list[Finding]:
    """Notes on what is neither a point nor a bad row."""
    found: list[Finding] = []

    def note(kind: str, text: str, do: str, lines: Sequence[int] = ()) -> None:
        at = f" (line{'s' if len(lines) > 1 else ''} {line_words(lines)})" if lines else ""
        first = lines[0] if lines else 0
        found.append(Finding("note", kind, f"{name}: {text}{at}", do, file=name, line=first))

    if unread:
        note("column not read", f"columns not read: {', '.join(unread)}", _UNREAD)
    if rows.comments:
        note("comment", counted(len(rows.comments), "comment line"), "nothing", rows.comments)
    if rows.commented_rows:
        many = counted(len(rows.commented_rows), "point is", "points are")
        text = f"{many} commented out and not read"
        note("comment", text, "take the mark away if they count", rows.commented_rows)
    if rows.headers:
        note("repeated header", "the header stands there again", "nothing", rows.headers)
    for wrong, lines in rows.unread_cells.items():
        note(CELL_NOT_READ, wrong, "correct it; until then it is taken as not given", lines)
    if rows.cleaned:
        text = f"invisible characters taken out of {counted(rows.cleaned, 'row')}"
        note("invisible", text, "compare codes and ids with the file")
    return found
