"""What a LandXML file says, collected while it streams by; nothing is judged here.

Elements are known by their local name under a known parent, whatever the
namespace or version. Every other element is counted by name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import TypeAlias

from pipeline.errors import InputError
from pipeline.ingest.landxml.mesh import Drawn, SurfaceRows
from pipeline.ingest.landxml.points import NamedPoints
from pipeline.ingest.landxml.stream import (
    BadNumberError,
    End,
    NumberList,
    Place,
    Sink,
    parse_numbers,
)
from pipeline.ingest.landxml.written import LineText, Piece, ProfileText
from pipeline.ingest.source import shown

_Open: TypeAlias = Callable[[dict[str, str]], tuple[Sink | None, End]]

_SILENT = frozenset({"Project", "Application", "FeatureDictionary"})
_HIDDEN = {"": 0, "0": 0, "false": 0, "1": 1, "true": 1}
_GROUPS = (
    ("LandXML", "Units"), ("LandXML", "Survey"), ("LandXML", "Surfaces"),
    ("Surface", "SourceData"), ("Definition", "Pnts"), ("Definition", "Faces"),
    ("SourceData", "Breaklines"), ("SourceData", "Boundaries"), ("SourceData", "Contours"),
    ("LandXML", "Alignments"), ("LandXML", "PlanFeatures"), ("Alignment", "CoordGeom"),
    ("PlanFeature", "CoordGeom"), ("Alignment", "Profile"),
)  # fmt: skip
_PIECES = ("Line", "Curve", "Spiral", "IrregularLine", "Chain")


class Document:
    """One file as it stands. `start` is what the stream calls for each element."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.at = Place(file)
        self.version = ""
        self.units: list[dict[str, str]] = []
        self.coordinate_system: dict[str, str] = {}
        self.named = NamedPoints()
        self.surfaces: list[SurfaceRows] = []
        self.alignments: list[LineText] = []
        self.features: list[LineText] = []
        self.unread: Counter[str] = Counter()
        self.odd_breaklines: Counter[str] = Counter()
        self.odd_boundaries: Counter[str] = Counter()
        self._open: list[str] = []
        self._skip = 0
        self._silent = False
        self._words: list[str] = []
        self._groups: list[str] = [""]
        self._attributes: dict[str, str] = {}
        self._line = 0
        self._closed = ""
        self._surface = SurfaceRows("", 0)
        self._drawn: Drawn | None = None
        self._owner: LineText | None = None
        self._openers = self._known()

    def start(self, name: str, attributes: dict[str, str]) -> tuple[Sink | None, End | None]:
        """Take an element; back comes where its text goes and what to call at its end."""
        if self._skip:
            self._skip += 1
            if not self._silent:
                self.unread[name] += 1
            return None, self._end_skipped
        opener = self._openers.get((self._open[-1] if self._open else "", name))
        if opener is None:
            if not self._open:
                raise InputError(
                    self.at.words(), f'the root element is "{shown(name)}"', "name a LandXML file"
                )
            self._skip = 1
            self._silent = name in _SILENT
            if not self._silent:
                self.unread[name] += 1
            return None, self._end_skipped
        self._open.append(name)
        return opener(attributes)

    def _known(self) -> dict[tuple[str, str], _Open]:
        """What to do with an element, by its parent's name and its own."""
        group, leaf = self._open_group, self._open_leaf
        known: dict[tuple[str, str], _Open] = {
            ("", "LandXML"): self._open_root,
            ("Units", "Metric"): leaf(self._end_units),
            ("Units", "Imperial"): leaf(self._end_units),
            ("LandXML", "CoordinateSystem"): self._open_system,
            ("CgPoints", "CgPoint"): leaf(self._end_named),
            ("Surfaces", "Surface"): self._open_surface,
            ("Surface", "Definition"): self._open_definition,
            ("Pnts", "P"): self._open_p,
            ("Faces", "F"): self._open_f,
            ("SourceData", "DataPoints"): self._open_drawn("point"),
            ("Breaklines", "Breakline"): self._open_drawn("break"),
            ("Boundaries", "Boundary"): self._open_drawn("outer"),
            ("Contours", "Contour"): self._open_drawn("contour"),
            ("Alignments", "Alignment"): self._open_owner(self.alignments),
            ("PlanFeatures", "PlanFeature"): self._open_owner(self.features),
            ("Alignment", "StaEquation"): leaf(self._end_equation),
            ("Profile", "ProfAlign"): self._open_profile,
        }
        for parent in ("LandXML", "CgPoints", "Survey"):
            known[parent, "CgPoints"] = self._open_cgpoints
        for parent, name in _GROUPS:
            known[parent, name] = group
        for drawn in ("DataPoints", "Breakline", "Boundary", "Contour"):
            for size in (2, 3):
                known[drawn, f"PntList{size}D"] = self._open_list(size)
        for piece in _PIECES:
            known["CoordGeom", piece] = self._open_piece(piece)
            for point in ("Start", "End", "Center", "PI"):
                known[piece, point] = leaf(self._end_point)
        for size in (2, 3):
            known["IrregularLine", f"PntList{size}D"] = self._open_path(size)
        for row in ("PVI", "ParaCurve", "UnsymParaCurve", "CircCurve"):
            known["ProfAlign", row] = leaf(self._end_profile_row)
        return known

    # ---- ends that only close

    def _end_skipped(self) -> None:
        self._skip -= 1

    def _close(self) -> None:
        self._open.pop()

    def _open_group(self, _: dict[str, str]) -> tuple[Sink | None, End]:
        return None, self._close

    def _open_leaf(self, end: Callable[[str], None]) -> _Open:
        """An element whose text is wanted whole; `end` is called with it."""

        def close() -> None:
            self._closed = self._open.pop()
            text = "".join(self._words)
            self._words.clear()
            end(text)

        def opener(attributes: dict[str, str]) -> tuple[Sink | None, End]:
            self._attributes = attributes
            self._line = self.at.line()
            return self._words, close

        return opener

    # ---- heading

    def _open_root(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        self.version = attributes.get("version", "")
        return None, self._close

    def _end_units(self, _: str) -> None:
        self.units.append(self._attributes)

    def _open_system(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        self.coordinate_system = attributes
        return None, self._close

    # ---- named points

    def _open_cgpoints(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        self._groups.append(attributes.get("code") or self._groups[-1])

        def close() -> None:
            self._groups.pop()
            self._open.pop()

        return None, close

    def _end_named(self, text: str) -> None:
        self.named.add(text, self._attributes, self._groups[-1], self._line)

    # ---- surfaces

    def _open_surface(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        self._surface = SurfaceRows(attributes.get("name", ""), self.at.line())
        self.surfaces.append(self._surface)
        return None, self._close

    def _open_definition(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        self._surface.declared.update(attributes)
        return None, self._close

    def _open_p(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        surface = self._surface
        surface.ids.append(surface.names.code(attributes.get("id", "")))
        surface.lines.append(self.at.line())
        return self._words, self._end_p

    def _end_p(self) -> None:
        self._open.pop()
        words = self._words
        self._surface.points.add(words[0] if len(words) == 1 else "".join(words))
        words.clear()

    def _open_f(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        faces = self._surface.faces
        mark = attributes.get("i", "")
        faces.hidden.append(_HIDDEN.get(mark.strip().lower(), 2) if mark else 0)
        faces.line.append(self.at.line())
        return self._words, self._end_f

    def _end_f(self) -> None:
        self._open.pop()
        words = self._words
        self._surface.faces.add(words[0] if len(words) == 1 else "".join(words))
        words.clear()

    def _open_drawn(self, kind: str) -> _Open:
        def opener(attributes: dict[str, str]) -> tuple[Sink | None, End]:
            name = attributes.get("name") or attributes.get("desc", "")
            drawn = Drawn(kind, name, attributes.get("code", ""), NumberList(self.at.line()), 3)
            if kind == "outer":
                drawn.kind = attributes.get("bndType", "outer")
            if kind == "contour":
                drawn.elevation = self._attribute_number(attributes, "elev")
            if (form := attributes.get("brkType", "standard")) != "standard":
                self.odd_breaklines[form] += 1
            if kind == "outer" and drawn.kind not in ("outer", "void"):
                self.odd_boundaries[drawn.kind] += 1
            self._drawn = drawn
            return None, self._close

        return opener

    def _attribute_number(self, attributes: dict[str, str], name: str) -> float:
        try:
            values = parse_numbers(attributes.get(name, ""))
        except BadNumberError as error:
            raise InputError(self.at.words(), f"{name}: {error}", "export it again") from None
        return values[0] if len(values) == 1 else float("nan")

    def _open_list(self, size: int) -> _Open:
        def opener(_: dict[str, str]) -> tuple[Sink | None, End]:
            like = self._drawn
            numbers = NumberList(self.at.line())
            if like is not None:  # a gap in a line is written as two lists: two lines
                drawn = Drawn(like.kind, like.name, like.code, numbers, size, like.elevation)
                self._surface.drawn.append(drawn)
            return numbers, lambda: self._end_list(numbers, size)

        return opener

    def _end_list(self, numbers: NumberList, size: int) -> None:
        self._open.pop()
        numbers.close()
        if len(numbers.values) % size:
            raise InputError(
                f"{self.file} line {numbers.line}",
                f"a list of {size}D points with {len(numbers.values)} numbers",
                "one is missing, doubled or cut in two: correct it or export it again",
            )

    # ---- alignments and drawn features

    def _open_owner(self, owners: list[LineText]) -> _Open:
        def opener(attributes: dict[str, str]) -> tuple[Sink | None, End]:
            self._owner = LineText(attributes.get("name", ""), attributes, self.at.line())
            owners.append(self._owner)
            return None, self._close

        return opener

    def _owned(self) -> LineText:
        if self._owner is None:  # not reachable: pieces stand under an owner only
            raise InputError(self.at.words(), "an element without an owner", "export it again")
        return self._owner

    def _open_piece(self, kind: str) -> _Open:
        def opener(attributes: dict[str, str]) -> tuple[Sink | None, End]:
            self._owned().pieces.append(Piece(kind, attributes, self.at.line()))
            if kind != "Chain":
                return None, self._close
            words: list[str] = []
            return words, lambda: self._end_chain(words)

        return opener

    def _end_chain(self, words: list[str]) -> None:
        self._open.pop()
        self._owned().pieces[-1].chain = "".join(words)

    def _end_point(self, text: str) -> None:
        reference = self._attributes.get("pntRef", "")
        value = text if text.strip() or not reference else f"@{reference}"
        self._owned().pieces[-1].points[self._closed] = value

    def _open_path(self, size: int) -> _Open:
        def opener(_: dict[str, str]) -> tuple[Sink | None, End]:
            piece = self._owned().pieces[-1]
            numbers = NumberList(self.at.line())
            piece.path, piece.dimensions = numbers, size
            return numbers, lambda: self._end_list(numbers, size)

        return opener

    def _end_equation(self, _: str) -> None:
        self._owned().equations.append(self._attributes)

    def _open_profile(self, attributes: dict[str, str]) -> tuple[Sink | None, End]:
        profile = ProfileText(attributes.get("name", ""), self.at.line())
        self._owned().profiles.append(profile)
        return None, self._close

    def _end_profile_row(self, text: str) -> None:
        row = (self._closed, self._attributes, text, self._line)
        self._owned().profiles[-1].rows.append(row)
