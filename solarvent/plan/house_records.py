"""Records of the house beside its shape, and of the light around it."""

from __future__ import annotations

import re
from math import log
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import parse
from solarvent.plan.fields import (
    AreaOrZero,
    Azimuth,
    ClockTime,
    Current,
    HeatTransfer,
    HeightOrZero,
    Length,
    Part,
    PartLength,
    PressureOrZero,
    Record,
    Share,
    Temperature,
    TemperatureDifference,
    Voltage,
    Volume,
    Weight,
    mistake,
    quantity,
)

#: Share of the light that passes through it, and through a tree without its leaves (common practice, no source).
_PASSES = {"tree": 0.2, "wall": 0.0, "ridge": 0.0}
_BARE = 0.6
#: Global light in a gap (bright clouds around it) and in the shadow of a cloud, as shares of that under a clear sky,
#: for a plan that names one of the two. From the hours of broken cloud in one-minute data of Payerne, June 2016
#: (Baseline Surface Radiation Network): 1.09 to 1.13 where more than half of the beam is there, 0.42 to 0.53 in the
#: rest. [-]
SUNLIT_LEVEL, SHADOW_LEVEL = 1.10, 0.45

Bearing = Annotated[float, Field(ge=-360, le=360)]


class Sky(Record):
    """How the light of a broken sky is read: as measured, or as two levels, in the gaps and in the shadows."""

    full_cover: Literal["thin", "ordinary", "dark"] = Field("ordinary", description="the cloud of an overcast sky")
    sunlit_level: Annotated[float, Field(ge=0.9, le=1.3)] | None = Field(
        None,
        description="light in the gaps, as a share of that under a clear sky; left out: as measured, or 1.10 beside one"
        " of the next two",
    )
    shadow_level: Annotated[float, Field(ge=0, le=0.85)] | None = Field(
        None,
        description="light in the shadows, as a share of that under a clear sky; left out: as measured, or 0.45 beside"
        " sunlit_level",
    )
    sunlit_share: Annotated[float, Field(gt=0, lt=1)] | None = Field(
        None,
        description="share of the time in sunlight under the sky that airflow is asked for, in place of shadow_level",
    )

    @model_validator(mode="after")
    def _is_one_reading(self) -> Sky:
        if self.shadow_level is not None and self.sunlit_share is not None:
            write = "give sunlit_share or shadow_level: the other follows from the mean light"
            raise mistake("the broken sky is given twice", write)
        return self

    @property
    def as_measured(self) -> bool:
        """The plan gives no levels of its own."""
        return self.sunlit_level is None and self.shadow_level is None

    @property
    def levels(self) -> tuple[float, float]:
        """Light in the gaps and in the shadows, where such a sky is read in two states. [-]"""
        gap = SUNLIT_LEVEL if self.sunlit_level is None else self.sunlit_level
        return gap, SHADOW_LEVEL if self.shadow_level is None else self.shadow_level


Factor = Annotated[float, Field(gt=0, le=20)]
Spread = Annotated[list[Factor], Field(min_length=2, max_length=2)]
Shift: Any = quantity("temperature difference", least=-25, most=25)
Believed: Any = quantity("temperature difference", least=0, most=25)


class MeasuredHouse(Record):
    """What a person's own readings say of the house: factors on what size and tables say, with 90 % intervals."""

    source: str = Field("", description="whose readings, of which days, and when they were worked out")
    leakage_factor: Factor | None = Field(None, description="on the area of its cracks")
    leakage_range: Spread | None = Field(None, description="its 90 % interval")
    light_factor: Factor | None = Field(None, description="on the sunlight that stays in it")
    light_range: Spread | None = Field(None, description="its 90 % interval")
    cover_factor: Factor | None = Field(None, description="on the U-value of its cover")
    cover_range: Spread | None = Field(None, description="its 90 % interval")
    storage_factor: Factor | None = Field(None, description="on the heat that floor and masses take and give back")
    storage_range: Spread | None = Field(None, description="its 90 % interval")
    ground_shift: Shift | None = Field(None, description="of the ground under it, over what the weather says")
    ground_range: Annotated[list[Shift], Field(min_length=2, max_length=2)] | None = Field(
        None, description="its 90 % interval"
    )
    night_error: Believed | None = Field(
        None, description="by which nine in ten readings of nights that were not fitted missed, at the most"
    )
    day_error: Believed | None = Field(None, description="the same of days")

    def half_width(self, figure: str) -> float | None:
        """Half of the 90 % interval of "leakage", "light", "cover", "storage" (of the logarithm) or "ground" [K]; 0 if
        the plan gives none, None if the figure was not measured."""
        low, high = getattr(self, f"{figure}_range") or (1.0, 1.0)
        # A factor cannot be below zero: its error is even in the logarithm. The ground is told in kelvins.
        if figure == "ground":
            return None if self.ground_shift is None else (high - low) / 2
        return None if getattr(self, f"{figure}_factor") is None else log(high / low) / 2


