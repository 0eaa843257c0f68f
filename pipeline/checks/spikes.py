"""Single shots that stand off their like, told from curbs, banks and windrows.

Each shot is held against its like: along the street against what was shot at the
same offset, ground also against the plane of the ground on its side of every break.
What several shots agree on is a thing that is there; only a shot that nothing bears
out is doubted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipeline.checks.bust import name_constant
from pipeline.checks.likeness import ALONG_M, along_street, in_plane, stand_off
from pipeline.checks.references import Breaks, offset_at
from pipeline.checks.runs import Profiled
from pipeline.checks.telling import at, stretch_text, volume_text
from pipeline.model import Bools, Feet, Finding, Findings, Floats, Ints, Shots, Texts
from pipeline.model.arrays import lock_fields
from pipeline.model.telling import counted
from pipeline.settings import CheckRules
from pipeline.units import Called, format_station

JOINED_M = 30.0
"""A shot line parts the ground over gaps up to this [assumed]."""
LINKED_ALONG_M, LINKED_ASIDE_M = 12.5, 0.75
"""Shots that stand off this near, to one side, by a like amount, belong together [assumed]."""
PAIR_M, LINE_PAIR_M = 3.0, 7.5
"""Two alone belong together this near: on open ground, and on a coded line, where a curb
drops at a drive [assumed]."""
ELONGATED, PARALLEL = 4.0, np.radians(15.0)
"""A line feature is this much longer than wide, within this of the street [assumed]."""


@dataclass(frozen=True, slots=True, eq=False)
class Spikes:
    """n shots judged against their like.

    ``residual`` is shot minus its like [m], NaN where too few of them lie near.
    ``suspect``: it stands off alone. ``cluster``: number of the thing that
    it and others agree on, -1 for none; ``along[k]`` is True where thing k runs
    along the street. ``volume`` is what the shot adds to or takes from a surface
    through all of them [m3], for suspects, else NaN.
    """

    residual: Floats
    suspect: Bools
    cluster: Ints
    along: Bools
    volume: Floats

    def __post_init__(self) -> None:
        n = len(self.residual)
        lock_fields(self, dict.fromkeys(("residual", "volume"), (np.float64, (n,))))
        lock_fields(self, {"suspect": (np.bool_, (n,)), "cluster": (np.int64, (n,))})
        lock_fields(self, {"along": (np.bool_, (None,))})


def cells(profiled: Profiled, line: Bools, breaks: Breaks) -> Ints:
    """Number of the strip between breaks in which each shot lies.

    Parameters
    ----------
    profiled : Profiled
        n shots.
    line : bool (n,)
        The shot's code makes a line, and it is usable. A shot line that runs along
        the street parts the ground like a design break, as far as it was shot.
    breaks : sequence of BreakLine
        Breaks of today's layer.
    """
    sides = [profiled.offset > offset_at(design, profiled.station) for design in breaks]
    for name in sorted(set(profiled.feature[line])):
        rows = line & (profiled.feature == name)
        whole = _offset_of(profiled, np.flatnonzero(rows))
        # one code on both sides of the street is two lines
        halves = (rows & (profiled.offset < 0), rows & (profiled.offset >= 0))
        tracks = (
            [_offset_of(profiled, np.flatnonzero(half)) for half in halves]
            if whole is None
            else [whole]
        )
        sides += [profiled.offset > track for track in tracks if track is not None]
    if not sides:
        return np.zeros(len(line), dtype=np.int64)
    return np.unique(np.stack(sides), axis=1, return_inverse=True)[1].ravel().astype(np.int64)


def _offset_of(profiled: Profiled, rows: Ints) -> Floats | None:
    """Offset of a shot line at every station, NaN where it was not shot; None: it runs across."""
    if len(rows) < 3:
        return None
    order = rows[np.argsort(profiled.station[rows], kind="stable")]
    s, o = profiled.station[order], profiled.offset[order]
    if np.ptp(s) < ELONGATED * np.ptp(o):
        return None
    after = np.clip(np.searchsorted(s, profiled.station), 1, len(s) - 1)
    # the shots of one row do not stand at one station
    near = (profiled.station >= s[0] - ALONG_M / 2) & (profiled.station <= s[-1] + ALONG_M / 2)
    near &= s[after] - s[after - 1] <= JOINED_M
    return np.where(near, np.interp(profiled.station, s, o), np.nan)


def find_spikes(
    profiled: Profiled, usable: Bools, line: Bools, cell: Ints, rules: CheckRules
) -> Spikes:
    """Judge every usable shot by its like.

    Parameters
    ----------
    profiled : Profiled
        n shots of a crew; a scan has better means (`surface.bare_earth`).
    usable : bool (n,)
        Ground shots that nothing else speaks against. Lids and what is known to
        stand on a recorded thing do not belong here.
    line : bool (n,)
        The shot's code makes a line.
    cell : int (n,)
        As from `cells`.
    rules : CheckRules
        ``spike_m`` and ``spike_mads``.

    Returns
    -------
    Spikes
        Nothing is taken away; suspects are for the caller to list.

    Notes
    -----
    Along the street a shot is foretold by a parabola through up to six of its line,
    or of the ground at its offset; ground also by the plane of up to nine in its
    strip (`likeness.stand_off`). A suspect stands off, to one side, in every way in
    which it can be tested, and no other that does bears it out: three of like size
    at one offset, or two close together. Ground that stands off only the plane is
    borne out along the street: a bank, a windrow, a ditch.
    """
    limits = rules.spike_m, rules.spike_mads
    ground = usable & ~line
    along, off_along = stand_off(profiled, along_street(profiled, usable, line, cell), *limits)
    strips = in_plane(profiled, ground, cell)
    plane, off_plane = stand_off(profiled, strips, *limits)
    # by the spread of the whole strip, for a windrow makes its own surroundings look rough
    height, uncoded = stand_off(profiled, replace(strips, local=False), *limits)
    # "not off" the plane is not enough, for a strip with a windrow in it spreads widely
    near = np.abs(plane) <= np.maximum(rules.spike_m, 0.5 * np.abs(np.nan_to_num(along)))
    borne_out = (~np.isnan(along) & ~off_along) | (~np.isnan(plane) & ~off_plane & near)
    borne_out |= along * plane < 0
    alone = (off_along | off_plane) & ~borne_out
    # what is borne out along the street is told by how far it stands off the plane
    residual = np.where(uncoded & ~alone, height, np.where(np.isnan(along), plane, along))
    cluster, runs_along = _clusters(profiled, residual, (alone, uncoded | alone), line)
    suspect = alone & (cluster < 0)
    volume = _volumes(profiled, residual, usable, suspect)
    return Spikes(residual, suspect, cluster, runs_along, volume)


def _clusters(
    profiled: Profiled, residual: Floats, off: tuple[Bools, Bools], line: Bools
) -> tuple[Ints, Bools]:
    """Number of the thing that shots agree on, -1 for none; ``off``: alone so far, and all."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    alone, flagged = off
    rows = np.flatnonzero(flagged)
    cluster = np.full(len(flagged), -1, dtype=np.int64)
    if len(rows) < 2:
        return cluster, np.empty(0, dtype=bool)
    # a spike beside a windrow is not borne out by it: only what is alone agrees with its like
    label = np.where(alone, 1, 0) + 2 * np.where(line, _numbered(profiled.feature), 0)
    first, second = _links(profiled, residual, rows, label)
    graph = coo_array((np.ones(len(first)), (first, second)), shape=(len(rows), len(rows)))
    _, part = connected_components(graph, directed=False)
    along: list[bool] = []
    for number in range(int(part.max()) + 1):
        members = rows[part == number]
        runs = len(members) >= 3 and _runs_along(profiled, members)
        pair = len(members) == 2 and _pair(profiled, residual, members, line)
        if runs or (alone[members[0]] and (pair or len(members) >= 3)):
            cluster[members] = len(along)
            along.append(runs)
    return cluster, np.array(along, dtype=bool)


