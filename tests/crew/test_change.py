"""Yesterday against today in words: the datum first, no bare sign, the crew's unit."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.compare.days import DayChange, Shift
from pipeline.compare.progress import Progress
from pipeline.crew.measures import Measures
from pipeline.crew.page.change import (
    change_table,
    findings,
    progress_sentences,
    sentences,
    trend_table,
)

DAYS = ("2026-05-13", "2026-05-14")
FEET = Measures("ft")
NAN = float("nan")


def moved(mean=(-0.048, 0.0002), sd=(0.004, 0.004), off=(2.0, 0.0), on=(0.0, 0.1)):
    """Two stretches of 20 m: by default the first was surely lowered, the second only shot."""
    columns = (mean, sd, on, off)
    mean, sd, on, off = (np.array(x) for x in columns)
    return DayChange(
        np.array([0.0, 20.0]), np.array([20.0, 40.0]), np.full(2, 100.0), mean, sd, on, off,
        np.full(2, 0.5),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("shift", "said"),
    [
        (Shift(NAN, NAN, 1, False, ()), "DATUM NOT CHECKED: only 1 fixed thing shot on both days"),
        (Shift(0.002, 0.003, 6, False, ()), "agrees with 2026-05-13 (2 mm apart, +/- 3 mm"),
        (Shift(0.03048, 0.0001, 6, True, ()), "stand 30 mm HIGHER on 2026-05-14 (+/- 1 mm, 6"),
        (Shift(-0.03048, 0.004, 6, True, ()), "stand 30 mm LOWER"),
    ],
)
def test_the_datum_is_told_first(shift, said):
    assert said in sentences(shift, moved(), DAYS)[0]


def test_things_that_moved_on_their_own_are_named_and_not_without_end():
    shift = Shift(0.0, 0.002, 9, False, tuple(f"H{k}" for k in range(8)))
    assert "H0, H1, H2, H3, H4, H5 and 2 more" in sentences(shift, moved(), DAYS)[1]
    (found,) = findings(shift, DAYS)
    assert (found.kind, found.points) == ("fixed thing moved", shift.hit)


def test_a_datum_that_moved_needs_a_person_in_the_crews_unit():
    shift = Shift(0.03048, 0.003048, 6, True, ())
    metric, feet = (findings(shift, DAYS, unit)[0].text for unit in (Measures(), FEET))
    assert "stand 30 mm higher than on 2026-05-13 (+/- 3 mm, 6 of them)" in metric
    # 30.48 mm are a tenth of a foot by the foot of 0.3048 m
    assert "stand 0.10 ft higher than on 2026-05-13 (+/- 0.01 ft, 6 of them)" in feet
    assert findings(Shift(0.0, 0.002, 6, False, ()), DAYS) == ()


def test_a_change_is_up_or_down_and_sure_or_noise():
    table = change_table(moved(mean=(-0.048, 0.012), sd=(0.004, 0.02)))
    down, up = table.rows
    assert (down[1], down[3]) == ("down 0.048", "2.0")
    assert up[1] == "up 0.012"
    assert change_table(moved(mean=(0.0, 0.0))).rows[0][1] == "0.000"
    assert "moved ft" in change_table(moved(), None, FEET).columns


def test_progress_is_told_against_the_first_day_that_was_compared():
    rows = (
        Progress("2026-05-12", "gravel", NAN, NAN, NAN, NAN),
        Progress("2026-05-13", "clay", 40.0, 10.0, 0.030, 0.0),
        Progress("2026-05-14", "clay", 10.0, 9.0, 0.01143, 62.0),
        Progress("2026-05-14", "gravel", 5.0, 5.0, 0.010, 0.0),
    )
    assert progress_sentences(rows) == (
        "clay: 62 % of the work of 2026-05-13 done, 11 mm left on average",
        "gravel: 10 mm left on average, compared for the first time",
    )
    assert progress_sentences(rows[:3], FEET)[0].endswith("0.04 ft left on average")
    assert progress_sentences(()) == ()
    worse = (*rows[:2], Progress("2026-05-14", "clay", 50.0, 11.0, 0.037, -22.0))
    assert progress_sentences(worse)[0].startswith("clay: 22 % more to do than on 2026-05-13")
    lost = (*rows[:2], Progress("2026-05-14", "clay", NAN, NAN, NAN, NAN))
    assert progress_sentences(lost) == ("clay: nothing compared today",)


def test_the_page_shows_the_last_ten_days_and_says_so():
    rows = [Progress(f"2026-05-{d:02d}", "clay", 1.0, 1.0, 0.01, 0.0) for d in range(1, 14)]
    table = trend_table(rows)
    assert len(table.rows) == 10
    assert table.name == "Progress by day and layer, the last 10 of 13 days"
    assert "cut yd3" in trend_table(rows, FEET).columns
