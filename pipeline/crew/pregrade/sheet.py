"""The decision sheet: words and tables, final, every default with where it comes from."""

from __future__ import annotations

from pipeline.crew.pregrade.loads import tanker_loads
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.strip import GOOD_POINTS, fit, mean_error
from pipeline.crew.pregrade.target import EQUAL, CostCurve
from pipeline.design.equations import named
from pipeline.model import Alignment, Table
from pipeline.settings_earthwork import Hauling
from pipeline.units import format_length, round_half_away

STRIP_FROM_M, STRIP_LENGTH_M = 20.0, 40.0
RANGE_STEP_M = 0.005

HONESTY = (
    "One decision for one soil, one moisture and one spread rate; where they change, decide anew.",
    (
        "The density that cement costs was chosen so that dry lean clay meets the rule of thumb"
        " (1-2 cm at 10-15 kg/m2): that row agreeing proves nothing. That fat clay rises more, silt"
        " and wet clay less, follows from assumed numbers and the saturation cap."
    ),
    "The cement's own solids lift the layer 6-9 mm at 10-15 kg/m2; the rest is density.",
    (
        "No published figure of rise per kg was found. Nearest practice: build the layer 25 mm"
        " above grade, cure, trim (Ohio DOT, Manual of Procedures 206, 2006)."
    ),
    "A strip test takes away more doubt than any of these numbers: measure before and after.",
    "No thin lift on material that has set: short of the plane, it is made up with gravel.",
    (
        "From mixing to final compaction about 2 hours (web pages of low authority; the job's"
        " specification decides)."
    ),
    "Strength, spread rate and depth are the engineer's; this sheet is about height only.",
)
"""Printed with every decision."""


def lot_line(found: Decision, line: Alignment | None = None) -> str:
    """Which lot a sheet is about, where there are several; stations as `line` names them."""
    lot, rules = found.lot, found.rules
    return (
        f"LOT {lot.name}, {named(line, lot.start)} to {named(line, lot.end)}:"
        f" {rules.soil}, {rules.moisture}, {rules.spread_kg_m2:g} kg/m2"
    )


def lines(
    found: Decision,
    hauling: Hauling,
    line: Alignment | None = None,
    left_out: tuple[str, ...] = (),
) -> tuple[str, ...]:
    """The sheet from the top: what to do, how sure, and what it costs to be wrong.

    ``left_out`` says which points of a strip do not count.
    """
    return (
        _headline(found),
        _range(found),
        *_strip(found, line),
        *(f"strip test: {text}" for text in left_out),
        (
            f"if wrong by 1 cm: {_loads(found)} out or {found.wrong_tonnes:.0f} t gravel in"
            f" ({found.lot.area_m2:.0f} m2)"
        ),
        (
            f"cement {found.percent:.1f} % by dry mass: {found.rules.spread_kg_m2:g} kg/m2 over"
            f" {found.rules.mix_depth_m:.2f} m"
        ),
        _water(found, hauling),
        _rotor(found),
        *_money(found),
        *_layer(found),
        (
            f"field number {found.field_mm:.2f} mm per kg/m2, of which density mismatch"
            f" {1000 * found.mismatch_m:+.1f} mm in all; one kg/m2 more: {found.more_mm:+.2f} mm"
        ),
        *_mixed(found),
        *found.limits,
    )


def _headline(found: Decision) -> str:
    if found.lowering is None:
        return (
            "NO TARGET: costs.surplus_per_m3 and costs.shortage_per_m3 are not stated;"
            " state both, or ask for a run with equal costs"
        )
    low = found.lowering
    plane = _plane(low)
    if low == 0:
        return f"LEAVE CLAY AT THE PLANE ({plane})"
    word = "LOW" if low > 0 else "HIGH"
    trim = ", then trim" if found.rules.mode == "leave high and trim" else ""
    return f"LEAVE CLAY {format_length(abs(100 * low), step=0.1)} cm {word} ({plane}{trim})"


def _plane(below: float) -> str:
    """``plane STAB-15 mm``: a height from the stabilised plane."""
    millimetres = round(-1000 * below)
    return f"plane STAB{millimetres:+d} mm" if millimetres else "plane STAB"


def _range(found: Decision) -> str:
    """Where the rise lies in eight of ten cases, and what it hangs on most."""
    low, high = (100 * float(round_half_away(v, RANGE_STEP_M)) for v in found.range_m)
    if found.belief.used:
        why = "the strip is not the whole street"
    else:
        why = f"{found.effects[0].what} is not known"
    return f"range {low:g} to {high:g} cm in 8 of 10 cases, because {why}"


def _strip(found: Decision, line: Alignment | None) -> tuple[str, ...]:
    """What the strips said, or where to lay one."""
    said = tuple(f"strip test: {text}" for text in found.belief.used)
    said += tuple(f"strip test: {text}" for text in found.belief.refused)
    if found.belief.used:
        now, then = found.belief.after, found.belief.before
        return (
            *said,
            *_line_of_strips(found),
            (
                f"rise {1000 * now.mean:.1f} +- {1000 * now.sd:.1f} mm after the strip,"
                f" before it {1000 * then.mean:.1f} +- {1000 * then.sd:.1f}"
            ),
        )
    start = min(found.lot.start + STRIP_FROM_M, found.lot.end)
    end = min(start + STRIP_LENGTH_M, found.lot.end)
    return (
        *said,
        (
            f"strip test: stations {named(line, start)} to {named(line, end)}, {GOOD_POINTS}"
            " points, before and after from one set-up on one bench mark"
        ),
    )


