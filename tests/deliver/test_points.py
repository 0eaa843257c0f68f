"""Points as CSV: read back by the standard library and by our own reader."""

from __future__ import annotations

import csv
import io

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.points import COLUMNS, point_rows
from pipeline.ingest.csv.read import read_csv
from pipeline.model import make_shots
from pipeline.settings import FileFormat


def rows(*parts):
    text = b"".join(point_rows(parts)).decode("utf-8")
    return list(csv.reader(io.StringIO(text, newline="")))


def shots(places, **texts):
    east, north, up = np.array(places, dtype=float).reshape(-1, 3).T
    columns = {name: np.array(column, dtype=object) for name, column in texts.items()}
    return make_shots(east, north, up, **columns)


def test_the_header_stands_once_and_names_the_unit():
    one = shots([(1, 2, 3)], id=["a"])
    read = rows(one, one)

    assert read[0] == list(COLUMNS)
    assert read[1:] == [["a", "2.0000", "1.0000", "3.0000", "", ""]] * 2
    assert all(name.endswith("_m") for name in COLUMNS[1:4])
    assert rows() == [list(COLUMNS)]


def test_text_that_would_be_a_formula_is_guarded_and_numbers_are_not():
    # starts as OWASP's page "CSV Injection" lists them (from memory)
    read = rows(shots([(-1, -2, -3)], id=["7"], code=["=1+1"], note=['@SUM(A1), "x"']))

    assert read[1] == ["7", "-2.0000", "-1.0000", "-3.0000", "'=1+1", '\'@SUM(A1), "x"']


def test_rounding_is_half_away_from_zero_and_zero_has_no_sign():
    read = rows(shots([(0.00005, -0.00005, -0.00004)], id=["a"]))

    assert read[1][1:4] == ["-0.0001", "0.0001", "0.0000"]


@given(
    st.lists(
        st.tuples(
            st.floats(1, 9e6), st.floats(1, 9e6), st.floats(10, 4000),
            st.text("abcXYZ0189 ,;\"'", min_size=1, max_size=8),
        ),
        min_size=1,
        max_size=20,
    )
)  # fmt: skip
def test_our_own_reader_gets_the_same_points(tmp_path_factory, places):
    path = tmp_path_factory.mktemp("points") / "a.csv"
    given_ids = [f"p{k}" for k in range(len(places))]
    made = shots([place[:3] for place in places], id=given_ids, code=[p[3] for p in places])
    path.write_bytes(b"".join(point_rows([made])))
    back = read_csv(path, FileFormat()).shots

    assert back.id.tolist() == given_ids
    for name in ("easting", "northing", "elevation"):
        off = np.abs(getattr(back, name) - getattr(made, name))
        assert off.max() <= 0.5e-4 + 1e-8
