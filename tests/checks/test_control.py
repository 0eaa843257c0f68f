"""Control re-shots: planted errors of 6, 12 and 25 mm are told apart."""

from __future__ import annotations

import pytest

from pipeline.checks.control import control_shots
from pipeline.model import make_shots, texts
from pipeline.settings import CheckRules

RECORD = make_shots([0.0, 100.0], [0.0, 0.0], [10.0, 11.0], id=texts(["K1", "K2"]))


def reshot(de=0.0, dn=0.0, dz=0.0):
    return make_shots(
        [de, 100.0], [dn, 0.0], [10.0 + dz, 11.0], id=texts(["c1", "c2"]), note=texts(["K1", "K2"])
    )


@pytest.mark.parametrize(
    ("error", "severity"),
    [
        ({"dn": 0.006}, "note"),
        ({"dn": 0.012}, "person"),
        ({"dn": 0.025}, "stop"),
        ({"dz": 0.004}, "note"),
        ({"dz": -0.006}, "person"),
        ({"dz": 0.012}, "stop"),
    ],
)
def test_planted_errors_are_classified(error, severity):
    # limits: warn 10/5 mm, stop 20/10 mm, assumed defaults of the job
    first, _ = control_shots(reshot(**error), RECORD, CheckRules())

    assert first.severity == severity
    assert "K1 re-shot" in first.text


def test_one_control_point_alone_proves_nothing():
    found = control_shots(reshot().take([0]), RECORD, CheckRules())

    assert found[-1].kind == "control not checked"
    assert "1 of 2 control points" in found[-1].text


def test_the_same_point_twice_is_still_one_point():
    found = control_shots(reshot().take([0, 0]), RECORD, CheckRules())

    assert found[-1].kind == "control not checked"


def test_a_check_shot_without_a_name_is_matched_by_place_or_named_as_unknown():
    near = make_shots([100.01], [0.0], [11.0])
    lost = make_shots([50.0], [0.0], [11.0])

    assert "K2 re-shot" in control_shots(near, RECORD, CheckRules())[0].text
    assert control_shots(lost, RECORD, CheckRules())[0].kind == "control not known"
