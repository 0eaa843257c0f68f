"""The triangles that stand for the design: where they are, how near it, how they hang together."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.design import alignment as line
from pipeline.design import corridor as road
from pipeline.design.curve import chord_step, profile_step
from pipeline.errors import DesignError
from pipeline.model import BreakRow, ElementRow, ProfileRow, SectionLayer, SectionRow
from pipeline.settings import DesignRules

START = (5240.0, 3110.0)
FLAT = (ProfileRow(0.0, 100.0), ProfileRow(400.0, 100.0))


def plain(half, width=4.0, fall=2.0, start=0.0, end=400.0, **layer):
    lip = half(("lip", width, fall))
    return SectionRow("plain", start, end, (SectionLayer("finish", lip, lip, **layer),))


def inside_points(surface, n, seed=0):
    """Random places on random triangles: easting, northing, interpolated elevation."""
    rng = np.random.default_rng(seed)
    corners = surface.triangles[rng.integers(0, len(surface.triangles), n)]
    share = rng.dirichlet((1.0, 1.0, 1.0), n)
    x, y, z = (
        np.sum(values[corners] * share, axis=1) for values in (surface.x, surface.y, surface.z)
    )
    return x + surface.origin[0], y + surface.origin[1], z


def near_a_face(corridor, station, offset, z, reach):
    """True where the height within `reach` across is another by over 1 in 2."""
    near = np.zeros(len(z), dtype=bool)
    for side in (-reach, reach):
        beside = road.elevation(corridor, station, offset + side, "finish")
        near |= ~(np.abs(beside - z) <= 0.5 * reach)
    # the section changes at once at 0+110
    return near | (np.abs(station - 110.0) < 0.0015)


@pytest.mark.parametrize("chord", [0.001, 0.002, 0.010])
def test_the_triangles_stay_within_the_chord_tolerance_of_the_design(street, chord):
    surface = road.triangulate(street, "finish", DesignRules(chord_m=chord))
    easting, northing, z = inside_points(surface, 40_000)
    feet = line.locate(street.alignment, easting, northing)
    exact = road.elevation(street, feet.station, feet.offset, "finish")
    away = ~near_a_face(street, feet.station, feet.offset, exact, chord + 0.0015)

    # what is left out lies at faces, at the abrupt change and at the edges
    assert away.mean() > 0.6
    assert np.abs(z - exact)[away].max() <= chord


def test_at_faces_the_triangles_stay_within_the_tolerance_in_plan(street):
    """Near a face the height is one that the design has within the tolerance and the 1 mm lean."""
    chord = 0.002
    surface = road.triangulate(street, "finish", DesignRules(chord_m=chord))
    easting, northing, z = inside_points(surface, 20_000, seed=1)
    feet = line.locate(street.alignment, easting, northing)
    near = np.stack(
        [
            road.elevation(street, feet.station + ds, feet.offset + do, "finish")
            for ds in (-0.0011, 0.0, 0.0011)
            for do in np.linspace(-0.0031, 0.0031, 15)
        ]
    )
    # a face is vertical in the design: its top is only the height of its break
    tops = [
        road.break_line(street, "finish", name, side, feet.station)[1]
        for side in (-1, 1) for name in ("face", "flowline", "back")
    ]  # fmt: skip
    designed = ~np.isnan(near).all(axis=0) & (np.abs(feet.station - 110.0) > 0.0015)
    low = np.fmin.reduce(near[:, designed]) - chord
    high = np.fmax.reduce([*near[:, designed], *(top[designed] for top in tops)]) + chord

    assert designed.mean() > 0.99
    assert ((z[designed] >= low) & (z[designed] <= high)).all()


def test_vertices_lie_on_the_design(street):
    surface = road.triangulate(street, "finish", DesignRules())
    feet = line.locate(
        street.alignment, surface.x + surface.origin[0], surface.y + surface.origin[1]
    )
    exact = road.elevation(street, feet.station, feet.offset, "finish")
    # vertical faces lean out by 1 mm, so their tops stand where the back is level to 1/50
    off = np.abs(surface.z - exact)

    assert np.nanmedian(off) < 1e-9
    assert np.mean(off[~np.isnan(off)] < 1e-6) > 0.7
    assert surface.name == "finish"
    assert (surface.point == -1).all()
    assert surface.origin.tolist() == list(START)


@pytest.mark.parametrize("name", ["street", "kinked", "patchy"])
def test_triangles_hang_together(request, name, make_corridor, half):
    corridor = {
        "street": lambda: request.getfixturevalue("street"),
        "kinked": lambda: kinked(make_corridor, half, 0.2),
        "patchy": lambda: patchy(make_corridor, half),
    }[name]()
    surface = road.triangulate(corridor, "finish", DesignRules())
    t, neighbours, fixed = surface.triangles, surface.neighbours, surface.fixed
    a, b, c = (np.stack([surface.x, surface.y], axis=1)[t[:, k]] for k in range(3))
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]

    assert (area > 0).all()
    assert set(np.unique(t)) == set(range(len(surface.x)))
    edges = {}
    for triangle, corners in enumerate(t.tolist()):
        for k in range(3):
            edge = corners[k], corners[(k + 1) % 3]
            # each directed edge once: no overlap, no triangle twice
            assert edge not in edges
            edges[edge] = triangle, k
    for (start, end), (triangle, k) in edges.items():
        across = edges.get((end, start))
        assert neighbours[triangle, k] == (across[0] if across else -1)
        if across is None:
            assert fixed[triangle, k]
        else:
            assert fixed[triangle, k] == fixed[across]


def test_every_break_is_an_edge_of_the_surface(street):
    surface = road.triangulate(street, "finish", DesignRules())
    rows = set()
    for triangle, corners in enumerate(surface.triangles.tolist()):
        for k in range(3):
            if surface.fixed[triangle, k]:
                rows.add(frozenset((corners[k], corners[(k + 1) % 3])))
    stations = road.knots(street, DesignRules())
    stations = stations[stations < 109.0]
    for name, side in (("crown", 0), ("lip", -1), ("lip", 1), ("flowline", 1)):
        offset, _ = road.break_line(street, "finish", name, side, stations)
        easting, northing, _ = line.point_at(street.alignment, stations, offset)
        x, y = easting - surface.origin[0], northing - surface.origin[1]
        at = [
            int(np.argmin(np.hypot(surface.x - u, surface.y - v)))
            for u, v in zip(x, y, strict=True)
        ]
        off = np.hypot(surface.x[at] - x, surface.y[at] - y)
        assert off.max() < 1e-9
        assert all(frozenset(pair) in rows for pair in pairwise(at))


@settings(max_examples=20, deadline=None)
@given(
    bend=st.tuples(st.floats(8.0, 200.0), st.sampled_from([-1, 1]), st.floats(0.3, 1.5)),
    widths=st.tuples(st.floats(0.5, 6.0), st.floats(0.5, 6.0)),
)
def test_plan_area_of_a_bend_is_that_of_a_ring_sector(make_corridor, half, bend, widths):
    """Exact: half the sweep times the difference of the squared radii."""
    (radius, turn, sweep), (right, left) = bend, widths
    length = radius * sweep
    arc = ElementRow("arc", length, radius, radius, turn, start=START)
    layer = SectionLayer("finish", half(("lip", right, 2.0)), half(("lip", left, 2.0)))
    corridor = make_corridor((arc,), FLAT, [SectionRow("A", 0.0, length, (layer,))])
    rules = DesignRules(chord_m=0.001)

    surface = road.triangulate(corridor, "finish", rules)

    x, y = surface.x[surface.triangles], surface.y[surface.triangles]
    area = 0.5 * np.sum(
        (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])
    )
    edges = radius - turn * right, radius + turn * left
    exact = 0.5 * sweep * abs(edges[0] ** 2 - edges[1] ** 2)
    # each edge departs from its arc by at most the sagitta, on average two thirds of it
    assert area == pytest.approx(exact, abs=0.001 * sweep * sum(edges))


def test_knots_keep_the_sagitta_of_the_outermost_break(make_corridor, half):
    """s = sqrt(8 R m) on the outer edge of a bend, sqrt(800 K m) on a vertical curve."""
    arc = ElementRow("arc", 60.0, 30.0, 30.0, +1, start=START)
    corridor = make_corridor((arc,), FLAT, [plain(half, width=5.0, end=60.0, fall=0.0)])
    step = np.diff(road.knots(corridor, DesignRules(chord_m=0.005)))
    outer = step * 35.0 / 30.0

    assert outer.max() <= chord_step(35.0, 0.005) * (1 + 1e-9)
    assert outer.max() > 0.9 * chord_step(35.0, 0.005)

    straight = ElementRow("line", 200.0, start=START)
    sag = (ProfileRow(0.0, 104.0), ProfileRow(100.0, 100.0, 40.0, 40.0), ProfileRow(200.0, 104.0))
    corridor = make_corridor((straight,), sag, [plain(half, end=200.0)])
    stations = road.knots(corridor, DesignRules(chord_m=0.0005, max_step_m=20.0))
    step = np.diff(stations[(stations >= 60.0) & (stations <= 140.0)])

    # K = 80 m / 8 %
    assert step.max() <= profile_step(10.0, 0.0005) * (1 + 1e-9)
    assert step.max() > 0.9 * profile_step(10.0, 0.0005)
    assert np.diff(stations[stations <= 60.0]).max() == pytest.approx(20.0)


def test_knots_hold_joints_curve_ends_and_sections(street):
    stations = road.knots(street, DesignRules())
    forced = [
        *street.alignment.station, *street.profile.station, *np.unique(street.layers[0].station)
    ]  # fmt: skip

    assert np.abs(stations[:, None] - np.array(forced)[None, :]).min(axis=0).max() == 0.0
    assert (np.diff(stations) > 0.001).all()
    assert np.diff(stations).max() <= 5.0 + 1e-9


def test_forced_knots_within_two_millimetres_are_one(make_corridor, half):
    elements = (ElementRow("line", 50.0, start=START), ElementRow("arc", 50.0, 80.0, 80.0, +1))
    points = (ProfileRow(0.0, 100.0), ProfileRow(50.0011, 101.0), ProfileRow(100.0, 100.0))
    sections = [plain(half, end=49.9995), plain(half, 4.5, start=60.0, end=100.0)]

    stations = road.knots(make_corridor(elements, points, sections), DesignRules())

    assert stations[(stations > 49.9) & (stations < 50.1)].tolist() == [49.9995]


def test_a_vertical_face_leans_out_by_a_millimetre(make_corridor, half):
    curb = half(("lip", 3.5, 2.0), ("face", 0.0, None, 0.15), ("back", 0.15, None, 0.0))
    section = SectionRow("A", 0.0, 400.0, (SectionLayer("finish", curb, curb),))
    straight = ElementRow("line", 10.0, start=START)
    corridor = make_corridor((straight,), FLAT, [section], azimuth=0.0)

    surface = road.triangulate(corridor, "finish", DesignRules())
    first = np.abs(surface.y) < 1e-9

    np.testing.assert_allclose(
        np.sort(surface.x[first]), [-3.65, -3.501, -3.5, 0, 3.5, 3.501, 3.65], atol=1e-9
    )
    top = surface.z[first][np.argsort(surface.x[first])]
    np.testing.assert_allclose(top, [100.08, 100.08, 99.93, 100, 99.93, 100.08, 100.08])


def test_an_abrupt_change_takes_a_millimetre_ahead(make_corridor, half):
    sections = [plain(half, end=20.0), plain(half, 5.0, 3.0, start=20.0, end=40.0)]
    straight = ElementRow("line", 40.0, start=START)
    corridor = make_corridor((straight,), FLAT, sections, azimuth=0.0)

    surface = road.triangulate(corridor, "finish", DesignRules())
    rows = np.unique(np.round(surface.y, 6))

    assert 20.0 in rows
    assert 20.001 in rows
    edge = surface.x[np.abs(surface.y - 20.0) < 1e-9].max()
    ahead = surface.x[np.abs(surface.y - 20.001) < 1e-9].max()
    assert (edge, ahead) == pytest.approx((4.0, 5.0))


def test_sections_that_touch_and_are_alike_leave_no_step(make_corridor, half):
    straight = ElementRow("line", 40.0, start=START)
    both = [plain(half, end=20.0), plain(half, start=20.0, end=40.0)]
    parted = make_corridor((straight,), FLAT, both)
    whole = make_corridor((straight,), FLAT, [plain(half, end=40.0)])

    one, other = (road.triangulate(c, "finish", DesignRules()) for c in (parted, whole))

    np.testing.assert_array_equal(one.triangles, other.triangles)
    np.testing.assert_allclose(one.x, other.x, atol=1e-12)


def patchy(make_corridor, half):
    """A layer that one section lacks, a strip that opens from nothing, a profile with a hole."""
    narrow, opens = (
        half(("lip", 4.0, 2.0), ("lane", 0.0, 2.0)),
        half(("lip", 4.0, 2.0), ("lane", 3.0, 2.0)),
    )
    extra = SectionLayer("gravel", narrow, narrow)
    finish = {
        name: SectionLayer("finish", s, s) for name, s in (("narrow", narrow), ("opens", opens))
    }
    sections = [
        SectionRow("A", 0.0, 30.0, (finish["narrow"], extra)),
        SectionRow("B", 60.0, 80.0, (finish["opens"], extra)),
        SectionRow("C", 80.0, 90.0, (extra,)),
        SectionRow("D", 90.0, 200.0, (finish["narrow"], extra)),
    ]
    points = (
        ProfileRow(0.0, 100.0), ProfileRow(120.0, 104.0, 20.0, 20.0),
        ProfileRow(150.0, 103.0, 20.0, 20.0), ProfileRow(200.0, 106.0),
    )  # fmt: skip
    straight = ElementRow("line", 200.0, start=START)
    return make_corridor((straight,), points, sections, ("finish", "gravel"), azimuth=0.0)


def test_nothing_is_laid_where_nothing_is_designed(make_corridor, half):
    surface = road.triangulate(patchy(make_corridor, half), "finish", DesignRules())
    y = surface.y[surface.triangles]

    # section C has no such layer, and two vertical curves contradict each other to 0+140
    for low, high in ((80.0, 90.0), (130.0, 140.0)):
        middle = y.mean(axis=1)
        assert not ((middle > low) & (middle < high)).any()
    assert np.isfinite(surface.z).all()
    x = surface.x[surface.triangles]
    area = 0.5 * np.sum(
        (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])
    )
    # 8 m wide, opening to 14 m over 30 m, 20 m of 14 m, 100 m of 8 m after
    assert area == pytest.approx(30 * 8 + 30 * 11 + 20 * 14 + 100 * 8, abs=1e-6)


def kinked(make_corridor, half, bend):
    elements = (
        ElementRow("line", start=START, end=(5240.0, 3140.0)),
        ElementRow(
            "line", start=(5240.0, 3140.0),
            end=(5240.0 + 30 * math.sin(bend), 3140.0 + 30 * math.cos(bend)),
        ),
    )  # fmt: skip
    return make_corridor(elements, FLAT, [plain(half, end=60.0)])


def test_at_a_kink_the_edges_stay_parallel_to_the_line(make_corridor, half):
    surface = road.triangulate(kinked(make_corridor, half, 0.2), "finish", DesignRules())

    # every vertex of the right lip lies 4 m off one of the two lines, seen from either side
    x, y = surface.x, surface.y
    beyond = (y - 30.0) * math.cos(0.2) + x * math.sin(0.2)
    before_offset = x
    ahead_offset = x * math.cos(0.2) - (y - 30.0) * math.sin(0.2)
    lips = np.where(np.abs(beyond) < 1.5, np.nan, np.where(beyond > 0, ahead_offset, before_offset))
    known = np.unique(np.round(lips[~np.isnan(lips)], 9))
    assert known.tolist() == [-4.0, 0.0, 4.0]
    corner = (np.abs(ahead_offset - 4.0) < 1e-9) & (np.abs(before_offset - 4.0) < 1e-9)
    assert corner.sum() == 1


def test_a_bend_tighter_than_the_section_is_refused_with_its_station(make_corridor, half):
    elements = (
        ElementRow("line", 30.0, start=START), ElementRow("arc", 5.0, 6.0, 6.0, -1),
        ElementRow("line", 30.0),
    )  # fmt: skip
    corridor = make_corridor(elements, FLAT, [plain(half, width=7.5, end=65.0)])

    with pytest.raises(
        DesignError,
        match=r"layer 'finish' at station 0\+030.000: the line bends with a radius of 6.000 m and"
        r" the section reaches 7.500 m to the inside",
    ):
        road.triangulate(corridor, "finish", DesignRules())


def test_a_spiral_folds_only_where_it_is_tight(make_corridor, half):
    elements = (ElementRow("clothoid", 20.0, math.inf, 6.0, +1, start=START),)
    corridor = make_corridor(elements, FLAT, [plain(half, width=8.0, end=20.0)])

    # radius 8 m at 0+015: named at the first cross-section past it
    with pytest.raises(DesignError, match=r"at station 0\+015\.[0-2]"):
        road.triangulate(corridor, "finish", DesignRules())


def test_a_kink_without_room_for_the_section_is_refused(make_corridor, half):
    with pytest.raises(
        DesignError, match=r"layer 'finish' at station 0\+0[23].*its cross-sections"
    ):
        road.triangulate(kinked(make_corridor, half, 2.9), "finish", DesignRules())


def test_a_mirrored_street_has_mirrored_triangles(make_corridor, half):
    elements = (
        ElementRow("clothoid", 20.0, math.inf, 30.0, +1, start=(0.0, 0.0)),
        ElementRow("arc", 20.0, 30.0, 30.0, +1),
    )
    wide, narrow = half(("lip", 4.0, 2.0), ("back", 0.0, None, 0.1)), half(("lip", 3.0, 3.0))
    mirrored = tuple(dataclasses.replace(e, turn=-e.turn) for e in elements)
    one = make_corridor(
        elements,
        FLAT,
        [SectionRow("A", 0, 40, (SectionLayer("finish", wide, narrow),))],
        azimuth=0.0,
    )
    other = make_corridor(
        mirrored,
        FLAT,
        [SectionRow("A", 0, 40, (SectionLayer("finish", narrow, wide),))],
        azimuth=0.0,
    )

    right, left = (road.triangulate(c, "finish", DesignRules()) for c in (one, other))

    def centres(surface, side):
        corners = surface.triangles
        place = np.stack(
            [
                side * surface.x[corners].mean(1),
                surface.y[corners].mean(1),
                surface.z[corners].mean(1),
            ]
        ).round(9)
        return sorted(map(tuple, place.T.tolist()))

    np.testing.assert_allclose(centres(right, 1), centres(left, -1), atol=2e-9)


def test_the_same_design_gives_the_same_triangles(street):
    one, other = (road.triangulate(street, "finish", DesignRules()) for _ in range(2))

    for name in ("x", "y", "z", "triangles", "neighbours", "fixed"):
        assert getattr(one, name).tobytes() == getattr(other, name).tobytes()


def test_rules_that_ask_for_too_much_are_refused(street):
    with pytest.raises(
        DesignError, match=r"a chord tolerance of 1e-09 m and a step of 5.0 m ask for"
    ):
        road.knots(street, DesignRules(chord_m=1e-9))


def test_a_design_without_a_common_stretch_is_refused(make_corridor, half):
    straight = ElementRow("line", 40.0, start=START)
    corridor = make_corridor((straight,), FLAT, [plain(half, start=50.0, end=60.0)])

    with pytest.raises(DesignError, match=r"alignment reaches from 0.000 to 40.000 m, the profile"):
        road.triangulate(corridor, "finish", DesignRules())


def test_a_layer_that_is_nowhere_within_reach_is_refused(make_corridor, half):
    straight = ElementRow("line", 40.0, start=START)
    edge = (BreakRow("edge", 4.0, fall=0.02),)
    sections = [
        plain(half, end=40.0),
        SectionRow("far", 50.0, 60.0, (SectionLayer("gravel", edge, edge),)),
    ]
    sections[0] = dataclasses.replace(sections[0], end=50.0)
    corridor = make_corridor((straight,), FLAT, sections, ("finish", "gravel"))

    with pytest.raises(DesignError, match="layer 'gravel': the alignment, the profile and its"):
        road.triangulate(corridor, "gravel", DesignRules())
    with pytest.raises(
        DesignError, match="layer 'rock': it is no layer of the section table; there"
    ):
        road.triangulate(corridor, "rock", DesignRules())
