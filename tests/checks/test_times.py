"""Days, order and crews by the times of the shots; dates against datetime."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checks.times import read_times, time_findings
from pipeline.model import join_shots, make_shots, texts
from pipeline.settings import CheckRules

DAY = "2026-05-14"
RULES = CheckRules()


def timed(*times, setups=None, name="m.csv"):
    n = len(times)
    setup = texts(setups or [""] * n)
    return make_shots(range(n), range(n), [0] * n, time=texts(times), setup=setup, files=(name,))


def clock(minutes, day=DAY):
    start = dt.datetime.fromisoformat(f"{day}T05:00:00")
    return [(start + dt.timedelta(minutes=m)).isoformat() for m in minutes]


def kinds(found):
    return [(finding.kind, finding.severity) for finding in found]


@settings(max_examples=60, deadline=None)
@given(st.integers(315_532_800, 4_102_444_799))
def test_every_form_of_a_moment_is_read_alike(since_1970):
    # the standard library's datetime is the independent answer; 1980 to 2099
    moment = dt.datetime.fromtimestamp(since_1970, dt.UTC).replace(tzinfo=None)
    forms = [
        moment.isoformat(),
        moment.isoformat(" "),
        moment.strftime("%Y/%m/%d %H:%M:%S.25"),
        moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
    ]
    read = read_times(texts(forms))
    seconds = moment.hour * 3600 + moment.minute * 60 + moment.second

    assert read.day.tolist() == [moment.toordinal()] * 4
    assert read.second.tolist() == [seconds] * 4
    assert read.utc.tolist() == [False, False, False, True]


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("14.05.2026", dt.date(2026, 5, 14)),
        ("05/14/2026 06:00", dt.date(2026, 5, 14)),
        ("05/05/2026", dt.date(2026, 5, 5)),
        ("2026-05-14", dt.date(2026, 5, 14)),
    ],
)
def test_a_date_that_can_be_read_one_way_is(text, day):
    assert read_times(texts([text])).day.tolist() == [day.toordinal()]


@pytest.mark.parametrize("text", ["2026-02-30", "25:00:00", "13/13/2026", "morning", "5 o'clock"])
def test_what_is_no_time_is_not_read(text):
    read = read_times(texts([text]))

    assert read.day.tolist() == [-1]
    assert np.isnan(read.second).all()
    assert read.unread.tolist() == [True]


def test_a_clean_morning_is_silent():
    assert time_findings(timed(*clock([0, 1, 2, 9])), DAY, RULES) == ()
    assert time_findings(timed("05:00:00", "05:01:00", "05:02:00"), DAY, RULES) == ()


def test_a_file_of_another_day_stops():
    (stop,) = time_findings(timed(*clock(range(5), "2026-05-13")), DAY, RULES)
    (later,) = time_findings(timed(*clock(range(5), "2026-05-15")), DAY, RULES)

    assert stop.severity == "stop"
    assert "5 shots of 5 dated 2026-05-13 in the folder of 2026-05-14" in stop.text
    assert "a day past; every cut from it would be of that day" in stop.text
    assert "still to come" in later.text


def test_a_few_shots_of_another_day_need_a_person():
    shots = timed(*clock([1], "2026-05-13"), *clock(range(5)))
    (finding,) = time_findings(shots, DAY, RULES)

    assert kinds([finding]) == [("another day", "person")]
    assert finding.points == ("1",)


def test_a_stated_zone_may_be_a_day_off():
    (note,) = time_findings(timed("2026-05-13T23:10:00Z", "2026-05-13T23:11:00Z"), DAY, RULES)
    (stop,) = time_findings(timed("2026-05-11T23:10:00Z", "2026-05-11T23:11:00Z"), DAY, RULES)

    assert note.severity == "note"
    assert stop.severity == "stop"


def test_a_date_of_two_readings_is_said_and_not_taken():
    (finding,) = time_findings(timed("05/06/2026 05:00:00", "05/06/2026 05:01:00"), DAY, RULES)

    assert kinds([finding]) == [("date", "person")]
    assert "2 dates can be read day first or month first" in finding.text


def test_a_folder_of_another_name_is_not_compared():
    assert time_findings(timed(*clock(range(3))), "rerun", RULES) == ()


def test_shots_out_of_order_and_long_pauses():
    back, pause = time_findings(timed(*clock([0, 5, 3, 4, 40])), DAY, RULES)

    assert kinds([back, pause]) == [("out of order", "person"), ("pause", "note")]
    assert back.points == ("3",)
    assert "by up to 2 min" in back.text
    assert pause.points == ("5",)
    assert "the longest 36 min" in pause.text


def test_a_shot_without_a_date_is_in_no_order_with_one_that_has_it():
    assert time_findings(timed("2026-05-14T05:00:00", "05:01:00", *clock([2])), DAY, RULES) == ()


def test_set_ups_that_take_turns_are_two_crews():
    mixed = timed(*clock(range(8)), setups=["A", "B", "A", "B", "A", "A", "B", "B"])
    one = timed(*clock(range(8)), setups=["A", "A", "B", "B", "B", "A", "A", "A"])
    (finding,) = time_findings(mixed, DAY, RULES)

    assert kinds([finding]) == [("crews mixed", "person")]
    assert "set-ups A, B take turns 5 times" in finding.text
    # one crew that closes on its first set-up
    assert time_findings(one, DAY, RULES) == ()


def test_two_files_of_the_same_hours_are_noted():
    shots = join_shots([timed(*clock([0, 20])), timed(*clock([10, 25]), name="b.csv")])
    (note,) = time_findings(shots, DAY, RULES)
    apart = join_shots([timed(*clock([0, 20])), timed(*clock([21, 25]), name="b.csv")])

    assert "m.csv and b.csv were shot in the same 10 min" in note.text
    assert time_findings(apart, DAY, RULES) == ()


def test_missing_and_unreadable_times_are_noted():
    (none,) = time_findings(timed("", ""), DAY, RULES)
    (bad,) = time_findings(timed(*clock([0]), "noon"), DAY, RULES)

    assert kinds([none]) == [("no times", "note")]
    assert kinds([bad]) == [("time", "note")]
    assert "as 'noon'" in bad.text
