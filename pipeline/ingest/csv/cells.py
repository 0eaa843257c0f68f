"""A line of a point file taken apart into cells."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.units import parse_number

BLANKS = ""
"""As a delimiter: any run of blanks, so fixed columns read as well."""

DELIMITERS = {";": "semicolon", "\t": "tab", "|": "pipe", ",": "comma", BLANKS: "blanks"}
"""Each that is tried and what it is called, the rarer in text first."""

_COMMENT = re.compile(r"\s*(?:#|//|\*)")
_QUOTED = re.compile(r' *"((?:[^"]|"")*)" *')
_QUOTED_TIGHT = re.compile(r'"((?:[^"]|"")*)"')  # between blanks, which are the delimiter


@dataclass(frozen=True, slots=True)
class Layout:
    """The layout of one file.

    ``columns`` maps our names to positions; ``width`` is how many columns a row
    has (0: unknown); ``header`` the header's cells, empty where there is none;
    ``first`` the index of the first line after header and preamble.
    """

    delimiter: str
    decimal: str
    columns: dict[str, int]
    scales: dict[str, float]
    width: int
    header: tuple[str, ...]
    first: int
    words: str
    """What was found, for a person."""
    unread: tuple[str, ...] = ()

    @property
    def text_last(self) -> bool:
        """True where the last column is free text, which may hold the delimiter."""
        return any(self.columns.get(name) == self.width - 1 for name in ("code", "note"))

    def split(self, line: str) -> list[str]:
        """The cells of a line, stripped; delimiters inside a last text column stay there."""
        cells = split(line, self.delimiter, self.width if self.text_last else 0)
        while len(cells) > self.width and not cells[-1]:
            cells.pop()  # trailing delimiters
        if self.text_last and len(cells) == self.width and self.delimiter:
            cells[-1] = cells[-1].rstrip(self.delimiter + " ")
        return cells

    def is_cut(self, line: str, cells: list[str]) -> bool:
        """True where a last text, not quoted, took up more cells and begins with a number.

        Then a decimal comma may have moved every cell: ``7,100,5,200,5,GR``.
        """
        more = self.delimiter and len(cells) == self.width and self.delimiter in cells[-1]
        if not more or '"' in line:
            return False
        return is_number(cells[-1].split(self.delimiter)[0], self.decimal)


def is_comment(line: str, delimiter: str) -> bool:
    """True for ``#``, ``//``, ``*``, and ``;`` where it is not the delimiter."""
    if _COMMENT.match(line):
        return True
    return delimiter != ";" and line.lstrip().startswith(";")


def split(line: str, delimiter: str, width: int = 0) -> list[str]:
    """Cells of a line, stripped; a quoted cell may hold the delimiter and doubled quotes.

    Parameters
    ----------
    line : str
    delimiter : str
        One character, or `BLANKS`.
    width : int
        If not 0, no more cells than this: the last one keeps what is left.

    Examples
    --------
    >>> split('1,"MH, lid",2', ","), split("7  1.5 edge of clay", BLANKS, 3)
    (['1', 'MH, lid', '2'], ['7', '1.5', 'edge of clay'])
    """
    if '"' in line:
        cells = _split_quoted(line, delimiter)
        if width and len(cells) > width:
            glue = delimiter or " "
            cells[width - 1 :] = [glue.join(cells[width - 1 :])]
        return cells
    if delimiter == BLANKS:
        return [cell.strip() for cell in line.split(None, width - 1 if width else -1)]
    return [cell.strip() for cell in line.split(delimiter, width - 1 if width else -1)]


def _split_quoted(line: str, delimiter: str) -> list[str]:
    gap = re.compile(r"\s+" if delimiter == BLANKS else re.escape(delimiter))
    form = _QUOTED_TIGHT if delimiter == BLANKS else _QUOTED
    line = line.strip() if delimiter == BLANKS else line.rstrip("\r ")
    cells, at = [], 0
    while True:
        quoted = form.match(line, at)
        following = gap.match(line, quoted.end()) if quoted else None
        if quoted and (following or quoted.end() == len(line)):
            cells.append(quoted[1].replace('""', '"').strip())
        else:  # no quotes, or an inch mark that closes nothing: the text as it stands
            following = gap.search(line, at)
            cells.append(line[at : following.start() if following else len(line)].strip())
        if following is None:
            return cells
        at = following.end()


def is_number(cell: str, decimal: str) -> bool:
    """True for a plain number with this decimal mark."""
    try:
        parse_number(cell, decimal=decimal)
    except ValueError:
        return False
    return True
