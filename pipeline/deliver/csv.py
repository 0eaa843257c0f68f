"""Tables as CSV files that a spreadsheet cannot take for formulas.

Rows end with carriage return and line feed: RFC 4180 prescribes it, and every
reader met so far takes it, old data collectors included. There is no byte order
mark, which half of those readers would glue to the name of the first column.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata

from pipeline.model import Table

_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")
_FORMULA = "=+-@\t\r"
_CONTROL = dict.fromkeys([*(c for c in range(32) if c not in (9, 10, 13)), 127], " ")
# Format characters (zero-width, direction marks) are skipped by eye and by some spreadsheets.
_SKIPPED = ("Z", "Cf")


def csv_text(table: Table) -> str:
    r"""One header row, then the rows of `table` as they are printed.

    A text cell that a spreadsheet would take for a formula gets a leading
    apostrophe: one that starts with ``= + - @``, a tab or a carriage return,
    also behind blanks or quotes and in full-width form. In the other columns a
    number stays a number, ``-0.031`` too; what is no number there is guarded
    like text. So is a station before zero: ``-0+005.0`` would be reckoned as 5.

    Parameters
    ----------
    table : Table
        ``text_columns`` names the columns that hold free text.

    Returns
    -------
    str
        Rows end with ``\r\n`` (RFC 4180, section 2); control characters other
        than tab and line ends are blanks, which that grammar asks for too.

    Examples
    --------
    >>> csv_text(Table("t", ("id", "cut_m"), (("=1+1", "-0.031"),), frozenset({"id"})))
    "id,cut_m\r\n'=1+1,-0.031\r\n"
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    is_text = [column in table.text_columns for column in table.columns]
    writer.writerow([_guarded(name) for name in table.columns])
    for row in table.rows:
        # strict: a row of another width is a fault in the code that made it
        writer.writerow([_cell(cell, text) for cell, text in zip(row, is_text, strict=True)])
    return out.getvalue()


def csv_bytes(table: Table) -> bytes:
    """`csv_text` in UTF-8, as it goes into the package."""
    return csv_text(table).encode("utf-8")


def _cell(cell: str, is_text: bool) -> str:
    number = not is_text and _NUMBER.fullmatch(cell)
    return cell if number else _guarded(cell)


def _guarded(cell: str) -> str:
    clean = cell.translate(_CONTROL)
    return f"'{clean}" if _starts_a_formula(clean) else clean


def _starts_a_formula(cell: str) -> bool:
    for sign in cell:
        # a full-width equals sign is the plain one in compatibility form
        plain = unicodedata.normalize("NFKC", sign)[:1]
        if sign in _FORMULA or plain in _FORMULA:
            return True
        if not (sign in "\"'\n" or unicodedata.category(sign).startswith(_SKIPPED)):
            return False
    return False
