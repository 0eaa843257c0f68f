"""A result as bytes and back: JSON for its shape, plain columns for its arrays, nothing executable.

What a result shares with what it was made from is not written again: the file
says where among the arguments it stands.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.kept.digest import parts_of

_LEAST_SHARED = 1024
_PLAIN = "bifu"


class NotKeptError(TypeError):
    """A value that this form has no place for."""


class Shared:
    """Parts of the arguments that a result may hold as they are, by where they stand."""

    def __init__(self, arguments: Any) -> None:
        self.arguments = arguments
        self.place: dict[int, list[Any]] = {}
        self._walk(arguments, [])

    def _walk(self, value: Any, at: list[Any]) -> None:
        if isinstance(value, np.ndarray):
            if value.nbytes >= _LEAST_SHARED and not value.flags.writeable:
                self.place.setdefault(id(value), at)
        elif (noun := parts_of(type(value))) is not None:
            self.place.setdefault(id(value), at)
            for name in noun[1]:
                self._walk(getattr(value, name), [*at, name])
        elif isinstance(value, tuple | list):
            for number, each in enumerate(value):
                self._walk(each, [*at, number])

    def at(self, place: list[Any]) -> Any:
        """What stands there."""
        value = self.arguments
        for step in place:
            value = value[step] if isinstance(step, int) else getattr(value, step)
        return value


def encoded(value: Any, shared: Shared) -> list[bytes | memoryview]:
    """The bytes of a value, in parts one after the other: arrays are not copied for it.

    Raises
    ------
    NotKeptError
        Something in it has no form here.
    """
    columns: list[bytes | memoryview] = []
    shape = _shape(value, shared, columns)
    head = json.dumps([shape, [len(column) for column in columns]]).encode()
    return [len(head).to_bytes(8, "little"), head, *columns]


def _shape(value: Any, shared: Shared, columns: list[bytes | memoryview]) -> Any:
    """JSON that stands for a value; arrays go into `columns`."""
    if value is None or isinstance(value, bool | int | float | str):
        return value if not isinstance(value, np.generic) else _array(np.asarray(value), columns)
    if id(value) in shared.place:
        return {"at": shared.place[id(value)]}
    if isinstance(value, np.ndarray | np.generic):
        return _array(np.asarray(value), columns, scalar=isinstance(value, np.generic))
    if is_dataclass(value) and not isinstance(value, type):
        kind = type(value)
        parts = {
            one.name: _shape(getattr(value, one.name), shared, columns)
            for one in fields(value)
            if one.init
        }
        return {"noun": [kind.__module__, kind.__qualname__], "parts": parts}
    return _held(value, shared, columns)


def _held(value: Any, shared: Shared, columns: list[bytes | memoryview]) -> Any:
    """Things that hold others, and bytes and paths."""
    found: Any
    if isinstance(value, tuple | list):
        each = [_shape(part, shared, columns) for part in value]
        found = {"tuple" if isinstance(value, tuple) else "list": each}
    elif isinstance(value, dict):
        pairs = value.items()
        found = {"dict": [[_shape(part, shared, columns) for part in pair] for pair in pairs]}
    elif isinstance(value, frozenset):
        found = {"set": [_shape(part, shared, columns) for part in sorted(value)]}
    elif isinstance(value, bytes):
        columns.append(value)
        found = {"bytes": len(columns) - 1}
    elif isinstance(value, Path):
        found = {"path": str(value)}
    else:
        raise NotKeptError(f"{type(value).__name__} is not kept")
    return found


def _array(
    values: np.ndarray[Any, Any], columns: list[bytes | memoryview], *, scalar: bool = True
) -> Any:
    if values.dtype == object:
        listed = values.tolist()
        if values.ndim != 1 or not all(isinstance(each, str) for each in listed):
            raise NotKeptError("an array of other things than texts is not kept")
        columns.append(json.dumps(listed).encode())
        return {"texts": len(columns) - 1}
    if values.dtype.kind not in _PLAIN:
        raise NotKeptError(f"an array of {values.dtype} is not kept")
    columns.append(np.ascontiguousarray(values).reshape(-1).view(np.uint8).data)
    form = [len(columns) - 1, values.dtype.str, list(values.shape), scalar and values.ndim == 0]
    return {"array": form}


def decoded(data: bytes, shared: Shared) -> Any:
    """The value of bytes that were put together from `encoded`, with the same arguments.

    Raises
    ------
    Exception
        Of many kinds, where the bytes are not what `encoded` gave.
    """
    length = int.from_bytes(data[:8], "little")
    shape, sizes = json.loads(data[8 : 8 + length])
    view, at, columns = memoryview(data), 8 + length, []
    for size in sizes:
        columns.append(view[at : at + size])
        at += size
    if at != len(data):
        raise ValueError("columns do not fill the file")
    return _value(shape, shared, columns)


def _value(shape: Any, shared: Shared, columns: list[memoryview]) -> Any:
    if not isinstance(shape, dict):
        return shape
    if "noun" in shape:
        parts = {name: _value(part, shared, columns) for name, part in shape["parts"].items()}
        return _noun(*shape["noun"])(**parts)
    ((kind, held),) = shape.items()
    alone: dict[str, Callable[[Any], Any]] = {
        "at": shared.at,
        "array": lambda form: _column(columns[form[0]], *form[1:]),
        "texts": lambda number: _texts(columns[number]),
        "bytes": lambda number: bytes(columns[number]),
        "path": Path,
    }
    if kind in alone:
        return alone[kind](held)
    if kind == "dict":
        return {_value(a, shared, columns): _value(b, shared, columns) for a, b in held}
    makers: dict[str, Callable[[list[Any]], Any]] = {
        "tuple": tuple, "list": list, "set": frozenset,
    }  # fmt: skip
    return makers[kind]([_value(part, shared, columns) for part in held])


def _texts(data: memoryview) -> Any:
    listed = json.loads(bytes(data))
    column = np.empty(len(listed), dtype=object)
    column[:] = listed
    return column


def _column(data: memoryview, form: str, shape: list[int], scalar: bool) -> Any:
    kind = np.dtype(form)
    if kind.kind not in _PLAIN:
        raise ValueError("not a plain column")
    values = np.frombuffer(data, dtype=kind).reshape(shape)
    return values[()] if scalar else values.copy()


def _noun(module: str, name: str) -> Callable[..., Any]:
    """A dataclass of this package, and nothing else whatever a file says."""
    if not module.startswith("pipeline.") or not name.isidentifier():
        raise ValueError(f"{module}:{name} is no noun of this package")
    kind = getattr(import_module(module), name)
    if not (isinstance(kind, type) and is_dataclass(kind) and kind.__module__ == module):
        raise ValueError(f"{module}:{name} is no noun of this package")
    return kind
