"""Point rows of a LandXML file, collected in arrays while the file streams by."""

from __future__ import annotations

import re
from array import array
from dataclasses import dataclass, field
from itertools import chain

import numpy as np

from pipeline.ingest.landxml.stream import BadNumberError, parse_numbers
from pipeline.model import Floats

_BATCH = 8192
_PLAIN = re.compile(r"[0-9eE+\-. \t\r\n]*")
_WHOLE = re.compile(r"[0-9 \t\r\n]*")
_LEADING_ZERO = re.compile(r"(?<![0-9])0[0-9]")
_NAN3 = (float("nan"),) * 3
_LONGEST_ID = 18
NO_FACE = -(1 << 62)
"""Stands for a face that cannot be read."""


class Triples:
    """Rows of northing, easting, elevation, converted some thousands at once.

    ``bad`` says for a row why it is none; its numbers are then NaN. ``flat``
    keeps rows with two numbers, which alignments may still refer to.
    """

    def __init__(self) -> None:
        self.bad: dict[int, str] = {}
        self.flat: dict[int, tuple[float, float]] = {}
        self._values = array("d")
        self._texts: list[str] = []

    def add(self, text: str) -> None:
        """One more row, as text."""
        self._texts.append(text)
        if len(self._texts) == _BATCH:
            self._flush()

    def take_array(self, values: Floats) -> None:
        """More rows, shape (n, 3)."""
        self._flush()
        self._values.extend(values.ravel().tolist())

    def array(self) -> Floats:
        """All rows, shape (n, 3), in the file's unit; NaN where a row is bad."""
        self._flush()
        # the same memory, not a copy: no row comes after this
        return np.frombuffer(self._values, dtype=np.float64).reshape(-1, 3)

    def _flush(self) -> None:
        texts, self._texts = self._texts, []
        if not texts:
            return
        rows = [text.split() for text in texts]
        if set(map(len, rows)) == {3} and _PLAIN.fullmatch(" ".join(texts)):
            try:
                values = array("d", map(float, chain.from_iterable(rows)))
            except ValueError:
                pass
            else:
                if max(values) < 1e300 and min(values) > -1e300:
                    self._values.extend(values)
                    return
        for text in texts:
            self._one(text)

    def _one(self, text: str) -> None:
        row = len(self._values) // 3
        try:
            numbers = parse_numbers(text)
        except BadNumberError as error:
            self.bad[row] = str(error)
            numbers = []
        else:
            if len(numbers) == 2:
                self.bad[row] = "northing and easting without a height"
                self.flat[row] = numbers[0], numbers[1]
            elif len(numbers) != 3:
                self.bad[row] = f"{len(numbers)} numbers, expected 3"
        self._values.extend(numbers if row not in self.bad else _NAN3)


class Names:
    """Ids as whole numbers: a plain number stands for itself, any other text for a negative."""

    def __init__(self) -> None:
        self._codes: dict[str, int] = {}
        self._words: list[str] = []

    def code(self, word: str) -> int:
        """The number that stands for an id."""
        plain = word.isdecimal() and word.isascii() and len(word) <= _LONGEST_ID
        if plain and (word[0] != "0" or word == "0"):
            return int(word)
        known = self._codes.get(word)
        if known is None:
            self._words.append(word)
            known = self._codes[word] = -len(self._words)
        return known

    def word(self, code: int) -> str:
        """The id that a number stands for."""
        return str(code) if code >= 0 else self._words[-code - 1]


@dataclass(slots=True)
class FaceRows:
    """Faces as ids of three points, in the order of the file.

    ``hidden`` is 0, 1, or 2 for a mark that is neither; ``bad`` says for a face
    why it is none.
    """

    names: Names
    line: array[int] = field(default_factory=lambda: array("q"))
    hidden: array[int] = field(default_factory=lambda: array("b"))
    bad: dict[int, str] = field(default_factory=dict)
    _ids: array[int] = field(default_factory=lambda: array("q"))
    _texts: list[str] = field(default_factory=list)

    def add(self, text: str) -> None:
        """One more face, as text; its line and mark are appended by the caller."""
        self._texts.append(text)
        if len(self._texts) == _BATCH:
            self._flush()

    def array(self) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
        """All faces, shape (n, 3); `NO_FACE` where a face is bad."""
        self._flush()
        return np.frombuffer(self._ids, dtype=np.int64).reshape(-1, 3)

    def _flush(self) -> None:
        texts, self._texts = self._texts, []
        rows = [text.split() for text in texts]
        if set(map(len, rows)) == {3}:
            joined = " ".join(texts)
            if _WHOLE.fullmatch(joined) and not _LEADING_ZERO.search(joined):
                words = list(chain.from_iterable(rows))
                if max(map(len, words)) <= _LONGEST_ID:
                    self._ids.extend(map(int, words))
                    return
        for row in rows:
            if len(row) == 3:
                self._ids.extend(map(self.names.code, row))
            else:
                self.bad[len(self._ids) // 3] = f"{len(row)} points"
                self._ids.extend((NO_FACE,) * 3)


@dataclass(slots=True)
class NamedPoints:
    """``CgPoint`` rows: coordinates and what is said about each.

    ``references`` are points that only name another one: (name, the other, line).
    """

    rows: Triples = field(default_factory=Triples)
    name: list[str] = field(default_factory=list)
    code: list[str] = field(default_factory=list)
    note: list[str] = field(default_factory=list)
    time: list[str] = field(default_factory=list)
    line: array[int] = field(default_factory=lambda: array("q"))
    references: list[tuple[str, str, int]] = field(default_factory=list)

    def add(self, text: str, attributes: dict[str, str], group: str, line: int) -> None:
        """One more point. `group` is the code of the group it is in."""
        name, described = attributes.get("name", ""), attributes.get("desc", "")
        if not text.strip() and "pntRef" in attributes:
            self.references.append((name, attributes["pntRef"], line))
            return
        code = attributes.get("code", "")
        self.rows.add(text)
        self.name.append(name)
        self.code.append(code or described or group)
        self.note.append(described if code else "")
        self.time.append(attributes.get("timeStamp", ""))
        self.line.append(line)
