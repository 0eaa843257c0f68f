"""What changes a section by station, against the formula of each written out here."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.design import changes, corridor, superelevation
from pipeline.design.alignment import point_at
from pipeline.design.strips import triangulate
from pipeline.errors import DesignError
from pipeline.ingest.job.sections import read_sections
from pipeline.model import (
    BreakRow,
    CrossfallChange,
    CrownShift,
    CurbDrop,
    Opening,
    SectionLayer,
    SectionTable,
    Superelevation,
    Widening,
)
from pipeline.settings import DesignRules, LayerRule
from pipeline.surface.locate import interpolate
from pipeline.surface.mesh import area

CURB = (
    BreakRow("lip", 4.0, fall=0.02),
    BreakRow("flowline", 0.3, step=-0.018),
    BreakRow("face", 0.05, step=0.140),
    BreakRow("back", 0.15, step=0.010),
)
CLAY = (BreakRow("edge of clay", 5.0, fall=0.025),)


@pytest.fixture(scope="module")
def street(make_straight):
    """200 m, 1 % up from 50.000; lips at 4.0 and 2 %; clay 0.4 below the crown, 2.5 % to 5.0."""
    finish = SectionLayer("finish", CURB, CURB)
    clay = SectionLayer("clay", CLAY, CLAY, drop=0.4)
    return make_straight(finish, clay)


def changed(street, *what):
    return replace(street, layers=changes.apply(street.layers, what))


def at(street, station, offset, layer="finish"):
    return corridor.elevation(street, np.asarray(station), np.asarray(offset), layer)


STATIONS = np.linspace(81.3, 119.1, 10)


def share(station, ease):
    u = np.clip((np.asarray(station) - 80.0) / 40.0, 0.0, 1.0)
    return u if ease == "linear" else 3 * u**2 - 2 * u**3


@pytest.mark.parametrize("ease", ["linear", "smooth"])
def test_a_crown_shift_that_keeps_the_crossfall_moves_the_edges(street, ease):
    shift = CrownShift(((80.0, 0.0), (120.0, 1.0)), "crossfall", ease)
    moved = changed(street, shift)
    c = share(STATIONS, ease)
    profile = 50.0 + 0.01 * STATIONS

    # crown height as before; each half falls 2 % from the crown to its lip at 4.0
    for offset, away in ((4.0, 4.0 - c), (-4.0, 4.0 + c), (3.0, 3.0 - c), (-1.0, 1.0 + c)):
        np.testing.assert_allclose(
            at(moved, STATIONS, np.full(10, offset)), profile - 0.02 * away, atol=5e-4
        )
    np.testing.assert_allclose(at(moved, STATIONS, c), profile, atol=5e-4)
    # the clay's crown goes with it: 0.4 down, 2.5 %
    np.testing.assert_allclose(
        at(moved, STATIONS, np.full(10, 5.0), "clay"), profile - 0.4 - 0.025 * (5.0 - c), atol=5e-4
    )


def test_a_crown_shift_that_keeps_the_elevations_changes_the_crossfall(street):
    moved = changed(street, CrownShift(((80.0, 0.0), (120.0, 1.0)), "elevation"))
    profile = 50.0 + 0.01 * STATIONS

    for offset in (4.0, -4.0, 4.5):
        np.testing.assert_allclose(
            at(moved, STATIONS, np.full(10, offset)), at(street, STATIONS, np.full(10, offset)),
            atol=1e-9,
        )  # fmt: skip
    c = share(STATIONS, "linear")
    # 0.08 over what is left of the half
    half = corridor.crossfall(moved, STATIONS, np.full(10, 3.5), "finish")
    np.testing.assert_allclose(half, -0.08 / (4.0 - c), atol=1e-9)
    np.testing.assert_allclose(at(moved, STATIONS, c), profile, atol=1e-9)


def test_beyond_its_stations_a_shift_ends_at_once_and_nothing_else_moves(street):
    moved = changed(street, CrownShift(((80.0, 0.0), (120.0, 1.0)), "crossfall"))

    for station in (10.0, 79.9, 120.1, 190.0):
        for offset in (-4.2, -1.0, 0.5, 4.2):
            assert at(moved, station, offset) == pytest.approx(float(at(street, station, offset)))


def test_a_crown_shifted_past_its_half_is_refused(street):
    with pytest.raises(DesignError, match=r"1\.000 m past the next break on the right"):
        changed(street, CrownShift(((80.0, 0.0), (120.0, 5.0)), "elevation", where="x"))


@pytest.mark.parametrize("ease", ["linear", "smooth"])
@pytest.mark.parametrize("keep", ["crossfall", "elevation"])
def test_a_widening_moves_all_that_lies_outside_it_and_the_clay_follows(street, ease, keep):
    points = ((80.0, 0.0), (120.0, 2.0))
    wide = changed(street, Widening(1, "lip", points, keep, ease))
    w = 2.0 * share(STATIONS, ease)
    profile = 50.0 + 0.01 * STATIONS
    fall = 0.02 * w if keep == "crossfall" else 0.0

    offset, z = corridor.break_line(wide, "finish", "back", 1, STATIONS)
    np.testing.assert_allclose(offset, 4.5 + w, atol=5e-4)
    np.testing.assert_allclose(z, profile - 0.08 - fall - 0.018 + 0.15, atol=5e-4)
    offset, z = corridor.break_line(wide, "clay", "edge of clay", 1, STATIONS)
    np.testing.assert_allclose(offset, 5.0 + w, atol=5e-4)
    clay = 0.025 * w if keep == "crossfall" else 0.0
    np.testing.assert_allclose(z, profile - 0.4 - 0.125 - clay, atol=5e-4)
    left, _ = corridor.break_line(wide, "finish", "back", -1, STATIONS)
    np.testing.assert_allclose(left, -4.5, atol=1e-9)


def test_the_gutter_of_a_taper_has_its_own_grade(street):
    wide = changed(street, Widening(1, "lip", ((80.0, 0.0), (120.0, 2.0)), "crossfall"))

    _, z = corridor.break_line(wide, "finish", "flowline", 1, np.array([80.0, 110.0]))
    # profile 1 %, less 2 % of 2 m in 40 m: 0.9 %
    assert (z[1] - z[0]) / 30.0 == pytest.approx(0.009, abs=1e-9)


@pytest.mark.parametrize(("pivot", "lift"), [("crown", 0.0), ("right", 1.0), ("left", -1.0)])
def test_crossfall_through_zero_turns_about_its_pivot(street, pivot, lift):
    """Left half from 2 % down to 3 % up, right half from 2 % to 3 % down: a one-way fall."""
    points = ((80.0, 0.02, 0.02), (120.0, -0.03, 0.03))
    turned = changed(street, CrossfallChange("lip", points, pivot))
    u = share(STATIONS, "linear")
    left, right = 0.02 - 0.05 * u, 0.02 + 0.01 * u
    profile = 50.0 + 0.01 * STATIONS
    # the pivot keeps its height: what its half falls more is added everywhere
    up = {"crown": 0.0, "right": 4.0 * (right - 0.02), "left": 4.0 * (left - 0.02)}[pivot]

    for offset in (1.3, 4.0):
        np.testing.assert_allclose(
            at(turned, STATIONS, np.full(10, offset)), profile - right * offset + up, atol=5e-4
        )
        np.testing.assert_allclose(
            at(turned, STATIONS, np.full(10, -offset)), profile - left * offset + up, atol=5e-4
        )
    # the curb keeps its shape
    _, lip = corridor.break_line(turned, "finish", "lip", 1, STATIONS)
    _, back = corridor.break_line(turned, "finish", "back", 1, STATIONS)
    np.testing.assert_allclose(back - lip, 0.132, atol=1e-9)
    # the clay tilts by the same difference
    np.testing.assert_allclose(
        at(turned, STATIONS, np.full(10, -5.0), "clay"),
        profile - 0.4 - 5.0 * (0.025 + left - 0.02) + up, atol=5e-4,
    )  # fmt: skip
    assert lift * float(np.sum(up)) >= 0.0


def test_a_crossfall_holds_to_the_very_end_of_its_stations(street):
    points = ((80.0, 0.02, 0.02), (120.0, -0.03, 0.03))
    turned = changed(street, CrossfallChange("lip", points))

    for layer, width, own in (("finish", 4.0, 0.02), ("clay", 5.0, 0.025)):
        z = at(turned, np.array([119.9999, 119.7]), np.full(2, -width), layer)
        crown = at(turned, np.array([119.9999, 119.7]), np.zeros(2), layer)
        fall = own - 0.02 + np.array([-0.03, 0.02 - 0.05 * 39.7 / 40.0])
        np.testing.assert_allclose((crown - z) / width, fall, atol=1e-6)
    assert list(turned.layer("finish").station) == [0.0, 80.0, 80.0, 120.0, 120.0, 200.0]


def test_a_side_that_is_not_given_keeps_its_own(street):
    points = ((80.0, math.nan, 0.02), (120.0, math.nan, 0.05))
    turned = changed(street, CrossfallChange("lip", points))

    assert at(turned, 110.0, -4.0) == pytest.approx(float(at(street, 110.0, -4.0)))
    assert at(turned, 110.0, 4.0) == pytest.approx(51.1 - 4.0 * (0.02 + 0.03 * 0.75), abs=1e-9)


def test_superelevation_runs_off_at_the_published_stations(published):
    ref = published("REF-SE-2")
    given_ = ref.inputs
    found = superelevation.runoff(
        given_["PC_sta"], given_["e_pct"] / 100, given_["nc_pct"] / 100, given_["runoff"],
        given_["frac_on_tangent"],
    )  # fmt: skip

    ref.check("runout_start", found.runout_start)
    ref.check("runoff_start", found.runoff_start)
    ref.check("full", found.full)
    at_3 = found.runoff_start + (found.full - found.runoff_start) * 3.0 / 5.0
    ref.check("at_3pct", at_3)


def test_the_runoff_length_is_the_published_one(published):
    ref = published("REF-SE-1")
    length = superelevation.runoff_length(
        ref.inputs["w"] * ref.inputs["lanes"], ref.inputs["e_pct"], ref.inputs["grad_pct"],
        ref.inputs["b"],
    )  # fmt: skip
    ref.check("Lr", length)


def test_superelevation_turns_the_outer_half_first_and_back_again(street):
    change = Superelevation("lip", 1, 80.0, 140.0, 0.04, 0.02, 20.0, 0.5)
    turned = changed(street, change)

    def falls(station):
        z = at(turned, station, np.array([-4.0, 0.0, 4.0]))
        return round(float(z[1] - z[0]) / 4.0, 9), round(float(z[1] - z[2]) / 4.0, 9)

    # runoff 20 m, half on the tangent: level at 70, runout 10 m before, full at 90
    assert falls(60.0) == (0.02, 0.02)
    assert falls(70.0) == (0.0, 0.02)
    assert falls(75.0) == (-0.01, 0.02)
    assert falls(80.0) == (-0.02, 0.02)
    assert falls(90.0) == (-0.04, 0.04)
    assert falls(110.0) == (-0.04, 0.04)
    assert falls(145.0) == (-0.01, 0.02)
    assert falls(160.0) == (0.02, 0.02)
    mirrored = changed(street, replace(change, turn=-1))
    z = at(mirrored, 110.0, np.array([-4.0, 0.0, 4.0]))
    assert z[2] - z[0] == pytest.approx(0.32, abs=1e-9)


def test_a_curve_too_short_for_full_crossfall_is_refused(street):
    with pytest.raises(DesignError, match="after it is left again"):
        changed(street, Superelevation("lip", 1, 80.0, 90.0, 0.04, 0.02, 40.0, 0.5, where="x"))


DROP = CurbDrop(1, 100.0, 104.0, 0.9, 0.025, "back", "flowline")


def test_a_driveway_drop_lowers_the_curb_and_not_the_flowline(street):
    """Full curb 150 mm; opening 100 to 104 at 25 mm, tapers of 0.9 m; worked by hand."""
    dropped = changed(street, DROP)
    station = np.array([98.0, 99.1, 99.55, 100.0, 102.0, 104.0, 104.45, 104.9, 106.0])
    curb = np.array([0.15, 0.15, 0.0875, 0.025, 0.025, 0.025, 0.0875, 0.15, 0.15])

    _, foot = corridor.break_line(dropped, "finish", "flowline", 1, station)
    _, top = corridor.break_line(dropped, "finish", "back", 1, station)
    _, before = corridor.break_line(street, "finish", "flowline", 1, station)
    np.testing.assert_allclose(top - foot, curb, atol=1e-9)
    np.testing.assert_allclose(foot, before, atol=1e-12)
    # the face comes down in proportion
    _, face = corridor.break_line(dropped, "finish", "face", 1, station)
    np.testing.assert_allclose(face - foot, curb * 0.14 / 0.15, atol=1e-9)
    # rows stand at the taper's ends, nothing on the other side or in the clay moves
    assert {99.1, 100.0, 104.0, 104.9} <= set(dropped.layer("finish").station.round(9))
    left, _ = corridor.break_line(dropped, "finish", "back", -1, station)
    np.testing.assert_allclose(left, -4.5)
    assert len(dropped.layer("clay").station) == 2


def test_an_opening_higher_than_the_curb_is_refused(street):
    with pytest.raises(DesignError, match=r"0\.200 m over the flowline, more than its own 0\.150"):
        changed(street, replace(DROP, height=0.2, where="x"))


def test_a_break_that_is_nowhere_is_refused_with_those_there_are(street):
    with pytest.raises(DesignError, match="there are back, crown, edge of clay, face"):
        changed(street, replace(DROP, top="kerb", where="x"))


def test_a_mouth_ends_every_layer_at_the_lip(street):
    open_ = changed(street, Opening(1, 60.0, 75.0, "lip"))

    assert np.isnan(at(open_, 70.0, 4.01))
    assert np.isnan(at(open_, 70.0, 4.01, "clay"))
    assert at(open_, 70.0, 4.0) == pytest.approx(50.7 - 0.08)
    # the clay at the lip: 0.4 below, 2.5 % of 4.0
    assert at(open_, 70.0, 4.0, "clay") == pytest.approx(50.7 - 0.5)
    assert at(open_, 59.99, 4.4) == pytest.approx(float(at(street, 59.99, 4.4)))
    offset, _ = corridor.break_line(open_, "finish", "back", 1, np.array([59.0, 70.0, 76.0]))
    np.testing.assert_allclose(offset, [4.5, np.nan, 4.5])
    # plan area: 2 x 4.5 m wide, less 15 m of 0.5 m; 1 mm of each end goes to the abrupt change
    assert area(triangulate(open_, "finish", DesignRules())) == pytest.approx(1792.5, abs=2e-3)


@given(
    station=st.floats(0.0, 200.0),
    offset=st.floats(-4.4, 4.4),
    width=st.floats(-1.0, 3.0),
    fall=st.floats(-0.05, 0.06),
)
def test_changes_that_return_to_nothing_leave_the_rest_alone(street, station, offset, width, fall):
    turned = changed(
        street,
        Widening(1, "lip", ((70.0, 0.0), (90.0, width), (110.0, 0.0)), "crossfall", "smooth"),
        CrossfallChange("lip", ((60.0, 0.02, 0.02), (100.0, fall, 0.02), (120.0, 0.02, 0.02))),
    )
    if not 60.0 <= station <= 120.0:
        assert at(turned, station, offset) == pytest.approx(float(at(street, station, offset)))
    else:
        # the crown is nobody's edge
        assert at(turned, station, 0.0) == pytest.approx(50.0 + 0.01 * station, abs=1e-9)


def test_the_triangles_of_a_changed_street_stay_within_the_chord(street):
    turned = changed(
        street,
        Widening(1, "lip", ((60.0, 0.0), (90.0, 2.0)), "crossfall", "smooth"),
        Superelevation("lip", -1, 110.0, 160.0, 0.04, 0.02, 20.0, 0.5),
    )
    rules = DesignRules()
    surface = triangulate(turned, "finish", rules)
    rng = np.random.default_rng(7)
    station, offset = rng.uniform(1.0, 199.0, 4000), rng.uniform(-4.2, 4.2, 4000)
    e, n, _ = point_at(turned.alignment, station, offset)
    gap = np.abs(interpolate(surface, e, n) - at(turned, station, offset))
    assert np.nanmax(gap) <= rules.chord_m
    assert np.isfinite(gap).mean() > 0.99


def test_the_table_of_a_file_is_changed_by_what_it_says(tmp_path):
    path = tmp_path / "sections.toml"
    path.write_text(TABLE, encoding="utf-8")
    table = read_sections(path)
    assert [type(one).__name__ for one in table.changes] == [
        "Widening", "CrownShift", "CrossfallChange", "Superelevation", "CurbDrop", "Opening",
    ]  # fmt: skip
    (finish,) = changes.layers(table, [LayerRule(name="finish")])
    row = int(np.flatnonzero(np.isclose(finish.station, 20.0))[-1])
    assert finish.offset[row, finish.breaks.index("back", 3)] == pytest.approx(4.15 + 0.5)


TABLE = """\
[[section]]
name = "one"
from = 0
to = 300
[section.layers.finish]
right = [ { to = "lip", width_m = 4.0, fall_pct = 2.0 }, { to = "back", width_m = 0.15, step_m = 0.15 } ]
left = "mirror"

