"""Where to push the dirt: by hand, as an assignment, and by the rule of the mass diagram."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from pipeline.compare.intervals import Intervals
from pipeline.crew.haul import moves as haul
from pipeline.crew.haul.arrows import arrows
from pipeline.crew.measures import Measures
from pipeline.design.alignment import build, locate, point_at
from pipeline.errors import JobError
from pipeline.model import AlignmentRows, ElementRow, texts
from pipeline.settings_earthwork import Bulking, Costs, Hauling

ONE_TO_ONE = Bulking(loose_per_bank=1.0, compacted_per_bank=1.0)
STATED = Costs(
    currency="EUR", blade_per_m3_m=0.05, truck_per_m3=4.0, truck_per_m3_m=0.01,
    borrow_per_m3=18.0, waste_per_m3=14.0,
)  # fmt: skip
EQUAL = haul.rates_of(Costs(), equal=True)


def street(cut, fill, step=20.0):
    k = len(cut)
    start, none = step * np.arange(k), np.zeros(k)
    return Intervals(
        layer="clay", lane=texts([""] * k), start=start, end=start + step, cut_m3=cut, fill_m3=fill,
        cut_area_m2=none, fill_area_m2=none, compared_area_m2=none + 200, uncovered_area_m2=none,
    )  # fmt: skip


def moves_of(cut, fill, rates=EQUAL, hauling=None, bulking=ONE_TO_ONE):
    stretches = street(cut, fill)
    gives, needs = haul.demands(stretches, bulking)
    return haul.plan(stretches.middle, gives, needs, rates, hauling or Hauling())


def listed(moves):
    return [
        (int(a), int(b), round(float(v), 6), way)
        for a, b, v, way in zip(moves.source, moves.sink, moves.bank_m3, moves.way, strict=True)
    ]


def test_by_hand():
    """Cut 10 at 0+010, fill 6 at 0+030 and 4 at 0+050; nothing is left to choose."""
    got = moves_of([10, 0, 0], [0, 6, 4])
    assert listed(got) == [(0, 1, 6.0, "blade"), (0, 2, 4.0, "blade")]
    found = haul.summary(got, Hauling(free_haul_m=25.0))
    assert found.moment == pytest.approx(6 * 20 + 4 * 40)
    assert found.mean_haul_m == pytest.approx(28.0)
    assert (found.farthest_m, found.overhaul) == (40.0, pytest.approx(4 * 15))


def test_by_hand_with_a_choice_between_truck_and_borrow():
    """Fill 5 m3 at 0+110. From 0+010 by truck 4 + 1 = 5 a m3 and no waste; borrow and waste 32."""
    rates = haul.rates_of(STATED, equal=False)
    got = moves_of([5, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 5], rates)
    assert listed(got) == [(0, 5, 5.0, "truck")]
    assert got.cost.sum() == pytest.approx(25.0)
    dear = haul.Rates(0.05, 4.0, 1.0, 18.0, 14.0, haul.STATED)
    got = moves_of([5, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 5], dear)
    assert listed(got) == [(0, -1, 5.0, "waste"), (-1, 5, 5.0, "borrow")]
    assert got.cost.sum() == pytest.approx(5 * 32.0)


def test_the_blade_carries_no_farther_than_its_limit():
    rates = haul.Rates(0.001, 4.0, 0.01, 18.0, 14.0, haul.STATED)
    near = moves_of([5, 0, 0], [0, 0, 5], rates, Hauling(blade_limit_m=40.0))
    far = moves_of([5, 0, 0], [0, 0, 5], rates, Hauling(blade_limit_m=39.0))
    assert (near.way[0], far.way[0]) == ("blade", "truck")
    # within its reach the blade is not taken where the truck is cheaper
    dear = haul.Rates(1.0, 4.0, 0.01, 18.0, 14.0, haul.STATED)
    assert moves_of([5, 0, 0], [0, 0, 5], dear).way[0] == "truck"


def test_what_is_over_leaves_and_what_lacks_comes():
    over = moves_of([10, 0], [0, 4])
    assert listed(over) == [(0, 1, 4.0, "blade"), (0, -1, 6.0, "waste")]
    lacks = moves_of([4, 0], [0, 10])
    assert listed(lacks) == [(0, 1, 4.0, "blade"), (-1, 1, 6.0, "borrow")]
    assert listed(moves_of([0, 0], [0, 3])) == [(-1, 1, 3.0, "borrow")]
    assert listed(moves_of([3, 0], [0, 0])) == [(0, -1, 3.0, "waste")]
    assert listed(moves_of([0, 0], [0, 0])) == []


def test_fill_takes_more_from_the_bank_than_it_fills():
    """9 m3 compacted need 10 m3 of the bank at 0.90."""
    got = moves_of([10, 0], [0, 9], bulking=Bulking())
    assert listed(got) == [(0, 1, 10.0, "blade")]


amounts = st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50)), min_size=2, max_size=15)


@settings(deadline=None)
@given(amounts=amounts, equal=st.booleans())
def test_every_stretch_balances(amounts, equal):
    cut, fill = np.array(amounts).T
    rates = EQUAL if equal else haul.rates_of(STATED, equal=False)
    got = moves_of(cut, fill, rates)
    for k in range(len(cut)):
        assert got.bank_m3[got.source == k].sum() == pytest.approx(cut[k], abs=1e-6)
        assert got.bank_m3[got.sink == k].sum() == pytest.approx(fill[k], abs=1e-6)
    assert (got.bank_m3 > 0).all()
    if equal:
        # distance alone: nothing is borrowed while something is wasted
        assert min(got.total("borrow"), got.total("waste")) < 1e-6


@settings(deadline=None)
@given(st.integers(0, 100_000))
def test_unit_amounts_are_an_assignment(seed):
    """Independent: scipy's assignment of as many cuts as fills, one cubic metre each."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(14)
    cut, fill = np.zeros(14), np.zeros(14)
    cut[order[:7]], fill[order[7:]] = 1, 1
    got = moves_of(cut, fill)
    middle = 20.0 * np.arange(14) + 10
    apart = np.abs(middle[np.sort(order[:7])][:, None] - middle[np.sort(order[7:])])
    rows, columns = linear_sum_assignment(apart)
    assert haul.summary(got, Hauling()).moment == pytest.approx(apart[rows, columns].sum())