def _numbered(names: Texts) -> Ints:
    """1, 2, ... for each name, in order of appearance."""
    numbers: dict[str, int] = {}
    return np.array([numbers.setdefault(name, len(numbers) + 1) for name in names], dtype=np.int64)


def _links(profiled: Profiled, residual: Floats, rows: Ints, label: Ints) -> tuple[Ints, Ints]:
    """Pairs of positions in `rows` with one label, near, of one sign and like size."""
    from scipy.spatial import cKDTree

    places = np.column_stack(
        [profiled.station[rows] / LINKED_ALONG_M, profiled.offset[rows] / LINKED_ASIDE_M]
    )
    pairs = cKDTree(places).query_pairs(1.0, p=np.inf, output_type="ndarray")
    first, second = rows[pairs[:, 0]], rows[pairs[:, 1]]
    one, other = residual[first], residual[second]
    small, large = np.minimum(np.abs(one), np.abs(other)), np.maximum(np.abs(one), np.abs(other))
    alike = (one * other > 0) & (small >= 0.5 * large) & (label[first] == label[second])
    return pairs[alike, 0], pairs[alike, 1]


def _pair(profiled: Profiled, residual: Floats, pair: Ints, line: Bools) -> bool:
    """Two shots close together that stand off by the same."""
    apart = abs(float(residual[pair[0]] - residual[pair[1]]))
    if apart > max(0.05, 0.3 * float(np.abs(residual[pair]).max())):
        return False
    ds, do = np.ptp(profiled.station[pair]), np.ptp(profiled.offset[pair])
    return float(np.hypot(ds, do)) <= (LINE_PAIR_M if line[pair].all() else PAIR_M)


