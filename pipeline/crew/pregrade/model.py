"""The rise of stabilised clay as a mass balance: solids in, solids out, at two densities.

Per square metre. Nothing here knows the street; `pipeline.crew.pregrade.recommendation` decides.
Most figures are assumptions and carry a mark that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from pipeline.errors import JobError
from pipeline.model import Floats
from pipeline.settings_earthwork import Stabilising

WATER_KG_M3 = 1000.0
SEED = 5


@dataclass(frozen=True, slots=True)
class Soil:
    """What a class of clay is taken to be where the job does not say.

    Greatest dry density [kg/m3] and optimum moisture of the standard compaction
    test; per cent of that density lost for each per cent of cement, and its standard
    deviation; relative compaction before mixing on the dry side.
    """

    density: float
    optimum: float
    loss: float
    loss_error: float
    before: float


SOILS = {
    "lean clay": Soil(1720.0, 0.18, 1.0, 0.4, 0.970),
    "fat clay": Soil(1520.0, 0.26, 1.4, 0.4, 0.980),
    "silt": Soil(1720.0, 0.16, 0.2, 0.2, 0.965),
}
"""All assumed, inside usual ranges. The losses were chosen so that dry lean clay meets the rule
of thumb; the compaction of fat clay and silt so that their rows of the project's own table do."""

AFTER = 0.97
WET_BEFORE = 1.0
"""Wet clay is as dense as its water lets it be: the saturation cap decides."""

