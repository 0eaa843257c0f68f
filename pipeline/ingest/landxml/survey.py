"""What a LandXML survey says, as text, collected while the file streams by.

The file is fed to expat in pieces and only what is asked for is kept, so a large
surface in the same file costs time but no memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

from pipeline.errors import InputError

_CHUNK = 1 << 20
_LONGEST_TOKEN = 4 << 20  # expat takes quadratic time on one long token
_DEEPEST = 64


@dataclass(slots=True)
class Sight:
    """One sighting as it stands, all text."""

    line: int
    setup: str
    target: str
    attributes: dict[str, str]
    role: str = "foresight"


@dataclass(slots=True)
class _Group:
    """An observation group: its set-up may be named only after its sightings."""

    setup: str
    backsight: str = ""
    circle: str = ""
    circle_line: int = 0


@dataclass(slots=True)
class Point:
    """A point as it stands."""

    name: str
    code: str
    kind: str
    text: str
    line: int


class Survey:
    """Collects the survey of one file while expat reads it."""

    def __init__(self, file: str, parser: expat.XMLParserType) -> None:
        self.file = file
        self.parser = parser
        self.version = ""
        self.linear = ""
        self.angular = ""
        self.points: list[Point] = []
        self.setups: dict[str, tuple[str, str]] = {}  # id -> (point, height of instrument)
        self.sights: list[Sight] = []
        self.reduced = 0
        self._path: list[str] = []
        self._text: list[str] = []
        self._setup = ""
        self._group = _Group("")
        self._pending: list[Sight] = []

    def doctype(self, *_: object) -> None:
        """Refuse a document type: it could define entities that swell."""
        raise InputError(
            f"{self.file} line {self.parser.CurrentLineNumber}",
            "holds a document type declaration",
            "take it out: LandXML needs none, and it can make a reader swell",
        )

    def start(self, qname: str, attributes: dict[str, str]) -> None:
        """Remember where we are and hand the element to ``_open_<its name>``, if there is one."""
        name = qname.rpartition(":")[2]
        self._path.append(name)
        if len(self._path) > _DEEPEST:
            where = f"{self.file} line {self.parser.CurrentLineNumber}"
            raise InputError(where, f"elements {_DEEPEST} deep", "export the survey alone")
        opened = getattr(self, f"_open_{name.lower()}", None)
        if opened is not None:
            opened(attributes)

    def text(self, data: str) -> None:
        """Keep the coordinates of a point; all other text is let go."""
        if self._path and self._path[-1] in ("CgPoint", "InstrumentPoint"):
            self._text.append(data)

    def end(self, qname: str) -> None:
        """Hand the element to ``_close_<its name>``, if there is one."""
        del qname
        name = self._path.pop()
        closed = getattr(self, f"_close_{name.lower()}", None)
        if closed is not None:
            closed()

    def _open_landxml(self, given: dict[str, str]) -> None:
        self.version = given.get("version", "")

    def _open_metric(self, given: dict[str, str]) -> None:
        self.linear = given.get("linearUnit", "")
        self.angular = " ".join(given.get("angularUnit", "").split())

    _open_imperial = _open_metric

    def _open_cgpoint(self, given: dict[str, str]) -> None:
        line = self.parser.CurrentLineNumber
        code = given.get("code") or given.get("desc", "")
        kind = "reference" if "pntRef" in given else given.get("pntSurv", "")
        point = Point(given.get("name", ""), code, kind, "", line)
        self._text = []
        self.points.append(point)

    def _close_cgpoint(self) -> None:
        self.points[-1].text = "".join(self._text)
        self._text = []
        if self.points[-1].kind == "reference" and not self.points[-1].text.strip():
            self.points.pop()  # it only points at a point that stands elsewhere

    def _open_instrumentsetup(self, given: dict[str, str]) -> None:
        self._setup = given.get("id", "")
        self.setups[self._setup] = (given.get("stationName", ""), given.get("instrumentHeight", ""))
        self._group = _Group(self._setup)

    def _close_instrumentsetup(self) -> None:
        self.finish_group()
        self._setup = ""

    def _open_instrumentpoint(self, given: dict[str, str]) -> None:
        self._text = []
        point, height = self.setups.get(self._setup, ("", ""))
        self.setups[self._setup] = (given.get("pntRef") or given.get("name") or point, height)

    def _close_instrumentpoint(self) -> None:
        text = "".join(self._text).strip()
        self._text = []
        if text:
            name = self.setups[self._setup][0]
            line = self.parser.CurrentLineNumber
            self.points.append(Point(name, "", "control", text, line))

    def _open_observationgroup(self, given: dict[str, str]) -> None:
        self.finish_group()
        self._group = _Group(given.get("setupID") or self._setup)

    def _close_observationgroup(self) -> None:
        self.finish_group()

    def _open_backsight(self, given: dict[str, str]) -> None:
        self._group.setup = self._group.setup or given.get("setupID", "")
        self._group.circle = given.get("circle", "")
        self._group.circle_line = self.parser.CurrentLineNumber

    def _open_backsightpoint(self, given: dict[str, str]) -> None:
        self._group.backsight = given.get("pntRef") or given.get("name", "")

    def _open_rawobservation(self, given: dict[str, str]) -> None:
        line = self.parser.CurrentLineNumber
        role = given.get("purpose", "")
        role = role if role in ("backsight", "check") else "foresight"
        self._pending.append(Sight(line, given.get("setupID", ""), "", given, role))

    def _open_targetpoint(self, given: dict[str, str]) -> None:
        if "RawObservation" in self._path and self._pending:
            self._pending[-1].target = given.get("pntRef") or given.get("name", "")

    def _open_reducedobservation(self, given: dict[str, str]) -> None:
        del given
        self.reduced += 1

    def finish_group(self) -> None:
        """Give the group's sightings its set-up and, to the backsight point, their role."""
        group = self._group
        if group.backsight and group.circle:
            sight = Sight(
                group.circle_line,
                group.setup,
                group.backsight,
                {"horizAngle": group.circle},
                "backsight",
            )
            self.sights.append(sight)
        for sight in self._pending:
            sight.setup = sight.setup or group.setup
            if sight.role == "foresight" and group.backsight and sight.target == group.backsight:
                # with a circle stated, that reading places the set-up and this one checks it
                sight.role = "check" if group.circle else "backsight"
        self.sights.extend(self._pending)
        self._pending = []
        self._group = _Group(self._setup)