class Obstacle(Record):
    """A tree, a wall of a house or a ridge that stands between the panels and the sky."""

    kind: Literal["tree", "wall", "ridge"]
    azimuth: Bearing = Field(description="direction of its middle, seen from the panels; degrees from north")
    distance: Length = Field(description="from the panels to its middle, on the level")
    height: Length = Field(description="of its top above the panels")
    width: Length | None = Field(None, description="left out: without end, for a ridge the length of the house")
    passes: Share | None = Field(
        None, description="share of light through it; left out: 0.2 for a tree in leaf, else 0"
    )
    bare_passes: Share | None = Field(None, description="the same for a tree without leaves; left out: 0.6")
    leaf_months: list[Annotated[int, Field(ge=1, le=12)]] | None = Field(
        None, description="months in leaf; left out: April to October, south of the equator October to April"
    )

    @model_validator(mode="after")
    def _only_trees_have_leaves(self) -> Obstacle:
        if self.kind != "tree" and (self.bare_passes is not None or self.leaf_months is not None):
            write = 'leave bare_passes and leaf_months out, or write kind = "tree"'
            raise mistake(f"a {self.kind} has no leaves", write)
        return self

    def passes_by_month(self, north: bool) -> list[float]:
        """Share of the light that passes through it, January first."""
        full = _PASSES[self.kind] if self.passes is None else self.passes
        if self.kind != "tree":
            return [full] * 12
        bare = _BARE if self.bare_passes is None else self.bare_passes
        usual = [4, 5, 6, 7, 8, 9, 10] if north else [10, 11, 12, 1, 2, 3, 4]
        leaves = usual if self.leaf_months is None else self.leaf_months
        return [full if month in leaves else bare for month in range(1, 13)]


HeaterPower: Any = quantity("power", above=0, most=50_000)
Energy: Any = quantity("energy", above=0, most=20_000)
Lag: Any = quantity("time", least=0, most=7200)


class Cover(Part):
    """A glazing: of the house, or between the sun and the panel."""

    transmittance: Share
    u_value: HeatTransfer
    thickness: PartLength | None = None
    layers: Annotated[int, Field(ge=1, le=6, description="sheets with air between them")] = 1
    refractive_index: Annotated[float, Field(gt=1, lt=3, description="glass 1.526, polycarbonate 1.59")] = 1.526
    absorptance: Share = Field(0.1, description="share of the sun that the cover itself turns into heat")
    mesh: bool = Field(False, description="woven: screen, netting or cloth")


class Opening(Part):
    """A way for air: how much of its area counts, and what it takes to open it."""

    discharge_coefficient: Annotated[float, Field(gt=0, le=1)] = 0.6
    free_share: Annotated[float, Field(gt=0, le=1)] = Field(1.0, description="free area over the area of the hole")
    opening_pressure: PressureOrZero = Field("0 Pa", description="below it the blades of a gravity shutter stay shut")
    blades_open: Literal["inward", "outward"] | None = Field(
        None, description="to which side the blades of an inlet give way; left out: it has none that shut"
    )
    area: AreaOrZero | None = Field(None, description="gross area of the hole in the wall")
    wall_azimuth: Azimuth | None = None
    height: HeightOrZero | None = Field(None, description="of its middle above the ground; left out: half the house")
    extent: HeightOrZero = Field("0 m", description="from its lower to its upper edge; a door breathes both ways")
    on: Literal["wall", "roof"] = "wall"
    opener: str | None = Field(None, description="a wax cylinder that opens it, an entry of the openers library")
    opens_at: Temperature | None = Field(None, description="as the opener is set, if not as in the library")
    vent_weight: Weight | None = Field(None, description="of the vent that the opener lifts")
    at_night: Literal["as-by-day", "shut"] = Field("as-by-day", description="shut: somebody closes it at dusk")