BEFORE_OF_OPTIMUM = {"dry": -0.05, "optimum": 0.0, "wet": 0.05, "very wet": 0.08}
"""Moisture before mixing, of the optimum [assumed]."""
ADDED = {"lean clay": 0.01, "fat clay": 0.01, "silt": 0.03}
"""Where water is added, the mix is brought this far over the clay's optimum [assumed]."""
DRIED = {"wet": 0.0165, "very wet": 0.0235}
"""Where none is, mixing dries the clay by this much, in between by proportion [assumed]."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """One set of inputs per square metre: floats, or arrays of one length.

    ``spread`` [kg/m2] as spread, ``loss`` the share of it that is lost, ``depth`` [m] from
    the pre-graded surface, ``density`` the untreated clay's greatest [kg/m3],
    ``before`` and ``after`` relative compaction, ``density_loss`` [% per %],
    ``moisture_before`` and ``moisture_after`` by dry mass; ``cap_before`` and ``cap_after``
    scale the density at the saturation cap, 1 but for its error.
    """

    spread: float | Floats
    loss: float | Floats
    depth: float | Floats
    density: float | Floats
    before: float | Floats
    after: float | Floats
    density_loss: float | Floats
    moisture_before: float | Floats
    moisture_after: float | Floats
    solids: float = 2700.0
    saturation: float = 0.95
    cap_before: float | Floats = 1.0
    cap_after: float | Floats = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Rise:
    """What becomes of the layer: ``rise`` [m], + up, in two visible parts, and the densities.

    ``cement_part`` is what it would be without cement subtracted from the whole,
    ``mismatch_part`` the rise that a mere change of density gives. ``percent`` is
    cement by dry mass of clay.
    """

    rise: Floats
    cement_part: Floats
    mismatch_part: Floats
    density_before: Floats
    density_after: Floats
    percent: Floats


def inputs_of(rules: Stabilising) -> Inputs:
    """The job's inputs, with the class's assumptions where it states none.

    Raises
    ------
    JobError
        A value that makes no sense, named with its setting.
    """
    soil = SOILS[rules.soil]
    optimum = optimum_of(rules)
    moisture = _or(rules.moisture_before, optimum + BEFORE_OF_OPTIMUM[rules.moisture])
    wet = rules.moisture in DRIED if rules.moisture_before is None else moisture > optimum + 0.02
    after = optimum + ADDED[rules.soil]
    if wet:
        over = [BEFORE_OF_OPTIMUM[name] for name in DRIED]
        after = moisture - float(np.interp(moisture - optimum, over, list(DRIED.values())))
    given = Inputs(
        spread=rules.spread_kg_m2,
        loss=rules.loss,
        depth=rules.mixing_depth_m,
        density=_or(rules.max_density_kg_m3, soil.density),
        before=_or(rules.compaction_before, WET_BEFORE if wet else soil.before),
        after=_or(rules.compaction_after, AFTER),
        density_loss=_or(rules.density_loss, soil.loss),
        moisture_before=moisture,
        moisture_after=_or(rules.moisture_after, after),
        solids=rules.solids_kg_m3,
        saturation=rules.saturation,
    )
    check(given)
    return given


def optimum_of(rules: Stabilising) -> float:
    """Optimum moisture of the untreated clay, by dry mass."""
    return _or(rules.optimum_moisture, SOILS[rules.soil].optimum)


def loss_error_of(rules: Stabilising) -> float:
    """Standard error of the density loss by cement [% per %]."""
    return _or(rules.density_loss_error, SOILS[rules.soil].loss_error)


def _or(stated: float | None, otherwise: float) -> float:
    return otherwise if stated is None else stated


def check(given: Inputs) -> None:
    """Refuse nonsense by name.

    Raises
    ------
    JobError
        Density, depth, spread, loss, moisture or compaction that no clay has.
    """
    limits: tuple[tuple[str, float | Floats, float, float], ...] = (
        ("spread_kg_m2", given.spread, 0.0, 100.0),
        ("loss", given.loss, 0.0, 0.999),
        ("mixing_depth_m", given.depth, 1e-3, 1.0),
        ("max_density_kg_m3", given.density, 800.0, 2600.0),
        ("compaction_before", given.before, 0.7, 1.1),
        ("compaction_after", given.after, 0.7, 1.1),
        ("density_loss", given.density_loss, -5.0, 5.0),
        ("moisture_before", given.moisture_before, 0.0, 0.999),
        ("moisture_after", given.moisture_after, 0.0, 0.999),
        ("solids_kg_m3", given.solids, 2000.0, 3500.0),
        ("saturation", given.saturation, 0.5, 1.0),
    )
    for name, value, least, most in limits:
        if not bool(np.all((np.asarray(value) >= least) & (np.asarray(value) <= most))):
            raise JobError(
                f"stabilising.{name}",
                f"found {float(np.min(value)):g}, outside {least:g} to {most:g}",
                "give what was measured, in the unit that the name says",
            )


def rise_of(given: Inputs) -> Rise:
    r"""Rise of the layer, solids conserved.

    Parameters
    ----------
    given : Inputs

    Returns
    -------
    Rise
        Arrays broadcast from the inputs.

    Notes
    -----
    With :math:`q_e = q (1 - loss)` and :math:`C = 100 q_e / t \rho_0`:

    - :math:`\rho_0 = \min(RC_0\,MDD,\ cap(w_0))`
    - :math:`\rho_1 = \min(RC_1\,MDD\,(1 - k_d C / 100),\ cap(w_1))`
    - :math:`cap(w) = G_s \rho_w / (1 + w G_s / S)`: no denser than near saturation
    - :math:`dh = q_e / \rho_1 + t (\rho_0 / \rho_1 - 1)`

    so :math:`(t + dh) \rho_1 = t \rho_0 + q_e`. Where neither cap acts this is nearly
    :math:`(1 + k_d) q_e / \rho_1 + t (RC_0 / RC_1 - 1)`: the cement's part does not hang on the
    depth, but for :math:`k_d (1 + k_d) (C / 100)^2 t`, half a millimetre at 15 kg/m2.
    """
    q, t = np.asarray(given.spread) * (1 - np.asarray(given.loss)), np.asarray(given.depth)
    caps = [
        _cap(given, moisture) * np.asarray(scale)
        for moisture, scale in (
            (given.moisture_before, given.cap_before),
            (given.moisture_after, given.cap_after),
        )
    ]
    density = np.asarray(given.density)
    before = np.minimum(np.asarray(given.before) * density, caps[0])
    percent = 100 * q / (t * before)
    full = np.asarray(given.after) * density
    after = np.minimum(full * (1 - np.asarray(given.density_loss) * percent / 100), caps[1])
    if not bool(np.all(after > 0)):
        raise JobError(
            "stabilising.density_loss",
            f"{float(np.max(percent)):.0f} % of cement leaves no density after mixing",
            "check spread, depth and density loss",
        )
    rise = q / after + t * (before / after - 1)
    mismatch = t * (before / np.minimum(full, caps[1]) - 1)
    return Rise(*np.broadcast_arrays(rise, rise - mismatch, mismatch, before, after, percent))


def _cap(given: Inputs, moisture: ArrayLike) -> Floats:
    """Dry density at the saturation cap [kg/m3]."""
    w, g = np.asarray(moisture, dtype=np.float64), given.solids / WATER_KG_M3
    return np.asarray(given.solids / (1 + w * g / given.saturation))


def water_l_m2(given: Inputs) -> float:
    """Water to add [L/m2] to bring the mix to its moisture; 0 where the clay is wetter already.

    Examples
    --------
    13 % to 19 % over 30 cm of lean clay:

    >>> round(water_l_m2(inputs_of(Stabilising())))
    32
    """
    kept = float(given.spread) * (1 - float(given.loss))
    dry = float(given.depth) * float(rise_of(given).density_before)
    need = (dry + kept) * float(given.moisture_after) - dry * float(given.moisture_before)
    return max(need, 0.0)


def draws(given: Inputs, rules: Stabilising, seed: int = SEED) -> Floats:
    """Possible rises of a lot's mean [m], seeded, ``rules.draws`` of them.

    Notes
    -----
    Normal errors of spread, depth, density, both caps, both compactions (correlated)
    and density loss. The density's error is common to before and after.
    """
    random = np.random.default_rng(seed)
    z = random.standard_normal((8, rules.draws))
    loss_error = loss_error_of(rules)
    along, across = rules.correlation, math.sqrt(1 - rules.correlation**2)
    drawn = replace(
        given,
        spread=np.maximum(given.spread * (1 + rules.spread_error * z[0]), 0.0),
        depth=np.maximum(given.depth + rules.depth_error_m * z[1], 0.01),
        density=given.density * (1 + rules.density_error * z[2]),
        before=given.before + rules.compaction_before_error * z[3],
        after=given.after + rules.compaction_after_error * (along * z[3] + across * z[4]),
        density_loss=given.density_loss + loss_error * z[5],
        cap_before=1 + rules.saturation_error * z[6],
        cap_after=1 + rules.saturation_error * z[7],
    )
    return rise_of(drawn).rise


@dataclass(frozen=True, slots=True)
class Effect:
    """What one input moves: the rise [m] with the input lower and higher by `change`."""

    what: str
    setting: str
    change: str
    low_m: float
    high_m: float

    @property
    def swing_m(self) -> float:
        """The larger of both changes [m]."""
        return max(abs(self.low_m), abs(self.high_m))


def effects(given: Inputs, rules: Stabilising) -> tuple[Effect, ...]:
    """What each input moves when it is off by its standard error, the largest first.

    Notes
    -----
    One input at a time. The density before and after are moved apart, as a gauge
    that is wrong once would; an error of the density that both share moves nothing.
    """
    loss_error = loss_error_of(rules)
    share = 100 * rules.spread_error
    moves = (
        ("spread rate", "spread", given.spread * rules.spread_error, f"{share:g} %"),
        ("mixing depth", "depth", rules.depth_error_m, f"{1000 * rules.depth_error_m:g} mm"),
        ("cement loss", "loss", 0.02, "2 % of the spread"),
        ("density before", "before", rules.compaction_before_error,
         f"{100 * rules.compaction_before_error:g} % compaction"),
        ("density after", "after", rules.compaction_after_error,
         f"{100 * rules.compaction_after_error:g} % compaction"),
        ("density loss by cement", "density_loss", loss_error, f"{loss_error:g} % per %"),
        ("moisture before", "moisture_before", 0.01, "1 % moisture"),
        ("moisture after", "moisture_after", 0.01, "1 % moisture"),
    )  # fmt: skip
    middle = float(rise_of(given).rise)
    found = []
    for what, name, step, words in moves:
        value = float(getattr(given, name))
        low, high = (
            float(rise_of(replace(given, **{name: value + sign * float(step)})).rise) - middle
            for sign in (-1, 1)
        )
        found.append(Effect(what, name, words, low, high))
    return tuple(sorted(found, key=lambda effect: -effect.swing_m))


def per_kg(given: Inputs) -> tuple[float, float]:
    """The field number: rise for each kg/m2 [mm], and for one kg/m2 more [mm].

    The first is rise over spread, as a crew would have it from a strip; the second is
    what a change of the spread rate does. They differ by the mismatch of densities,
    which no cement causes.
    """
    spread = float(given.spread)
    rise = 1000 * float(rise_of(given).rise)
    more = 1000 * float(rise_of(replace(given, spread=spread + 1)).rise)
    return (rise / spread if spread > 0 else float("nan")), more - rise
