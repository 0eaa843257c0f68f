"""Two mornings: a datum that stands higher is told from a blade that took earth off."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.compare.days import (
    FIXED_SD_M,
    SURE_VOLUME,
    Shift,
    compare_days,
    datum_shift,
    fixed_things,
)
from pipeline.compare.progress import trend
from pipeline.model import NO_LINES, Alignment, Quantity, make_shots
from pipeline.settings import SurfaceRules
from pipeline.surface import tin

SD = 0.008
NO_SHIFT = Shift(0.0, 0.0, 20, sure=False, hit=())


def street():
    """200 m due north from (1000, 2000)."""
    return Alignment("street", [0.0, 200.0], [1000.0], [2000.0], [0.0], [0.0], [0.0])


def ground(change=lambda s, o: 0.0 * s, *, noise=0.0, seed=1, shift=0.0, at=(0.0, 0.0)):
    """A crowned clay plane 10 m wide, shot every 5 m, changed as `change` says."""
    station, offset = (v.ravel() for v in np.meshgrid(
        np.arange(0.0, 201.0, 5.0) + at[0], np.arange(-5.0, 5.1, 2.5) + at[1], indexing="ij"
    ))  # fmt: skip
    z = 100.0 + 0.01 * station - 0.025 * np.abs(offset) + change(station, offset) + shift
    z = z + np.random.default_rng(seed).normal(0.0, noise, len(z)) if noise else z
    surface, _ = tin.build(
        make_shots(1000.0 + offset, 2000.0 + station, z), NO_LINES, SurfaceRules()
    )
    return surface


def noise_of(*grounds, sd=SD):
    return tuple(np.full(len(one.x), sd) for one in grounds)


def hubs(shift=0.0, *, seed=2, n=10, hit=()):
    """Hubs at the curb, each measured to 3 mm; those named in `hit` were driven down 40 mm."""
    shake = np.random.default_rng(seed)
    station = np.linspace(5.0, 195.0, n)
    z = 101.0 + 0.01 * station + shift + shake.normal(0.0, 0.003, n)
    z[list(hit)] -= 0.040
    east = 1006.0 + shake.uniform(-0.01, 0.01, n)
    north = 2000.0 + station + shake.uniform(-0.01, 0.01, n)
    return make_shots(east, north, z, id=np.array([f"H{k}" for k in range(n)], dtype=object))


def graded(station, offset):
    """The blade took 50 mm off between 100 and 140."""
    return np.where((station >= 100) & (station <= 140), -0.050, 0.0)


def test_a_datum_of_30_mm_is_told_from_50_mm_of_grading():
    """The same with the noise of satellite shots."""
    before = ground(noise=SD)
    after = ground(graded, noise=SD, seed=9, shift=0.030)
    shift = datum_shift(fixed_things(hubs(), hubs(0.030, seed=3)), least_m=0.010)
    found = compare_days((before, after), noise_of(before, after), street(), shift)

    assert shift.sure
    assert shift.shift_m == pytest.approx(0.030, abs=3 * shift.se_m)
    inside = (found.start >= 100) & (found.end <= 140)
    outside = (found.end <= 80) | (found.start >= 160)
    assert found.mean_m[inside] == pytest.approx(np.full(inside.sum(), -0.050), abs=0.008)
    assert found.sure[inside].all()
    assert np.abs(found.mean_m[outside]).max() < 0.008
    assert not found.sure[outside].any()


def test_without_a_datum_shift_none_is_made_of_grading():
    shift = datum_shift(fixed_things(hubs(), hubs(seed=4)), least_m=0.010)
    before, after = ground(), ground(graded)
    found = compare_days((before, after), noise_of(before, after), street(), shift)

    assert not shift.sure
    assert shift.taken_off_m == 0.0
    assert found.mean_m[found.start == 120.0] == pytest.approx([-0.050], abs=0.002)


def test_without_fixed_things_a_swell_of_30_mm_is_not_called_sure():
    """Two satellite sessions know the mean of a swell to 17 mm."""
    shift = datum_shift(fixed_things(hubs(n=2), hubs(n=2, seed=5)), least_m=0.010)
    before, after = ground(), ground(shift=0.030)
    found = compare_days((before, after), noise_of(before, after), street(), shift)

    assert np.isnan(shift.shift_m)
    assert shift.doubt_m == pytest.approx(0.017, abs=0.0005)
    assert not found.sure.any()


def test_hubs_that_were_hit_do_not_move_the_datum():
    shift = datum_shift(fixed_things(hubs(), hubs(0.030, seed=6, hit=(2, 5, 7))), least_m=0.010)

    assert shift.hit == ("H2", "H5", "H7")
    assert shift.shift_m == pytest.approx(0.030, abs=0.006)


def test_a_thing_is_paired_once_and_only_with_one_at_its_place():
    old = make_shots([0.0, 10.0, 20.0], [0.0, 0.0, 0.0], [5.0, 6.0, 7.0])
    new = make_shots([0.05, 0.10, 20.5], [0.0, 0.0, 0.0], [5.5, 5.6, 9.0])
    found = fixed_things(old, new)

    assert found.change.tolist() == pytest.approx([0.5])
    assert len(fixed_things(old, make_shots([], [], [])).change) == 0


def test_the_stretches_hold_the_whole_volume():
    """A block of 40 x 10 m lowered by 50 mm, with its ramps: a prism, by hand."""
    before, after = ground(), ground(graded)
    found = compare_days((before, after), noise_of(before, after), street(), NO_SHIFT)

    # 40 m in full and a ramp of 5 m at either end, half of it on average
    assert found.lowered_m3.sum() == pytest.approx(0.050 * 10.0 * (40.0 + 5.0), rel=1e-9)
    assert found.raised_m3.sum() == pytest.approx(0.0, abs=1e-9)
    assert found.area_m2.sum() == pytest.approx(2000.0, rel=1e-9)


def test_the_deviation_of_a_stretch_is_that_of_many_noisy_mornings():
    """Monte Carlo with numpy: mornings of pure noise, the shots of either day in other places."""
    before = ground()
    means, told, raised, noise = [], [], [], []
    for seed in range(150):
        after = ground(noise=SD, seed=seed, at=(1.0, 0.0))
        found = compare_days(
            (before, after), (np.zeros(len(before.x)), noise_of(after)[0]), street(), NO_SHIFT
        )
        means.append(found.mean_m[3])
        told.append(found.sd_m[3])
        raised.append(found.raised_m3[3])
        noise.append(found.noise_m3[3])
    assert np.std(means) == pytest.approx(np.mean(told), rel=0.18)
    assert np.mean(np.abs(means) > 2 * np.array(told)) < 0.10
    assert np.mean(raised) == pytest.approx(np.mean(noise) / SURE_VOLUME, rel=0.15)


def test_few_fixed_things_that_agree_by_luck_are_not_believed_to_be_exact():
    things = fixed_things(hubs(), hubs())
    assert datum_shift(things, least_m=0.010).se_m == pytest.approx(1.25 * FIXED_SD_M / 10**0.5)


def quantity(cut, fill, area):
    return Quantity("clay", cut, fill, 0.0, 0.0, area, 0.0, 0.0)


def test_progress_is_work_per_square_metre_against_the_first_day():
    rows = trend([
        ("1", [quantity(80.0, 20.0, 1000.0)]), ("2", [quantity(10.0, 15.0, 500.0)]),
        ("3", [quantity(0.0, 0.0, 0.0)]), ("4", [quantity(0.0, 0.0, 900.0)]),
        ("5", [quantity(110.0, 0.0, 1000.0)]),
    ])  # fmt: skip
    done = [row.per_cent for row in rows]
    assert done[:2] == pytest.approx([0.0, 50.0])
    assert np.isnan(done[2])
    assert done[3:] == pytest.approx([100.0, -10.0])