class Opener(Part):
    """A wax cylinder that opens a vent by itself."""

    opens_at: Temperature = Field("18 degC", description="air temperature at which it begins to open, as set")
    span: TemperatureDifference = Field("10 K", description="from there to fully open")
    lag: Lag = Field("15 min", description="in which the wax makes up most of a change")
    lift: Weight = Field("5.4 kg", description="the heaviest vent that it lifts, as its maker says")


class Crop(Part):
    """A group of plants and the temperatures that it bears."""

    least: Temperature = Field(description="below it they are harmed")
    night: Temperature = Field(description="what they want at night to grow well")
    most: Temperature = Field(description="above it for hours they are harmed, or set no fruit")


class Mass(Part):
    """Something that stores heat: its stuff, its size and its surface, all for one piece."""

    volume: Volume
    heat_capacity: Annotated[float, Field(gt=0, le=6, description="MJ/(m3 K), plain: water 4.19, concrete 2.06")]
    area: AreaOrZero = Field(description="surface that the air of the house touches")
    sun_area: AreaOrZero = Field("0 m2", description="what it catches of the sun, seen from the front")
    film: HeatTransfer = Field("8.3 W/m2K", description="between surface and air, draught and radiation together")
    inner_resistance: Annotated[float, Field(ge=0, le=5)] = Field(
        0.0, description="from the surface to the middle, m2K/W, plain; none in water, which stirs itself"
    )
    weight: Weight | None = Field(None, description="of one piece, full; by default that of its water")
    footprint: AreaOrZero = Field("0.27 m2", description="on which it stands")
    freezes: bool = Field(False, description="it is water")
    count: Annotated[int, Field(ge=1, le=500)] = 1
    sunlit: bool = Field(True, description="the sun reaches it")
    stands_on: Literal["ground", "slab", "deck", "bench"] = "ground"
    history: Literal["food", "unknown", "chemicals"] = Field("food", description="what a drum held before")
    start: Temperature | None = Field(None, description="as warm as it is filled; left out: in step with the house")


class Heater(Record):
    """A backup heater with a thermostat."""

    power: HeaterPower
    fuel: Literal["electric", "propane", "paraffin", "wood"] = "electric"
    thermostat: Temperature = "4 degC"
    flue: bool = Field(False, description="its fumes go outside")
    cable: Literal["wall-socket", "extension", "fixed"] = Field("wall-socket", description="how an electric one is fed")


class Thermostat(Record):
    """A bimetal thermostat in the supply line of all fans: none is fed while the air inside is cool.

    It stands between the panels and whatever feeds the fans, one in each circuit, all in the same air. Choose one that
    is rated for direct current at the panel's open-circuit voltage.
    """

    closes_at: Temperature = Field("28 degC", description="inside air at which it closes and the fans may start")
    opens_at: Temperature = Field("24 degC", description="inside air under which it opens again and the fans stop")
    contact: Literal["dc", "ac"] | None = Field(
        None, description="what its contact is rated for, as printed on it; left out: not known"
    )

    @model_validator(mode="after")
    def _opens_in_cooler_air(self) -> Thermostat:
        if self.opens_at >= self.closes_at:
            write = 'like closes_at = "28 degC", opens_at = "24 degC"'
            raise mistake("opens_at is not below closes_at", write)
        return self


class Screen(Record):
    """A cover that is drawn at night, inside or over the house."""

    saving: Annotated[float, Field(ge=0, lt=1)] = Field(
        0.3, description="share of the heat loss through the cover that it saves; none saves all of it"
    )


class Shade(Record):
    """Cloth or paint against the sun."""

    transmittance: Share = Field(0.5, description="share of the light that passes; a 40 % cloth passes 0.6")
    place: Literal["outside", "inside", "paint"] = Field(
        "outside", description="cloth over or under the cover, or paint on it"
    )
    months: Annotated[list[Annotated[int, Field(ge=1, le=12)]], Field(min_length=1)] | None = Field(
        None, description="in which it hangs; left out: the months of need"
    )


class Plants(Record):
    """What grows, and so how warm and how cold it may get."""

    crop: str = Field(description="an entry of the crops library")


