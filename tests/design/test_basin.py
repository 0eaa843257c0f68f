"""The gutter lowered at a catch basin, against its formula written out here.

At full depth d over the length l, in a straight taper t at both ends; across straight from d
at the foot to nothing at the width w. So at (s, o) the street is lower by
d * clip((l/2 + t - |s - s0|)/t, 0, 1) * clip(1 - (foot - |o|)/w, 0, 1).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.compare import ponds
from pipeline.design import basin, changes, corridor
from pipeline.design.alignment import point_at
from pipeline.design.strips import triangulate
from pipeline.errors import DesignError
from pipeline.ingest.job.sections import read_sections
from pipeline.model import (
    BreakRow,
    Depression,
    Opening,
    SectionLayer,
    SectionTable,
    Utilities,
    Widening,
    texts,
)
from pipeline.settings import DesignRules
from pipeline.surface.locate import interpolate

CURB = (
    BreakRow("lip", 4.0, fall=0.02),
    BreakRow("flowline", 0.3, step=-0.018),
    BreakRow("top of face", 0.0, step=0.150),
    BreakRow("back", 0.15, step=0.003),
)
CLAY = (BreakRow("edge of clay", 5.0, fall=0.025),)
BASIN = Depression(
    side=1, foot="flowline", depth=0.05, length=1.2, taper=2.0, width=0.6, follow=True,
    station=90.0, where="[[basin]] 1",
)  # fmt: skip
STATION, OFFSET = (
    grid.ravel() for grid in np.meshgrid(np.linspace(86.5, 93.5, 71), np.linspace(3.0, 4.29, 44))
)


@pytest.fixture(scope="module")
def street(make_straight):
    """200 m, 1 % up from 50.000; lips at 4.0, the flowline at 4.3; clay to 5.0."""
    finish = SectionLayer("finish", CURB, CURB)
    clay = SectionLayer("clay", CLAY, CLAY, drop=0.4)
    return make_straight(finish, clay)


def changed(street, *what):
    return replace(street, layers=changes.apply(street.layers, what))


def down(station, offset, one=BASIN):
    along = (0.5 * one.length + one.taper - np.abs(station - one.station)) / one.taper
    across = 1.0 - (4.3 - np.abs(offset)) / one.width
    return one.depth * np.clip(along, 0.0, 1.0) * np.clip(across, 0.0, 1.0)


def at(street, station, offset, layer="finish"):
    return corridor.elevation(street, np.asarray(station), np.asarray(offset), layer)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("width", [0.3, 0.6, 4.3])
@pytest.mark.parametrize("length", [0.0, 1.2])
def test_the_street_is_lower_by_the_formula_and_by_nothing_else(street, side, width, length):
    one = replace(BASIN, side=side, width=width, length=length)
    lowered = changed(street, one)

    for offset, here in ((side * OFFSET, down(STATION, OFFSET, one)), (-side * OFFSET, 0.0)):
        before, after = at(street, STATION, offset), at(lowered, STATION, offset)
        np.testing.assert_allclose(before - after, here, atol=1e-9)


def test_the_top_back_of_curb_stays_unless_it_is_stated(street):
    stations = np.array([87.0, 88.4, 90.0, 91.6, 93.0])
    for stated in (0.0, 0.02):
        lowered = changed(street, replace(BASIN, curb_down=stated))
        for name in ("top of face", "back"):
            _, before = corridor.break_line(street, "finish", name, 1, stations)
            _, after = corridor.break_line(lowered, "finish", name, 1, stations)
            # share of the taper: 0.5 at 88.4 and at 91.6
            np.testing.assert_allclose(
                before - after, stated * np.array([0.0, 0.5, 1.0, 0.5, 0.0]), atol=1e-9
            )
        # the flowline stands 0.150 under the top of the face, and 0.05 more at the basin
        deeper = corridor.convert_reference(lowered, "finish", "flowline", "top of face", 1, 90.0)
        assert deeper == pytest.approx(0.150 + 0.050 - stated, abs=1e-9)


def test_the_pad_follows_where_it_is_stated_and_stays_where_not(street):
    follows = changed(street, BASIN)
    stays = changed(street, replace(BASIN, follow=False))
    offset = np.concatenate([OFFSET, np.full(71, 4.9)])
    station = np.concatenate([STATION, np.linspace(86.5, 93.5, 71)])
    before = at(street, station, offset, "clay")

    # under the curb and outside of it all of the depth
    np.testing.assert_allclose(
        before - at(follows, station, offset, "clay"),
        down(station, np.minimum(offset, 4.3)), atol=1e-9,
    )  # fmt: skip
    np.testing.assert_array_equal(before, at(stays, station, offset, "clay"))


@pytest.mark.parametrize("side", [-1, 1])
def test_two_basins_of_other_widths_on_one_side_and_one_across(street, side):
    first = replace(BASIN, side=side)
    second = replace(BASIN, side=side, station=120.0, width=0.15)
    third = replace(BASIN, side=side, station=150.0)
    lowered = changed(street, first, second, third, replace(BASIN, side=-side))

    for one in (first, second, third):
        station = STATION + one.station - 90.0
        gone = at(street, station, side * OFFSET) - at(lowered, station, side * OFFSET)
        np.testing.assert_allclose(gone, down(station, OFFSET, one), atol=1e-9)
    (finish, _) = lowered.layers
    mine = [n for n, s in zip(finish.breaks, finish.side, strict=True) if s == side]
    assert sorted(n for n in mine if n.startswith("edge")) == ["edge of basin", "edge of basin 2"]


def test_the_low_point_is_the_basins(street):
    """A sag with its low point at 100; the basin at 90 is lower. Grade there: -2 % + s/50 %."""
    assert corridor.edge_extremes(street, "finish", "flowline", 1) == ()
    lowered = changed(street, BASIN)
    high, low = sorted(
        corridor.edge_extremes(lowered, "finish", "flowline", 1), key=lambda one: one.station
    )[::-1][:2][::-1]

    # 1 % up: the taper down falls 2.5 % against it, so water turns at its foot, 0.6 before the
    # middle, and nowhere on the way out, which climbs 3.5 %; it turned before at the taper's top
    assert {(high.kind, round(high.station, 6)), (low.kind, round(low.station, 6))} == {
        ("high", 87.4), ("low", 89.4),
    }  # fmt: skip
    assert low.elevation == pytest.approx(50.0 + 0.894 - 0.08 - 0.018 - 0.05, abs=1e-9)


def test_the_pond_check_sees_it_and_the_basin_takes_the_water(street):
    lowered = replace(changed(street, BASIN), basins=(BASIN,))
    surface = triangulate(lowered, "finish", DesignRules())

    # spills over the head of the taper, 87.4: 0.0200 lower than the plane at 89.4, 0.05 - 0.02
    (pond,) = ponds.ponds(surface, 0.01, [])
    assert pond.depth == pytest.approx(0.050 - 0.020, abs=1e-4)
    assert ponds.ponds(surface, 0.01, basin.spots(lowered)) == ()
    ((east, north),) = basin.spots(lowered)
    expected = point_at(street.alignment, np.array([90.0]), np.array([4.3]))
    assert (east, north) == pytest.approx((expected[0][0], expected[1][0]), abs=1e-9)


def test_the_triangles_keep_to_it_within_the_chord(street):
    lowered = changed(street, BASIN)
    surface = triangulate(lowered, "finish", DesignRules())
    east, north, _ = point_at(street.alignment, STATION, OFFSET)

    np.testing.assert_allclose(
        interpolate(surface, east, north), at(lowered, STATION, OFFSET), atol=2e-3
    )


def _things(street, station, offset, name="CB7"):
    east, north, _ = point_at(street.alignment, np.array([station]), np.array([offset]))
    unknown = np.array([np.nan])
    one = texts([""])
    return Utilities(texts([name]), texts(["catch basin"]), east, north, unknown, unknown, one)


def _placed(street, things, **stated):
    one = replace(BASIN, station=float("nan"), basin="CB7", **stated)
    table = SectionTable("sections.toml", (), (one,))
    return basin.placed(table, street.alignment, things).changes[0]


def test_a_recorded_basin_says_the_station(street):
    assert _placed(street, _things(street, 64.25, 4.4)).station == pytest.approx(64.25, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "station", "offset", "message"),
    [
        ("CB8", 64.0, 4.4, "0 recorded things are called 'CB7'"),
        ("CB7", 64.0, -4.4, "CB7 lies 4.40 m to the left of the line"),
        ("CB7", 207.0, 4.4, "CB7 lies beyond the end of the street"),
    ],
)
def test_a_basin_that_cannot_be_placed_is_refused(street, name, station, offset, message):
    with pytest.raises(DesignError, match=message):
        _placed(street, _things(street, station, offset, name))


def test_a_basin_by_id_without_a_list_is_refused(street):
    with pytest.raises(DesignError, match="the job has no list of recorded things"):
        _placed(street, None)


@pytest.mark.parametrize(
    ("stated", "message"),
    [
        ({"foot": "gutter"}, "no layer has a break 'gutter' on the right"),
        ({"width": 4.5}, "it is 4.5 m wide, the half 4.300 m"),
        ({"station": 199.0}, "the flowline is not there all the way from 0\\+196.400 to 0\\+201.6"),
    ],
)
def test_a_basin_that_the_section_does_not_hold_is_refused(street, stated, message):
    with pytest.raises(DesignError, match=message):
        changed(street, replace(BASIN, **stated))


def test_a_break_that_runs_across_its_side_is_refused(street):
    # the lane opens by 0.5 m inside the lip over 8 m, the width of the pan from 0.3 to 0.8
    wider = Widening(1, "flowline", ((86.0, 0.0), (94.0, 0.5)), "crossfall")
    with pytest.raises(DesignError, match="a break runs across its side"):
        changed(street, wider, BASIN)


def test_a_section_that_changes_at_once_in_its_stretch_is_refused(street):
    ends = Widening(1, "lip", ((60.0, 0.5), (91.0, 0.5)), "crossfall")
    with pytest.raises(DesignError, match="the section changes at once from"):
        changed(street, ends, BASIN)


def test_a_mouth_in_its_stretch_is_refused(street):
    with pytest.raises(DesignError, match="the flowline is not there all the way"):
        changed(street, Opening(1, 92.0, 97.0, "lip"), BASIN)


STATED = """
[[section]]
name = "one"
from = 0
to = 200
[section.layers.finish]
right = [{ to = "lip", width_m = 4.0, fall_pct = 2.0 }, { to = "flowline", width_m = 0.3, step_m = -0.018 }]
left = "mirror"

[[basin]]
side = "right"
at = "0+090"
foot = "flowline"
depth_m = 0.05
length_m = 1.2
taper_m = 2.0
width_m = 0.6
below = "follow"
"""  # noqa: E501


def test_it_is_read_from_the_sections(tmp_path):
    path = tmp_path / "sections.toml"
    path.write_text(STATED, encoding="utf-8")
    (one,) = read_sections(path).changes
    assert replace(one, where="") == replace(BASIN, where="")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('below = "follow"\n', "", "key 'below': it is missing"),
        ("depth_m = 0.05", "depth_m = 0", "key 'depth_m': found '?0"),
        ("taper_m = 2.0", "taper_m = -1", "Write metres, above zero"),
        ('at = "0+090"', 'at = "0+090"\nbasin = "CB7"', "an id of the list of recorded things"),
        ('at = "0+090"\n', "", "an id of the list of recorded things"),
    ],
)
def test_what_is_not_stated_right_is_refused(tmp_path, old, new, message):
    path = tmp_path / "sections.toml"
    path.write_text(STATED.replace(old, new), encoding="utf-8")
    with pytest.raises(DesignError, match=message):
        read_sections(path)