@settings(deadline=None)
@given(st.integers(0, 100_000))
def test_the_least_moment_is_the_area_under_the_mass_diagram(seed):
    """The classic rule, common practice: for a street that balances, with the earth of each
    stretch at its middle, the least haul moment is the area between the diagram and zero."""
    rng = np.random.default_rng(seed)
    cut, fill = rng.uniform(0, 30, 12), rng.uniform(0, 30, 12)
    fill *= cut.sum() / fill.sum()
    got = moves_of(cut, fill)
    diagram = haul.mass_haul(street(cut, fill), ONE_TO_ONE)
    assert diagram.ordinate[0] == 0.0
    assert diagram.ordinate[-1] == pytest.approx(0.0, abs=1e-9)
    # between neighbouring middles the running sum stands still at the diagram's ordinate
    area = 20.0 * np.abs(diagram.ordinate[1:-1]).sum()
    assert haul.summary(got, Hauling()).moment == pytest.approx(area, rel=1e-6, abs=1e-6)


def test_the_diagram_of_a_pyramid_of_cut_and_fill_by_hand():
    """Cut 10 and 20, fill 15 and 25: rises to 30, falls to -10, zero 12 m into the last 20."""
    got = haul.mass_haul(street([10, 20, 0, 0], [0, 0, 15, 25]), ONE_TO_ONE)
    assert got.station.tolist() == [0, 20, 40, 60, 80]
    assert got.ordinate.tolist() == [0, 10, 30, 15, -10]
    assert got.balance.tolist() == [72.0]


def test_costs_have_no_default_and_halves_are_refused():
    assert haul.rates_of(Costs(), equal=False) is None
    with pytest.raises(JobError, match=r"costs\.truck_per_m3: is not stated, though others are"):
        haul.rates_of(Costs(blade_per_m3_m=1.0), equal=False)
    with pytest.raises(JobError, match=r"costs\.waste_per_m3: found -1"):
        haul.rates_of(
            Costs(
                blade_per_m3_m=1.0, truck_per_m3=1.0, truck_per_m3_m=1.0, borrow_per_m3=1.0,
                waste_per_m3=-1.0,
            ),
            equal=False,
        )  # fmt: skip
    with pytest.raises(JobError, match="haul, cut: found -3 m3"):
        haul.plan([0.0, 20.0], [-3.0, 0.0], [0.0, 1.0], EQUAL, Hauling())


