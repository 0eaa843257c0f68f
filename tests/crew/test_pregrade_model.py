"""The rise of stabilised clay: solids, tables worked out before this program, and the trade's rule.

The tables were computed from the assumed inputs by other means, before this program was
written; they check the arithmetic, not the clay.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.crew.pregrade.model import (
    Inputs,
    check,
    draws,
    effects,
    inputs_of,
    per_kg,
    rise_of,
    water_l_m2,
)
from pipeline.errors import JobError
from pipeline.settings_earthwork import Stabilising

MEDIANS = {
    # mm at 10, 12.5 and 15 kg/m2, and how far from the table is allowed
    ("lean clay", "dry"): (12.0, 15.1, 18.2, 0.1),
    ("fat clay", "dry"): (19.5, 23.8, 28.2, 0.1),
    ("silt", "optimum"): (5.6, 7.4, 9.2, 0.1),
    ("lean clay", "wet"): (5.8, 8.8, 11.8, 0.1),
    # printed in whole millimetres
    ("lean clay", "very wet"): (-4.0, -2.0, 0.0, 0.5),
}


def job(soil="lean clay", moisture="dry", spread=12.5, **more):
    return Stabilising(soil=soil, moisture=moisture, spread_kg_m2=spread, **more)


def median_mm(rules):
    return 1000 * float(np.median(draws(inputs_of(rules), rules)))


@pytest.mark.parametrize(("soil", "moisture"), MEDIANS)
def test_medians_of_the_table(soil, moisture):
    """Medians of the table, with 200 000 draws."""
    *want, near = MEDIANS[soil, moisture]
    got = [median_mm(job(soil, moisture, spread)) for spread in (10.0, 12.5, 15.0)]
    assert got == pytest.approx(want, abs=near)


def test_quantiles_of_dry_lean_clay():
    """The table: 8.2 and 22.1 mm at 12.5 kg/m2 below and above which one in ten lies."""
    rules = job()
    got = np.percentile(1000 * draws(inputs_of(rules), rules), [10, 90])
    assert got == pytest.approx([8.2, 22.1], abs=0.1)


def test_draws_are_the_same_every_time():
    rules = job(draws=1000)
    assert (draws(inputs_of(rules), rules) == draws(inputs_of(rules), rules)).all()


PLAUSIBLE = {
    "spread": st.floats(0, 30),
    "loss": st.floats(0, 0.1),
    "depth": st.floats(0.15, 0.5),
    "density": st.floats(1300, 2000),
    "before": st.floats(0.85, 1.02),
    "after": st.floats(0.85, 1.02),
    "density_loss": st.floats(-1, 2),
    "moisture_before": st.floats(0.05, 0.4),
    "moisture_after": st.floats(0.05, 0.4),
}


@given(st.fixed_dictionaries(PLAUSIBLE))
def test_solids_are_conserved(values):
    got = rise_of(Inputs(**values))
    kept = values["spread"] * (1 - values["loss"])
    before = values["depth"] * got.density_before + kept
    assert (values["depth"] + got.rise) * got.density_after == pytest.approx(before, rel=1e-9)
    assert got.cement_part + got.mismatch_part == pytest.approx(got.rise, abs=1e-12)


@given(spread=st.floats(5, 15), loss=st.floats(0, 2), first=st.floats(0.2, 0.5))
def test_the_cements_part_does_not_hang_on_the_depth(spread, loss, first):
    """Without caps and with one compaction before and after; the bound is the docstring's."""
    given_ = replace(
        inputs_of(job()),
        spread=spread,
        density_loss=loss,
        moisture_before=0.05,
        moisture_after=0.05,
    )
    one, two = (rise_of(replace(given_, depth=depth)) for depth in (first, 0.3))
    bound = max(
        loss * (1 + loss) * (float(r.percent) / 100) ** 2 * d for r, d in ((one, first), (two, 0.3))
    )
    assert abs(one.rise - two.rise) <= bound + 1e-12
    assert one.rise == pytest.approx((1 + loss) * spread * 0.98 / one.density_after, rel=0.12)


