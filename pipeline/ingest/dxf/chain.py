"""Loose pieces of line that end in the same point, joined into lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.model import Bools, Floats, Ints


@dataclass(slots=True)
class Chained:
    """Lines, each of shape (n, 3); ``of`` is the first piece of each.

    ``short`` pieces had no length, ``twice`` stood there before.
    """

    lines: list[Floats]
    of: list[int]
    short: int
    twice: int


def chain(pieces: Floats) -> Chained:
    """Pieces joined wherever exactly two of them meet in exactly the same point.

    Parameters
    ----------
    pieces : ndarray, shape (m, 2, 3)
        Both ends of each.

    Returns
    -------
    Chained
        In the order of the first piece of each line, which runs the way that
        piece was drawn. A ring begins with it and repeats its first point. Where
        three pieces or more meet, lines end.

    Notes
    -----
    Ends are the same if their coordinates are, to the last bit: joining what only
    lies close would be a guess.

    Examples
    --------
    >>> found = chain(np.array([[[5, 0, 1], [9, 0, 2]], [[5, 0, 1], [0, 0, 0.0]]]))
    >>> [line[:, 0].tolist() for line in found.lines]
    [[0.0, 5.0, 9.0]]
    """
    ends = pieces.reshape(-1, 3) + 0.0  # a negative zero is a zero
    places, node = np.unique(ends, axis=0, return_inverse=True)
    node = node.reshape(-1, 2).astype(np.int64)
    keep, short, twice = _sound(node)
    rows = np.flatnonzero(keep)
    net = _Net(node[rows], len(places))
    lines, of = [], []
    for k in range(len(rows)):
        if not net.taken[k]:
            lines.append(places[net.line(k)])
            of.append(int(rows[k]))
    return Chained(lines, of, short, twice)


def _sound(node: Ints) -> tuple[Bools, int, int]:
    """Pieces with a length, each once."""
    length = node[:, 0] != node[:, 1]
    both = np.sort(node, axis=1)
    first = np.zeros(len(node), dtype=np.bool_)
    first[np.unique(both, axis=0, return_index=True)[1]] = True
    return length & first, int((~length).sum()), int((length & ~first).sum())


class _Net:
    """Pieces and the points where they meet."""

    def __init__(self, node: Ints, places: int) -> None:
        self.ends: list[list[int]] = node.tolist()
        self.taken = [False] * len(node)
        self.through: list[bool] = (np.bincount(node.ravel(), minlength=places) == 2).tolist()
        order = np.argsort(node.ravel(), kind="stable")
        self.at: list[int] = (order // 2).tolist()
        counts = np.bincount(node.ravel(), minlength=places)
        self.first: list[int] = np.concatenate([[0], np.cumsum(counts)]).tolist()

    def line(self, k: int) -> list[int]:
        """Points of the line that piece `k` is part of, in the direction of `k`."""
        self.taken[k] = True
        start, end = self.ends[k]
        ahead = self._follow(end)
        if ahead and ahead[-1] == start:
            return [start, end, *ahead]
        back = self._follow(start)
        return [*reversed(back), start, end, *ahead]

    def _follow(self, at: int) -> list[int]:
        """Points from `at` on, until the line ends or its pieces are used up."""
        way: list[int] = []
        while self.through[at]:
            one, other = self.at[self.first[at] : self.first[at] + 2]
            piece = other if self.taken[one] else one
            if self.taken[piece]:
                break
            self.taken[piece] = True
            a, b = self.ends[piece]
            at = b if a == at else a
            way.append(at)
        return way
