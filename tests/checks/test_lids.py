"""Lids against their record, the ground and each other."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.checks.lids import lid_findings, match_lids, near_record, rim_findings
from pipeline.model import Utilities, make_shots, texts
from pipeline.settings import CheckRules

RULES = CheckRules()


def record(*rows):
    return Utilities(
        id=texts(row[0] for row in rows), kind=texts(["valve"] * len(rows)),
        easting=[row[1] for row in rows], northing=[0.0] * len(rows), lid=[row[2] for row in rows],
        depth_to_top=[0.3] * len(rows), note=texts([""] * len(rows)),
    )  # fmt: skip


def lids(*rows):
    n = len(rows)
    return make_shots(
        [row[0] for row in rows], [0.0] * n, [row[1] for row in rows],
        note=texts(row[2] for row in rows), code=texts(["WV"] * n),
        id=texts(str(101 + k) for k in range(n)), files=("m.csv",),
    )  # fmt: skip


def check(shots, known, feet_at):
    n = len(shots)
    return lid_findings(shots, feet_at([0.0] * n, [0.0] * n), np.ones(n, dtype=bool), known, RULES)


def test_a_lid_as_recorded_is_silent(feet_at):
    assert check(lids((10.02, 100.004, "WV1")), record(("WV1", 10.0, 100.0)), feet_at) == ()


@pytest.mark.parametrize(
    ("shot", "known", "kind", "words"),
    [
        ((10.0, 100.032, "WV1"), ("WV1", 10.0, 100.0), "lid against record", "+32 mm in height"),
        ((10.7, 100.0, "WV1"), ("WV1", 10.0, 100.0), "lid against record", "700 mm in plan"),
    ],
)
def test_what_does_not_agree_needs_a_person(shot, known, kind, words, feet_at):
    found = check(lids(shot), record(known), feet_at)
    (finding,) = (one for one in found if one.kind == kind)

    assert finding.severity == "person"
    assert words in finding.text
    assert finding.points == ("101",)


def test_what_only_list_or_shots_have_is_left_to_the_list_of_buried_things(feet_at):
    assert check(lids(), record(("WV4", 10.0, math.nan)), feet_at) == ()
    assert check(lids((10.0, 100.0, "")), record(("WV1", 90.0, 100.0)), feet_at) == ()


def test_an_unknown_height_is_noted(feet_at):
    (note,) = check(lids((10.0, 99.0, "WV4")), record(("WV4", 10.0, math.nan)), feet_at)

    assert note.severity == "note"
    # where it stands is compared all the same
    found = check(lids((18.0, 99.0, "WV4")), record(("WV4", 10.0, math.nan)), feet_at)
    assert [one.severity for one in found] == ["person", "note"]
    assert "WV4 as shot is 8000 mm in plan off its record" in found[0].text


def test_two_lids_nearer_than_half_a_metre(feet_at):
    known = record(("WV1", 10.0, 100.0), ("WV2", 10.4, 100.0))
    found = check(lids((10.0, 100.0, "WV1"), (10.4, 100.0, "WV2")), known, feet_at)
    again = check(
        lids((10.0, 100.0, "WV1"), (10.01, 100.0, "WV1")), record(("WV1", 10.0, 100.0)), feet_at
    )

    assert [finding.kind for finding in found] == ["lids too near"]
    assert "101 and 102 are 0.40 m apart" in found[0].text
    # one lid shot twice is one lid
    assert again == ()


def test_a_note_names_the_lid_before_the_place_does():
    known = record(("WV1", 10.0, 100.0), ("WV2", 12.0, 100.0))
    shots = lids((10.1, 100.0, "WV2 box"), (11.8, 100.0, ""), (50.0, 100.0, ""))

    assert match_lids(shots, np.ones(3, dtype=bool), known).tolist() == [1, 1, -1]
    assert match_lids(shots, np.zeros(3, dtype=bool), known).tolist() == [-1, -1, -1]


def test_a_rim_thirty_centimetres_out_of_the_ground(feet_at):
    shots = lids((0.0, 100.29, ""), (5.0, 100.31, ""), (9.0, 103.0, ""))
    found = rim_findings(
        shots, feet_at([0.0] * 3, [0.0] * 3), np.ones(3, dtype=bool), [100.0, 100.0, np.nan], RULES
    )

    assert [finding.points for finding in found] == [("102",)]
    assert "0.31 m above the ground" in found[0].text


def test_near_record_is_a_circle_about_each():
    known = record(("A", 0.0, 1.0), ("B", 10.0, 1.0))

    near = near_record(np.array([0.3, 0.3, 9.5, 5.0]), np.array([0.4, 0.5, 0.0, 0.0]), known, 0.5)
    # 3-4-5 triangle on the limit
    assert near.tolist() == [True, False, True, False]
