"""SHA-256 of a value by its content, and of the program that works on it."""

from __future__ import annotations

import hashlib
import json
import platform
import weakref
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from types import FunctionType
from typing import Any

import numpy as np

_PACKAGE = Path(__file__).resolve().parent.parent
LIBRARIES = (
    "ezdxf", "laspy", "lazrs", "numpy", "pyproj", "pythoncdt", "reportlab", "scipy", "shapely",
)  # fmt: skip
"""Libraries that the numbers and the files come from."""
_LARGE = 4096
# an array that nobody can write to is read once a run
_seen: dict[int, tuple[weakref.ref[np.ndarray[Any, Any]], bytes]] = {}


_nouns: dict[type[Any], tuple[bytes, tuple[str, ...]] | None] = {}


class NotDigestedError(TypeError):
    """A value whose content is not all known, such as a function made on the spot."""


@cache
def program() -> str:
    """Of every file of the package, of the libraries' versions and of Python."""
    found = hashlib.sha256()
    for path in sorted(_PACKAGE.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts:
            found.update(path.relative_to(_PACKAGE).as_posix().encode() + b"\0")
            found.update(hashlib.sha256(path.read_bytes()).digest())
    about = [platform.python_version(), platform.machine(), platform.system()]
    about += [f"{name} {version(name)}" for name in LIBRARIES]
    found.update(json.dumps(about).encode())
    return found.hexdigest()


def digest(*values: Any) -> str:
    """Of the content of values: nouns, arrays, tuples, lists, mappings, texts, numbers, paths.

    Raises
    ------
    NotDigestedError
        Something else is among them.
    """
    found = hashlib.sha256()
    _add(values, found.update)
    return found.hexdigest()


def _add(value: Any, put: Callable[[bytes], None]) -> None:
    if isinstance(value, np.ndarray):
        put(_array(value))
    elif (noun := parts_of(type(value))) is not None:
        put(noun[0])
        for name in noun[1]:
            put(name.encode() + b"=")
            _add(getattr(value, name), put)
        put(b">")
    elif isinstance(value, tuple | list):
        put(f"({type(value).__name__} {len(value)} ".encode())
        for each in value:
            _add(each, put)
        put(b")")
    elif isinstance(value, Mapping):
        put(f"{{{len(value)} ".encode())
        for key, each in value.items():
            _add(key, put)
            _add(each, put)
        put(b"}")
    elif isinstance(value, frozenset):
        _add(["frozenset", *sorted(value)], put)
    elif isinstance(value, partial):
        _add(("partial", value.func, value.args, value.keywords), put)
    elif isinstance(value, FunctionType) and "<" not in value.__qualname__:
        # a function of a module: what it does is in the digest of the program
        put(f"[def {value.__module__}:{value.__qualname__}]".encode())
    else:
        put(_plain(value))


def parts_of(kind: type[Any]) -> tuple[bytes, tuple[str, ...]] | None:
    """Name and fields of a kind of noun; None for what is no dataclass."""
    if kind not in _nouns:
        name = f"<{kind.__module__}:{kind.__qualname__} ".encode()
        noun = name, tuple(one.name for one in fields(kind)) if is_dataclass(kind) else ()
        _nouns[kind] = noun if is_dataclass(kind) else None
    return _nouns[kind]


def _plain(value: Any) -> bytes:
    """Length and content: nothing that follows can be taken for part of it."""
    if isinstance(value, bytes):
        kind, content = "bytes", value
    elif isinstance(value, Path):
        kind, content = "path", str(value).encode("utf-8", "surrogateescape")
    elif isinstance(value, np.generic):
        kind, content = value.dtype.str, value.tobytes()
    elif value is None or isinstance(value, bool | int | float | str):
        # the shortest text that reads back as the same float, nan and -0.0 apart
        kind, content = type(value).__name__, repr(value).encode("utf-8", "surrogateescape")
    else:
        raise NotDigestedError(f"no digest of {type(value).__name__}")
    return f"[{kind} {len(content)} ".encode() + content + b"]"


def _texts(listed: list[Any], put: Callable[[bytes], None]) -> None:
    """Texts end to end, with the length of each; what else there is as JSON."""
    try:
        # a lone surrogate of a file is not a question mark
        together = "".join(listed).encode("utf-8", "surrogatepass")
    except TypeError:
        put(b"json" + json.dumps(listed).encode())
        return
    put(b"text" + np.fromiter(map(len, listed), np.int64, len(listed)).tobytes())
    put(together)


def _array(values: np.ndarray[Any, Any]) -> bytes:
    known = _seen.get(id(values))
    if known is not None and known[0]() is values:
        return known[1]
    found = hashlib.sha256(f"{values.dtype.str} {values.shape}".encode())
    if values.dtype == object:
        _texts(values.ravel().tolist(), found.update)
    else:
        found.update(np.ascontiguousarray(values).data)
    made = found.digest()
    if values.size > _LARGE and values.flags.owndata and not values.flags.writeable:
        _seen[id(values)] = weakref.ref(values), made
    return made