class Animals(Record):
    """Birds in the house: they warm it, breathe out water and want air."""

    count: Annotated[int, Field(gt=0, le=500)] = Field(description="how many hens")
    weight: Weight = Field("1.8 kg", description="of one of them")


#: Voltages that a controller may be set to, over that of the battery's label (common practice, no source). [-]
_SETTINGS = {"cut_off_voltage": (0.75, 1.08), "reconnect_voltage": (0.95, 1.2), "charging_voltage": (1.08, 1.3)}


class Battery(Record):
    """A battery with a charge controller: the panels charge it, and the fans run from it by day and by night.

    A controller that the plan names in its wiring is the one; else the battery brings it. The fans are switched on in
    the hours of need and in the evening, or by a thermostat at any hour. Without a capacity, this program only warns of
    frost.
    """

    kind: Literal["lithium", "lead-acid"] = Field("lead-acid", description="lithium is LiFePO4")
    capacity: Energy | None = Field(
        None, description='as on its label, "84 Wh"; or "7 Ah" with its voltage beside it, voltage = "12 V"'
    )
    voltage: Voltage = Field("12 V", description="by its label")
    controller: Literal["pwm", "mppt"] = Field(
        "pwm", description="pwm: the panel is pulled down to the battery's voltage; mppt: it stays at its best point"
    )
    fans_at: Literal["load-output", "battery"] = Field(
        "load-output",
        description="the controller's load output, which it takes off in time; or the battery's own poles",
    )
    fed: Literal["when-needed", "always"] = Field(
        "when-needed",
        description="a switch or timer for the hours of need and the evening; or nothing switches the fans",
    )
    cut_off: bool = Field(True, description="the controller takes the load off before the battery is flat")
    cut_off_voltage: Voltage | None = Field(None, description="at which it does; left out: 12.0 V of a 12 V battery")
    reconnect_voltage: Voltage | None = Field(
        None, description="at which the load is joined again; left out: 12.6 V, or 12.8 V of a lithium one"
    )
    charging_voltage: Voltage | None = Field(
        None, description="at which the controller charges the last of it; left out: 14.4 V of a 12 V battery"
    )
    fuse: Current | None = Field(None, description="at the battery's + pole")
    start: ClockTime = Field("18:00", description="of the evening in which the fans are wanted too")
    end: ClockTime = Field("22:00", description="of that evening; the same as its start: none")
    days: Annotated[float, Field(gt=0, le=30)] = Field(2.0, description="days of autonomy wanted")

    @model_validator(mode="before")
    @classmethod
    def _reads_amp_hours(cls, given: Any) -> Any:
        """Turn the ampere hours of a label into energy, by its voltage."""
        # Before the fields are read: a charge is no energy, and the voltage stands in another key.
        capacity = given.get("capacity") if isinstance(given, dict) else None
        if not isinstance(capacity, str):
            return given
        label = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*Ah\s*", capacity)
        if label is None:
            return given
        try:
            volts = parse(given.get("voltage"), "voltage")
        except QuantityError:
            what = f"{capacity.strip()} is a charge, and says nothing without the voltage of the battery"
            write = f'write voltage = "12 V" beside it, or energy: "{float(label[1]) * 12:g} Wh" for 12 V'
            raise mistake(what, write) from None
        return {**given, "capacity": f"{float(label[1]) * volts:.12g} Wh"}

    @model_validator(mode="after")
    def _is_set_as_controllers_are(self) -> Battery:
        for name, (least, most) in _SETTINGS.items():
            volts = getattr(self, name)
            if volts is not None and not least <= volts / self.voltage <= most:
                what = f"{name} of {volts:g} V is nothing for a battery of {self.voltage:g} V"
                write = f"it lies between {least * self.voltage:.3g} and {most * self.voltage:.3g} V"
                raise mistake(what, write)
        return self

    @property
    def cuts_off(self) -> bool:
        """Whether something takes the fans off before it is flat."""
        return self.cut_off and self.fans_at == "load-output"

    @property
    def usable(self) -> float:
        """Energy from full down to the cut-off: half of a lead-acid battery, nine tenths of a lithium one. [Wh]"""
        # Common practice, no source: deeper than that either kind ages fast.
        return (self.capacity or 0.0) * (0.9 if self.kind == "lithium" else 0.5)
