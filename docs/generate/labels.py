"""Every name that a user sees, in one page: to be gone through with one question.

Would a practitioner name one program on seeing it? Then it is changed. Marks,
classes and messages are taken from the code's syntax, so a new one cannot be forgotten.
"""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from docs.generate import columns, commands, job_file
from docs.generate.markdown import MADE, table
from pipeline.cli import main
from pipeline.model.drawing import LAYERS, PENS

PIPELINE = Path(__file__).resolve().parent.parent.parent / "pipeline"
REFUSALS = ("InputError", "JobError", "DesignError", "SurfaceError", "OutputError")
POSITIONS = {"kind": 1, "text": 2, "do": 3}
ROW = ("severity", *POSITIONS)
SEVERITIES = ("stop", "person", "note")
"""Where `Finding` takes what."""

INTRODUCTION = """\
# Labels

Every name that a user of Lath meets. The page is made from the code and gone through before a \
release with one question: would a practitioner name one program on seeing it? What would is \
changed. What stays is plain English, a term that the whole trade uses, or a term of an open \
standard:

| what | where it comes from |
| --- | --- |
| cut, fill, hub, lath, stake, grade, subgrade, crown, lip, flowline, catch point, hinge, haul, \
bank and loose measure | the trade; handbooks and public manuals print them |
| `C`, `F`, `TBC`, `BC`, `EP`, `PC`, `PT`, `PCC`, `PRC`, `TS`, `SC`, `CS`, `ST`, `PVI`, `HP`, \
`LP` | the trade; grade-stake manuals of public bodies print them. Any other short name is ours |
| `alignment`, `profile`, `CgPoint`, `Surface`, `StaEquation` and their like | LandXML 1.2 |
| classes of a scan, returns, scale and offset of coordinates | LAS 1.4, ASPRS |
| layer, polyline, 3DFACE, paper space, index colour | DXF, as published |
| `FeatureCollection`, longitude before latitude | GeoJSON, RFC 7946 |
| `EPSG:...`, WKT | OGC and the IOGP registry |
| stations `0+120.0` | the trade |
| codes of shots | none is built in: the job file says what its codes mean |
| colours of cut and fill | PuOr, by Cynthia Brewer, https://colorbrewer2.org/ |
| widths, symbols and other colours | ours |

"""


def page() -> str:
    """``reference/labels.md``."""
    parts = [MADE + INTRODUCTION]
    for heading, heads, rows in (
        ("Commands and options", ("name", "what it does"), list(_commands())),
        ("Settings of the job file", ("name", "table"), list(_settings())),
        ("Columns", ("name", "files"), list(_columns())),
        ("Layers of the map, and their colours", ("name", "what is on it", "colour"), _layers()),
        ("Words on laths, on dirt and in lists", ("name", "room"), list(_capitals())),
        ("Kinds of findings", ("name", "room"), list(_kinds())),
        ("Messages", ("message", "room"), list(_messages())),
    ):
        parts.append(f"## {heading}\n\n{table(heads, rows)}\n")
    return "".join(parts).rstrip("\n") + "\n"


def _commands() -> Iterator[tuple[str, str]]:
    for name, command in commands.commands(main, "lath"):
        yield f"`{name}`", commands.told(command)[0].split("\n")[0]
        for option in commands.options(command):
            yield f"`{name} {option.opts[-1]}`", option.help or ""


