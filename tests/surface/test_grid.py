"""What meets on the grid, against the same questions asked in fractions, one pair at a time."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.surface.grid import Pieces, cross, find_cuts


def pieces_of(segments):
    return Pieces(*np.array(segments, dtype=np.int64).reshape(-1, 4).T)


def area(a, b, c):
    """Twice the area in Python's whole numbers, which have no bounds."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def share_more_than_ends(one, other):
    """Whether two segments have a point in common that is not an end of both."""
    a, b, c, d = (one[0], one[1]), (one[2], one[3]), (other[0], other[1]), (other[2], other[3])
    if area(a, b, c) * area(a, b, d) < 0 and area(c, d, a) * area(c, d, b) < 0:
        return True
    for p, q, r in ((a, b, c), (a, b, d), (c, d, a), (c, d, b)):
        inside = min(p[0], q[0]) <= r[0] <= max(p[0], q[0])
        inside &= min(p[1], q[1]) <= r[1] <= max(p[1], q[1])
        if area(p, q, r) == 0 and inside and r not in (p, q):
            return True
    return False


def led(segments, cuts):
    """The segments, led through the points of the cuts."""
    result = []
    for k, (ax, ay, bx, by) in enumerate(segments):
        rows = np.flatnonzero(cuts.seg == k)
        way = [(ax, ay), *zip(cuts.x[rows].tolist(), cuts.y[rows].tolist(), strict=True), (bx, by)]
        result += [(*p, *q) for p, q in pairwise(way)]
    # the same piece twice is one piece
    return sorted({min(s, (s[2], s[3], s[0], s[1])) for s in result})


ordinate = st.integers(-30, 30)
segment = st.tuples(ordinate, ordinate, ordinate, ordinate).filter(lambda s: s[:2] != s[2:])


@settings(max_examples=150, deadline=None)
@given(st.lists(segment, min_size=2, max_size=8))
def test_after_leading_through_the_cuts_nothing_meets_but_ends(segments):
    segments = sorted({min(s, (s[2], s[3], s[0], s[1])) for s in segments})
    for _ in range(20):
        cuts = find_cuts(pieces_of(segments), np.ones(len(segments), dtype=bool))
        if not len(cuts):
            break
        segments = led(segments, cuts)

    assert len(cuts) == 0
    assert not any(share_more_than_ends(*pair) for pair in combinations(segments, 2))


@pytest.mark.parametrize("seed", range(5))
def test_a_crossing_is_put_in_the_cell_it_falls_in(seed):
    rng = np.random.default_rng(seed)
    half = Fraction(1, 2)
    met = 0
    for ends in rng.integers(-30, 31, (200, 8)).tolist():
        one, other = tuple(ends[:4]), tuple(ends[4:])
        a, b, c, d = one[:2], one[2:], other[:2], other[2:]
        if not (area(a, b, c) * area(a, b, d) < 0 and area(c, d, a) * area(c, d, b) < 0):
            continue
        t = Fraction(area(c, d, a), area(c, d, a) - area(c, d, b))
        at = (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
        cuts = find_cuts(pieces_of([one, other]), np.ones(2, dtype=bool))

        points = {*zip(cuts.x.tolist(), cuts.y.tolist(), strict=True), a, b, c, d}
        assert any(-half <= at[0] - x < half and -half <= at[1] - y < half for x, y in points)
        met += 1
    assert met > 20


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(-(10**11), 10**11), min_size=4, max_size=4), st.integers(-3, 3))
def test_the_sign_of_an_area_is_exact(ends, off):
    # v is u times a fraction, moved by at most three micrometres: nearly in line
    ux, uy = ends[0], ends[1]
    vx, vy = ux // 3 + off, uy // 3
    got = cross(*(np.array([value]) for value in (ux, uy, vx, vy)))[0]
    exact = ux * vy - uy * vx

    assert np.sign(got) == np.sign(exact)
    assert got == pytest.approx(exact, rel=1e-8)


def test_nothing_is_cut_where_pieces_meet_end_to_end():
    ring = pieces_of([(0, 0, 9, 0), (9, 0, 9, 9), (9, 9, 0, 0)])

    assert len(find_cuts(ring, np.ones(3, dtype=bool))) == 0


def test_a_piece_that_ends_on_another_cuts_it_there():
    cuts = find_cuts(pieces_of([(0, 0, 100, 0), (25, 0, 30, 40)]), np.ones(2, dtype=bool))

    assert (cuts.seg.tolist(), cuts.t.tolist()) == ([0], [0.25])
    assert (cuts.x.tolist(), cuts.y.tolist()) == ([25], [0])


def test_pieces_that_lie_on_each_other_are_cut_at_each_others_ends():
    cuts = find_cuts(pieces_of([(0, 0, 60, 30), (20, 10, 100, 50)]), np.ones(2, dtype=bool))

    points = list(zip(cuts.seg.tolist(), cuts.x.tolist(), cuts.y.tolist(), strict=True))
    assert points == [(0, 20, 10), (1, 60, 30)]


def test_a_cell_owns_its_lower_left_corner_only():
    """The first piece passes through the corner between the cells of (0, 0) and (-1, -1)."""
    falling = (-1, 0, 0, -1)
    above, below = (0, 0, 5, 5), (-1, -1, -5, -5)
    through = find_cuts(pieces_of([falling, above]), np.ones(2, dtype=bool))
    past = find_cuts(pieces_of([falling, below]), np.ones(2, dtype=bool))

    assert (through.seg.tolist(), through.x.tolist(), through.y.tolist()) == ([0], [0], [0])
    assert len(past) == 0
    # a rising piece passes through corners that belong to cells it crosses anyway
    rising = find_cuts(
        pieces_of([(0, 0, 1, 1), (1, 0, 5, 0), (0, 1, 0, 5)]), np.ones(3, dtype=bool)
    )
    assert len(rising) == 0


def test_pieces_known_not_to_meet_are_not_compared():
    crossing = [(0, 0, 10, 10), (0, 10, 10, 0), (20, 0, 20, 10)]
    cuts = find_cuts(pieces_of(crossing), np.array([False, False, True]))

    assert len(cuts) == 0
