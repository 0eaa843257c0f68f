"""A call whose result is kept: `keep(work, *of)` is `work(*of)`, worked out once."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path
from typing import ParamSpec, TypeVar

from pipeline.kept.digest import NotDigestedError, digest, program
from pipeline.kept.encoding import NotKeptError, Shared, decoded, encoded
from pipeline.kept.store import Store, users_folder

P = ParamSpec("P")
R = TypeVar("R")

WORTH_S = 0.02
"""A result that was there sooner than this is not written."""


@dataclass(slots=True)
class Keeper:
    """Where results are kept, whether earlier ones are believed, and which calls found theirs."""

    store: Store
    fresh: bool = False
    worth_s: float = WORTH_S
    found: list[str] = field(default_factory=list)
    worked: list[str] = field(default_factory=list)


_keeper: ContextVar[Keeper | None] = ContextVar("keeper", default=None)


@contextlib.contextmanager
def keeping(
    folder: Path | None = None, *, fresh: bool = False, worth_s: float = WORTH_S
) -> Iterator[Keeper | None]:
    """Keep results of calls within, in `folder` or the user's own; `fresh` reads none."""
    place = folder if folder is not None else users_folder()
    keeper = None if place is None else Keeper(Store(place), fresh, worth_s)
    token = _keeper.set(keeper)
    try:
        yield keeper
    finally:
        _keeper.reset(token)
        if keeper is not None and keeper.worked:
            keeper.store.bound()


def is_fresh() -> bool:
    """True where earlier results are not believed."""
    keeper = _keeper.get()
    return keeper is not None and keeper.fresh


def keep(work: Callable[P, R], *of: P.args, **named: P.kwargs) -> R:
    """``work(*of, **named)``, from an earlier run where program and arguments are the same.

    Parameters
    ----------
    work : callable
        A function of a module that depends on its arguments only and writes nothing.
    of, named
        Nouns, arrays, tuples, texts and numbers.

    Notes
    -----
    The key is a digest of the program, the function's name and the arguments' content, so
    that a call whose arguments come out the same is found again whatever was changed
    elsewhere. Whatever is wrong with a kept result, it is worked out anew.
    """
    keeper = _keeper.get()
    if keeper is None:
        return work(*of, **named)
    name = f"{work.__module__}.{work.__qualname__}"
    try:
        key = digest(program(), name, of, named)
    except NotDigestedError:
        return work(*of, **named)
    shared = Shared((*of, *named.values()))
    data = None if keeper.fresh else keeper.store.read(key)
    if data is not None:
        with contextlib.suppress(Exception):
            result: R = decoded(data, shared)
            keeper.found.append(name)
            return result
    begun = time.perf_counter()
    result = work(*of, **named)
    keeper.worked.append(name)
    if time.perf_counter() - begun >= keeper.worth_s:
        with contextlib.suppress(NotKeptError):
            keeper.store.write(key, encoded(result, shared))
    return result
