"""The reference of ``job.toml``, from the settings: name, default, range, meaning."""

from __future__ import annotations

import ast
import inspect
import types
from collections.abc import Iterator
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from annotated_types import Ge, Gt, Interval, Le, Len, Lt

from docs.generate.markdown import MADE, prose, table
from pipeline.ingest.job.job import OWN_FIELDS
from pipeline.settings import Job

INTRODUCTION = """\
# The job file

`job.toml` is a [TOML](https://toml.io) file. A setting that it does not state has the default \
below. A wrong setting, a mistyped one and one of the wrong kind are refused with their line.

The column *rests on* says what a default is worth:

- **the job**: there is no default; the job file has to state it.
- **assumed**: a number of our own choice. The closing words and `manifest.json` name it as \
assumed until the job file states it, be it with the same number.
- **common practice**: what crews usually do; no source is known to us. Named as assumed, too.
- **source**: the source stands with the meaning. Named as assumed, too: it may not be yours.
- **none**: nothing is assumed in its place; what needs it is left out, and says so.
- **choice**: no quantity, but which of several ways is taken.

"""

UNITS = {
    "per_m3_m": "currency/(m3 m)", "kg_m3": "kg/m3", "kg_m2": "kg/m2", "t_m3": "t/m3",
    "per_m3": "currency/m3", "m3": "m3", "m2": "m2", "pct": "%", "arcsec": "arcseconds",
    "arcmin": "arcminutes", "ppm": "mm/km", "deg": "degrees", "min": "minutes", "mph": "miles/h",
    "ft": "ft", "mm": "mm", "cm": "cm", "km": "km", "percent": "%", "s": "s", "mb": "MB",
    "t": "t", "m": "m",
}  # fmt: skip
"""Ending of a name -> the unit it stands for; longer endings first."""


@dataclass(frozen=True)
class Setting:
    """One setting: its table, and what the reference says of it."""

    table: str
    name: str
    unit: str
    kind: str
    default: str
    rests_on: str
    range: str
    meaning: str


@dataclass(frozen=True)
class Group:
    """One table of the job file: its heading, what it is about, its settings."""

    heading: str
    about: str
    settings: tuple[Setting, ...]


def page() -> str:
    """``reference/job-file.md``."""
    parts = [MADE + INTRODUCTION]
    for group in groups():
        rows = [
            (f"`{one.name}`", one.meaning, one.default, one.unit, one.rests_on, one.range)
            for one in group.settings
        ]
        heads = ("setting", "meaning", "default", "unit", "rests on", "range")
        parts += [f"## {group.heading}\n\n{group.about}\n\n"]
        parts += [table(heads, rows) + "\n"] if rows else []
    return "".join(parts).rstrip("\n") + "\n"


def groups() -> list[Group]:
    """Every table of the job file, in the order of the settings."""
    return list(_groups(Job, ""))


def settings() -> list[Setting]:
    """Every single setting."""
    return [setting for group in groups() for setting in group.settings]


def unit(name: str) -> str:
    """The unit that a name ends in; empty where it has none."""
    for ending, words in UNITS.items():
        if name.endswith(f"_{ending}"):
            return words
    return ""


def _groups(owner: type, path: str) -> Iterator[Group]:
    hints = get_type_hints(owner, include_extras=True)
    meanings = _meanings(owner)
    own, below = [], []
    for item in fields(owner):
        if owner is Job and item.name in OWN_FIELDS:
            continue
        inner, shape = _inner(hints[item.name])
        dotted = f"{path}.{item.name}".lstrip(".")
        if inner is None:
            own.append(_setting(path, item, hints[item.name], meanings.get(item.name, "")))
        else:
            below.append((inner, dotted + shape))
    if own or path:
        heading, about = _heading(path), prose(inspect.getdoc(owner) or "")
        if not path:
            heading, about = "At the top", "Before any table."
        yield Group(heading, about, tuple(own))
    for inner, dotted in below:
        yield from _groups(inner, dotted)


def _heading(path: str) -> str:
    return f"`[[{path.removesuffix('[]')}]]`" if path.endswith("[]") else f"`[{path}]`"


def _inner(hint: Any) -> tuple[type | None, str]:
    """The settings class that a table holds, and how it is held: once, by name, or in a list."""
    plain = _plain(hint)
    if is_dataclass(plain):
        return plain, ""
    arguments = get_args(plain)
    if get_origin(plain) is list and is_dataclass(_plain(arguments[0])):
        return _plain(arguments[0]), "[]"
    if get_origin(plain) is dict and is_dataclass(_plain(arguments[1])):
        return _plain(arguments[1]), ".NAME"
    return None, ""