def _line_of_strips(found: Decision) -> tuple[str, ...]:
    """Where strips were laid at several rates: what they say a kilogram does, with its error."""
    good = [one for one in found.rules.strips if mean_error(one) <= found.rules.strip_limit_m]
    if len({one.spread_kg_m2 for one in good}) < 2:
        return ()
    line = fit(good)
    bare = format_length(1000 * line.mismatch, step=0.1)
    return (
        (
            f"strips at several rates: {1000 * line.per_kg:.2f} +- {1000 * line.per_kg_error:.2f}"
            f" mm for one kg/m2, {bare} +- {1000 * line.mismatch_error:.1f} mm"
            f" without cement; the mass balance has {found.more_mm:.2f}"
        ),
    )


def _loads(found: Decision) -> str:
    count = found.wrong_loads.count
    return f"{count} load{'' if count == 1 else 's'} ({found.wrong_loads.governs} governs)"


def _water(found: Decision, hauling: Hauling) -> str:
    litres = found.water_l_m2
    if litres <= 0:
        return "water: none, the clay is as wet as the mix needs or wetter"
    total = litres * found.lot.area_m2
    count = tanker_loads(total, hauling)
    return (
        f"water {litres:.0f} L/m2, {total / 1000:.0f} m3 in all, {count} tanker"
        f"{'' if count == 1 else 's'}; less after rain, more in sun and wind"
    )


def _rotor(found: Decision) -> str:
    where = ""
    if found.lowering is not None:
        where = f" at {_plane(found.lowering + found.rules.mix_depth_m)}"
    lids = found.lot.lids
    if lids is None:
        known = "NO UTILITIES LIST WAS READ"
    else:
        known = f"{lids} on the utilities list, see the sheet of buried things"
    return (
        f"rotor bottom{where}, {found.rules.mix_depth_m:.2f} m below the clay; {known};"
        " not a locate: call, and expose by hand"
    )


def _money(found: Decision) -> tuple[str, ...]:
    if found.target is None or found.rules.mode == "leave high and trim":
        return ()
    prices, per = found.target.prices, found.lot.area_m2
    if prices.origin == EQUAL:
        return ("equal costs, as asked for: a surplus is taken to cost what a shortage costs",)
    unit = f" {prices.currency}".rstrip()
    return (
        (
            f"costs of the job: surplus {prices.over:g}, shortage {prices.under:g}{unit} per m3;"
            f" least cost at {1000 * found.target.exact:.1f} mm, rounding to"
            f" {1000 * found.rules.round_m:g} mm costs"
            f" {found.target.rounding_m2 * per:.0f}{unit} more"
        ),
        (
            f"expected cost of not knowing the rise {found.target.cost_m2 * per:.0f}{unit}"
            f" over {per:.0f} m2"
        ),
    )


def _layer(found: Decision) -> tuple[str, ...]:
    if found.thickness is None:
        return ()
    thick = found.thickness
    least = "" if thick.least is None else f", least allowed {1000 * thick.least:.0f} mm"
    layer = (
        f"stabilised layer after trimming {1000 * thick.over:.0f} mm, where it rises least"
        f" {1000 * thick.short:.0f} mm{least}"
    )
    if found.lowering is not None and found.rules.mode == "leave high and trim":
        over = found.belief.after.mean - found.lowering
        volume = over * found.lot.area_m2
        return (
            layer,
            f"stands {1000 * over:.0f} mm over the plane when cured: {volume:.0f} m3 to trim",
        )
    window = (
        "window open: highs are bladed into lows before it sets, only the mean counts"
        if found.rules.window == "open"
        else "window closed: spots cannot be bladed any more and are in the range"
    )
    return (
        layer,
        (
            f"chance that its mean lands within {1000 * found.rules.top_tolerance_m:.0f} mm of the"
            f" plane untrimmed: {100 * found.within_tolerance:.0f} %"
        ),
        window,
    )


def _mixed(found: Decision) -> tuple[str, ...]:
    lot = found.lot
    if not lot.mixed:
        return ()
    return (
        (
            f"MIXED LOT: {lot.cut_m2:.0f} m2 in cut and {lot.fill_m2:.0f} m2 in fill; dry fill and"
            " wet cut rise differently, decide them apart"
        ),
    )


def tornado(found: Decision) -> Table:
    """What each input moves when it is off by its error, the largest first."""
    rows = tuple(
        (effect.what, effect.change, _mm(effect.low_m), _mm(effect.high_m))
        for effect in found.effects
    )
    columns = ("input", "change", "lower_mm", "higher_mm")
    return Table("pregrade_tornado", columns, rows, frozenset({"input", "change"}))


def _mm(metres: float) -> str:
    text = format_length(1000 * metres, step=0.1)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def cost_table(costs: CostCurve) -> Table:
    """The cost curve as rows, for the picture and for a spreadsheet."""
    rows = tuple(
        (format_length(1000 * low, step=0.1), format_length(cost, step=0.0001))
        for low, cost in zip(costs.lowering_m, costs.cost_m2, strict=True)
    )
    return Table("pregrade_cost", ("left_low_mm", "cost_per_m2"), rows)
