"""The decision sheet: words and tables, final, every default with where it comes from."""

from __future__ import annotations

from pipeline.crew.measures import METRIC, Measures
from pipeline.crew.pregrade.loads import tanker_loads
from pipeline.crew.pregrade.model import Effect
from pipeline.crew.pregrade.recommendation import Decision
from pipeline.crew.pregrade.strip import GOOD_POINTS, fit, mean_error, strip_words
from pipeline.crew.pregrade.target import EQUAL, CostCurve
from pipeline.design.equations import named
from pipeline.model import Alignment, Table
from pipeline.settings_earthwork import Hauling
from pipeline.units import FOOT_M, format_length, round_half_away

STRIP_FROM_M, STRIP_LENGTH_M = 20.0, 40.0
RANGE_STEP_M = 0.005

HONESTY = (
    "One decision for one soil, one moisture and one spread rate; where they change, decide anew.",
    (
        "The density that cement costs was chosen so that dry lean clay meets the rule of thumb"
        " (1-2 cm or 0.03-0.07 ft at 10-15 kg/m2): that row agreeing proves nothing. That fat clay"
        " rises more, silt and wet clay less, follows from assumed numbers and the saturation cap."
    ),
    (
        "The cement's own solids lift the layer 6-9 mm or 0.02-0.03 ft at 10-15 kg/m2; the rest is"
        " density."
    ),
    (
        "No published figure of rise per kg was found. Nearest practice: build the layer 25 mm,"
        " one inch, above grade, cure, trim (Ohio DOT, Manual of Procedures 206, 2006)."
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
    unit: Measures = METRIC,
) -> tuple[str, ...]:
    """The sheet from the top: what to do, how sure, and what it costs to be wrong.

    ``left_out`` says which points of a strip do not count.
    """
    return (
        _headline(found, unit),
        _range(found, unit),
        *_strip(found, line, unit),
        *(f"strip test: {text}" for text in left_out),
        (
            f"if wrong by {a_centimetre(unit)}: {found.wrong_loads.words} out or"
            f" {found.wrong_tonnes:.0f} t gravel in"
            f" ({unit.area(found.lot.area_m2)} {unit.area_unit})"
        ),
        (
            f"cement {found.percent:.1f} % by dry mass: {found.rules.spread_kg_m2:g} kg/m2 over"
            f" {_depth(found, unit)}"
        ),
        _water(found, hauling, unit),
        _rotor(found, unit),
        *_money(found, unit),
        *_layer(found, unit),
        (
            f"field number {_per_kg(found.field_mm, unit)} {unit.fine_unit} per kg/m2, of which"
            f" density mismatch {_signed(found.mismatch_m, unit)} {unit.fine_unit} in all;"
            f" one kg/m2 more: {'+' if found.more_mm >= 0 else ''}{_per_kg(found.more_mm, unit)}"
            f" {unit.fine_unit}"
        ),
        *_mixed(found, unit),
        *found.limits,
    )


def a_centimetre(unit: Measures) -> str:
    """What a cost of being wrong is told for: ``1 cm``, or as many hundredths of a foot."""
    return "1 cm" if unit.unit == "m" else unit.step(0.01)


def _depth(found: Decision, unit: Measures) -> str:
    return f"{unit.long(found.rules.mixing_depth_m, 0.01)} {unit.unit}"


def _per_kg(millimetres: float, unit: Measures) -> str:
    """Hundredths of a millimetre, or ten thousandths of a foot: a layer has a dozen kilograms."""
    if unit.unit == "ft":
        return f"{unit.of_long(millimetres / 1000):.4f}"
    return f"{millimetres:.2f}"


def _headline(found: Decision, unit: Measures) -> str:
    if found.lowering is None:
        return (
            "NO TARGET: costs.surplus_per_m3 and costs.shortage_per_m3 are not stated;"
            " state both, or ask for a run with equal costs"
        )
    low = found.lowering
    plane = _plane(low, unit)
    if low == 0:
        return f"LEAVE CLAY AT THE PLANE ({plane})"
    word = "LOW" if low > 0 else "HIGH"
    trim = ", then trim" if found.rules.mode == "leave high and trim" else ""
    return f"LEAVE CLAY {unit.step(abs(low))} {word} ({plane}{trim})"


def _plane(below: float, unit: Measures) -> str:
    """``plane STAB-15 mm``: a height from the stabilised plane."""
    if unit.unit == "ft":
        feet = unit.small(-below)
        sign = "" if feet.startswith("-") else "+"
        return f"plane STAB{sign}{feet} ft" if float(feet) else "plane STAB"
    millimetres = round(-1000 * below)
    return f"plane STAB{millimetres:+d} mm" if millimetres else "plane STAB"


def _range(found: Decision, unit: Measures) -> str:
    """Where the rise lies in eight of ten cases, and what it hangs on most."""
    low, high = (half_steps(v, unit) for v in found.range_m)
    if found.belief.used:
        why = "the strip is not the whole street"
    else:
        why = f"{found.effects[0].what} is not known"
    return f"range {low} to {high} {unit.small_unit} in 8 of 10 cases, because {why}"


def half_steps(metres: float, unit: Measures) -> str:
    """Half centimetres, or hundredths of a foot, without a unit.

    Examples
    --------
    >>> half_steps(0.0241, METRIC), half_steps(0.0241, Measures("ft"))
    ('2.5', '0.08')
    """
    if unit.unit == "ft":
        return unit.small(metres)
    return f"{100 * float(round_half_away(metres, RANGE_STEP_M)):g}"


def _strip(found: Decision, line: Alignment | None, unit: Measures) -> tuple[str, ...]:
    """What the strips said, or where to lay one."""
    said = tuple(f"strip test: {text}" for text in strip_words(found.belief, unit))
    if found.belief.used:
        now, then = found.belief.after, found.belief.before
        return (
            *said,
            *_line_of_strips(found, unit),
            (
                f"rise {unit.finest(now.mean)} +- {unit.finest(now.sd)} {unit.fine_unit} after"
                f" the strip, before it {unit.finest(then.mean)} +- {unit.finest(then.sd)}"
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


def _line_of_strips(found: Decision, unit: Measures) -> tuple[str, ...]:
    """Where strips were laid at several rates: what they say a kilogram does, with its error."""
    good = [one for one in found.rules.strips if mean_error(one) <= found.rules.strip_limit_m]
    if len({one.spread_kg_m2 for one in good}) < 2:
        return ()
    line = fit(good)
    return (
        (
            f"strips at several rates: {_per_kg(1000 * line.per_kg, unit)} +-"
            f" {_per_kg(1000 * line.per_kg_error, unit)} {unit.fine_unit} for one kg/m2,"
            f" {unit.finest(line.mismatch)} +- {unit.finest(line.mismatch_error)}"
            f" {unit.fine_unit} without cement; the mass balance has"
            f" {_per_kg(found.more_mm, unit)}"
        ),
    )


def _water(found: Decision, hauling: Hauling, unit: Measures) -> str:
    litres = found.water_l_m2
    if litres <= 0:
        return "water: none, the clay is as wet as the mix needs or wetter"
    total = litres * found.lot.area_m2
    count = tanker_loads(total, hauling)
    # nobody has water in cubic yards
    if unit.unit == "m":
        rate, amount = f"{litres:.0f} L/m2", f"{total / 1000:.0f} m3"
    else:
        rate, amount = f"{litres * FOOT_M**2:.1f} L/ft2", f"{total:.0f} L"
    return (
        f"water {rate}, {amount} in all, {count} tanker"
        f"{'' if count == 1 else 's'}; less after rain, more in sun and wind"
    )


def _rotor(found: Decision, unit: Measures) -> str:
    where = ""
    if found.lowering is not None:
        where = f" at {_plane(found.lowering + found.rules.mixing_depth_m, unit)}"
    lids = found.lot.lids
    if lids is None:
        known = "NO UTILITIES LIST WAS READ"
    else:
        known = f"{lids} on the utilities list, see the sheet of buried things"
    return (
        f"rotor bottom{where}, {_depth(found, unit)} below the clay; {known};"
        " not a locate: call, and expose by hand"
    )


def _money(found: Decision, unit: Measures) -> tuple[str, ...]:
    if found.target is None or found.rules.mode == "leave high and trim":
        return ()
    prices, per = found.target.prices, found.lot.area_m2
    if prices.origin == EQUAL:
        return ("equal costs, as asked for: a surplus is taken to cost what a shortage costs",)
    money = f" {prices.currency}".rstrip()
    return (
        (
            f"costs of the job:{money} {unit.per_volume(prices.over)} of a surplus,"
            f" {unit.per_volume(prices.under)} of a shortage; least cost at"
            f" {unit.finest(found.target.exact)} {unit.fine_unit}, rounding to"
            f" {unit.step(found.rules.round_m)} costs"
            f" {found.target.rounding_m2 * per:.0f}{money} more"
        ),
        (
            f"expected cost of not knowing the rise {found.target.cost_m2 * per:.0f}{money}"
            f" over {unit.area(per)} {unit.area_unit}"
        ),
    )


def _layer(found: Decision, unit: Measures) -> tuple[str, ...]:
    if found.thickness is None:
        return ()
    thick = found.thickness
    fine = unit.fine_unit
    least = "" if thick.least is None else f", least allowed {unit.fine(thick.least)} {fine}"
    layer = (
        f"stabilised layer after trimming {unit.fine(thick.over)} {fine}, where it rises least"
        f" {unit.fine(thick.short)} {fine}{least}"
    )
    if found.lowering is not None and found.rules.mode == "leave high and trim":
        over = found.belief.after.mean - found.lowering
        volume = over * found.lot.area_m2
        return (
            layer,
            (
                f"stands {unit.fine(over)} {fine} over the plane when cured:"
                f" {unit.volume(volume, 1.0)} {unit.volume_unit} to trim"
            ),
        )
    window = (
        "window open: highs are bladed into lows before it sets, only the mean counts"
        if found.rules.window == "open"
        else "window closed: spots cannot be bladed any more and are in the range"
    )
    return (
        layer,
        (
            f"chance that its mean lands within {unit.fine(found.rules.top_tolerance_m)} {fine} of"
            f" the plane untrimmed: {100 * found.within_tolerance:.0f} %"
        ),
        window,
    )


def _mixed(found: Decision, unit: Measures) -> tuple[str, ...]:
    lot = found.lot
    if not lot.mixed:
        return ()
    return (
        (
            f"MIXED LOT: {unit.area(lot.cut_m2)} {unit.area_unit} in cut and"
            f" {unit.area(lot.fill_m2)} {unit.area_unit} in fill; dry fill"
            " and wet cut rise differently, decide them apart"
        ),
    )


def tornado(found: Decision, unit: Measures = METRIC) -> Table:
    """What each input moves when it is off by its error, the largest first.

    Metric for software; a page has the crew's unit.
    """
    rows = tuple(
        (
            effect.what,
            _off_by(effect, found, unit),
            _signed(effect.low_m, unit),
            _signed(effect.high_m, unit),
        )
        for effect in found.effects
    )
    columns = ("input", "change", f"lower_{unit.fine_unit}", f"higher_{unit.fine_unit}")
    return Table("pregrade_tornado", columns, rows, frozenset({"input", "change"}))


def _off_by(effect: Effect, found: Decision, unit: Measures) -> str:
    if effect.setting == "depth" and unit.unit == "ft":
        return f"{unit.finest(found.rules.depth_error_m)} ft"
    return effect.change


def _signed(metres: float, unit: Measures) -> str:
    text = unit.finest(metres)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def cost_table(costs: CostCurve) -> Table:
    """The cost curve as rows, for the picture and for a spreadsheet."""
    rows = tuple(
        (format_length(1000 * low, step=0.1), format_length(cost, step=0.0001))
        for low, cost in zip(costs.lowering_m, costs.cost_m2, strict=True)
    )
    return Table("pregrade_cost", ("left_low_mm", "cost_per_m2"), rows)