def test_no_cement_and_one_density_change_nothing():
    """Analytic."""
    assert rise_of(replace(inputs_of(job()), spread=0.0)).rise == 0.0


def test_a_density_mismatch_by_hand():
    """By hand: 97 to 95 % adds 6.3 mm on 300 mm, 92 to 98 % takes 18 mm."""
    plain = replace(inputs_of(job()), spread=0.0)
    up = rise_of(replace(plain, before=0.97, after=0.95))
    down = rise_of(replace(plain, before=0.92, after=0.98))
    assert 1000 * up.rise == pytest.approx(6.3, abs=0.05)
    assert 1000 * down.rise == pytest.approx(-18.4, abs=0.05)
    assert up.cement_part == 0.0


def test_sensitivities_of_the_table():
    """The table: base 15.0 mm, one input at a time [mm].

    It holds the density after mixing as it is; the model itself lets it fall with the
    cement, so there a spread 5 % off moves twice as much and the depth nothing.
    """
    model = inputs_of(job())
    base = rise_of(model)
    assert 1000 * base.rise == pytest.approx(15.0, abs=0.1)
    held = replace(model, density_loss=0.0, after=float(base.density_after) / model.density)
    moves = {
        "spread": (12.5 * 1.05, 0.4), "depth": (0.315, 0.4), "loss": (0.04, -0.15),
        "before": (held.before * 1.02, 6.2), "after": (held.after * 1.02, -6.2),
    }  # fmt: skip
    for name, (value, want) in moves.items():
        moved = 1000 * float(rise_of(replace(held, **{name: value})).rise - base.rise)
        assert moved == pytest.approx(want, abs=0.06), name
    of_model = {effect.setting: effect for effect in effects(model, job())}
    assert 1000 * of_model["spread"].high_m == pytest.approx(0.77, abs=0.01)
    assert abs(of_model["depth"].high_m) < 5e-5


def test_doubt_of_both_densities_with_and_without_correlation():
    """The table: 2 % on each density gives 8.7 mm apart, 5.5 mm with a correlation of 0.6."""
    errors = {
        "spread_error": 0.0, "depth_error_m": 0.0, "density_error": 0.0, "saturation_error": 0.0,
        "compaction_before_error": 0.97 * 0.02, "compaction_after_error": 0.97 * 0.02,
        "density_loss_error": 0.0,
    }  # fmt: skip
    for correlation, want in ((0.0, 8.7), (0.6, 5.5)):
        rules = job(correlation=correlation, **errors)
        assert 1000 * draws(inputs_of(rules), rules).std() == pytest.approx(want, abs=0.15)


def test_effects_are_in_order_and_density_leads():
    found = effects(inputs_of(job()), job())
    swings = [effect.swing_m for effect in found]
    assert swings == sorted(swings, reverse=True)
    assert {found[0].what, found[1].what} == {"density before", "density after"}


# --- what the trade says: common practice, no source ------------------------------------------


@pytest.mark.parametrize("spread", [10.0, 12.5, 15.0])
def test_dry_clay_is_left_one_to_two_centimetres_low(spread):
    """Common practice, no source: dry clay at 10-15 kg/m2 is left 1-2 cm below."""
    assert 10.0 <= median_mm(job(spread=spread)) <= 20.0


def test_fine_clay_rises_more_than_silt_and_wet_clay_less():
    """Common practice, no source: fine clay rises more than silt, wet clay less than dry."""
    fat, lean, silt = (
        median_mm(job(soil, moisture))
        for soil, moisture in (("fat clay", "dry"), ("lean clay", "dry"), ("silt", "optimum"))
    )
    wet, very_wet = (median_mm(job(moisture=moisture)) for moisture in ("wet", "very wet"))
    assert fat > lean > silt
    assert lean > wet > very_wet


def test_very_wet_clay_takes_no_water_and_hardly_rises():
    """Common practice, no source: very wet clay may take no water."""
    rules = job(moisture="very wet")
    got = inputs_of(rules)
    assert water_l_m2(got) == 0.0
    assert got.moisture_after < got.moisture_before
    assert median_mm(rules) < 1.0