def read_survey(path: Path) -> Survey:
    """The survey of the file at `path`, all text; numbers and units are for the caller.

    Raises
    ------
    InputError
        Not well-formed, an unknown encoding, a document type declaration, elements
        too deep or one token too long.
    """
    parser = expat.ParserCreate()
    parser.buffer_text = True
    survey = Survey(path.name, parser)
    parser.StartDoctypeDeclHandler = survey.doctype
    parser.StartElementHandler = survey.start
    parser.EndElementHandler = survey.end
    parser.CharacterDataHandler = survey.text
    fed = 0
    try:
        with path.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                parser.Parse(chunk, False)
                fed += len(chunk)
                if fed - parser.CurrentByteIndex > _LONGEST_TOKEN:
                    found = f"one tag or text of more than {_LONGEST_TOKEN >> 20} MB"
                    where = f"{path.name} line {parser.CurrentLineNumber}"
                    raise InputError(where, found, "export the survey alone")
        parser.Parse(b"", True)
    except expat.ExpatError as why:
        where = f"{path.name} line {why.lineno}, column {why.offset + 1}"
        raise InputError(where, f"is not well-formed XML: {why}", "export it again") from None
    except (LookupError, ValueError) as why:  # an encoding that expat cannot take
        raise InputError(path.name, f"cannot be decoded: {why}", "save it as UTF-8") from None
    survey.finish_group()  # sightings that stand in no group
    return survey
