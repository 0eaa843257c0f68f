"""Ties to what is built: the step shown, the blend's length, nothing cut beyond the joint."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.design import alignment as line
from pipeline.design import corridor as sections
from pipeline.design.tie import tie
from pipeline.errors import DesignError
from pipeline.model import ElementRow, ProfileRow, SectionLayer, SectionRow
from pipeline.settings_design import TieRules


@pytest.fixture(scope="module")
def street(make_corridor, half):
    """100 m, 1 % up from 50.000, lips at 4.0 and 2 %; the sections begin at 10, the joint."""
    finish = half(("lip", 4.0, 2.0), ("back", 0.2, None, 0.15))
    clay = half(
        ("edge of clay", 5.0, 2.5),
    )
    return make_corridor(
        [ElementRow("line", 100.0, start=(5240.0, 3110.0))],
        [ProfileRow(0.0, 50.0), ProfileRow(100.0, 51.0)],
        [SectionRow("one", 10.0, 100.0, (
            SectionLayer("finish", finish, finish), SectionLayer("clay", clay, clay, drop=0.4),
        ))],
        names=("finish", "clay"),
    )  # fmt: skip


def built(street, offset, over, station=10.0):
    """Shots of the existing edge that lie `over` the design of the top layer."""
    offset = np.asarray(offset, dtype=float)
    e, n, _ = line.point_at(street.alignment, np.full(len(offset), station), offset)
    z = sections.elevation(street, np.full(len(offset), 10.0), offset, "finish")
    return np.stack([e, n, z + np.asarray(over)], axis=1)


ACROSS = (-4.2, -4.0, 0.0, 4.0, 4.2)


def test_the_blend_is_as_long_as_the_step_over_its_rate(street):
    shots = built(street, ACROSS, [0.03, 0.03, 0.05, 0.02, 0.02])
    tied, found, told = tie(street, shots, TieRules(end="start", file="x"))

    # 50 mm at 0.5 %
    assert found.length == pytest.approx(10.0)
    np.testing.assert_allclose(found.step, [-0.03, -0.03, -0.05, -0.02, -0.02], atol=1e-9)
    assert "the design lies 0.050 m under what is built" in told[0].text
    assert "blended over 10.0 m at 0.5 %" in told[0].text
    # at the joint the design is what is built; half way half of it; past the blend nothing
    for offset, over in ((0.0, 0.05), (-4.0, 0.03), (4.0, 0.02), (2.0, 0.035)):
        own = sections.elevation(street, [10.0, 15.0, 20.0, 40.0], np.full(4, offset), "finish")
        now = sections.elevation(tied, [10.0, 15.0, 20.0, 40.0], np.full(4, offset), "finish")
        np.testing.assert_allclose(now - own, [over, over / 2.0, 0.0, 0.0], atol=1e-9)
    # the clay goes with it
    own = sections.elevation(street, 10.0, 0.0, "clay")
    assert sections.elevation(tied, 10.0, 0.0, "clay") - own == pytest.approx(0.05)


def test_beyond_the_joint_nothing_is_designed_so_nothing_is_cut(street):
    tied, _, _ = tie(street, built(street, ACROSS, [0.02] * 5), TieRules(end="start", file="x"))

    station = np.array([9.99, 5.0, 0.0])
    for layer in ("finish", "clay"):
        assert np.isnan(sections.elevation(tied, station, np.zeros(3), layer)).all()


def test_an_end_is_tied_backwards(street):
    e, n, _ = line.point_at(street.alignment, np.full(3, 100.0), np.array([-4.2, 0.0, 4.2]))
    z = sections.elevation(street, np.full(3, 100.0), np.array([-4.2, 0.0, 4.2]), "finish") - 0.02
    shots = np.stack([e, n, z], axis=1)
    tied, found, _ = tie(street, shots, TieRules(end="end", file="x"))

    assert found.length == pytest.approx(4.0)
    own = sections.elevation(street, [100.0, 98.0, 96.0], np.zeros(3), "finish")
    now = sections.elevation(tied, [100.0, 98.0, 96.0], np.zeros(3), "finish")
    np.testing.assert_allclose(now - own, [-0.02, -0.01, 0.0], atol=1e-9)


def test_a_blend_past_the_other_end_is_for_the_engineer(street):
    shots = built(street, ACROSS, [0.6] * 5)
    _, found, told = tie(street, shots, TieRules(end="start", file="x"))

    assert found.length == pytest.approx(120.0)
    assert any(f.severity == "person" and "past the street's other end" in f.text for f in told)


def test_an_edge_that_was_shot_in_part_is_told(street):
    _, _, told = tie(street, built(street, (-1.0, 0.0, 4.2), [0.01] * 3),
                     TieRules(end="start", file="x"))  # fmt: skip

    assert any("was shot from offset -1.00 to 4.20" in f.text for f in told)


def test_a_breakover_over_its_limit_is_told(street):
    rows = [built(street, ACROSS, 0.02 - 0.05 * (10.0 - s), station=s) for s in (10.0, 8.5, 7.5)]
    _, _, told = tie(street, np.concatenate(rows), TieRules(end="start", file="x"))

    (finding,) = [f for f in told if f.kind == "breakover"]
    # what is built climbs 5 % towards the joint, the blend falls 0.5 % less than the design's 1 %
    assert "from +5.00 to +0.50 %" in finding.text


def test_too_few_shots_are_refused(street):
    with pytest.raises(DesignError, match="1 shots of the existing edge lie within 3 m"):
        tie(street, built(street, (0.0,), [0.0]), TieRules(end="start", file="x"))


def test_a_design_that_fits_is_left_alone(street):
    tied, found, told = tie(street, built(street, ACROSS, [0.0] * 5),
                            TieRules(end="start", file="x"))  # fmt: skip

    assert found.length == pytest.approx(0.0, abs=1e-6)
    assert math.isclose(
        float(sections.elevation(tied, 10.0, 1.0, "finish")),
        float(sections.elevation(street, 10.0, 1.0, "finish")), abs_tol=1e-9,
    )  # fmt: skip
    assert all(f.severity == "note" for f in told)