def test_the_words_say_whose_costs_and_that_free_haul_is_not_stated():
    got = moves_of([10, 0, 0], [0, 6, 4])
    said = haul.words(got, haul.summary(got, Hauling()), EQUAL)
    assert "free haul not stated in the job: no overhaul worked out" in said
    assert any(text.startswith("equal costs, as asked for") for text in said)
    assert said[-1] == "raw clay only: never carry stabilised clay after its window"
    free = haul.words(got, haul.summary(got, Hauling(free_haul_m=25.0)), EQUAL)
    assert "beyond the free haul of 25 m: 60 m3 m overhaul" in free


def test_rows_of_the_table_are_in_driving_order():
    got = haul.table(moves_of([10, 0, 12, 0], [0, 6, 2, 4]))
    assert got.rows == (
        ("0+010.0", "0+030.0", "blade", "6.0", "20"),
        ("0+050.0", "0+050.0", "within", "2.0", "0"),
        ("0+050.0", "0+070.0", "blade", "4.0", "20"),
        ("0+010.0", "outside", "waste", "4.0", ""),
        ("0+050.0", "outside", "waste", "6.0", ""),
    )


def test_arrows_run_along_the_street_on_the_side_they_drive():
    rows = (
        ElementRow("line", 30.0, start=(500.0, 100.0)),
        ElementRow("arc", 60.0, 60.0, 60.0, 1),
    )
    alignment, _ = build(AlignmentRows("x", rows, 0.0, 0.4))
    got = arrows(moves_of([9, 0, 0, 7], [0, 9, 7, 0]), alignment)
    assert [arrow.text for arrow in got] == ["9.0 m3 blade", "7.0 m3 blade"]
    for arrow, (start, end) in zip(got, ((10, 30), (70, 50)), strict=True):
        feet = locate(alignment, *arrow.path.T)
        assert feet.station[[0, -1]] == pytest.approx([start, end], abs=1e-6)
        assert np.allclose(feet.offset, feet.offset[0])
        assert (feet.offset[0] > 0) == (end > start)


@pytest.mark.parametrize("radius", [12.0, 20.0, 45.0])
@pytest.mark.parametrize("hand", [1, -1])
@pytest.mark.parametrize("away", [10.0, 15.0, 30.0])
def test_arrows_on_tight_inside_curves_do_not_fold_over_themselves(radius, hand, away):
    """Nor come nearer to the line than they run beside it; judged by shapely."""
    shapely = pytest.importorskip("shapely")
    turn = 0.5 * np.pi * radius
    rows = (
        ElementRow("line", 60.0, start=(500.0, 100.0)),
        ElementRow("arc", turn, radius, radius, hand),
        ElementRow("line", 60.0),
    )
    alignment, _ = build(AlignmentRows("x", rows, 0.0, 0.4))
    k = int((120.0 + turn) // 20)
    there = np.zeros(k)
    there[0], there[-1] = 9.0, 0.0
    back = there[::-1]
    every = np.linspace(0.0, 120.0 + turn, 2000)
    east, north, _ = point_at(alignment, every, np.zeros(2000))
    line = shapely.linestrings(np.stack((east, north), axis=1))
    for cut, fill in ((there, back), (back, there)):
        (got,) = arrows(moves_of(cut, fill), alignment, rows_m=(away, 5.0))
        path = shapely.linestrings(got.path)
        assert path.is_simple
        assert shapely.distance(path, line) > away - 0.3
        # from the cut to the fill: the nearest places of the line rise or fall all along
        along = shapely.line_locate_point(line, shapely.points(got.path))
        assert (np.diff(along) * (along[-1] - along[0]) > -1e-6).all()
        assert abs(along[-1] - along[0]) > 0.5 * (120.0 + turn - 20)


def test_arrows_say_cubic_yards_to_a_crew_in_feet():
    """9 m3 are 11.77 yd3: a yard is 0.9144 m by definition."""
    alignment, _ = build(
        AlignmentRows("x", (ElementRow("line", 80.0, start=(0.0, 0.0)),), 0.0, 0.4)
    )
    (got,) = arrows(moves_of([9, 0], [0, 9]), alignment, unit=Measures("ft"))
    assert got.text == "11.8 yd3 blade"
