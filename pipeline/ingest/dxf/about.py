"""What there is to say about a drawing: what was not read, and what was read with a rule."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from pipeline.ingest.badrows import LISTED
from pipeline.ingest.dxf.lines import Bad, Judged
from pipeline.ingest.dxf.load import Loaded
from pipeline.ingest.dxf.shapes import TWO_HEIGHTS
from pipeline.ingest.dxf.walk import Gathered
from pipeline.ingest.source import shown
from pipeline.model import Finding, Severity
from pipeline.model.telling import listed

_MOST_NAMES = 40
_FOR_EYES = frozenset({
    "TEXT", "MTEXT", "ATTRIB", "ATTDEF", "DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION",
    "LEADER", "MULTILEADER", "TOLERANCE", "HATCH", "MPOLYGON", "SOLID", "TRACE", "IMAGE", "WIPEOUT",
    "OLE2FRAME", "OLEFRAME", "VIEWPORT", "SHAPE", "LIGHT", "SUN", "CAMERA", "ACAD_TABLE",
})  # fmt: skip
"""Types that annotate or shade; all others could be ground."""

_Row = tuple[Severity, str, str, str]


def about_drawing(loaded: Loaded, found: Gathered, judged: Judged) -> list[Finding]:
    """Everything but the unit, the repairs, the points and the faces."""
    file = loaded.file
    rows = [
        *_about_layers(loaded, found),
        *_about_types(loaded, found),
        *_about_lines(judged),
    ]
    return [
        Finding(severity, kind, f"{file}: {text}", do, file=file)
        for severity, kind, text, do in rows
    ]


def _about_layers(loaded: Loaded, found: Gathered) -> Iterator[_Row]:
    if not found.used_layers and not found.left and not found.bad:
        yield "person", "nothing read", "holds no point, line or face", "export the ground into it"
    if found.left:
        text = f"not read, as the job file says: {layer_counts(found.left)}"
        yield "note", "layer not read", text, "nothing, if none of it is ground"
    read = [name for name in found.used_layers if name.casefold() in loaded.hidden]
    if read:
        named = ", ".join(f'"{shown(name)}"' for name in read[:_MOST_NAMES])
        text = f"layers that are switched off or frozen in it are read too: {named}"
        yield "person", "hidden layer", text, "leave them out in the job file if they are not meant"


def _about_types(loaded: Loaded, found: Gathered) -> Iterator[_Row]:
    eyes = {kind: n for kind, n in found.unread.items() if kind in _FOR_EYES and n}
    rest = {kind: n for kind, n in found.unread.items() if kind not in _FOR_EYES and n}
    if eyes:
        yield "note", "not read", f"for the eye only, not read: {_counts(eyes)}", "nothing"
    if rest:
        do = "turn them into lines or faces in the drawing if they are ground"
        yield "person", "not read", f"types that are not read: {_counts(rest)}", do
    for names, what in (
        (found.missing_blocks, "blocks that are not in the file"),
        (found.references, "other drawings that it refers to, not read"),
    ):
        if names:
            yield "person", "block missing", f"{what}: {_counts(names)}", "bind them into the file"
    for what, count in found.told.items():
        severity: Severity = "person" if what == TWO_HEIGHTS else "note"
        yield severity, "read so", f"{count} {what}", "nothing, if that is what was meant"
    if loaded.on_sheets:
        text = f"{loaded.on_sheets} things on its sheets are not read"
        yield "note", "on sheets", text, "nothing"


def _about_lines(judged: Judged) -> Iterator[_Row]:
    if judged.pieces:
        text = f"{judged.pieces} loose pieces of line make {judged.chains} lines"
        yield "note", "joined", f"{text}, joined where their ends are the same", "nothing"
    if judged.short:
        yield "note", "no length", f"{judged.short} lines without length left out", "nothing"
    if judged.twice:
        text = f"{judged.twice} pieces of line that stand there before left out"
        yield "note", "drawn twice", text, "nothing"
    if judged.at_zero:
        text = f"lines at height 0 are taken to have no height: {_counts(judged.at_zero)}"
        do = "state the layer as break in the job file if they are meant at 0"
        yield "person", "line at zero", text, do
    if judged.bare:
        text = f"flat rings, to be laid on the ground: {_counts(judged.bare)}"
        yield "note", "flat ring", text, "nothing"
    if judged.open_rings:
        rings = [f'{one.handle} on "{shown(one.layer)}"' for one in judged.open_rings]
        text = f"rings that are open and will be closed straight: {listed(rings, 10)}"
        yield "person", "open ring", text, "close them in the drawing"


def bad_entities(bad: Sequence[Bad], file: str) -> list[Finding]:
    """One finding for each entity that cannot be used; beyond `LISTED` one for all the rest."""
    found = [
        Finding(
            "person",
            kind,
            f'{file}: {origin.type} {origin.handle} on "{shown(origin.layer)}": {text}',
            "correct it in the drawing or leave it out",
            points=(origin.handle,) if origin.handle else (),
            file=file,
            line=origin.line,
        )
        for origin, kind, text in bad[:LISTED]
    ]
    if rest := bad[LISTED:]:
        text = f"{file}: {len(rest)} more entities like these"
        do = "look for one cause before correcting them"
        found.append(Finding("person", "bad row", text, do, file=file))
    return found


def layer_counts(left: Counter[tuple[str, str]]) -> str:
    """``"A" (LINE 3, TEXT 1), "B" (POINT 2)``, in the order met."""
    layers: dict[str, list[str]] = {}
    for (layer, kind), count in left.items():
        layers.setdefault(layer, []).append(f"{kind} {count}")
    named = [f'"{shown(layer)}" ({", ".join(kinds)})' for layer, kinds in layers.items()]
    return listed(named, _MOST_NAMES)


def _counts(names: dict[str, int] | Counter[str]) -> str:
    return listed([f"{shown(name)} {count}" for name, count in names.items()], _MOST_NAMES)
