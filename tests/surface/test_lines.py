"""Breaklines from codes. What a line is here is common practice, no source: each check is drawn
so that the answer can be read off the coordinates."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.model import join_shots, make_shots
from pipeline.settings import Code
from pipeline.surface.lines import base_code, breaklines, meaning

CODES = {
    "EC": Code(what="edge of clay", line=True, max_step_m=15.0),
    "CL": Code(what="crown", line=True),
    "GR": Code(what="ground"),
    "FN": Code(what="fence", line=True, ground=False, kind="object"),
}


def shoot(*rows, file="a.csv"):
    """Shots of (easting, northing, code)."""
    easting, northing, code = zip(*rows, strict=True)
    return make_shots(easting, northing, np.ones(len(rows)), code=code, files=(file,))


def drawn(lines):
    """(name, rows in the shots) of each line."""
    return [
        (name, lines.point[lines.start[k] : lines.start[k + 1]].tolist())
        for k, name in enumerate(lines.name)
    ]


def test_cross_sections_shot_in_zig_zag_give_one_line_a_code():
    shots = shoot(
        (0, -4, "EC1"), (0, 0, "CL"), (0, 4, "EC2"), (10, 4, "EC2"), (10, 1, "GR"), (10, 0, "CL"),
        (10, -4, "EC1"), (20, -4, "EC1"), (20, 0, "CL"), (20, 4, "EC2"),
    )  # fmt: skip

    lines, findings = breaklines(shots, CODES)

    assert drawn(lines) == [("EC1", [0, 6, 7]), ("CL", [1, 5, 8]), ("EC2", [2, 3, 9])]
    assert lines.kind == ("break",) * 3
    assert findings == ()
    np.testing.assert_array_equal(lines.easting, shots.easting[lines.point])
    np.testing.assert_array_equal(lines.elevation, shots.elevation[lines.point])


def test_a_code_is_looked_up_whole_before_its_number_is_taken_off():
    codes = {**CODES, "EC7": Code(what="old edge, not a line", line=False)}

    assert meaning("EC7", codes).what == "old edge, not a line"
    assert meaning("EC12", codes).what == "edge of clay"
    assert meaning("12", codes) is None
    assert (base_code("EC12"), base_code("EC"), base_code("12")) == ("EC", "EC", "12")
    lines, findings = breaklines(
        shoot((0, 0, "EC7"), (5, 0, "EC7"), (5, 5, "EC"), (0, 5, "EC")), codes
    )
    assert drawn(lines) == [("EC", [2, 3])]
    assert findings == ()


def test_what_is_not_ground_or_not_a_line_draws_nothing():
    lines, findings = breaklines(
        shoot((0, 0, "FN"), (5, 0, "FN"), (0, 5, "GR"), (5, 5, "GR"), (1, 1, "??"), (2, 2, "??")),
        CODES,
    )

    assert len(lines) == 0
    assert findings == ()


def test_a_gap_is_not_joined_and_is_said():
    lines, (gap,) = breaklines(
        shoot((0, 0, "EC"), (10, 0, "EC"), (25.01, 0, "EC"), (40.01, 0, "EC")), CODES
    )

    assert drawn(lines) == [("EC", [0, 1]), ("EC", [2, 3])]
    assert (gap.severity, gap.kind, gap.points) == ("person", "line gap", ("2", "3"))
    assert "15.01 m apart, the longest step is 15.00 m" in gap.text
    assert (gap.file, gap.line) == ("a.csv", 3)


def test_a_step_as_long_as_allowed_is_joined_at_street_coordinates():
    # 15 m at N 6 000 000, where the difference of two northings is off by 1e-9
    shots = shoot((500_000.1, 6_000_000.1, "EC"), (500_000.1, 6_000_015.1, "EC"))

    lines, findings = breaklines(shots, CODES)

    assert drawn(lines) == [("EC", [0, 1])]
    assert findings == ()


@pytest.mark.parametrize("degrees", [0, 40, 90, 200])
def test_a_line_that_folds_straight_back_is_cut_there(degrees):
    # shot up to 20 m, then back beside itself by 5 cm: straight back within half a degree
    turn = np.exp(1j * np.radians(degrees))
    way = [(0, 0), (10, 0), (20, 0), (12, 0.05), (2, 0.05)]
    turned = [complex(*place) * turn for place in way]
    lines, (fold,) = breaklines(shoot(*((p.real, p.imag, "EC") for p in turned)), CODES)

    assert drawn(lines) == [("EC", [0, 1, 2]), ("EC", [3, 4])]
    assert (fold.severity, fold.kind, fold.points) == ("person", "line fold", ("3", "4"))


@pytest.mark.parametrize("degrees", [90.0, 150.0, 174.0])
def test_a_sharp_corner_is_no_fold(degrees):
    turn = np.radians(degrees)
    shots = shoot((0, 0, "EC"), (10, 0, "EC"), (10 + 10 * np.cos(turn), 10 * np.sin(turn), "EC"))

    lines, findings = breaklines(shots, CODES)

    assert drawn(lines) == [("EC", [0, 1, 2])]
    assert findings == ()


def test_a_place_shot_again_is_no_fold():
    # the second shot of the place lies 2 cm behind the first
    lines, findings = breaklines(
        shoot((0, 0, "EC"), (10, 0, "EC"), (9.98, 0, "EC"), (20, 0, "EC")), CODES
    )

    assert drawn(lines) == [("EC", [0, 1, 2, 3])]
    assert findings == ()


def test_turning_back_after_a_place_shot_again_is_a_fold():
    lines, (fold,) = breaklines(
        shoot((0, 0, "EC"), (10, 0, "EC"), (10.01, 0, "EC"), (1, 0, "EC")), CODES
    )

    assert drawn(lines) == [("EC", [0, 1, 2])]
    assert fold.points == ("3", "4")


def test_one_shot_makes_no_line_and_is_said():
    lines, (single,) = breaklines(shoot((0, 0, "EC11"), (0, 5, "EC1"), (5, 5, "EC1")), CODES)

    assert drawn(lines) == [("EC1", [1, 2])]
    assert (single.severity, single.kind, single.points) == ("note", "line of one shot", ("1",))


def test_a_line_does_not_run_on_into_another_file():
    first = shoot((0, 0, "EC"), (10, 0, "EC"))
    second = shoot((10, 8, "EC"), (0, 8, "EC"), file="b.csv")

    lines, (said,) = breaklines(join_shots([first, second]), CODES)

    assert drawn(lines) == [("EC", [0, 1]), ("EC", [2, 3])]
    assert (said.severity, said.kind, said.file) == ("note", "line in two files", "b.csv")


def test_no_shots_no_lines():
    lines, findings = breaklines(make_shots([], [], []), CODES)

    assert len(lines) == 0
    assert findings == ()


@settings(max_examples=50, deadline=None)
@given(st.lists(st.sampled_from(["EC1", "EC2", "CL", "GR"]), max_size=40), st.randoms())
def test_interleaving_changes_no_line(codes, random):
    """Each code walks its own straight line; whatever is shot in between, that line stays."""
    north = {"EC1": 0.0, "EC2": 8.0, "CL": 4.0, "GR": 2.0}
    random.shuffle(codes)
    walked = dict.fromkeys(north, 0)
    rows = []
    for code in codes:
        rows.append((5.0 * walked[code], north[code], code))
        walked[code] += 1
    lines, _ = breaklines(shoot(*rows, (0.0, 0.0, "GR")), CODES)

    expected = {code for code in ("EC1", "EC2", "CL") if walked[code] > 1}
    assert set(lines.name) == expected
    for name, rows_of_line in drawn(lines):
        assert rows_of_line == [k for k, code in enumerate(codes) if code == name]
