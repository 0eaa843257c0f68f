"""Numbers and ids as they stream by, and which points are the same point."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.ingest.landxml.points import FaceRows, Names, Triples
from pipeline.ingest.landxml.stream import BadNumberError, NumberList, parse_numbers
from pipeline.ingest.same_points import SAME_M, first_rows, match

number = st.floats(-1e8, 1e8, allow_subnormal=False).map(repr)


@pytest.mark.parametrize(
    "text", ["nan", "1 inf", "1e400", "1_000", "٣", "-", "1 - 2", "1.2.3", "0x1", "--1", "1,5"]
)
def test_what_is_no_plain_number_is_refused_by_name(text):
    with pytest.raises(BadNumberError, match="is not a number"):
        parse_numbers(text)


@given(values=st.lists(number, max_size=30), cuts=st.lists(st.integers(0, 400), max_size=6))
def test_a_list_reads_the_same_however_it_is_cut_into_pieces(values, cuts):
    text = "\n".join(values)
    whole = NumberList(1)
    edges = [0, *sorted(min(cut, len(text)) for cut in cuts), len(text)]
    for start, stop in pairwise(edges):
        whole.append(text[start:stop])
    whole.close()

    assert whole.values.tolist() == [float(value) for value in values]


def test_rows_are_the_same_in_a_plain_batch_and_in_one_with_a_slip():
    plain, slipped = Triples(), Triples()
    values = np.random.default_rng(3).uniform(-1e7, 1e7, (9000, 3))
    for k, row in enumerate(values.tolist()):
        text = " ".join(map(repr, row))
        plain.add(text)
        slipped.add(f"{text} 4" if k == 77 else text)

    assert np.array_equal(plain.array(), values)
    kept = np.delete(np.arange(9000), 77)
    assert np.array_equal(slipped.array()[kept], values[kept])
    assert np.isnan(slipped.array()[77]).all()
    assert slipped.bad == {77: "4 numbers, expected 3"}


@given(ids=st.lists(st.text("0123456789abP-٣ "), min_size=1, unique=True))
def test_an_id_comes_back_as_it_was_and_no_two_are_one(ids):
    names = Names()
    codes = [names.code(one) for one in ids]

    assert len(set(codes)) == len(ids)
    assert [names.word(code) for code in codes] == ids


def test_faces_by_text_ids_are_the_same_as_by_numbers():
    faces = FaceRows(Names())
    for text in ("1 2 3", " 3\n2 1 ", "007 a 9223372036854775808", "1 2", ""):
        faces.add(text)

    rows = faces.array()
    words = [[faces.names.word(code) for code in row] for row in rows[:3].tolist()]
    assert words == [["1", "2", "3"], ["3", "2", "1"], ["007", "a", "9223372036854775808"]]
    assert faces.bad == {3: "2 points", 4: "0 points"}


places = arrays(np.float64, st.tuples(st.integers(1, 12), st.just(3)), elements=st.integers(0, 4))


@given(points=places, among=places, shift=st.sampled_from([0.0, 0.004, 0.3]))
def test_a_point_is_matched_as_a_search_through_all_would(points, among, shift):
    far = np.array([21_530_000.0, 6_782_000.0, 20.0])
    moved = points + far + [shift, 0.0, 0.0]

    found = match(moved, among + far)

    distance = np.linalg.norm(points[:, None] + [shift, 0, 0] - among[None], axis=2)
    for row, at in enumerate(found):
        if distance[row].min() <= SAME_M:
            assert distance[row, at] == distance[row].min()
        else:
            assert at == -1


@given(points=places)
def test_equal_points_are_counted_once_in_the_order_met(points):
    rows, place = first_rows(points)

    assert np.array_equal(points[rows][place], points)
    assert rows.tolist() == sorted(rows)
    assert len(rows) == len({tuple(row) for row in points.tolist()})
