"""Station equations: from the continuous chain to the stations that people read, and back.

Inside, a place has one station, measured on from the start without a break: the
chain. After an equation (240 back = 200 ahead) the stations on plans and laths jump.
A stretch between two equations is a region, counted from 1. A station that lies in
two regions means nothing without its region, and so does one that falls in a gap.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from pipeline.errors import DesignError
from pipeline.model import Alignment, Finding, Findings
from pipeline.units import format_station, parse_station

SLACK_M = 1e-6
"""Files round their stations to a micrometre."""
_SAME_M = 0.001
_NAMED = re.compile(r"(?P<station>[^()]+?)\s*(?:\((?P<region>[0-9]{1,3})\))?")


@dataclass(frozen=True, slots=True)
class StationRegion:
    """Where stations run on without a jump: from chain ``start``, called ``shown``, to ``end``."""

    number: int
    start: float
    end: float
    shown: float

    def chain(self, station: float) -> float:
        """The chain of a station of this region."""
        return self.start + (station - self.shown)

    def station(self, chain: float) -> float:
        """The station that a chain of this region is called."""
        return self.shown + (chain - self.start)


def regions(alignment: Alignment) -> tuple[StationRegion, ...]:
    """The regions of an alignment in order; one where it has no equation."""
    first, last = float(alignment.station[0]), float(alignment.station[-1])
    starts = [(first, first), *((at, ahead) for at, _, ahead in alignment.equations)]
    ends = [*(at for at, _, _ in alignment.equations), last]
    return tuple(
        StationRegion(number, start, end, shown)
        for number, ((start, shown), end) in enumerate(zip(starts, ends, strict=True), start=1)
    )


def check(alignment: Alignment) -> Findings:
    """What about the equations of an alignment does not agree with itself.

    Returns
    -------
    Findings
        ``person``: the back station of an equation is over 1 mm from what the
        stations before it give. The stations before it are used.

    Raises
    ------
    DesignError
        Equations are out of order or off the alignment.
    """
    found = []
    first, last = float(alignment.station[0]), float(alignment.station[-1])
    before = first
    for region, (at, back, ahead) in zip(regions(alignment), alignment.equations, strict=False):
        name = f"alignment {alignment.name!r}, equation {_plain(back)} back = {_plain(ahead)} ahead"
        if not before - SLACK_M <= at <= last + SLACK_M:
            raise DesignError(
                name,
                f"it stands {at - first:.3f} m from the start, and the equation before it or the"
                f" end of the line {before - first:.3f} and {last - first:.3f} m",
                "list the equations in order, each on the alignment",
            )
        before = at
        counted = region.station(at)
        if abs(counted - back) > _SAME_M:
            text = (
                f"{name}: the stations before it come to {_plain(counted)} there, not to"
                f" {_plain(back)}; they are used"
            )
            do = "ask the designer where the equation stands"
            found.append(Finding("person", "station equation", text, do, station=at))
    return tuple(found)


def region_of(alignment: Alignment, chain: float) -> StationRegion:
    """The region of a chain; at an equation the one ahead, off the ends the nearest."""
    chosen, *others = regions(alignment)
    for region in others:
        if chain >= region.start - SLACK_M:
            chosen = region
    return chosen


def station_text(alignment: Alignment, chain: float, *, step: float = 0.1) -> str:
    """A chain as the station that people read, with its region where it needs one.

    Parameters
    ----------
    alignment : Alignment
    chain : float
        Station counted on from the start without jumps [m]; NaN gives an empty text.
    step : float
        Rounding step [m].

    Returns
    -------
    str
        ``1+220.0 (2)`` where another region has that station too, else ``1+220.0``.
        At an equation the station ahead counts.
    """
    if not alignment.equations or math.isnan(chain):
        return format_station(chain, step=step)
    region = region_of(alignment, chain)
    station = region.station(chain)
    text = format_station(station, step=step)
    # the rounded station decides: it is what a person reads back
    doubtful = len(_places(alignment, parse_station(text), max(0.5 * step, _SAME_M))) > 1
    return f"{text} ({region.number})" if doubtful else text


def named(alignment: Alignment | None, chain: float, *, step: float = 0.1) -> str:
    """`station_text`, or the plain station where a list knows no alignment."""
    if alignment is None:
        return format_station(chain, step=step)
    return station_text(alignment, chain, step=step)


def station_id(alignment: Alignment, chain: float, before: str = "", after: str = "") -> str:
    """A name from where a point stands: ``PC0085.0``, ``0080.0L-2`` in region 2 where it needs one.

    ``before`` and ``after`` stand on both sides of the station.
    """
    number, _, region = station_text(alignment, chain).replace("+", "").partition(" ")
    part = f"-{region.strip('()')}" if region else ""
    return f"{before}{number}{after}{part}"


def chain_of(alignment: Alignment, text: str, region: int | None = None) -> float:
    """The chain that a station means.

    Parameters
    ----------
    alignment : Alignment
    text : str
        ``1+220.5`` or ``1220.5``, with the region behind it where there are two:
        ``1+220.5 (2)``.
    region : int, optional
        The region, if the text does not say it.

    Returns
    -------
    float
        Metres, on the alignment.

    Raises
    ------
    ValueError
        The text is no station.
    DesignError
        The station is in two regions and none is named (both answers are in the
        message); it falls in a gap or off the alignment (its neighbours are); the
        region named has no such station.
    """
    match = _NAMED.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is no station")
    station = parse_station(match["station"])
    if match["region"]:
        region = int(match["region"])
    places = _places(alignment, station, SLACK_M) or _places(alignment, station, _SAME_M)
    if region is not None:
        chosen = [
            chain for one, chain in _places(alignment, station, _SAME_M) if one.number == region
        ]
        if not chosen:
            _refuse_region(alignment, station, region)
        return chosen[0]
    if not places:
        _refuse_missing(alignment, station)
    chains = [chain for _, chain in places]
    if max(chains) - min(chains) > _SAME_M:
        answers = " or ".join(
            f"{_plain(station)} ({one.number}), {chain - alignment.station[0]:.3f} m from the start"
            for one, chain in places
        )
        raise DesignError(
            f"station {_plain(station)} of alignment {alignment.name!r}",
            f"it is there {len(places)} times: {answers}",
            f"name the region, such as {_plain(station)} ({places[0][0].number})",
        )
    return chains[0]


def _plain(station: float) -> str:
    return format_station(station, step=0.001)


def _places(
    alignment: Alignment, station: float, slack: float
) -> list[tuple[StationRegion, float]]:
    """Every region that has the station, with its chain; a rounded end is still the end."""
    found = []
    for region in regions(alignment):
        chain = region.chain(station)
        if region.start - slack <= chain <= region.end + slack:
            found.append((region, min(max(chain, region.start), region.end)))
    return found


def _stretches(alignment: Alignment) -> str:
    """``1+000.000 to 1+240.000 (1), 1+200.000 to ...``; a line without equations has no number."""
    words = []
    for one in regions(alignment):
        number = f" ({one.number})" if alignment.equations else ""
        words.append(f"{_plain(one.shown)} to {_plain(one.station(one.end))}{number}")
    return ", ".join(words)


def _refuse_region(alignment: Alignment, station: float, region: int | None) -> None:
    raise DesignError(
        f"station {_plain(station)} in region {region} of alignment {alignment.name!r}",
        f"it is not there; the stations run {_stretches(alignment)}",
        "name a station and a region that go together",
    )


def _refuse_missing(alignment: Alignment, station: float) -> None:
    neighbours = [
        f"{_plain(back)} back = {_plain(ahead)} ahead"
        for _, back, ahead in alignment.equations
        if back < station < ahead
    ]
    found = (
        f"it falls in the gap of the equation {' and '.join(neighbours)}"
        if neighbours
        else f"it is not on the alignment; its stations run {_stretches(alignment)}"
    )
    raise DesignError(
        f"station {_plain(station)} of alignment {alignment.name!r}",
        found,
        "name a station that is there",
    )
