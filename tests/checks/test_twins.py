"""Pairs at one place and files given again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checks.twins import (
    find_twins,
    repeated_day,
    repeated_files,
    twin_findings,
)
from pipeline.model import join_shots, make_shots, texts


def pair(plan=0.02, dz=0.0, codes=("GR", "GR")):
    shots = make_shots([5000.0, 5000.0 + plan, 5040.0], [0.0] * 3, [10.0, 10.0 + dz, 9.0],
                       code=texts([*codes, "GR"]), files=("m.csv",))  # fmt: skip
    return shots, find_twins(shots, shots.code, np.ones(3, dtype=bool), 0.05, 0.015)


@pytest.mark.parametrize(
    ("plan", "dz", "codes", "kind"),
    [
        (0.02, 0.010, ("GR", "GR"), "twice"),
        (0.02, 0.150, ("GR", "GR"), "conflict"),
        (0.02, 0.150, ("FL", "TC"), "face"),
        (0.00, 0.150, ("FL", "TC"), "face"),
        (0.02, 0.010, ("GR", "CL"), "two codes"),
        # the limits themselves, 5 cm and 15 mm, still count
        (0.05, 0.015, ("GR", "GR"), "twice"),
    ],
)
def test_a_pair_is_what_its_heights_and_codes_say(plan, dz, codes, kind):
    _, twins = pair(plan, dz, codes)

    assert twins.kind.tolist() == [kind]
    assert (twins.first[0], twins.second[0]) == (0, 1)
    assert twins.dz[0] == pytest.approx(dz)


def test_six_centimetres_are_two_places():
    assert len(pair(plan=0.06)[1]) == 0


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_pairs_are_those_of_brute_force(seed):
    rng = np.random.default_rng(seed)
    east, north = rng.integers(0, 300, (2, 60)) * 0.001 + 70_000.0
    shots = make_shots(east, north, np.zeros(60))
    twins = find_twins(shots, shots.code, np.ones(60, dtype=bool), 0.05, 0.015)
    mm = np.rint(np.column_stack([east, north]) * 1000).astype(int)
    expected = [
        (i, j) for i in range(60) for j in range(i + 1, 60)
        if ((mm[i] - mm[j]) ** 2).sum() <= 50**2
    ]  # fmt: skip

    assert list(zip(twins.first.tolist(), twins.second.tolist(), strict=True)) == expected


def test_only_the_conflict_needs_a_person(feet_at):
    feet = feet_at([0.0] * 3, [0.0] * 3)
    nobody = np.zeros(3, dtype=bool)
    shots, twins = pair(dz=0.15)
    (finding,) = twin_findings(shots, feet, twins, nobody)

    assert finding.severity == "person"
    assert "1 and 2 are 20 mm apart in plan and +150 mm in height under one code" in finding.text
    assert twin_findings(shots, feet, twins, ~nobody) == ()
    for codes, words in ((("FL", "TC"), "foot and top of a face"), (("A", "A"), "shot twice")):
        shots, twins = pair(dz=0.15 if codes[0] == "FL" else 0.0, codes=codes)
        (note,) = twin_findings(shots, feet, twins, nobody)
        assert note.severity == "note"
        assert words in note.text


def test_a_street_of_curb_faces_keeps_every_shot(feet_at):
    # curb face pairs not merged; 0 to 5 cm apart, 150 mm high
    rng = np.random.default_rng(48)
    along = np.repeat(np.arange(0.0, 200.0, 10.0), 2)
    aside = np.tile([0.0, 1.0], 20) * rng.uniform(0.0, 0.05, 40)
    height = np.tile([0.0, 0.15], 20)
    shots = make_shots(along, aside, height, code=texts(["FL1", "TC1"] * 20))
    twins = find_twins(shots, texts(["FL", "TC"] * 20), np.ones(40, dtype=bool), 0.05, 0.015)

    assert twins.kind.tolist() == ["face"] * 20
    (note,) = twin_findings(shots, feet_at(along, aside), twins, np.ones(40, dtype=bool))
    assert "20 pairs" in note.text


def file(name, seed, n=30):
    rng = np.random.default_rng(seed)
    east, north, height = np.round(rng.uniform(0, 100, (3, n)), 3)
    return make_shots(east, north, height, files=(name,))


def test_the_same_file_under_another_name_is_found_in_any_order():
    first = file("a.csv", 1)
    copy = first.take(np.random.default_rng(2).permutation(30))
    copy = make_shots(copy.easting, copy.northing, copy.elevation, files=("copy.csv",))
    shots = join_shots([first, file("b.csv", 3), copy])
    again, (finding,) = repeated_files(shots)

    assert again.tolist() == [False] * 60 + [True] * 30
    assert "copy.csv: 30 of its 30 shots stand in a.csv to the millimetre" in finding.text
    assert finding.severity == "person"


def test_a_bench_mark_in_two_files_is_no_copy():
    first, second = file("a.csv", 1), file("b.csv", 2)
    both = join_shots([first, join_shots([second, first.take([0, 1])])])
    again, found = repeated_files(both)

    assert not again.any()
    assert found == ()
    assert repeated_files(first)[1] == ()


def test_yesterdays_ground_stops_the_day_and_its_hubs_do_not():
    yesterday = file("old.csv", 5)
    ground = np.ones(30, dtype=bool)
    again, (stop,) = repeated_day(yesterday, yesterday, ground)
    _, (note,) = repeated_day(yesterday, yesterday, ~ground)
    new = file("new.csv", 6)
    few, (person,) = repeated_day(new, join_shots([yesterday, new.take(range(5))]), ground)

    assert again.all()
    assert stop.severity == "stop"
    assert "every cut would be yesterday's" in stop.text
    assert note.severity == "note"
    assert person.severity == "person"
    assert few.sum() == 5
    assert repeated_day(file("new.csv", 7), yesterday, ground)[1] == ()


def test_one_shot_has_no_twin():
    alone = make_shots([0.0], [0.0], [0.0])

    assert len(find_twins(alone, alone.code, np.ones(1, dtype=bool), 0.05, 0.015)) == 0
