"""LandXML as a stream of elements, safe against files made to choke a reader.

The file goes to expat in pieces; nothing is kept that nobody asked for. Refused:
a document type (and with it every entity), deep nesting, too many elements, one
tag or comment of megabytes (expat takes quadratic time on it).
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, TypeAlias
from xml.parsers import expat

from pipeline.errors import InputError
from pipeline.ingest.source import open_source, shown

CHUNK = 1 << 20
LONGEST_TOKEN = 4 << 20
DEEPEST = 64
MOST_ELEMENTS = 50_000_000
MOST_TAGS = 5000
MOST_PIECES = 64
"""Pieces of text, 8 kB to 1 MB each, of one element that is not a list of numbers."""

_CHARACTERS = re.compile(r"[0-9eE+\-. \t\r\n]*")


class Sink(Protocol):
    """Where the text of an element goes, piece by piece."""

    def append(self, piece: str, /) -> None:
        """Take the next piece."""


End: TypeAlias = Callable[[], None]
Start: TypeAlias = Callable[[str, dict[str, str]], tuple[Sink | None, End | None]]


class BadNumberError(ValueError):
    """A text that should be plain numbers and is not."""


def parse_numbers(text: str) -> list[float]:
    """Every number of a blank-separated list.

    Raises
    ------
    BadNumberError
        Anything but plain ASCII numbers: words, ``nan``, a lone minus sign.

    Examples
    --------
    >>> parse_numbers(" 6782560.5567 21530239.68 -3 ")
    [6782560.5567, 21530239.68, -3.0]
    """
    words = text.split()
    if _CHARACTERS.fullmatch(text):
        try:
            values = [float(word) for word in words]
        except ValueError:
            pass
        else:
            if all(abs(value) < 1e300 for value in values):  # 1e400 reads as infinity
                return values
    for word in words:
        try:
            plain = _CHARACTERS.fullmatch(word) and abs(float(word)) < 1e300
        except ValueError:
            plain = False
        if not plain:
            raise BadNumberError(f'"{shown(word)}" is not a number')
    raise BadNumberError(f'"{shown(text)}" is not a list of numbers')


@dataclass(slots=True)
class NumberList:
    """A list of numbers as it streams by, in bounded memory: whole numbers only are converted."""

    line: int
    values: array[float] = field(default_factory=lambda: array("d"))
    _rest: str = ""

    def append(self, piece: str, /) -> None:
        """Take the next piece of text; a number cut at its end waits for the rest."""
        text = self._rest + piece
        cut = max(text.rfind(" "), text.rfind("\n"), text.rfind("\t"), text.rfind("\r"))
        self._rest = text[cut + 1 :]
        if len(self._rest) > 400:
            raise BadNumberError(f'"{shown(self._rest)}" is not a number')
        if cut >= 0:
            self.values.extend(parse_numbers(text[: cut + 1]))

    def close(self) -> None:
        """Convert what waits."""
        rest, self._rest = self._rest, ""
        self.values.extend(parse_numbers(rest))


def stream(path: Path, start: Start, at: Place) -> None:
    """Feed a file to `start`, element by element.

    Parameters
    ----------
    path : Path
    start : callable
        Called with an element's local name and attributes; gives back where its
        text goes (None: nowhere) and what to call at its end (None: nothing).
    at : Place
        Is told the parser, so that a line can be asked for.

    Raises
    ------
    InputError
        Not well-formed, or one of the limits above.
    """
    name = at.file
    parser = expat.ParserCreate()
    parser.buffer_text = True
    at.parser = parser
    _connect(parser, start, at)
    fed = 0
    try:
        with open_source(path) as source:
            while chunk := source.read(CHUNK):
                parser.Parse(chunk, False)
                fed += len(chunk)
                if fed - parser.CurrentByteIndex > LONGEST_TOKEN:
                    raise InputError(
                        at.words(),
                        f"one tag, comment or entity of more than {LONGEST_TOKEN >> 20} MB",
                        "export the file again",
                    )
            parser.Parse(b"", True)
    except expat.ExpatError as error:
        why = expat.ErrorString(error.code) or "damaged"
        cut = why in ("no element found", "unclosed token")
        raise InputError(
            f"{name} line {error.lineno}, column {error.offset + 1}",
            "the file ends in the middle" if cut else f"not well-formed XML: {why}",
            "export the file again" + (_ENCODING if "invalid token" in why else ""),
        ) from None
    except BadNumberError as error:
        raise InputError(at.words(), str(error), "correct the list or export it again") from None
    except (LookupError, ValueError) as error:
        if at.begun:
            raise
        # before the first element only the declared encoding can be at fault
        raise InputError(
            at.words(), f"cannot be decoded ({shown(str(error), 80)})", "export it as UTF-8"
        ) from None


_ENCODING = "; if it holds accents, its first line must state the encoding"


@dataclass(slots=True)
class Place:
    """Where the parser is."""

    file: str
    parser: expat.XMLParserType | None = None
    begun: bool = False

    def line(self) -> int:
        """Line of the event that is being handled."""
        return self.parser.CurrentLineNumber if self.parser is not None else 0

    def words(self) -> str:
        """``file.xml line 12, column 3``."""
        if self.parser is None:
            return self.file
        return f"{self.file} line {self.line()}, column {self.parser.CurrentColumnNumber + 1}"


def _connect(parser: expat.XMLParserType, start: Start, at: Place) -> None:
    """Handlers that keep the stack of open elements and watch the limits."""
    local: dict[str, str] = {}
    stack: list[tuple[Sink | None, End | None]] = []
    left = MOST_ELEMENTS

    def on_start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal left
        left -= 1
        name = local.get(tag)
        if name is None:
            at.begun = True
            name = local[tag] = tag.rpartition(":")[2]
        if len(stack) >= DEEPEST or left < 0 or len(local) > MOST_TAGS:
            what = "too many elements or tags"
            what = f"elements more than {DEEPEST} deep" if len(stack) >= DEEPEST else what
            raise InputError(at.words(), what, "this is no sound LandXML: export it again")
        stack.append(start(name, attributes))

    def on_text(text: str) -> None:
        sink = stack[-1][0]
        if sink is not None:
            sink.append(text)
            if isinstance(sink, list) and len(sink) > MOST_PIECES:
                raise InputError(at.words(), "a text without end", "export the file again")

    def on_end(_: str) -> None:
        end = stack.pop()[1]
        if end is not None:
            end()

    def on_doctype(*_: object) -> None:
        raise InputError(
            at.words(), "a document type declaration", "take it out: LandXML needs none"
        )

    parser.StartElementHandler = on_start
    parser.EndElementHandler = on_end
    parser.CharacterDataHandler = on_text
    parser.StartDoctypeDeclHandler = on_doctype
