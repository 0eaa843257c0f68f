"""The decision sheet: what it says, where every figure comes from, and what it refuses to say."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.compare.intervals import Intervals
from pipeline.crew.measures import Measures
from pipeline.crew.pregrade.evidence import evidence
from pipeline.crew.pregrade.recommendation import Lot, decision
from pipeline.crew.pregrade.remaining import remaining
from pipeline.crew.pregrade.remaining_sheet import (
    change_lines,
    change_table,
    remaining_lines,
    remaining_table,
)
from pipeline.crew.pregrade.sheet import HONESTY, cost_table, lines, lot_line, tornado
from pipeline.crew.pregrade.strip import strip_words
from pipeline.crew.pregrade.target import normal_target
from pipeline.errors import JobError
from pipeline.ingest.job.job import read_job
from pipeline.model import texts
from pipeline.settings import Job
from pipeline.settings_earthwork import Costs, Stabilising, Strip

COSTS = Costs(currency="EUR", surplus_per_m3=60.0, shortage_per_m3=45.0)
LOT = Lot("street", 0.0, 200.0, 1600.0, mean_error_m=0.003, lids=4)


def job(costs=COSTS, given=frozenset(), **stabilising):
    return Job(
        name="x", layers=[{"name": "clay"}], costs=costs, given=given,
        stabilising=Stabilising(**stabilising),
    )  # fmt: skip


def sheet(found, of):
    return "\n".join(lines(found, of.hauling))


def test_the_sheet_of_dry_lean_clay():
    """Worked out before this program for 1600 m2: 3 loads, 35 t, 2.4 %."""
    of = job()
    found = decision(of, LOT)
    said = lines(found, of.hauling)
    assert said[0] == "LEAVE CLAY 1.5 cm LOW (plane STAB-15 mm)"
    assert said[1] == "range 0.5 to 2.5 cm in 8 of 10 cases, because density before is not known"
    assert said[2].startswith("strip test: stations 0+020.0 to 0+060.0, 40 points")
    assert said[3] == "if wrong by 1 cm: 3 loads (box governs) out or 35 t gravel in (1600 m2)"
    assert said[4] == "cement 2.4 % by dry mass: 12.5 kg/m2 over 0.30 m"
    assert "water 32 L/m2" in said[5]
    # 32 L/m2 by 0.3048 squared
    assert "water 3.0 L/ft2" in lines(found, of.hauling, unit=Measures("ft"))[5]
    assert said[6].startswith("rotor bottom at plane STAB-315 mm, 0.30 m below the clay; 4 on the")
    assert "not a locate" in said[6]
    assert any(text.startswith("stabilised layer after trimming 315 mm") for text in said)
    assert any("window open" in text for text in said)
    assert "safe to dig" not in sheet(found, of)


def test_planes_of_the_worked_example():
    """By hand: stabilised 100.210, left 15 mm low: clay 100.195, rotor 99.895."""
    found = decision(job(), LOT)
    assert 100.210 - found.lowering == pytest.approx(100.195)
    assert 100.210 - found.lowering - found.rules.mixing_depth_m == pytest.approx(99.895)
    # 3.2: 315 mm where there is a surplus; 308 where it rises by 8
    assert found.thickness.over == pytest.approx(0.315)
    assert found.thickness.short == pytest.approx(0.3 + np.quantile(found.rises, 0.1))


def test_without_costs_there_is_no_target():
    of = job(costs=Costs())
    found = decision(of, LOT)
    assert (found.lowering, found.target, found.curve) == (None, None, None)
    assert np.isnan(found.within_tolerance)
    said = lines(found, of.hauling)
    assert said[0].startswith(
        "NO TARGET: costs.surplus_per_m3 and costs.shortage_per_m3 are not stated"
    )
    assert "0.5 to 2.5 cm" in said[1]
    assert not any("LEAVE" in text for text in said)


def test_equal_costs_only_when_asked_for_and_said():
    of = job(costs=Costs())
    found = decision(of, LOT, equal_costs=True)
    assert found.target.exact == pytest.approx(np.median(found.rises))
    assert "equal costs, as asked for" in sheet(found, of)


def test_the_target_follows_the_joint_distribution_of_rise_and_surface():
    """Against the closed form with both doubts added; the draws are not quite normal."""
    of = job()
    plain = decision(of, replace(LOT, mean_error_m=0.0))
    rough = decision(of, replace(LOT, mean_error_m=0.02))
    sd = np.hypot(plain.rises.std(), 0.02)
    assert rough.rises.std() == pytest.approx(sd, rel=0.01)
    closed, _ = normal_target(rough.rises.mean(), sd, rough.target.prices)
    assert rough.target.exact == pytest.approx(closed, abs=0.0005)
    # surplus is dearer, so more doubt means lower
    assert rough.target.exact > plain.target.exact


def test_spots_count_when_the_window_is_closed():
    opened, closed = decision(job(), LOT), decision(job(window="closed"), LOT)
    assert closed.rises.std() == pytest.approx(np.hypot(opened.rises.std(), 0.010), rel=0.01)
    assert "window closed" in sheet(closed, job())


def test_very_wet_clay_is_left_at_the_plane_or_above():
    of = job(moisture="very wet")
    found = decision(of, LOT)
    assert found.lowering <= 0.005
    assert "water: none" in sheet(found, of)
    high = decision(job(moisture="very wet", spread_kg_m2=5.0), LOT)
    assert lines(high, of.hauling)[0].startswith("LEAVE CLAY 0.5 cm HIGH (plane STAB+5 mm)")
    level = replace(found, lowering=0.0)
    assert lines(level, of.hauling)[0] == "LEAVE CLAY AT THE PLANE (plane STAB)"


def test_a_strip_narrows_the_range_and_moves_the_target():
    of = job(strips=[Strip(name="A", spread_kg_m2=12.5, rise_m=0.024)])
    before, after = decision(job(), LOT), decision(of, LOT)
    assert after.belief.after.sd < 0.7 * before.belief.after.sd
    assert after.lowering > before.lowering
    said = sheet(after, of)
    assert "strip test: A: rose 24.0 mm at 12.5 kg/m2" in said
    assert "because the strip is not the whole street" in said
    assert after.rises.mean() == pytest.approx(after.belief.after.mean, abs=5e-4)


def test_a_strip_that_is_not_used_says_so_and_another_is_asked_for():
    of = job(strips=[Strip(spread_kg_m2=12.5, rise_m=0.024, method="satellite")])
    found = decision(of, LOT)
    assert found.rises.tolist() == decision(job(), LOT).rises.tolist()
    said = sheet(found, of)
    assert "strip 1 NOT USED" in said
    assert "strip test: stations 0+020.0" in said


def test_least_thickness_lowers_the_clay():
    of = job(least_thickness_m=0.325)
    found = decision(of, LOT)
    assert found.lowering == pytest.approx(0.025)
    assert "left 10 mm lower than it would be: the layer must be 325 mm thick" in sheet(found, of)
    assert any("mix deeper" in text for text in found.limits)
    assert decision(job(least_thickness_m=0.30), LOT).limits == ()


def test_leave_high_and_trim():
    """25 mm above the plane after the rise: 15.1 - 25 = -9.9, so 10 mm high, 40 m3 to trim."""
    of = job(mode="leave high and trim")
    found = decision(of, LOT)
    assert found.lowering == pytest.approx(-0.010)
    said = lines(found, of.hauling)
    assert said[0] == "LEAVE CLAY 1.0 cm HIGH (plane STAB+10 mm, then trim)"
    assert "stands 25 mm over the plane when cured: 40 m3 to trim" in said
    assert found.thickness.over == pytest.approx(0.290)
    thin = decision(job(mode="leave high and trim", least_thickness_m=0.30), LOT)
    assert thin.lowering == pytest.approx(0.0)
    # it needs no costs: nothing is weighed
    assert decision(job(costs=Costs(), mode="leave high and trim"), LOT).lowering is not None


def test_another_spread_rate():
    """12.5 to 22 kg/m2: 9.5 times 1.25 mm more."""
    of = job()
    before, now = decision(of, LOT), decision(of, LOT, spread_kg_m2=22.0)
    assert 1000 * (now.belief.after.mean - before.belief.after.mean) == pytest.approx(11.9, abs=0.2)
    left = remaining(of, now, plane([0.015] * 5))
    # 2400 m2 times 15 mm: 36 m3 compacted, 57.2 m3 loose at 1.43 / 0.90, five boxes of 11.4 m3
    assert change_lines(before, now, left, of) == (
        "spread 12.5 -> 22 kg/m2: the clay rises +11.9 mm",
        "target 1.5 cm lower than before",
        (
            "on clay graded for the rate before: 36.0 m3 over 2400 m2, 6 loads (box governs)"
            " to haul off"
        ),
    )
    assert change_lines(before, before, left, of)[1] == "target as before"
    back = change_lines(now, before, left, of)
    assert back[1] == "target 1.5 cm higher than before"
    assert back[2].endswith("6 loads (box governs) to bring in")
    # by stretch: 480 m2 x 15 mm = 7.2 m3, 11.44 m3 loose, 1.0 box
    table = change_table(before, now, left, of)
    assert table.rows[0] == (
        "0+000.0", "0+020.0", "480", "1.5", "3.0", "C 1.5", "7.2", "1.0 out",
    )  # fmt: skip
    assert change_table(now, before, left, of).rows[0][5:] == ("F 1.5", "-7.2", "1.0 in")
    free = job(costs=Costs())
    none = decision(free, LOT), decision(free, LOT, spread_kg_m2=22.0)
    assert len(change_lines(*none, left, free)) == 1
    assert change_table(*none, left, free).rows == ()
    (row,) = (row for row in evidence(now, of).rows if row[0] == "cement spread")
    assert row == ("cement spread", "22", "kg/m2", "asked for now")


def test_every_figure_carries_its_mark():
    """Source, assumed, practice or job, on each row."""
    of = job(given=frozenset({"stabilising.mixing_depth_m", "costs.surplus_per_m3"}))
    rows = evidence(decision(of, LOT), of).rows
    marks = {row[0]: row[3] for row in rows}
    assert all(mark for mark in marks.values())
    assert marks["mixing depth"] == "job"
    assert marks["cost of a surplus"] == "job"
    assert marks["cost of a shortage"] == "not stated: no default"
    assert marks["cement spread"] == "common practice, no source"
    assert marks["density loss by cement"].startswith("assumed, for lean clay; chosen to meet")
    assert marks["loose for bank"].startswith("assumed: clay, US Army FM 5-434 Table 1-1, from mem")
    assert marks["error of the surface's mean"] == "from the shots"
    known = ("assumed", "job", "common practice", "25 mm", "13 mm", "not stated", "from the shots")
    assert all(mark.startswith(known) for mark in marks.values())
    # all but the words layer, mode and window, the strips, the draws and the least thickness
    assert len(rows) >= len(Stabilising.__dataclass_fields__) - 6


def test_the_honest_notes_are_there():
    text = " ".join(HONESTY)
    for words in ("proves nothing", "No published figure", "No thin lift", "6-9 mm", "engineer's"):
        assert words in text


def test_tornado_and_cost_rows():
    found = decision(job(), LOT)
    rows = tornado(found).rows
    assert rows[0] == ("density before", "1.5 % compaction", "-4.6", "+4.6")
    costs = cost_table(found.curve).rows
    cheapest = min(costs, key=lambda row: float(row[1]))
    assert float(cheapest[0]) == pytest.approx(1000 * found.target.exact, abs=0.6)


def test_a_mixed_lot_is_warned_of():
    deep = replace(LOT, cut_m2=700, fill_m2=600, cut_m3=140, fill_m3=90)
    shallow = replace(deep, cut_m3=14, fill_m3=9)
    assert "MIXED LOT: 700 m2 in cut and 600 m2 in fill" in sheet(decision(job(), deep), job())
    assert "MIXED LOT" not in sheet(decision(job(), shallow), job())


def test_a_street_without_a_list_of_buried_things_says_so():
    got = decision(job(), replace(LOT, lids=None))
    assert "NO UTILITIES LIST WAS READ" in sheet(got, job())


def test_a_sheet_among_several_names_its_lot():
    assert lot_line(decision(job(), LOT)) == (
        "LOT street, 0+000.0 to 0+200.0: lean clay, dry, 12.5 kg/m2"
    )


def test_strips_at_two_rates_say_what_a_kilogram_does():
    """A line through two points by hand: 12 mm more for 10 kg/m2 more, each +- 3 mm.

    Its slope is known to 3 sqrt(2) / 10 = 0.42 mm per kg/m2.
    """
    strips = [Strip(spread_kg_m2=q, rise_m=r) for q, r in ((10.0, 0.012), (20.0, 0.024))]
    of = job(strips=strips)
    said = sheet(decision(of, LOT), of)
    assert "strips at several rates: 1.20 +- 0.42 mm for one kg/m2, 0.0 +- 6.7 mm without" in said
    alone = job(strips=strips[:1])
    assert "several rates" not in sheet(decision(alone, LOT), alone)


# --- what lies where --------------------------------------------------------------------------


def plane(low, area=480.0):
    """Ground against the stabilised plane: each stretch left low by so much [m]."""
    low = np.asarray(low, dtype=float)
    k = len(low)
    there = np.where(np.isnan(low), 0.0, area)
    volume = np.nan_to_num(low) * there
    return Intervals(
        layer="stabilised top", lane=texts([""] * k), start=20.0 * np.arange(k),
        end=20.0 * np.arange(k) + 20, cut_m3=np.maximum(-volume, 0), fill_m3=np.maximum(volume, 0),
        cut_area_m2=there, fill_area_m2=there, compared_area_m2=there,
        uncovered_area_m2=area - there,
    )  # fmt: skip


def test_what_remains_of_the_worked_example():
    """By hand: 2400 m2 left 15 mm low, a rise of 20.7 +- 3.8: 13.7 m3, 2 loads +- 1."""
    of = job()
    found = decision(of, Lot("street", 0.0, 100.0, 2400.0))
    belief = replace(found.belief, after=replace(found.belief.after, mean=0.0207, sd=0.0038))
    left = remaining(of, replace(found, belief=belief), plane([0.015] * 5))
    assert left.surplus_m3.sum() == pytest.approx(13.7, abs=0.05)
    assert left.net_m3 == pytest.approx(13.7, abs=0.05)
    assert left.loads_out.words == "2 loads +- 1 (box governs)"
    said = remaining_lines(left, of)
    assert said[0].startswith("before mixing, as the clay lies today: take off 0.0 m3 in 0 stret")
    assert said[1].startswith("if nothing is done: 13.7 +- 9.1 m3 over the plane, 21.7 m3 loose")
    assert said[2].startswith("first re-pass the clay that is not mixed yet")
    # FM 5-434's factors: 1.43 / 0.90
    assert "box 12 m3, 95 % full, payload 16 t; 1.59 m3 loose for 1 m3 compacted" in said[3]


def test_stretch_by_stretch_before_and_after_mixing():
    of = job()
    found = decision(of, LOT)
    left = remaining(of, found, plane([0.0, 0.015, 0.040, np.nan]))
    assert left.reshape_m3 == pytest.approx([7.2, 0.0, -12.0, 0.0])
    rise = found.belief.after.mean
    want = [480 * rise, 480 * (rise - 0.015), 480 * (rise - 0.04), 0]
    assert left.surplus_m3 == pytest.approx(want)
    assert left.net_m3 == pytest.approx(sum(want))
    # before mixing: 7.2 m3 off the first stretch, 12 m3 onto the third; 0.139 loads a m3 by hand:
    # 1.43 / 0.90 / 11.4
    each = 1.43 / 0.90 / 11.4
    assert left.reshape_loads == pytest.approx([7.2 * each, 0.0, -12.0 * each, 0.0])
    assert (left.before.off_m3, left.before.on_m3) == pytest.approx((7.2, 12.0))
    assert left.before.stretches == (1, 1)
    assert (left.before.loads_out.count, left.before.loads_in.count) == (2, 2)
    rows = remaining_table(left).rows
    assert [row[6] for row in rows] == ["1.0 out", "0", "1.7 in", "0"]
    assert [row[4] for row in rows] == ["C 1.5", "GRADE", "F 2.5", ""]
    assert "stretches not surveyed and not counted: 1" in remaining_lines(left, of)
    short = remaining(of, found, plane([0.05]))
    assert "short" in remaining_lines(short, of)[1]
    assert short.gravel_t == pytest.approx(2.2 * 480 * (0.05 - rise))


# --- what is refused --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lot", "message"),
    [
        (replace(LOT, area_m2=0.0), "lot street: has 0 m2"),
        (replace(LOT, mean_error_m=float("nan")), r"lot street: its mean is known to \+-nan m"),
    ],
)
def test_a_lot_that_nobody_knows_is_refused(lot, message):
    with pytest.raises(JobError, match=message):
        decision(job(), lot)


def test_a_spread_of_a_tonne_is_refused_by_name():
    with pytest.raises(JobError, match=r"stabilising\.spread_kg_m2: found 1000"):
        decision(job(), LOT, spread_kg_m2=1000.0)


@pytest.mark.parametrize(
    ("table", "name"),
    [
        ("[stabilising]\nmax_density_kg_m3 = 0.0", "stabilising.max_density_kg_m3 = 0"),
        ("[stabilising]\nmixing_depth_m = 1.2", "stabilising.mixing_depth_m = 1.2"),
        ("[costs]\nsurplus_per_m3 = -5.0", "costs.surplus_per_m3 = -5"),
        ("[stabilising]\nsoil = 'gravel'", "stabilising.soil = 'gravel'"),
        ("[stabilising]\nspread = 12.5", "did you mean 'spread_kg_m2'"),
    ],
)
def test_the_job_file_refuses_nonsense_with_its_line(tmp_path, table, name):
    text = f'name = "x"\n[[layers]]\nname = "clay"\n[target]\nlayer = "clay"\n{table}\n'
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(JobError, match=r"line 7") as caught:
        read_job(tmp_path)
    assert name in str(caught.value)


def test_the_job_file_states_a_strip_and_costs(tmp_path):
    (tmp_path / "job.toml").write_text(
        'name = "x"\n[[layers]]\nname = "clay"\n[target]\nlayer = "clay"\n'
        "[costs]\nsurplus_per_m3 = 60\nshortage_per_m3 = 45\n"
        "[stabilising]\nspread_kg_m2 = 14\n"
        "[[stabilising.strips]]\nspread_kg_m2 = 14\nrise_m = 0.02\nmethod = 'two set-ups'\n",
        encoding="utf-8",
    )
    of = read_job(tmp_path)
    found = decision(of, LOT)
    assert strip_words(found.belief)[0].startswith("strip 1: rose 20.0 mm at 14 kg/m2, +-6.0")
    marks = {row[0]: row[3] for row in evidence(found, of).rows}
    assert marks["cement spread"] == marks["cost of a shortage"] == "job"
