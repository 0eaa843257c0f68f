"""Where pieces of work are done: here by threads, or by the workers of a Dask cluster.

Nothing is scheduled here. A worker that dies loses nothing: its pieces are given to
another by the library, and a piece depends on its arguments only.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import repeat
from typing import Any, TypeVar

from pipeline.errors import InputError

T = TypeVar("T")
S = TypeVar("S")
R = TypeVar("R")

LOCAL = "local"
"""In place of an address: workers on this machine, one for each core."""
TRIES = 3
"""A piece is given out so many times again before the run is refused."""

_client: ContextVar[Any] = ContextVar("client", default=None)


@contextmanager
def working_on(address: str | None) -> Iterator[None]:
    """Do the work within on the cluster at `address`; None: here.

    Raises
    ------
    InputError
        The library is not installed, or nothing answers there.
    """
    if address is None:
        yield
        return
    try:
        import distributed
    except ImportError:
        raise InputError(
            f"--cluster {address}", "the library distributed is not installed",
            "run pip install 'lath[cluster]', or leave --cluster out",
        ) from None  # fmt: skip
    library: Any = distributed  # without types of its own
    made = None
    try:
        if address == LOCAL:
            made = library.LocalCluster(n_workers=os.cpu_count() or 1, threads_per_worker=1,
                                dashboard_address=None)  # fmt: skip
        client = library.Client(made or address, timeout=20)
    except (OSError, ValueError) as error:
        raise InputError(
            f"--cluster {address}", f"no cluster answers there ({error})",
            "start dask scheduler and dask worker, or say local",
        ) from None  # fmt: skip
    token = _client.set(client)
    try:
        yield
    finally:
        _client.reset(token)
        client.close()
        if made is not None:
            made.close()


def work(function: Callable[[T, S], R], tasks: Sequence[T], whole: S) -> list[R]:
    """``[function(task, whole) for task in tasks]``, several at a time, in the order asked."""
    client = _client.get()
    if client is None:
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            return list(pool.map(function, tasks, repeat(whole)))
    # sent once; a worker that dies takes a copy along, which is then made again
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Sending large graph")
        everywhere = client.submit(_itself, whole, pure=False, retries=TRIES)
    each = [client.submit(function, task, everywhere, pure=False, retries=TRIES) for task in tasks]
    answers: list[R] = client.gather(each)
    return answers


def _itself(whole: S) -> S:
    return whole
