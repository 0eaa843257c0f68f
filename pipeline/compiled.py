"""Loops that are compiled where numba is installed and there is enough for them to do.

A loop has two forms with the same results to the last bit: numpy, which everybody has, and a
kernel in a module of its own beside it, which is imported where `worth` says so. A kernel does the
same arithmetic in the same order; numba fuses and reorders nothing unless it is told to.
"""

from __future__ import annotations

import contextlib
import importlib.util
import os
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache, wraps
from typing import Any, ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.kept.machine import clear, machine_folder, seal

_FURTHER = 20
_MOST_CORES = 4
_loaded = threading.Event()
# pieces are worked on by threads: one of them makes a loop, the others wait for it
_making = threading.RLock()

P = ParamSpec("P")
R = TypeVar("R")
Kind = TypeVar("Kind", bound=np.generic)


def worth(amount: int, break_even: int) -> bool:
    """Whether there is a compiled form, and enough to do that it is sooner through than numpy.

    Parameters
    ----------
    amount : int
        How much there is to do.
    break_even : int
        From how much on the gain is more than what the first kernel of a process costs, 0.5 s.
        Each further one costs a twentieth of that, and pays from a twentieth as much on.

    Notes
    -----
    ``LATH_COMPILED=off`` says no. So does ``LATH_CACHE=off``: to compile takes some seconds, so it
    is done only where the outcome can be kept.
    """
    enough = amount * (_FURTHER if _loaded.is_set() else 1) >= break_even
    return enough and numba_is_there() and machine_folder() is not None


@cache
def numba_is_there() -> bool:
    """Installed, and not put out of use by ``LATH_COMPILED=off``."""
    wanted = os.environ.get("LATH_COMPILED", "") != "off"
    return wanted and importlib.util.find_spec("numba") is not None


def kernel(loop: Callable[P, R]) -> Callable[P, R]:
    """A loop that is compiled when it is first called, and kept compiled; plain without numba.

    Its arguments are numbers, arrays as `given` has them, and named tuples of them. What it calls
    is `inlined` and stands in the same file.
    """
    if not numba_is_there():
        return loop
    made: list[Callable[P, R]] = []

    @wraps(loop)
    def call(*of: P.args, **named: P.kwargs) -> R:
        if made:
            return made[0](*of, **named)
        with _making:
            if made:
                return made[0](*of, **named)
            new = _kept(loop)
            _loaded.set()
            result = _first(lambda: new(*of, **named))
            made.append(new)
            return result

    return call


def inlined(loop: Callable[P, R]) -> Callable[P, R]:
    """A part of a kernel in the same file."""
    return _njit(loop) if numba_is_there() else loop


def on_cores() -> ThreadPoolExecutor:
    """Threads for blocks of one kernel: what they give is put together in the blocks' order."""
    return ThreadPoolExecutor(min(_MOST_CORES, os.cpu_count() or 1))


def given(values: NDArray[Kind]) -> NDArray[Kind]:
    """A view that nobody can write to: a kernel then knows one kind of each array only."""
    seen = np.ascontiguousarray(values).view()
    seen.setflags(write=False)
    return seen


def _njit(loop: Callable[P, R], **how: Any) -> Callable[P, R]:
    import numba

    made: Callable[P, R] = numba.njit(loop, nogil=True, error_model="numpy", **how)
    return made


def _kept(loop: Callable[P, R]) -> Callable[P, R]:
    """The loop, to be compiled or found in the user's folder, which numba's own setting names."""
    import numba

    folder = machine_folder()
    if folder is None:
        return _njit(loop)
    before, numba.config.CACHE_DIR = numba.config.CACHE_DIR, str(folder)
    try:
        return _njit(loop, cache=True)
    finally:
        numba.config.CACHE_DIR = before


def _first(call: Callable[[], R]) -> R:
    """The first call: what was kept is loaded. Whatever is wrong with that, it is made anew."""
    folder = machine_folder()
    if folder is None:
        return call()
    with contextlib.suppress(Exception):
        result = call()
        seal(folder)
        return result
    clear(folder)
    return call()
