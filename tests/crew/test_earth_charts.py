"""Round ticks, and charts that have what the numbers have."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew.earth_charts import mass_chart, ticks, within
from pipeline.crew.haul.moves import MassHaul
from pipeline.design.alignment import build
from pipeline.model import AlignmentRows, ElementRow


@given(low=st.floats(-1e4, 1e4, allow_nan=False), reach=st.floats(1e-3, 1e4, allow_nan=False))
def test_ticks_cover_the_reach_with_round_steps(low, reach):
    marks = ticks(low, low + reach)
    at = np.array([one for one, _ in marks])
    step = at[1] - at[0]
    assert at[0] <= low + 1e-6 * step
    assert at[-1] >= low + reach - 1e-6 * step
    assert 2 <= len(at) <= 9
    lead = step / 10 ** np.floor(np.log10(step) + 1e-9)
    assert min(abs(lead - by) for by in (1, 2, 5, 10)) < 1e-6
    assert [float(text) for _, text in marks] == pytest.approx(at.tolist(), abs=1e-6 * step)


def test_ticks_within_a_reach():
    assert [text for _, text in within(ticks(-0.8, 4.1), -0.8, 4.1)] == ["0", "1", "2", "3", "4"]


def test_the_mass_diagram_is_drawn_as_it_is():
    line, _ = build(
        AlignmentRows("x", (ElementRow("line", 60.0, start=(0.0, 0.0)),), 0.0, np.pi / 2)
    )
    chart = mass_chart(
        MassHaul(np.array([0.0, 20.0, 40.0]), np.array([0.0, 5.0, -3.0]), np.array([32.5])), line
    )
    assert chart.x.tolist() == [0.0, 20.0, 40.0]
    assert chart.y.tolist() == [0.0, 5.0, -3.0]
    assert chart.zero
    assert chart.x_ticks[0] == (0.0, "0+000.0")
