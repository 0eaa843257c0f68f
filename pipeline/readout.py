"""What ``lath read`` says of a file, for a person and for a program."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import LathError
from pipeline.ingest.describe.description import (
    AlignmentFacts,
    Asked,
    Description,
    ProfileFacts,
    SurfaceFacts,
    Tell,
)
from pipeline.ingest.describe.files import describe
from pipeline.ingest.source import shown
from pipeline.model.telling import listed
from pipeline.units import format_length

if TYPE_CHECKING:
    from pipeline.convert import Wanted, Written

_LABEL = 13
_DEGREES = 1e-7
_MILLI = 0.001

_MOST_LISTED = 12


def wishes(options: Mapping[str, Any], files: int) -> tuple[Asked, Wanted | None]:
    """What the person states of the files, and what is to be written of them.

    Raises
    ------
    ValueError
        Options that do not go together, or that cannot be read.
    """
    if options["to"] is None:
        alone = [name for name in ("out", "force", "surface", "classes", "crs") if options[name]]
        if alone:
            raise ValueError(f"--{alone[0]} goes with --to")
    if options["out"] is not None and files > 1:
        raise ValueError("--out is for one file; leave it out and each gets its own name")
    columns, classes = options["columns"], options["classes"]
    asked = Asked(
        unit=options["unit"],
        columns=columns_stated(columns) if columns else None,
        surface=options["surface"],
        classes=classes_stated(classes) if classes else None,
    )
    if options["to"] is None:
        return asked, None
    from pipeline.convert import Wanted

    names = {name: options[name] for name in ("to", "out", "crs", "force")}
    return asked, Wanted(**names)


@dataclass(frozen=True, slots=True)
class Told:
    """What came of one file: its description and what was written of it, or a refusal."""

    file: str
    description: Description | None = None
    written: Written | None = None
    refusal: LathError | None = None


def read_file(path: Path, asked: Asked, wanted: Wanted | None, tell: Tell) -> Told:
    """Describe one file and, where `wanted`, write it in another format.

    A refusal does not end the reading of others: it is part of what is told.
    """
    file = shown(path.name, 80)
    try:
        description = describe(path, asked, tell)
    except LathError as refusal:
        return Told(file, refusal=refusal)
    if wanted is None:
        return Told(file, description)
    from pipeline.convert import convert

    try:
        return Told(file, description, convert(path, description, asked, wanted))
    except LathError as refusal:
        return Told(file, description, refusal=refusal)


def told_object(told: Told) -> dict[str, Any]:
    """What ``--json`` prints of one file; one that cannot be read has ``file`` and ``refused``."""
    found: dict[str, Any] = {"file": told.file}
    if told.description is not None:
        found = read_object(told.description)
    if told.written is not None:
        written = asdict(told.written)
        written["path"] = shown(str(told.written.path), 200)
        found["written"] = written
    if told.refusal is not None:
        found["refused"] = str(told.refusal)
    return found


def told_words(told: Told) -> list[str]:
    """The same for a person; what was refused goes to another place."""
    lines = [] if told.description is None else read_words(told.description)
    if told.written is not None:
        where = shown(str(told.written.path), 200)
        lines.append(f"  {'written':{_LABEL}s}{where}: {told.written.holds}")
        lines += [f"  {'':{_LABEL}s}{text}" for text in told.written.oddities]
    return lines


def columns_stated(text: str) -> list[str] | dict[str, str]:
    """Columns as a person types them: ``id,northing`` in their order, or ``northing=X``.

    Raises
    ------
    ValueError
        Some with ``=`` and some without.

    Examples
    --------
    >>> columns_stated("id, northing"), columns_stated("northing=X")
    (['id', 'northing'], {'northing': 'X'})
    """
    words = [word.strip() for word in text.split(",")]
    if not any("=" in word for word in words):
        return words
    if not all("=" in word for word in words):
        raise ValueError("write all columns as NAME=WORD, or all in their order")
    pairs = (word.partition("=") for word in words)
    return {ours.strip(): theirs.strip() for ours, _, theirs in pairs}


def classes_stated(text: str) -> frozenset[int]:
    """Classes of a scan as a person types them: ``2,8`` or ``all``.

    Raises
    ------
    ValueError
        Anything else.

    Examples
    --------
    >>> sorted(classes_stated("2, 8")), len(classes_stated("all"))
    ([2, 8], 256)
    """
    if text.strip().lower() == "all":
        return frozenset(range(256))
    words = [word.strip() for word in text.split(",")]
    if not all(word.isdecimal() and word.isascii() and int(word) < 256 for word in words):
        raise ValueError("write numbers from 0 to 255 with commas between, or all")
    return frozenset(int(word) for word in words)


def read_object(description: Description) -> dict[str, Any]:
    """The description as one JSON object; null is what nobody says or what cannot be known."""
    first = (
        "file", "format", "version", "points", "faces", "breaklines", "alignments", "profiles",
        "bbox", "elevation", "units", "crs", "oddities", "hidden_faces", "surfaces", "bytes",
    )  # fmt: skip
    values = asdict(description)
    return {name: values[name] for name in first} | dict(description.more)


def read_words(description: Description) -> list[str]:
    """The same for a person: a heading, what is odd, then what is there."""
    kind = f"{description.format} {description.version}".strip()
    rows = [
        *(("odd", text) for text in description.oddities),
        *_counts(description),
        ("units", description.units or "not stated"),
        ("crs", description.crs or "not stated"),
        *_place(description),
        *(("surface", _surface(one, description)) for one in description.surfaces),
        *(("alignment", _alignment(one)) for one in description.alignments),
        *(("profile", _profile(one)) for one in description.profiles),
        *_more(description.more),
    ]
    lines = [f"{description.file}: {kind}, {description.bytes:,} bytes"]
    before = ""
    for label, text in rows:
        head = "" if label == before else label
        lines.append(f"  {head:{_LABEL}s}{text}")
        before = label
    return lines


def _counts(description: Description) -> Iterator[tuple[str, str]]:
    counts = [(description.points, "points"), (description.breaklines, "breaklines")]
    hidden = f", {description.hidden_faces:,} of them hidden" if description.hidden_faces else ""
    words = [f"{count:,} {what}" for count, what in counts if count]
    if description.faces:
        words.insert(1, f"{description.faces:,} faces{hidden}")
    line = description.alignments or description.profiles
    yield "holds", "; ".join(words) or ("no points" if line else "no points, lines or faces")


def _place(description: Description) -> Iterator[tuple[str, str]]:
    units = description.units or ""
    in_degrees = units.lower().startswith("degree")
    step = _DEGREES if in_degrees else _MILLI
    if description.bbox is not None:
        east, north, last_east, last_north = (format_length(x, step=step) for x in description.bbox)
        names = ("longitude", "latitude") if in_degrees else ("E", "N")
        yield "extent", f"{names[0]} {east} to {last_east}, {names[1]} {north} to {last_north}"
    if description.elevation is not None:
        low, high = (format_length(z) for z in description.elevation)
        yield "elevation", f"{low} to {high}"
    middle = description.more.get("middle")
    if middle:
        yield "middle", f"latitude {middle['latitude']:.4f}, longitude {middle['longitude']:.4f}"


def _surface(surface: SurfaceFacts, description: Description) -> str:
    square = f" {description.units}2" if description.units in ("m", "ft", "ftUS") else ""
    hidden = f" ({surface.hidden_faces:,} hidden)" if surface.hidden_faces else ""
    words = f"{surface.name}: {surface.points:,} points, {surface.faces:,} faces{hidden}"
    flat = format_length(surface.area2d, step=1e-4)
    sloped = format_length(surface.area3d, step=1e-4)
    if flat:
        words += f", area {flat}{square} in plan"
    if sloped:
        words += f", {sloped} on the slope"
    return words


def _alignment(alignment: AlignmentFacts) -> str:
    kinds = ", ".join(f"{count} {kind}" for kind, count in alignment.kinds.items())
    length = format_length(alignment.length, step=1e-6) or "not known"
    start = format_length(alignment.start_station) or "not known"
    return f"{alignment.name}: {kinds}; length {length}, from station {start}"


def _profile(profile: ProfileFacts) -> str:
    start, end = (format_length(x) for x in (profile.start_station, profile.end_station))
    span = f", stations {start} to {end}" if start else ""
    named = f" of {profile.alignment}" if profile.alignment else ""
    return f"{profile.name}{named}: {profile.points} points, {profile.curves} with curves{span}"


def _more(more: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What only some formats have, in the order given."""
    for key, value in more.items():
        if key in ("class_names", "middle", "scale") or (not value and key != "point_format"):
            continue
        label = key.replace("_", " ")
        if key == "classes":
            yield label, _most({f"{k} {more['class_names'][k]}": n for k, n in value.items()})
        elif key == "columns":
            for column in value[:_MOST_LISTED]:
                yield "column", _column(column)
        elif isinstance(value, Mapping):
            yield label[: _LABEL - 1], _most(value)
        elif isinstance(value, list):
            yield label[: _LABEL - 1], " | ".join(str(one) for one in value[:_MOST_LISTED])
        else:
            yield label[: _LABEL - 1], f"{value:,}" if isinstance(value, int) else str(value)


def _column(column: Mapping[str, Any]) -> str:
    span = f", {column['low']:.12g} to {column['high']:.12g}" if column["numbers"] else ""
    return f"{column['name']}: {column['numbers']:,} numbers{span}"


def _most(counts: Mapping[str, Any]) -> str:
    rows = [
        f"{key.replace('_', ' ')} {value:,}" for key, value in counts.items() if value is not None
    ]
    return listed(rows, _MOST_LISTED)
