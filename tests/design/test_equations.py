"""Station equations: which place a station means, and what a place is called."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.design import alignment as line
from pipeline.design import equations
from pipeline.errors import DesignError
from pipeline.model import AlignmentRows, ElementRow


def street(*jumps, start=1000.0, length=500.0):
    rows = AlignmentRows(
        "street", (ElementRow("line", length, start=(5240.0, 3110.0)),), start, 0.3, equations=jumps
    )
    return line.build(rows)[0]


# A worked example of our own: stations start at 1+000; 1+240 back = 1+200 ahead. Chains here
# count on from 1000, so its "chain 220 (region 1) or 260 (region 2)" is 1220 or 1260.
OVERLAP = street((1240.0, 1240.0, 1200.0))
GAP = street((1240.0, 1240.0, 1300.0))

# Worked by hand from the definition: chain = station - ahead + where the equation stands.
QUERIES = [
    (OVERLAP, "1+000", 1000.0), (OVERLAP, "1+199.999", 1199.999), (OVERLAP, "1+220 (1)", 1220.0),
    (OVERLAP, "1+220 (2)", 1260.0), (OVERLAP, "1+240.5", 1280.5), (OVERLAP, "1+460", 1500.0),
    (OVERLAP, "1300", 1340.0), (OVERLAP, "1+200 (1)", 1200.0), (OVERLAP, "1+200 (2)", 1240.0),
    (OVERLAP, "1+240 (2)", 1280.0), (GAP, "1+240", 1240.0), (GAP, "1+300", 1240.0),
    (GAP, "1+300.25", 1240.25), (GAP, "1+560", 1500.0), (GAP, "1+100 (1)", 1100.0),
    (GAP, "1+400(2)", 1340.0),
]  # fmt: skip


@pytest.mark.parametrize(("alignment", "text", "chain"), QUERIES)
def test_a_station_means_its_chain(alignment, text, chain):
    assert equations.chain_of(alignment, text) == pytest.approx(chain, abs=1e-9)


@pytest.mark.parametrize(
    ("alignment", "text", "answers"),
    [
        (
            OVERLAP,
            "1+220",
            r"2 times: 1\+220\.000 \(1\), 220\.000 m .* 1\+220\.000 \(2\), 260\.000",
        ),
        (OVERLAP, "1+200", r"1\+200\.000 \(1\), 200\.000 m .* 1\+200\.000 \(2\), 240\.000 m"),
        (OVERLAP, "1+240", r"\(1\), 240\.000 m .* \(2\), 280\.000 m"),
        (GAP, "1+270", r"gap of the equation 1\+240\.000 back = 1\+300\.000 ahead"),
        (GAP, "1+600", r"1\+000\.000 to 1\+240\.000 \(1\), 1\+300\.000 to 1\+560\.000 \(2\)"),
        (GAP, "1+270 (2)", "region 2 .* it is not there"),
        (OVERLAP, "1+220 (3)", "region 3"),
        (street(), "1+220 (2)", "region 2"),
        (street(), "0+999.9", r"stations run 1\+000\.000 to 1\+500\.000\. Name"),
        (street(), "1+500.1", r"1\+500\.100 .* not on the alignment"),
    ],
)
def test_a_station_that_means_no_one_place_is_refused_with_its_answers(alignment, text, answers):
    with pytest.raises(DesignError, match=answers):
        equations.chain_of(alignment, text)


def test_without_equations_a_station_is_its_chain():
    assert [equations.chain_of(street(), text) for text in ("1+000", "1+500")] == [1000.0, 1500.0]
    assert equations.station_text(street(), 1220.04) == "1+220.0"


def test_what_is_no_station_is_no_station():
    with pytest.raises(ValueError, match="is no station"):
        equations.chain_of(OVERLAP, "1+220 (two)")


@pytest.mark.parametrize(
    ("chain", "text"),
    [
        (1100.0, "1+100.0"), (1220.0, "1+220.0 (1)"), (1260.0, "1+220.0 (2)"),
        (1240.0, "1+200.0 (2)"), (1300.0, "1+260.0"), (float("nan"), ""),
    ],
)  # fmt: skip
def test_the_region_is_printed_only_where_it_is_needed(chain, text):
    assert equations.station_text(OVERLAP, chain) == text


@given(
    chain=st.floats(1000.0, 1500.0),
    ahead=st.floats(500.0, 1900.0),
    second=st.floats(500.0, 1900.0),
)
def test_what_a_place_is_called_means_that_place(chain, ahead, second):
    alignment = street((1200.0, 1200.0, ahead), (1310.0, ahead + 110.0, second))

    text = equations.station_text(alignment, chain, step=0.001)

    assert equations.chain_of(alignment, text) == pytest.approx(chain, abs=0.00051)


def test_equations_out_of_order_and_off_the_line_are_refused():
    rows = AlignmentRows("x", (ElementRow("line", 50.0, start=(0.0, 0.0)),), 0.0, 0.0)
    for jumps in (((40.0, 40.0, 0.0), (30.0, 0.0, 9.0)), ((60.0, 60.0, 0.0),)):
        with pytest.raises(DesignError, match="List the equations in order"):
            line.build(dataclasses.replace(rows, equations=jumps))


def test_a_back_station_that_contradicts_the_line_is_told():
    rows = AlignmentRows(
        "x", (ElementRow("line", 50.0, start=(0.0, 0.0)),), 0.0, 0.0,
        equations=((40.0, 41.0, 100.0),),
    )  # fmt: skip
    alignment, (finding,) = line.build(rows)

    assert finding.severity == "person"
    assert "come to 0+040.000 there, not to 0+041.000" in finding.text
    assert np.isclose(equations.chain_of(alignment, "0+101"), 41.0)


@pytest.mark.parametrize(
    ("of", "chain", "name", "point"),
    [
        (OVERLAP, 1085.0, "1+085.0", "PC1085.0L"),
        (OVERLAP, 1260.0, "1+220.0 (2)", "PC1220.0L-2"),
        (None, 85.04, "0+085.0", None),
    ],
)
def test_a_point_is_named_after_its_station_and_region(of, chain, name, point):
    assert equations.named(of, chain) == name
    if of is not None:
        assert equations.station_id(of, chain, "PC", "L") == point