[[mouth]]
side = "left"
from = "0+250"
to = 265
at = "lip"

[[widening]]
side = "right"
inside = "lip"
keep = "crossfall"
at = [ { station = 10, width_m = 0.0 }, { station = 20, width_m = 0.5 }, { station = 30, width_m = 0 } ]

[[crown_shift]]
keep = "elevation"
at = [ { station = 40, offset_m = 0.0 }, { station = 50, offset_m = 0.3 }, { station = 60, offset_m = 0.0 } ]

[[crossfall]]
to = "lip"
at = [ { station = 70, right_pct = 2 }, { station = 80, right_pct = 3.5 }, { station = 90, right_pct = 2 } ]

[[superelevation]]
to = "lip"
turn = "right"
curve_from = 120
curve_to = 180
full_pct = 4
normal_pct = 2
runoff_m = 20
share_on_tangent = 0.5

[[curb_drop]]
side = "right"
from = 200
to = 204
taper_m = 0.9
height_m = 0.025
top = "back"
foot = "lip"
"""  # noqa: E501


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('keep = "elevation"', "", "key 'keep': it is missing"),
        ('side = "left"', 'side = "inside"', "mouth entry 1, key 'side'"),
        ("right_pct = 3.5", "left_pct = 3.5", "same sides at every station"),
        ("taper_m = 0.9", "taper = 0.9", "key 'taper'"),
        ("runoff_m = 20", 'runoff_m = "20"', "superelevation entry 1, key 'runoff_m'"),
        (
            "{ station = 20, width_m = 0.5 }",
            "{ station = 9, width_m = 0.5 }",
            "past the one before",
        ),
        ("height_m = 0.025", "height_m = 0.25", r"0\.250 m over the lip"),
    ],
)
def test_a_change_that_says_something_else_is_refused_by_name(tmp_path, old, new, message):
    path = tmp_path / "sections.toml"
    assert old in TABLE
    path.write_text(TABLE.replace(old, new), encoding="utf-8")
    with pytest.raises(DesignError, match=message):
        changes.layers(read_sections(path), [LayerRule(name="finish")])


def test_a_table_of_changes_needs_sections_all_the_same():
    with pytest.raises(DesignError, match="no section"):
        changes.layers(SectionTable("x", ()), [LayerRule(name="finish")])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (Widening(1, "lip", ((80.0, 0.0), (120.0, -4.5)), "elevation", where="x"),
         "narrows layer 'finish' by more than its strip is wide"),
        (replace(DROP, top="flowline", foot="back", where="x"), "'flowline' does not lie outside"),
        (replace(DROP, start=104.0, end=104.0, where="x"),
         r"runs from 0\+104\.000 to 0\+104\.000, taper 0\.9 m"),
        (replace(DROP, taper=-0.1, where="x"), r"taper -0\.1 m"),
        (Superelevation("lip", 1, 80.0, 160.0, 0.01, 0.02, 40.0, 0.5, where="x"),
         "full 1 %, normal 2 %, runoff 40 m, 0.5 of it on the tangent"),
        (Superelevation("lip", 1, 80.0, 160.0, 0.04, 0.02, 0.0, 0.5, where="x"), "runoff 0 m"),
        (Superelevation("lip", 1, 80.0, 160.0, 0.04, 0.02, 40.0, 1.5, where="x"), "1.5 of it"),
    ],
)  # fmt: skip
def test_a_change_that_no_section_can_follow_is_refused(street, change, message):
    with pytest.raises(DesignError, match=message):
        changed(street, change)


def test_a_side_without_breaks_is_left_as_it_is(make_straight):
    """A shift of the crown and a widening of a street with a right half only."""
    half_street = make_straight(SectionLayer("finish", CURB, ()))
    shifted = changed(half_street, CrownShift(((80.0, 0.0), (120.0, 1.0)), "elevation"))
    offset, _ = corridor.break_line(shifted, "finish", "crown", 0, np.array([100.0]))
    np.testing.assert_allclose(offset, 0.5)
    lip, _ = corridor.break_line(shifted, "finish", "lip", 1, np.array([100.0]))
    np.testing.assert_allclose(lip, 4.0)
