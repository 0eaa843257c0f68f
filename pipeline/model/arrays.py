"""Locked columns: what every noun with arrays is made of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeAlias, TypeGuard

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Indices: TypeAlias = NDArray[np.int32]
Bools: TypeAlias = NDArray[np.bool_]
Texts: TypeAlias = NDArray[np.object_]
"""Python strings in an object array: no width to cut an id short."""


def lock(values: ArrayLike, dtype: Any, shape: tuple[int | None, ...], name: str) -> NDArray[Any]:
    """Own, read-only copy of `values`, after checking its shape (None: any length).

    An array that was locked before is its own copy: nobody can write to it.

    Raises
    ------
    ValueError
        The shape is another; this is a fault in the calling code, not in the data.
    """
    array = values if _is_locked(values, dtype) else np.array(values, dtype=dtype, order="C")
    fits = array.ndim == len(shape) and all(
        want in (None, have) for want, have in zip(shape, array.shape, strict=True)
    )
    if not fits:
        raise ValueError(f"{name} has shape {array.shape}, expected {shape}")
    array.setflags(write=False)
    return array


def _is_locked(values: ArrayLike, dtype: Any) -> TypeGuard[NDArray[Any]]:
    return (
        isinstance(values, np.ndarray)
        and values.dtype == dtype
        and values.flags.c_contiguous
        and values.flags.owndata
        and not values.flags.writeable
    )


def texts(values: Iterable[str]) -> Texts:
    """A text column of `values`; numpy alone would make fixed-width strings."""
    listed = list(values)
    column = np.empty(len(listed), dtype=object)
    column[:] = listed
    return column


def numbered(column: Texts) -> tuple[list[str], Ints]:
    """The different texts of a column as they are met, and the number of each row's text.

    Examples
    --------
    >>> kinds, number = numbered(texts(["GR", "HUB", "GR"]))
    >>> kinds, number.tolist()
    (['GR', 'HUB'], [0, 1, 0])
    """
    listed = column.tolist()
    known = {text: number for number, text in enumerate(dict.fromkeys(listed))}
    if len(known) == 1:
        return list(known), np.zeros(len(listed), dtype=np.int64)
    return list(known), np.fromiter(map(known.__getitem__, listed), np.int64, len(listed))


def of_each(column: Texts, answer: Callable[[str], Any], dtype: Any = object) -> NDArray[Any]:
    """``answer`` of each text, asked once for each different text: a million shots share a few.

    Examples
    --------
    >>> of_each(texts(["GR", "HUB", "GR"]), len, np.int64).tolist()
    [2, 3, 2]
    """
    kinds, number = numbered(column)
    found = np.empty(len(kinds), dtype=dtype)
    found[:] = [answer(text) for text in kinds]
    return found[number]


def lock_fields(noun: object, shapes: Mapping[str, tuple[Any, tuple[int | None, ...]]]) -> None:
    """`lock` each named field of a noun; (dtype, shape) by name."""
    for name, (dtype, shape) in shapes.items():
        # the dataclass is frozen: this is its constructor, the one place that may set
        object.__setattr__(noun, name, lock(getattr(noun, name), dtype, shape, name))