def _plain(hint: Any) -> Any:
    """The type without what is annotated to it, and without None."""
    if hasattr(hint, "__metadata__"):
        return _plain(get_args(hint)[0])
    if get_origin(hint) in {Union, types.UnionType}:
        left = [one for one in get_args(hint) if one is not type(None)]
        return _plain(left[0]) if len(left) == 1 else hint
    return hint


def _setting(path: str, item: Field[Any], hint: Any, meaning: str) -> Setting:
    default = _default(item)
    return Setting(
        table=path,
        name=item.name,
        unit=unit(item.name),
        kind=_kind(hint),
        default=_shown(default),
        rests_on=_rests_on(default, meaning),
        range=_range(hint),
        meaning=prose(meaning),
    )


def _default(item: Field[Any]) -> Any:
    if item.default is not MISSING:
        return item.default
    return item.default_factory() if item.default_factory is not MISSING else MISSING


def _shown(value: Any) -> str:
    if value is MISSING or value is None:
        return ""
    if isinstance(value, bool):
        return "`true`" if value else "`false`"
    if isinstance(value, str):
        return f'`"{value}"`'
    if isinstance(value, list):
        return "`[" + ", ".join(_shown(one).strip("`") for one in value) + "]`"
    return "`{}`" if isinstance(value, dict) else f"`{value}`"


def _rests_on(default: Any, meaning: str) -> str:
    if default is MISSING:
        return "the job"
    if default is None:
        return "none"
    if "[assumed" in meaning:
        return "assumed"
    if "common practice" in meaning.casefold():
        return "common practice"
    if "code 155.080" in meaning or "DOT" in meaning:
        return "source"
    numbers = default if isinstance(default, list) else [default]
    numeric = any(isinstance(one, int | float) and not isinstance(one, bool) for one in numbers)
    return "assumed" if numeric else "choice"


def _kind(hint: Any) -> str:
    plain = _plain(hint)
    if get_origin(plain) is Literal:
        return "one of"
    return getattr(plain, "__name__", str(plain))


def _range(hint: Any) -> str:
    """What may stand there, in words."""
    plain, bounds = _plain(hint), _bounds(hint)
    if get_origin(plain) is Literal:
        return ", ".join(_shown(one) for one in get_args(plain))
    if plain is bool:
        return "`true`, `false`"
    kinds = {float: "a number", int: "a whole number", str: "text"}
    if plain in kinds:
        joint = " " if plain is str else ", "
        return f"{kinds[plain]}{joint}{bounds}" if bounds else kinds[plain]
    if get_origin(plain) is list:
        return f"a list: {_range(get_args(plain)[0])}"
    if get_origin(plain) is dict:
        return f"a table: name = {_range(get_args(plain)[1])}"
    either = [one for one in get_args(plain) if one is not type(None)]
    return "; or ".join(_range(one) for one in either)


def _bounds(hint: Any) -> str:
    words, limits = [], {}
    for mark in _marks(hint):
        if isinstance(mark, Len) and _plain(hint) is str:
            most = f" to {mark.max_length}" if mark.max_length else " or more"
            words.append(f"of {mark.min_length}{most} characters")
        for kind, name in ((Gt, "gt"), (Ge, "ge"), (Lt, "lt"), (Le, "le")):
            if isinstance(mark, kind):
                limits[name] = f"{getattr(mark, name):g}"
    if {"ge", "le"} <= limits.keys():
        words.append(f"{limits.pop('ge')} to {limits.pop('le')}")
    signs = {"gt": "over", "ge": "from", "lt": "below", "le": "up to"}
    words += [f"{signs[name]} {value}" for name, value in limits.items()]
    return " ".join(words)


def _marks(hint: Any) -> list[Any]:
    found = [
        mark
        for one in getattr(hint, "__metadata__", ())
        for mark in (one if isinstance(one, Interval) else [one])
    ]
    inside = [one for one in get_args(hint) if hasattr(one, "__metadata__")]
    return found + [mark for one in inside[:1] for mark in _marks(one)]


@cache
def _meanings(owner: type) -> dict[str, str]:
    """Field -> the docstring beneath it, which Python itself does not keep."""
    tree = ast.parse(inspect.cleandoc(inspect.getsource(owner)))
    body = tree.body[0].body if isinstance(tree.body[0], ast.ClassDef) else []
    found = {}
    for item, after in zip(body, [*body[1:], None], strict=True):
        named = isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)
        if named and isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            found[item.target.id] = str(after.value.value)
    return found
