"""What stands on the ground goes, what is ground stays: measured on scenes whose truth is known.

The scenes are invented and built of planes and boxes, so which point is ground is known by
construction; there is no outside figure for such a filter on a street under construction.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import SurfaceError
from pipeline.surface.bare_earth import BareEarthRules, bare_earth, taken_out

GROUND, MACHINE, PERSON, LATH, CONE, STRAY = range(6)
SETUPS = ((8.0, 1.0), (33.0, -1.5))


def street(x, y):
    """Height of a street being built, 40 m by 24 m, with every hard edge that must survive."""
    z = 100 + 0.02 * x - 0.025 * np.minimum(np.abs(y), 5)
    # curbs of 0.15 on both sides, 0.15 wide, with nothing behind them yet
    z = z + 0.15 * ((np.abs(y) >= 5) & (np.abs(y) < 5.15))
    # a bank of 0.25 with an upright face, 0.6 wide, falling 1:1 behind
    bank = np.where(y < 6.6, 0.25, np.maximum(0.25 - (y - 6.6), 0.05))
    z = z + np.where(y >= 6, bank, 0)
    # a trench 0.6 wide and 1.0 deep, and a stockpile 1.6 high that stands at 34 degrees
    z = z - 1.0 * ((np.abs(x - 20) < 0.3) & (y < -6) & (y > -11))
    return z + np.clip((3.2 - np.hypot(x - 33, y + 9)) * 0.67, 0, 1.6)


def box(kind, x, y, plan, bottom, top):
    length, width = plan
    return kind, x - length / 2, x + length / 2, y - width / 2, y + width / 2, bottom, top


def things():
    """Boxes (kind, x0, x1, y0, y1, bottom, top above the ground) on the street."""
    boxes = [box(MACHINE, 4.3, -1.2, (2.6, 1.6), 0.0, 1.3)]
    for x, y, turned in ((14.0, 3.0, False), (25.0, -8.0, True)):
        for length, width, bottom, top in ((4.5, 1.8, 0.2, 0.85), (2.2, 1.5, 0.85, 1.45)):
            plan = (width, length) if turned else (length, width)
            boxes.append(box(MACHINE, x, y, plan, bottom, top))
    boxes.append(box(MACHINE, 21.2, -2.0, (8.5, 2.4), 0.6, 1.9))
    boxes.append(box(MACHINE, 19.0, -2.0, (2.0, 1.8), 1.9, 3.3))
    boxes += [box(MACHINE, x, y, (1.2, 0.4), 0, 1.2) for x in (17.7, 19, 24.5) for y in (-3, -1)]
    for x, y in ((10, -3), (29, 1.5), (30, 5.6), (12, 6.3), (6.5, -5.1)):
        boxes += [box(PERSON, x + s, y, (0.12, 0.16), 0, 0.85) for s in (-0.09, 0.09)]
        boxes.append(box(PERSON, x, y, (0.5, 0.3), 0.85, 1.75))
    for x in range(2, 40, 4):
        boxes += [box(LATH, x, y, (0.04, 0.02), 0, 1.2) for y in (-6.7, 6.3, 7.4)]
    return boxes + [box(CONE, x, 0, (0.3, 0.3), 0, 0.7) for x in (28, 31, 38)]


def faces(boxes, density, rng):
    """Points on the top and the four sides of each box."""
    points, kinds = [], []
    for kind, x0, x1, y0, y1, bottom, top in boxes:
        base = street(np.array((x0 + x1) / 2), np.array((y0 + y1) / 2))
        low, high = np.array([x0, y0, base + bottom]), np.array([x1, y1, base + top])
        size = high - low
        for axis, ends in ((2, (high,)), (0, (low, high)), (1, (low, high))):
            for end in ends:
                share = max(density, 2_000) if kind in (LATH, CONE) else density
                n = int(share * np.prod(np.delete(size, axis))) + 2
                face = rng.uniform(low, high, (n, 3))
                face[:, axis] = end[axis]
                points.append(face)
                kinds.append(np.full(n, kind))
    return np.vstack(points), np.concatenate(kinds)


def seen(points, boxes):
    """Which points at least one of the two set-ups sees past the machines (slab test)."""
    visible = np.zeros(len(points), dtype=bool)
    for x, y in SETUPS:
        eye = np.array([x, y, street(np.array(x), np.array(y)) + 2.0])
        ray = points - eye
        ray[ray == 0] = 1e-12
        hidden = np.zeros(len(points), dtype=bool)
        for kind, x0, x1, y0, y1, bottom, top in boxes:
            if kind != MACHINE:
                continue
            base = street(np.array((x0 + x1) / 2), np.array((y0 + y1) / 2))
            a = (np.array([x0, y0, base + bottom]) - eye) / ray
            b = (np.array([x1, y1, base + top]) - eye) / ray
            enters, leaves = np.minimum(a, b).max(axis=1), np.maximum(a, b).min(axis=1)
            near = 1 - 0.01 / np.linalg.norm(ray, axis=1)
            hidden |= (enters < leaves) & (enters > 0) & (enters < near)
        visible |= ~hidden
    return visible


def edges(density, rng):
    """Points on the upright faces of curbs and bank."""
    parts = []
    for y, rise in (
        (-5.1501, 0.15),
        (-4.9999, 0.15),
        (4.9999, 0.15),
        (5.1501, 0.15),
        (5.9999, 0.25),
    ):
        x = rng.uniform(0, 40, int(40 * rise * density))
        parts.append(
            [x, np.full(len(x), y), street(x, np.full(len(x), y)) + rng.uniform(0, rise, len(x))]
        )
    return np.hstack(parts).T  # fmt: skip


def scene(seed, *, density=200, noise=0.005, turn=0.0, tilt=0.0):
    """Points (n, 3) as two set-ups would see them, what each is, its height above the ground."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform([[0], [-12]], [[40], [12]], (2, int(40 * 24 * density)))
    ground = np.vstack([np.column_stack([x, y, street(x, y)]), edges(density, rng)])
    boxes = things()
    standing, kinds = faces(boxes, density, rng)
    points = np.vstack([ground, standing])
    kind = np.concatenate([np.full(len(ground), GROUND), kinds])
    visible = seen(points, boxes)
    points, kind = points[visible], kind[visible]
    points[:, 2] += rng.normal(0, noise, len(points))
    strays = points[rng.integers(0, len(points), len(points) // 2_000)]
    strays[:, 2] = street(*strays[:, :2].T) + rng.choice([-1, 1], len(strays)) * rng.uniform(
        0.5, 3.0, len(strays)
    )
    points = np.vstack([points, strays])
    kind = np.concatenate([kind, np.full(len(strays), STRAY)])
    height = points[:, 2] - street(points[:, 0], points[:, 1])
    plan = points[:, :2] @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    z = points[:, 2] + tilt * points[:, 0]
    given = np.column_stack([plan, z]) + np.array([500_000.1, 6_000_000.7, 0.0])
    return given, points, kind, height


SCENES = {
    "along the grid": {"seed": 1},
    "turned 30 degrees": {"seed": 2, "turn": 0.52},
    "turned 63 degrees, 8 % steeper": {"seed": 3, "turn": 1.1, "tilt": 0.08},
    "noise of 15 mm": {"seed": 4, "turn": 0.3, "noise": 0.015},
    "100 points a square metre": {"seed": 5, "turn": 0.8, "density": 100},
}


@pytest.fixture(scope="module", params=SCENES.values(), ids=SCENES.keys())
def filtered(request):
    given, points, kind, height = scene(**request.param)
    return bare_earth(*given.T), points, kind, height


def test_ground_is_kept_and_little_else_goes(filtered):
    found, _, kind, _ = filtered
    ground = kind == GROUND

    assert found.ground[ground].mean() > 0.9995
    assert ground[~found.ground].mean() < 0.002  # precision of what is taken out: 99.8 %


def test_hard_edges_survive_even_beside_people(filtered):
    found, points, kind, _ = filtered
    x, y = points[:, 0], points[:, 1]
    across = np.abs(y)
    places = {
        "curb, top and faces": (across > 4.999) & (across < 5.151),
        "bank, top and face": (y > 5.999) & (y < 6.8),
        "trench": (np.abs(x - 20) < 0.3) & (y < -6) & (y > -11),
        "stockpile": np.hypot(x - 33, y + 9) < 3.2,
    }
    kept = {name: found.ground[(kind == GROUND) & where].mean() for name, where in places.items()}

    assert kept["curb, top and faces"] > 0.995
    assert kept["bank, top and face"] > 0.999
    assert kept["trench"] == 1.0
    assert kept["stockpile"] > 0.999


def test_what_stands_on_the_ground_is_taken_out(filtered):
    found, _, kind, height = filtered
    taken = {
        what: (~found.ground)[(kind == what) & (height > 0.10)].mean()
        for what in (MACHINE, PERSON, LATH, CONE)
    }
    left = found.ground & np.isin(kind, (MACHINE, PERSON, LATH, CONE))

    assert taken[MACHINE] > 0.97
    assert taken[PERSON] > 0.93
    assert taken[LATH] > 0.90
    assert taken[CONE] > 0.80
    # of the points that stay, what stands highest is a wheel beside a scan shadow
    assert height[left].max() < 0.65
    assert (~found.ground)[kind == STRAY].mean() > 0.95


def test_a_box_comes_back_with_its_place_size_and_height():
    rng = np.random.default_rng(9)
    x, y = rng.uniform(0, 20, (2, 80_000))
    on = (np.abs(x - 10) < 2.0) & (np.abs(y - 8) < 1.0)
    z = 50 + 0.03 * x + np.where(on, 1.2, 0.0)
    found = bare_earth(x, y, z)

    thing = found.objects
    assert (len(thing), found.above, found.below) == (1, on.sum(), 0)
    assert not found.ground[on].any()
    assert thing.easting[0] == pytest.approx(10.0, abs=0.05)
    assert thing.northing[0] == pytest.approx(8.0, abs=0.05)
    assert (thing.size_e[0], thing.size_n[0]) == pytest.approx((4.0, 2.0), abs=0.05)
    # the ground under it rises 0.12 m along it and is taken as the highest of nine cells
    assert thing.height[0] == pytest.approx(1.2, abs=0.05)
    # 8 m2 less the cells on its rim, in which ground is left
    assert 8.0 - 12 * 0.25 <= found.hidden_m2 <= 8.0
    said = taken_out(found, "scan.las")[0]
    assert said.severity == "person"
    assert "1 places: 4.0 x 2.0 m, 1.2 m high at E 10.0 N 8.0" in said.text


def test_bare_ground_loses_nothing_and_says_nothing():
    rng = np.random.default_rng(10)
    x, y = rng.uniform(0, 30, (2, 40_000))
    # a 12 % grade with a step of 0.25 m and a windrow 0.5 m high at 35 degrees
    z = 0.12 * x + 0.25 * (y > 11.1) + np.maximum(0.5 - 0.7 * np.abs(y - 20), 0)
    found = bare_earth(x, y, z + rng.normal(0, 0.005, len(x)))

    assert found.ground.all()
    assert len(found.objects) == 0
    assert taken_out(found) == ()


def test_echoes_from_below_are_counted_and_do_not_take_the_ground_with_them():
    rng = np.random.default_rng(11)
    x, y = rng.uniform(0, 20, (2, 20_000))
    z = rng.normal(0, 0.005, len(x))
    # no window of the widest object is free of them, and the cells hold three points each
    low = rng.choice(len(x), 40, replace=False)
    z[low] -= 1.5
    found = bare_earth(x, y, z)

    assert found.above == 0
    assert found.below == 40
    assert not found.ground[low].any()


def test_the_order_of_the_points_does_not_matter():
    given, _, _, _ = scene(6, density=60)
    order = np.random.default_rng(12).permutation(len(given))

    assert (bare_earth(*given[order].T).ground == bare_earth(*given.T).ground[order]).all()


@pytest.mark.parametrize(
    ("x", "rules", "message"),
    [
        ([], BareEarthRules(), "scan: no point"),
        ([0.0, np.inf], BareEarthRules(), "point 2 of the scan: x is inf"),
        ([0.0, 1.0], BareEarthRules(cell_m=0.0), r"bare earth, cell_m: 0\.0"),
        ([0.0, 1.0], BareEarthRules(step_m=float("nan")), "bare earth, step_m: nan"),
        ([0.0, 90_000.0], BareEarthRules(), r"its points lie over 90,000 m by 500 m"),
    ],
)
def test_what_cannot_be_filtered_is_refused(x, rules, message):
    with pytest.raises(SurfaceError, match=message):
        bare_earth(x, [0.0, 500.0][: len(x)], [1.0, 1.0][: len(x)], rules)
