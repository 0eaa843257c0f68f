"""When the shots were taken: on the right day, in order, by one crew."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.checks.telling import at
from pipeline.model import Bools, Finding, Findings, Floats, Ints, Shots, Texts
from pipeline.model.arrays import lock_fields, numbered
from pipeline.model.telling import counted, listed
from pipeline.settings import CheckRules

_CLOCK = r"(?P<h>[0-9]{1,2}):(?P<min>[0-9]{2})(?::(?P<s>[0-9]{2})(?:[.,][0-9]{1,9})?)?"
_ZONE = r"\s*(?P<zone>Z|UTC|[+-][0-9]{2}:?[0-9]{2})?"
_ISO = re.compile(
    rf"(?P<y>[0-9]{{4}})[-/](?P<m>[0-9]{{1,2}})[-/](?P<d>[0-9]{{1,2}})(?:[T ]+{_CLOCK}{_ZONE})?"
)
_ORDER = re.compile(
    r"(?P<a>[0-9]{1,2})(?P<mark>[./-])(?P<b>[0-9]{1,2})(?P=mark)(?P<y>[0-9]{4})"
    rf"(?:[T ,]+{_CLOCK}{_ZONE})?"
)
_TIME = re.compile(rf"{_CLOCK}{_ZONE}")
_DAY_S = 86400.0
_MOST_ZONE_DAYS = 1
ALTERNATE = 3
"""Returns to a set-up that was left; one crew that closes on its first set-up has one."""


@dataclass(frozen=True, slots=True, eq=False)
class Times:
    """n times as written: ``day`` (days since 0001-01-01, -1 unknown), ``second`` of the day (NaN).

    ``either``: the date can be read day first or month first, and is not taken.
    ``utc``: a zone is stated, so the day may be that of another longitude.
    ``unread``: something stands there that is no time.
    """

    day: Ints
    second: Floats
    either: Bools
    utc: Bools
    unread: Bools

    def __post_init__(self) -> None:
        n = len(self.day)
        lock_fields(self, {"day": (np.int64, (n,)), "second": (np.float64, (n,))})
        lock_fields(self, dict.fromkeys(("either", "utc", "unread"), (np.bool_, (n,))))


def read_times(column: Texts) -> Times:
    """Date and clock of each text, as far as it is plain.

    Read are ``2026-05-14T05:05:07``, the same with a blank, a zone or fractions,
    ``05:05:07`` alone, and dates with the year last. Of those ``14.05.2026`` can
    only be day first and ``05/14/2026`` month first; ``05/06/2026`` can be either
    and is not taken.

    Examples
    --------
    >>> from pipeline.model import texts
    >>> read = read_times(texts(["2026-05-14T05:05:07Z", "05:06:00", "05/06/2026", "soon"]))
    >>> read.day.tolist(), read.second.tolist()
    ([739750, -1, -1, -1], [18307.0, 18360.0, nan, nan])
    >>> read.either.tolist(), read.unread.tolist()
    ([False, False, True, False], [False, False, False, True])
    """
    kinds, number = numbered(column)
    parts = [_one(text.strip()) for text in kinds]
    return Times(
        np.array([part[0] for part in parts], dtype=np.int64)[number],
        np.array([part[1] for part in parts], dtype=np.float64)[number],
        np.array([part[2] for part in parts], dtype=bool)[number],
        np.array([part[3] for part in parts], dtype=bool)[number],
        np.array([part[4] for part in parts], dtype=bool)[number],
    )


def _one(text: str) -> tuple[int, float, bool, bool, bool]:
    nothing = (-1, float("nan"), False, False, bool(text))
    match = _ISO.fullmatch(text)
    if match:
        day = _date(int(match["y"]), int(match["m"]), int(match["d"]))
        second, utc = _clock(match)
        return (day, second, False, utc, False) if day > 0 else nothing
    match = _ORDER.fullmatch(text)
    if match:
        day, either = _year_last(int(match["y"]), int(match["a"]), int(match["b"]))
        second, utc = _clock(match)
        return (day, second, either, utc, False) if day > 0 or either else nothing
    match = _TIME.fullmatch(text)
    if match:
        second, utc = _clock(match)
        return (-1, second, False, utc, bool(np.isnan(second)))
    return nothing


def _clock(match: re.Match[str]) -> tuple[float, bool]:
    """Second of the day, and whether a zone is stated."""
    if match["h"] is None:
        return float("nan"), False
    hour, minute, second = int(match["h"]), int(match["min"]), int(match["s"] or 0)
    good = hour < 24 and minute < 60 and second <= 60
    value = hour * 3600.0 + minute * 60.0 + second
    return (value if good else float("nan")), match["zone"] is not None


def _date(year: int, month: int, day: int) -> int:
    try:
        return dt.date(year, month, day).toordinal()
    except ValueError:
        return -1


def _year_last(year: int, a: int, b: int) -> tuple[int, bool]:
    day_first, month_first = _date(year, b, a), _date(year, a, b)
    if day_first > 0 and month_first > 0 and a != b:
        return -1, True
    return max(day_first, month_first), False


def time_findings(shots: Shots, day: str, rules: CheckRules) -> Findings:
    """What the times of each file say against the day and against each other.

    Parameters
    ----------
    shots : Shots
        In the order of their files.
    day : str
        Name of the day's folder, ``2026-05-14``; another name is not compared.
    rules : CheckRules
        ``time_gap_min``.

    Returns
    -------
    Findings
        ``stop``: most of a file is of an earlier or later day, its cuts would be
        those of another ground. ``person``: some of it is; a date that can be read
        two ways; shots out of order, so that lines run back; set-ups that alternate
        in one file, so that lines of two crews are drawn as one. ``note``: no times,
        times that cannot be read, a long pause, two files of the same hours.

    Notes
    -----
    The folder's day counts, never the clock of the machine. Where a zone is stated
    the date may be one off without being wrong, and is only noted.
    """
    times = read_times(shots.time)
    wanted = _folder_day(day)
    found: list[Finding] = []
    for number in range(len(shots.files)):
        rows = np.flatnonzero(shots.file == number)
        if len(rows):
            found += _of_file(shots, times, rows, wanted, rules)
    return (*found, *_same_hours(shots, times))


def _folder_day(day: str) -> int:
    match = re.fullmatch(r"([0-9]{4})-([0-9]{2})-([0-9]{2})", day)
    return _date(*(int(part) for part in match.groups())) if match else -1


def _of_file(
    shots: Shots, times: Times, rows: Ints, wanted: int, rules: CheckRules
) -> list[Finding]:
    name = shots.files[shots.file[rows[0]]]
    if not (shots.time[rows] != "").any():
        text = f"{name} gives no times: stale shots, gaps and mixed crews would not show"
        return [Finding("note", "no times", text, "give a time column", file=name)]
    found = [
        *_told(shots, rows[times.unread[rows]], _unread),
        *_told(shots, rows[times.either[rows]], _either),
    ]
    if wanted > 0:
        found += _other_day(shots, times, rows, wanted)
    found += _order(shots, times, rows, rules)
    return found + _crews(shots, times, rows)


def _told(shots: Shots, rows: Ints, tell: Callable[[Shots, Ints], Finding]) -> list[Finding]:
    return [at(tell(shots, rows), shots, rows)] if len(rows) else []


def _unread(shots: Shots, rows: Ints) -> Finding:
    text = f"{counted(len(rows), 'time')} cannot be read, as {str(shots.time[rows[0]])[:40]!r}"
    return Finding("note", "time", text, "write times as 2026-05-14T05:05:07")


def _either(shots: Shots, rows: Ints) -> Finding:
    text = (
        f"{counted(len(rows), 'date')} can be read day first or month first, as"
        f" {str(shots.time[rows[0]])[:40]!r}: the day is not checked"
    )
    return Finding("person", "date", text, "write dates as 2026-05-14")


def _other_day(shots: Shots, times: Times, rows: Ints, wanted: int) -> list[Finding]:
    dated = rows[times.day[rows] > 0]
    off = dated[times.day[dated] != wanted]
    if not len(off):
        return []
    by_zone = times.utc[off] & (np.abs(times.day[off] - wanted) <= _MOST_ZONE_DAYS)
    days = sorted({int(value) for value in times.day[off]})
    said = listed([dt.date.fromordinal(value).isoformat() for value in days], 3)
    folder = dt.date.fromordinal(wanted).isoformat()
    text = f"{counted(len(off), 'shot')} of {len(dated)} dated {said} in the folder of {folder}"
    if by_zone.all():
        text += ", in a stated zone: the local day may well be the folder's"
        return [at(Finding("note", "another day", text, "nothing, if so"), shots, off)]
    when = "still to come" if min(days) > wanted else "past"
    text += f": ground of a day {when}"
    severe = len(off) > len(dated) / 2
    if severe:
        text += "; every cut from it would be of that day"
    do = "move the file to its own day, or set the instrument's clock"
    return [at(Finding("stop" if severe else "person", "another day", text, do), shots, off)]


def _moments(times: Times, rows: Ints) -> Floats:
    """Seconds on one scale; times without a date count as of one day."""
    return np.maximum(times.day[rows], 0) * _DAY_S + times.second[rows]


def _order(shots: Shots, times: Times, rows: Ints, rules: CheckRules) -> list[Finding]:
    clocked = rows[~np.isnan(times.second[rows])]
    if len(clocked) < 2:
        return []
    dated = times.day[clocked] > 0
    # between a shot with a date and one without nothing tells which came first
    step = np.where(dated[1:] == dated[:-1], np.diff(_moments(times, clocked)), 0.0)
    found = []
    back = clocked[1:][step < 0]
    if len(back):
        text = (
            f"{counted(len(back), 'shot')} come before the shot above them, by up to"
            f" {-step.min() / 60.0:.0f} min: lines are drawn in the order of the file"
        )
        do = "give the file in the order shot, or check that its lines do not run back"
        found.append(at(Finding("person", "out of order", text, do), shots, back))
    # a step of half a day is another day, and told as that
    long = (step > rules.time_gap_min * 60.0) & (step < _DAY_S / 2.0)
    if long.any():
        text = (
            f"{counted(int(long.sum()), 'pause')} of more than {rules.time_gap_min:g} min, the"
            f" longest {step[long].max() / 60.0:.0f} min"
        )
        do = "check the set-up again after a pause; look whether a machine worked meanwhile"
        found.append(at(Finding("note", "pause", text, do), shots, clocked[1:][long]))
    return found


def _crews(shots: Shots, times: Times, rows: Ints) -> list[Finding]:
    """Set-ups that take turns within one file, by time where there is one."""
    setups = shots.setup[rows]
    clocked = ~np.isnan(times.second[rows])
    if clocked.all():
        setups = setups[np.argsort(_moments(times, rows), kind="stable")]
    named = [str(setup) for setup in setups if setup]
    changes = sum(one != other for one, other in itertools.pairwise(named))
    returns = changes - (len(set(named)) - 1)
    if returns < ALTERNATE:
        return []
    text = (
        f"set-ups {listed(list(dict.fromkeys(named)), 4)} take turns {changes} times: two crews in"
        " one file; a line of one code would run from crew to crew"
    )
    do = "give each crew its own file, or its own line numbers"
    return [at(Finding("person", "crews mixed", text, do), shots, rows)]


def _same_hours(shots: Shots, times: Times) -> list[Finding]:
    spans = []
    for number, name in enumerate(shots.files):
        rows = np.flatnonzero((shots.file == number) & ~np.isnan(times.second))
        if len(rows) > 1:
            moments = _moments(times, rows)
            spans.append((name, float(moments.min()), float(moments.max())))
    found = []
    for k, (name, start, end) in enumerate(spans):
        for other, other_start, other_end in spans[k + 1 :]:
            both = min(end, other_end) - max(start, other_start)
            if both > 0:
                text = (
                    f"{name} and {other} were shot in the same {both / 60.0:.0f} min: two crews,"
                    " each needs its own check of control"
                )
                do = "see that each file holds its own control shots"
                found.append(Finding("note", "two crews", text, do, file=name))
    return found