def _runs_along(profiled: Profiled, members: Ints) -> bool:
    """Longer than wide, and along the street, by the principal axes of the places."""
    places = np.column_stack([profiled.station[members], profiled.offset[members]])
    spread, axes = np.linalg.eigh(np.cov((places - places.mean(axis=0)).T))
    turned = np.arctan2(abs(axes[1, 1]), abs(axes[0, 1]))
    longer = spread[1] >= ELONGATED**2 * max(float(spread[0]), 0.0)
    return bool(longer and turned <= PARALLEL)


def _volumes(profiled: Profiled, residual: Floats, usable: Bools, suspect: Bools) -> Floats:
    """A third of the residual times the area of the triangles about the shot, [m3]."""
    from scipy.spatial import Delaunay, QhullError

    volume = np.full(len(usable), np.nan)
    rows = np.flatnonzero(usable)
    if not suspect.any() or len(rows) < 4:
        return volume
    places = np.column_stack([profiled.station[rows], profiled.offset[rows]])
    try:
        corners = Delaunay(places - places.mean(axis=0)).simplices
    except QhullError:  # all in one line: no surface to be changed
        return volume
    a, b, c = (places[corners[:, k]] for k in range(3))
    area = 0.5 * np.abs(
        (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    )
    star = np.bincount(corners.ravel(), np.repeat(area, 3), minlength=len(rows))
    volume[rows] = np.abs(residual[rows]) * star / 3.0
    return np.where(suspect, volume, np.nan)


def spike_findings(
    shots: Shots,
    feet: Feet,
    spikes: Spikes,
    constants: Mapping[str, float],
    rules: CheckRules,
    called: Called = format_station,
) -> Findings:
    """Each suspect with what it may be and costs; each thing that several shots agree on."""
    alone = tuple(
        _alone(shots, feet, spikes, int(row), constants, rules)
        for row in np.flatnonzero(spikes.suspect)
    )
    together = tuple(_together(shots, feet, spikes, k, called) for k in range(len(spikes.along)))
    return alone + together


def _alone(
    shots: Shots,
    feet: Feet,
    spikes: Spikes,
    row: int,
    constants: Mapping[str, float],
    rules: CheckRules,
) -> Finding:
    off = float(spikes.residual[row])
    names = name_constant(off, 0.005, constants)
    equals = f"; equals {' or '.join(names[:3])}" if names else ""
    fate = "kept out of the surface" if rules.set_spikes_aside else "still in the surface"
    text = f"stands {abs(off):.3f} m {'above' if off > 0 else 'below'} its like, alone{equals}"
    if not np.isnan(spikes.volume[row]):
        text += f"; it moves {volume_text(float(spikes.volume[row]), rules.load_m3)}"
    text += f"; {fate}"
    do = "look at the spot and shoot it again; code it if a lid, a stone or a hole is there"
    return at(Finding("person", "spike", text, do), shots, [row], feet)


def _together(shots: Shots, feet: Feet, spikes: Spikes, number: int, called: Called) -> Finding:
    rows = np.flatnonzero(spikes.cluster == number)
    off = spikes.residual[rows]
    what = "above" if off[0] > 0 else "below"
    text = (
        f"{counted(len(rows), 'shot')} stand {np.abs(off).min():.2f} to {np.abs(off).max():.2f} m"
        f" {what} their like, {stretch_text(feet.station[rows], called)}, and agree:"
    )
    if spikes.along[number]:
        text += f" looks like a {'bank or windrow' if off[0] > 0 else 'ditch or gutter'}"
        do = "code it as a line, so that the surface follows it"
    else:
        text += f" looks like a {'heap or a step' if off[0] > 0 else 'hollow or a step'}"
        do = "look at the spot; shoot round it and code its edges if it is there"
    text += "; all are used"
    return at(Finding("person", "uncoded feature", text, do), shots, rows, feet)