def _settings() -> Iterator[tuple[str, str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for setting in job_file.settings():
        found[setting.name].append(setting.table or "at the top")
    for name, tables in sorted(found.items()):
        yield f"`{name}`", ", ".join(tables)


def _columns() -> Iterator[tuple[str, str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for file, names in columns.headers().items():
        for name in names:
            found[name].append(file)
    for name, files in sorted(found.items()):
        yield f"`{name}`", ", ".join(files)


def _layers() -> list[tuple[str, str, str]]:
    return [
        (f"`{name}`", what, "#{:02x}{:02x}{:02x}".format(*PENS[name].colour))
        for name, what in LAYERS.items()
    ]


@cache
def _trees() -> dict[str, ast.Module]:
    return {
        path.relative_to(PIPELINE).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for path in sorted(PIPELINE.rglob("*.py"))
        if path.relative_to(PIPELINE).parts[0] != "demo"
    }


def _capitals() -> Iterator[tuple[str, str]]:
    """Words in capitals that the rooms of the crew and of delivery hold as text."""
    found: dict[str, set[str]] = defaultdict(set)
    for name, tree in _trees().items():
        if not name.startswith(("crew/", "units", "deliver/p")) or name == "deliver/package.py":
            continue
        for text in _constants(tree):
            words = text.strip()
            letters = [letter for letter in words if letter.isalpha()]
            capital = letters and words.upper() == words and words[0].isalpha()
            if capital and words.isascii() and len(words) <= 24:
                found[words].add(_room(name))
    for words, where in sorted(found.items()):
        yield f"`{words}`", ", ".join(sorted(where))


def _room(name: str) -> str:
    return name.partition("/")[0].removesuffix(".py")


def _constants(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _kinds() -> Iterator[tuple[str, str]]:
    found: dict[str, set[str]] = defaultdict(set)
    for name, tree in _trees().items():
        if name.startswith(("deliver/", "convert")):
            continue
        takes = {"Finding": 1, "finding": 1, **_takers(tree)}
        for call in _calls(tree):
            if _called(call) in takes:
                value = _argument(call, "kind", takes[_called(call)])
                if isinstance(value, ast.Constant) and isinstance(value.value, str):
                    found[value.value].add(_room(name))
        for kind in _rows(tree):
            found[kind].add(_room(name))
    for kind, where in sorted(found.items()):
        yield f"`{kind}`", ", ".join(sorted(where))


def _rows(tree: ast.Module) -> Iterator[str]:
    """Kinds that stand in rows of (severity, kind, text, what to do), to be findings later."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Tuple) and len(node.elts) == len(ROW):
            severity, kind = node.elts[:2]
            told = isinstance(severity, ast.Constant) and severity.value in SEVERITIES
            if told and isinstance(kind, ast.Constant):
                yield str(kind.value)


def _takers(tree: ast.Module) -> dict[str, int]:
    """Functions and classes of a module that take a kind, and at which place."""
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            names = [one.arg for one in node.args.args if one.arg != "self"]
        elif isinstance(node, ast.ClassDef):
            names = [
                item.target.id
                for item in node.body
                if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)
            ]
        else:
            continue
        # a kind without words is that of something else
        if "kind" in names and {"text", "do"} & set(names):
            found[node.name] = names.index("kind")
    return found


def _calls(tree: ast.Module) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node


def _called(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")


def _argument(call: ast.Call, name: str, place: int) -> ast.expr | None:
    for keyword in call.keywords:
        if keyword.arg == name:
            return keyword.value
    return call.args[place] if place < len(call.args) else None


def _messages() -> Iterator[tuple[str, str]]:
    """What findings and refusals say, with ``...`` where something is put in."""
    found: dict[str, set[str]] = defaultdict(set)
    for name, tree in _trees().items():
        for call in _calls(tree):
            if _called(call) == "Finding":
                parts = [_argument(call, key, POSITIONS[key]) for key in ("text", "do")]
            elif _called(call) in REFUSALS:
                parts = list(call.args)
            else:
                continue
            said = [words for part in parts if (words := _template(part))]
            if said:
                found[" / ".join(said)].add(_room(name))
    for words, where in sorted(found.items()):
        yield words.replace("`", "'").replace("*", "\\*"), ", ".join(sorted(where))


def _template(part: ast.expr | None) -> str:
    """The text of a message; empty where it is made elsewhere."""
    if isinstance(part, ast.Constant) and isinstance(part.value, str):
        return part.value
    if isinstance(part, ast.JoinedStr):
        words = [
            str(piece.value) if isinstance(piece, ast.Constant) else "..." for piece in part.values
        ]
        return "".join(words).strip(" .")
    return ""