def test_water_for_dry_clay():
    """By hand: 32 L/m2 from 13 to 19 %."""
    got = inputs_of(job())
    assert (got.moisture_before, got.moisture_after) == (pytest.approx(0.13), pytest.approx(0.19))
    assert water_l_m2(got) == pytest.approx(32.5, abs=0.6)


def test_cement_by_dry_mass(published):
    """The rate of a percentage, turned round: the percentage of that rate."""
    ref = published("REF-SC-2")
    got = rise_of(
        replace(
            inputs_of(job()), spread=ref.expected["rate"], loss=0.0,
            depth=ref.inputs["depth_m"], density=ref.inputs["dry_density_kg_m3"], before=1.0,
        )
    )  # fmt: skip
    assert float(got.percent) == pytest.approx(ref.inputs["percent"], abs=2e-4)


def test_wet_clay_is_no_denser_than_its_water_allows():
    """By hand: 2700 / (1 + 0.26 * 2.7 / 0.95) = 1552.7 kg/m3."""
    got = rise_of(inputs_of(job(moisture="very wet")))
    assert float(got.density_before) == pytest.approx(1552.66, abs=0.01)
    dry = rise_of(inputs_of(job()))
    assert float(dry.density_before) == pytest.approx(0.97 * 1720)


def test_the_field_number_and_what_one_more_kg_does():
    """The table: 1.2 mm per kg/m2 for dry lean clay, 1.9 for fat clay, 0.6 for silt."""
    numbers = {
        ("lean clay", "dry"): 1.2, ("fat clay", "dry"): 1.9, ("silt", "optimum"): 0.6,
    }  # fmt: skip
    for (soil, moisture), want in numbers.items():
        field, more = per_kg(inputs_of(job(soil, moisture)))
        assert field == pytest.approx(want, abs=0.05)
        assert more > 0
    # a mismatch of densities is no reason to rise more with more cement
    field, more = per_kg(inputs_of(job("fat clay")))
    assert more < field


# --- what is refused --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "name"),
    [
        ("density", 0.0, r"stabilising\.max_density_kg_m3: found 0"),
        ("density", 5000.0, r"stabilising\.max_density_kg_m3: found 5000"),
        ("depth", 1.2, r"stabilising\.mixing_depth_m: found 1\.2, outside 0\.001 to 1"),
        ("spread", -1.0, r"stabilising\.spread_kg_m2: found -1"),
        ("loss", 1.5, r"stabilising\.loss: found 1\.5"),
        ("before", 0.2, r"stabilising\.compaction_before: found 0\.2"),
        ("moisture_after", -0.1, r"stabilising\.moisture_after: found -0\.1"),
        ("saturation", 0.0, r"stabilising\.saturation: found 0"),
        ("density", float("nan"), r"stabilising\.max_density_kg_m3: found nan"),
    ],
)
def test_nonsense_is_refused_by_name(field, value, name):
    with pytest.raises(JobError, match=name):
        check(replace(inputs_of(job()), **{field: value}))


def test_the_job_overrides_every_assumption():
    rules = job(
        max_density_kg_m3=1800.0, optimum_moisture=0.15, compaction_before=0.93,
        compaction_after=0.95, density_loss=0.5, moisture_before=0.14, moisture_after=0.16,
    )  # fmt: skip
    got = inputs_of(rules)
    assert (got.density, got.before, got.after, got.density_loss) == (1800.0, 0.93, 0.95, 0.5)
    assert (got.moisture_before, got.moisture_after) == (0.14, 0.16)


def test_measured_moisture_decides_whether_the_clay_is_wet():
    wet = inputs_of(job(moisture_before=0.245))
    assert wet.before == 1.0
    assert wet.moisture_after == pytest.approx(0.245 - (0.0165 + 0.0235) / 2)
    assert water_l_m2(inputs_of(job(moisture_before=0.17))) > 0


def test_cement_that_leaves_no_density_is_refused():
    with pytest.raises(JobError, match=r"stabilising\.density_loss: .* leaves no density"):
        rise_of(replace(inputs_of(job()), spread=100.0, density_loss=5.0, depth=0.05))
