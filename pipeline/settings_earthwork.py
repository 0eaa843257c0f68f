"""Settings of volumes, of the stabilised clay, of what things cost and of hauling.

A number marked [assumed] is the project's own choice and prints as assumed until
the job file states it. What a cubic metre costs has no default: nobody but the
job knows, and a guess would decide how high the clay is left.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Interval, Le, Len, Lt

from pipeline.strict import (
    Known,
    KnownOrExact,
    Name,
    NotNegative,
    Settings,
    Tolerance,
    ToleranceOrNone,
)

Share = Annotated[float, Ge(0), Lt(1)]
Factor = Annotated[float, Gt(0), Le(3)]
Density = Annotated[float, Ge(800), Le(2600)]
Spread = Annotated[float, Ge(0), Le(100)]
Rise = Annotated[float, Ge(-0.2), Le(0.2)]
Compaction = Annotated[float, Ge(0.7), Le(1.1)]
Along = Annotated[float, Interval(ge=-100_000, le=1_000_000)]
MixDepth = Annotated[float, Gt(0), Le(1.0)]
SoilClass = Literal["lean clay", "fat clay", "silt"]
MoistureClass = Literal["dry", "optimum", "wet", "very wet"]

StripMethod = Literal[
    "one set-up, one bench", "two set-ups", "satellite, shifted to a bench", "satellite"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Volumes(Settings):
    """Stretches that volumes are given by, how sure they are, and what averages out."""

    interval_m: Annotated[float, Interval(ge=1, le=200)] = 20.0
    """Length of the stretches that volumes are given by."""
    balance_m: Annotated[float, Interval(ge=5, le=500)] = 40.0
    """Length that mixer and trimmer even out: the mean over it counts [assumed]."""
    mean_tolerance_m: Tolerance = 0.008
    """A mean this far off over the balance length is found in 95 of 100 cases [assumed]."""
    spot_m: Tolerance = 0.020
    """A single stretch within this is left alone where the mean is good. Common practice."""
    shot_sigma_m: Known = 0.009
    """Standard error of a shot's height where the file gives none [assumed]."""
    systematic_m: KnownOrExact = 0.003
    """Standard error that all shots share: bench and set-up; it does not average out [assumed]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bulking(Settings):
    """One cubic metre in the bank, loose on the truck and compacted: clay [assumed]."""

    loose_per_bank: Factor = 1.43
    """Loose on the truck, for one in the bank [assumed; US Army FM 5-434 Table 1-1, from
    memory]."""
    compacted_per_bank: Factor = 0.90
    """Compacted, for one in the bank [assumed; the same table]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hauling(Settings):
    """Trucks, and how far the blade carries."""

    box_m3: Annotated[float, Interval(ge=0.5, le=100)] = 12.0
    """Box of a truck [assumed]."""
    fill: Annotated[float, Gt(0), Le(1.2)] = 0.95
    """Share of the box that a load fills [assumed]."""
    payload_t: Annotated[float, Interval(ge=0.5, le=100)] = 16.0
    """What a truck may carry [assumed]."""
    clay_t_m3: Annotated[float, Gt(0), Le(3)] = 1.97
    """Wet clay, compacted [assumed]."""
    gravel_t_m3: Annotated[float, Gt(0), Le(3)] = 2.2
    """Gravel, compacted [assumed]."""
    tanker_m3: Annotated[float, Interval(ge=0.5, le=100)] = 10.0
    """Water tanker [assumed]."""
    blade_limit_m: Annotated[float, Interval(ge=1, le=500)] = 40.0
    """The blade carries no farther; beyond, it is trucked [assumed]."""
    free_haul_m: Annotated[float, Interval(ge=1, le=100000)] | None = None
    """Haul that the contract does not pay for. No default: it is the contract's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs(Settings):
    """What a cubic metre costs, in any one currency. No defaults."""

    currency: str = ""
    """Name of the currency; printed behind the figures."""
    surplus_per_m3: NotNegative | None = None
    """Stabilised clay left over, compacted: load, haul, dump, the cement lost, less re-use."""
    shortage_per_m3: NotNegative | None = None
    """Gravel in its stead, placed, less the clay that need not be dug."""
    blade_per_m3_m: NotNegative | None = None
    """A bank cubic metre pushed one metre."""
    truck_per_m3: NotNegative | None = None
    """A bank cubic metre loaded and dumped."""
    truck_per_m3_m: NotNegative | None = None
    """A bank cubic metre trucked one metre along the street."""
    borrow_per_m3: NotNegative | None = None
    """A bank cubic metre brought in from outside."""
    waste_per_m3: NotNegative | None = None
    """A bank cubic metre taken away."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip(Settings):
    """A test strip: heights before mixing and after compaction, at the same points."""

    name: str = ""
    """Of the strip; printed where it is used."""
    spread_kg_m2: Spread
    """Cement spread on the strip."""
    rise_m: Rise
    """Mean of after less before."""
    scatter_m: ToleranceOrNone = 0.0
    """Standard deviation of the single rises."""
    points: Annotated[int, Ge(2)] = 40
    """Points that were shot twice [assumed]."""
    method: StripMethod = "one set-up, one bench"
    """How the two heights were taken: what they share cancels."""
    lot: str = ""
    """The lot that it was laid in; it says nothing of another clay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StripFile(Settings):
    """A test strip as a file of its heights, point by point."""

    file: Annotated[str, Len(1, 200)]
    """Columns id, northing_m, easting_m, before_m and after_m."""
    name: str = ""
    """Of the strip; printed where it is used. The file's name where none is given."""
    spread_kg_m2: Spread
    """Cement spread on the strip."""
    method: StripMethod
    """How both surveys were tied together. No default: it decides whether the strip counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRule(Settings):
    """A stretch with a soil, a moisture, a spread rate or a mixing depth of its own.

    What it leaves out is that of the whole street. What belongs to a class of soil or
    of moisture does not outlive the class: a lot of another soil has the figures of
    that soil, a lot of another moisture those of that moisture, unless it states them.
    """

    name: Name
    """Printed on its sheet; strips name their lot by it."""
    start: Along
    """Station that it begins at, counted on from the start of the line [m]."""
    end: Along
    """Station that it ends at [m]."""
    soil: SoilClass | None = None
    """Class of its clay."""
    moisture: MoistureClass | None = None
    """How wet its clay is before mixing."""
    spread_kg_m2: Spread | None = None
    """Its cement spread."""
    mixing_depth_m: MixDepth | None = None
    """Its mixing depth, from the pre-graded surface down."""
    max_density_kg_m3: Density | None = None
    """Greatest dry density of its untreated clay."""
    optimum_moisture: Share | None = None
    """Moisture at that density, by dry mass."""
    compaction_before: Compaction | None = None
    """Its dry density before mixing, of the greatest."""
    density_loss: Annotated[float, Ge(-5), Le(5)] | None = None
    """Per cent of greatest dry density lost for each per cent of cement."""
    moisture_before: Share | None = None
    """Its moisture before mixing, by dry mass."""
    moisture_after: Share | None = None
    """Its moisture after compaction, by dry mass."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stabilising(Settings):
    """The clay, the cement, the mixer, and how the layer is to be left."""

    layer: str = "stabilised top"
    """The plane that the finished stabilised clay is to have."""
    soil: SoilClass = "lean clay"
    """Class of the clay; figures that the job does not state come from it [assumed]."""
    moisture: MoistureClass = "dry"
    """How wet the clay is before mixing [assumed]."""
    spread_kg_m2: Spread = 12.5
    """Cement spread. Common practice, no source."""
    loss: Share = 0.02
    """Share of the spread that is lost as dust [assumed]."""
    mixing_depth_m: MixDepth = 0.30
    """From the pre-graded surface down to the rotor's lowest point [assumed]."""
    mode: Literal["leave low", "leave high and trim"] = "leave low"
    """Left low, to rise to the plane, or built high and trimmed after curing."""
    trim_m: Annotated[float, Interval(ge=0, le=0.3)] = 0.025
    """Leave high: built this far above the plane, cured, then trimmed."""
    window: Literal["open", "closed"] = "open"
    """Open: highs are bladed into lows before it sets, so only the mean counts."""
    least_thickness_m: Annotated[float, Interval(ge=0.02, le=1)] | None = None
    """Of the stabilised layer, from the design; not checked where it is not given."""
    top_tolerance_m: Tolerance = 0.013
    """Of the finished top: 13 mm, half an inch, of Kentucky tolerances and Indiana town code
    155.080."""
    round_m: Tolerance = 0.005
    """A grader cannot hold less."""

    max_density_kg_m3: Density | None = None
    """Greatest dry density of the untreated clay in the standard compaction test."""
    optimum_moisture: Share | None = None
    """Moisture at that density, by dry mass."""
    compaction_before: Compaction | None = None
    """Dry density before mixing, of the greatest."""
    compaction_after: Compaction | None = None
    """Dry density after compaction, of the greatest."""
    density_loss: Annotated[float, Ge(-5), Le(5)] | None = None
    """Per cent of greatest dry density lost for each per cent of cement."""
    moisture_before: Share | None = None
    """Moisture before mixing, by dry mass."""
    moisture_after: Share | None = None
    """Moisture after compaction, by dry mass."""
    solids_kg_m3: Annotated[float, Ge(2000), Le(3500)] = 2700.0
    """Density of the solids [assumed; 2600 to 2800 for most soils, FM 5-472/NAVFAC MO 330]."""
    saturation: Annotated[float, Gt(0.5), Le(1)] = 0.95
    """Clay compacts no denser than at this degree of saturation [assumed]."""

    spread_error: Share = 0.05
    """Standard error of the spread, a share of it [assumed]."""
    depth_error_m: ToleranceOrNone = 0.015
    """Standard error of the mixing depth [assumed]."""
    density_error: Share = 0.02
    """Standard error of the greatest density, a share of it [assumed]."""
    saturation_error: Share = 0.01
    """Standard error of the saturation cap [assumed]."""
    compaction_before_error: Share = 0.015
    """Standard error of the compaction before [assumed]."""
    compaction_after_error: Share = 0.012
    """Standard error of the compaction after [assumed]."""
    density_loss_error: Annotated[float, Interval(ge=0, le=5)] | None = None
    """Standard error of the density loss, per cent a per cent."""
    correlation: Annotated[float, Ge(-1), Le(1)] = 0.5
    """Between the compaction before and after."""
    spot_error_m: ToleranceOrNone = 0.010
    """Standard deviation of single spots about the lot's mean; counts when the window is closed."""
    lot_error_m: ToleranceOrNone = 0.003
    """The strip is not the rest of the street."""
    strip_limit_m: Tolerance = 0.007
    """A strip test known no better than this is not used."""
    draws: Annotated[int, Ge(1000), Le(2_000_000)] = 200_000
    """Draws from which the range of the rise is taken."""
    strips: list[Strip] = field(default_factory=list)
    """Test strips of this clay; they move the belief, each by how well it is known."""
    strip_files: list[StripFile] = field(default_factory=list)
    """Test strips as files of their heights, read from the job folder."""
    lots: list[LotRule] = field(default_factory=list)
    """Stretches that are decided apart; what lies in none of them is as the whole street."""
