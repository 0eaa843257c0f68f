"""Level runs: the published pages, and slips that must be told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.control.levelling import level_run, misclosure_limit, three_wire
from pipeline.errors import InputError
from pipeline.model import LevelBook, texts

NAN = math.nan


def book(point, backsight, foresight, *, side=None, distance=None, booked=None):
    n = len(point)
    blank = [NAN] * n
    return LevelBook(
        file="levels.csv",
        point=texts(point),
        backsight=backsight,
        intermediate=side or blank,
        foresight=foresight,
        distance=distance or blank,
        booked=booked or blank,
        line=np.arange(2, n + 2),
    )


def test_a_published_page(published):
    ref = published("REF-TS-11")
    back, fore = ref.inputs["BS"], ref.inputs["FS"]
    page = book([f"P{k}" for k in range(5)], [*back, NAN], [NAN, *fore])
    run = level_run(page, ref.inputs["start"], ref.inputs["known_end"])
    ref.check("HI", run.instrument[1:])
    ref.check("elev", run.elevation)
    ref.check("sum_BS", run.sum_backsight)
    ref.check("sum_FS", run.sum_foresight)
    ref.check("misclosure", run.misclosure)
    # four set-ups alike: a quarter of it each (common practice, no source)
    np.testing.assert_allclose(run.adjusted - run.elevation, [0, -0.01, -0.02, -0.03, -0.04])
    assert run.page_check == pytest.approx(0.0, abs=1e-9)
    (finding,) = run.findings
    assert finding.severity == "stop"
    assert "misclosure +0.040 m, 0.006 allowed" in finding.text


def test_three_wires(published):
    ref = published("REF-TS-12")
    mean, interval = three_wire(ref.inputs["top"], ref.inputs["mid"], ref.inputs["bottom"])
    ref.check("mean", mean)
    ref.check("interval", interval)
    ref.check("dist", interval * ref.inputs["K"])


def test_a_three_wire_run(published):
    ref = published("REF-TS-13")
    plus, minus = (three_wire(*np.array(ref.inputs[key]).T)[0] for key in ("plus", "minus"))
    ref.check("sum_plus", plus.sum())
    ref.check("sum_minus", minus.sum())
    run = level_run(book(["X", "1", "Y"], [*plus, NAN], [NAN, *minus]), ref.inputs["BMX"])
    ref.check("BMY", run.elevation[-1])
    assert [f.kind for f in run.findings] == ["open level run"]


def test_the_limit_grows_with_the_root_of_the_distance(published):
    ref = published("REF-TS-14")
    ref.check("limit_mm", [1000.0 * misclosure_limit(k) for k in ref.inputs["K_km"]])


def test_a_misread_wire_is_refused():
    with pytest.raises(InputError, match=r"three-wire reading 2: 1\.500, 1\.300, 1\.250"):
        three_wire([1.4, 1.5], [1.3, 1.3], [1.2, 1.25])


def test_side_shots_are_read_from_the_set_up_before():
    page = book(
        ["BM", "s1", "s2", "TP", "BM2"],
        [1.5, NAN, NAN, 1.2, NAN],
        [NAN, NAN, NAN, 1.4, 1.1],
        side=[NAN, 2.0, 1.75, NAN, NAN],
    )
    run = level_run(page, 100.0, 100.2)
    # HI 101.5: 99.5, 99.75, 100.1; HI 101.3: 100.2 (by hand)
    np.testing.assert_allclose(run.elevation, [100.0, 99.5, 99.75, 100.1, 100.2])
    np.testing.assert_allclose(run.instrument[1:], [101.5, 101.5, 101.5, 101.3])
    assert run.findings == ()


def test_the_misclosure_is_shared_with_distance_where_it_is_booked():
    page = book(["BM", "TP", "BM2"], [1.5, 1.5, NAN], [NAN, 1.5, 1.5], distance=[NAN, 150.0, 50.0])
    run = level_run(page, 100.0, 99.996)
    np.testing.assert_allclose(run.adjusted, [100.0, 99.997, 99.996])
    assert run.limit == pytest.approx(0.012 * math.sqrt(0.2))


def test_a_slip_of_the_pencil_is_found_where_it_begins():
    booked = [100.0, 99.5, 99.85, 99.95]  # the third should be 99.750
    page = book(
        ["BM", "T1", "T2", "BM2"],
        [1.0, 1.25, 1.3, NAN],
        [NAN, 1.5, 1.0, 1.2],
        booked=booked,
    )
    run = level_run(page, 100.0, 99.85)
    assert run.page_check == pytest.approx(-0.1, abs=1e-9)
    finding = next(f for f in run.findings if f.kind == "page check")
    assert "levels.csv line 4: point T2 is booked 99.850, the readings give 99.750" in finding.text
    assert finding.points == ("T2",)


@given(
    st.lists(st.tuples(st.floats(0.2, 3.5), st.floats(0.2, 3.5)), min_size=1, max_size=12),
    st.floats(-0.02, 0.02),
)
@settings(max_examples=40, deadline=None)
def test_the_page_and_the_adjusted_end_always_hold(pairs, off):
    back, fore = zip(*pairs, strict=True)
    names = [str(k) for k in range(len(pairs) + 1)]
    end = 50.0 + sum(back) - sum(fore) - off
    run = level_run(book(names, [*back, NAN], [NAN, *fore]), 50.0, end)
    assert run.page_check == pytest.approx(0.0, abs=1e-9)
    assert run.misclosure == pytest.approx(off, abs=1e-9)
    assert run.adjusted[-1] == pytest.approx(end, abs=1e-9)


@pytest.mark.parametrize(
    ("back", "fore", "side", "found"),
    [
        ([NAN, NAN], [NAN, 1.0], None, r"line 2 \(point a\): no backsight"),
        ([1.0, NAN], [NAN, NAN], None, r"line 3 \(point b\): no rod reading"),
        ([1.0, 1.0, NAN], [NAN, NAN, 1.0], [NAN, 1.2, NAN], "backsight on no turning point"),
        ([1.0, NAN], [NAN, 1.0], [NAN, 1.0], "an intermediate and a foresight"),
        ([1.0, NAN], [NAN, NAN], [NAN, 1.0], "does not end on a foresight"),
    ],
)
def test_a_page_that_cannot_be_worked_is_refused_by_line(back, fore, side, found):
    with pytest.raises(InputError, match=found):
        level_run(book(list("abc")[: len(back)], back, fore, side=side), 100.0)
