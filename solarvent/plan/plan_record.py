"""The content of a plan file: what a person has, where it stands and how it is wired; its JSON Schema for editors."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, tzinfo
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from solarvent.plan.climate import Climate
from solarvent.plan.fields import (
    Altitude,
    Azimuth,
    ClockTime,
    FloorLength,
    Flow,
    Height,
    HeightOrZero,
    Length,
    Record,
    Resistance,
    Share,
    Temperature,
    TemperatureDifference,
    Volume,
    WireTemperature,
    mistake,
    zones_called,
)
from solarvent.plan.house_records import (
    Animals,
    Battery,
    Heater,
    Mass,
    MeasuredHouse,
    Obstacle,
    Opening,
    Plants,
    Screen,
    Shade,
    Sky,
    Thermostat,
)
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Part, Splitter

PLAN_VERSION: Literal[1] = 1
#: Zones stray from the sun by up to three hours; more is a slip. [h]
CLOCK_SLACK = 3.5
#: Share of light that grass reflects, as is customary where nothing is known (Liu & Jordan 1963). [-]
ALBEDO_GRASS = 0.2


class Place(Record):
    """Where it stands."""

    latitude: Annotated[float, Field(ge=-90, le=90, description="degrees, north positive")]
    longitude: Annotated[float, Field(ge=-180, le=180, description="degrees, east positive")]
    altitude: Altitude = "0 m"
    timezone: str = Field("UTC", description='a zone name like "America/New_York"; clock times follow it')
    albedo: Share = ALBEDO_GRASS
    record_low: Temperature | None = Field(None, description="coldest air on record, for the voltage limits")
    wind_share: Share = Field(0.5, description="wind at the house over wind at the weather station")
    skyline: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default_factory=list,
        max_length=360,
        description="far hills and roofs: [degrees from north, degrees above the horizontal], ...",
    )

    @field_validator("skyline")
    @classmethod
    def _is_above_the_horizontal(cls, points: list[list[float]]) -> list[list[float]]:
        for azimuth, elevation in points:
            if not (-360 <= azimuth <= 360 and 0 <= elevation <= 90):
                what = f"[{azimuth:g}, {elevation:g}] is no point of a skyline"
                write = "write [degrees from north, degrees above the horizontal], like [225, 12]"
                raise mistake(what, write)
        return points

    @field_validator("timezone")
    @classmethod
    def _is_a_zone(cls, name: str) -> str:
        from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            towns = zones_called(name)
            write = f'did you mean "{towns[0]}"?' if towns else 'use a name like "Europe/London" or "UTC"'
            raise mistake(f'"{name[:40]}" is no time zone', write) from None
        return name

    @property
    def zone(self) -> tzinfo:
        """The time zone of the clock on the wall."""
        from zoneinfo import ZoneInfo

        return ZoneInfo(self.timezone)

    def clock_offset(self) -> float:
        """What the clock on the wall is ahead of universal time in winter of the north. [h]"""
        # Any winter will do: in the south that is summer time, which stays within the slack.
        offset = self.zone.utcoffset(datetime(2001, 1, 1))
        return offset.total_seconds() / 3600 if offset is not None else 0.0

    def clock_is_far(self, longitude: float | None = None) -> bool:
        """Tell whether the clock does not fit the longitude, by default the place's own. [deg]"""
        east = self.longitude if longitude is None else longitude
        # 15 degrees are an hour; across the date line the two differ by a whole day.
        return abs((self.clock_offset() - east / 15 + 12) % 24 - 12) > CLOCK_SLACK


class Weather(Record):
    """Where the hours of weather come from: a file, the embedded year, monthly normals, or a clear sky by formula."""

    file: str | None = Field(None, description="a TMY3, EPW or CSV file of hours, beside the plan or by its full path")
    embedded: Literal["latitude 36.1, longitude -79.95"] | None = None
    climate: str | None = Field(
        None, description='a kind of place, like "cool-maritime"; see: solarvent parts climates'
    )
    normals: Climate | None = Field(None, description="monthly normals of your own, in place of a climate")
    clear_sky: bool = False
    temp_air: Temperature = Field("20 degC", description="air temperature that goes with clear_sky")

    @model_validator(mode="after")
    def _is_one_thing(self) -> Weather:
        given = [value for value in (self.file, self.embedded, self.climate, self.normals) if value is not None]
        if len(given) + self.clear_sky != 1:
            write = 'give one of: file = "...", climate = "...", embedded = "...", clear_sky = true, [weather.normals]'
            raise mistake("the source of the weather is not clear", write)
        return self


class House(Record):
    """The space that is ventilated."""

    shape: Literal["gable", "lean-to", "tunnel", "dome", "box", "shed", "coop"] = "gable"
    length: FloorLength
    width: FloorLength
    eaves: HeightOrZero = Field("1.8 m", description="height of the side walls; of the low side of a lean-to")
    ridge: Height = Field("2.3 m", description="height at the top")
    volume: Volume | None = Field(None, description="if you know it better than the shape tells")
    cover: str = "single-glass"
    use: Literal["greenhouse", "shed", "coop", "camper"] = "greenhouse"
    planting: Literal["empty", "half", "full"] = Field("half", description="how much of the floor is green leaf")
    leaf_area: Annotated[float, Field(ge=0, le=10)] | None = Field(
        None, description="m2 of leaf for each m2 of floor, plain; left out: by planting, 0, 1 or 3"
    )
    watered: bool | None = Field(None, description="floor and plants get water; left out: where something grows")
    tightness: Literal["tight", "average", "leaky"] = "average"
    azimuth: Azimuth = Field(180.0, description="degrees from north: where the long front faces")
    floor: Literal["soil", "lawn", "gravel", "slab", "boards"] = Field(
        "soil", description="what the sun falls on; slab is concrete or stone"
    )
    back: str | None = Field(
        None, description="solid wall at the back, an entry of the covers library; left out: as clear as the rest"
    )
    stores_fuel: bool = Field(False, description="fuel, solvents or gas bottles are kept in it")
    measured: MeasuredHouse | None = Field(None, description="found from readings: solarvent calibrate writes it")


class Target(Record):
    """What would be enough, and when it is needed."""

    air_changes: Annotated[float, Field(gt=0, le=200)] | None = None
    flow: Flow | None = None
    rise: TemperatureDifference = Field("6 K", description="how much warmer than outside the house may get")
    months: list[Annotated[int, Field(ge=1, le=12)]] | None = Field(
        None, min_length=1, description="left out: May to September, south of the equator November to March"
    )
    start: ClockTime = "12:00"
    end: ClockTime = "18:00"

    @model_validator(mode="after")
    def _is_a_span(self) -> Target:
        if self.start == self.end:
            raise mistake("start and end are the same", 'like start = "12:00", end = "18:00"')
        return self


class Cable(Record):
    """The cable that a layout word uses."""

    wire: str = "18 AWG"
    length: Length = "5 m"
    wire_quality: Annotated[float, Field(ge=1, le=3)] = 1.0


class Wiring(Record):
    """How the parts are joined: runs from source to load, or a layout word with its cables."""

    layout: Literal["shared", "series", "one-each"] | None = Field(
        None, description="all fans side by side, all fans in a chain, or a panel to each fan"
    )
    panels: Literal["parallel", "series"] = Field("parallel", description="how several panels are joined")
    lead: Cable = Field(default_factory=Cable, description="from the panels to the fans")
    branch: Cable = Field(default_factory=lambda: Cable(length="1 m"), description="from the split to each fan")
    converter: str | None = Field(
        None, description="between the panels and the split, an entry of the converters library"
    )
    blocking_diode: str | None = Field(None, description="in the line of each panel, an entry of the diodes library")
    runs: list[list[str]] = Field(default_factory=list, description="lists of ids, each from a panel to a fan")
    contact_resistance: Resistance = Field("0.03 ohm", description="of one contact; a joint has two")
    wire_temperature: WireTemperature = Field("45 degC", description="of the copper of all leads while the sun shines")

    @model_validator(mode="after")
    def _is_one_way(self) -> Wiring:
        if (self.layout is None) == (not self.runs):
            write = (
                'give layout = "shared" (or "series", "one-each"), or runs = [["panel-id", "lead-id", "fan-id"], ...]'
            )
            raise mistake("give a layout or runs, one of them", write)
        return self


class PlanRecord(Record):
    """A whole plan."""

    plan_version: Literal[1] = PLAN_VERSION
    title: Annotated[str, Field(max_length=20_000)] = "a plan without a title"
    notes: str = ""
    units: Literal["metric", "us"] = "metric"
    clock: Literal["local", "solar"] = Field("local", description="local: the clock on the wall, with daylight saving")
    place: Place
    weather: Weather
    sky: Sky = Field(default_factory=Sky)
    obstacle: list[Obstacle] = Field(default_factory=list, max_length=24)
    house: House
    target: Target = Field(default_factory=Target)
    panel: list[Panel] = Field(min_length=1, max_length=12)
    fan: list[Fan] = Field(min_length=1, max_length=24)
    lead: list[Lead] = Field(default_factory=list, max_length=60)
    splitter: list[Splitter] = Field(default_factory=list, max_length=24)
    converter: list[Converter] = Field(default_factory=list, max_length=12)
    opening: list[Opening] = Field(default_factory=list, max_length=24)
    mass: list[Mass] = Field(default_factory=list, max_length=24)
    plants: Plants | None = Field(None, description="left out: by the use of the house")
    animals: Animals | None = Field(None, description="hens in the house; left out: none are counted")
    heater: Heater | None = None
    thermostat: Thermostat | None = Field(None, description="in the supply line of the fans; left out: none")
    screen: Screen | None = None
    shade: Shade | None = None
    battery: Battery | None = None
    wiring: Wiring

    @model_validator(mode="after")
    def _has_light_where_it_needs_air(self) -> PlanRecord:
        # Fans on a panel stand at night, so that such a span is a slip.
        if self.target.start > self.target.end and self.storage is None:
            write = 'like start = "12:00", end = "18:00"; only a [battery] with a capacity runs fans over midnight'
            raise mistake("in [target] start is not before end", write)
        return self

    @property
    def storage(self) -> Battery | None:
        """The battery from which the fans run; one without a capacity is none."""
        return None if self.battery is None or self.battery.capacity is None else self.battery

    @property
    def months_of_need(self) -> list[int]:
        """The months in which air is needed: those of the target, or the warm ones of the hemisphere."""
        if self.target.months is not None:
            return self.target.months
        return [5, 6, 7, 8, 9] if self.place.latitude >= 0 else [11, 12, 1, 2, 3]

    def parts(self) -> Iterator[tuple[str, Part]]:
        """Yield the wired parts with their sections: panels, fans, leads, splitters, converters."""
        for section in ("panel", "fan", "lead", "splitter", "converter"):
            for part in getattr(self, section):
                yield section, part


#: What keys mean that stand in many tables, and those of one table as ``Table.key``.
_MEANINGS = {
    "id": "the plan's own word for it, by which runs and answers name it",
    "part": "entry of the parts library whose figures hold where the plan gives none",
    "name": "what it is, in words",
    "source": "where its figures come from",
    "price": "in the plan's money; only sums of it are shown",
    "inlet": "the end that takes power: family, body, contact and where + sits",
    "outlet": "the end that gives power: family, body, contact and where + sits",
    "wire": 'size of one conductor: "18 AWG" or "0.75 mm2"',
    "wire_quality": "resistance over that of copper of this size; 1.3 for thin or copper-clad wire",
    "count": "how many alike",
    "wall_azimuth": "the way its wall faces; degrees from north",
    "Fan.speed_exponent": "current follows the voltage to this power while it turns; 1 unless measured",
    "Fan.motor": "what it does standing: tries again and again, or is held with its locked-rotor current",
    "Fan.reverse_protected": "reversed poles do not harm it",
    "Fan.free_air_flow": "at its rated voltage with nothing in the way",
    "Fan.shutoff_pressure": "at its rated voltage against a shut wall",
    "Heater.fuel": "what it burns, or electric",
    "House.shape": "form of the roof and walls",
    "House.cover": "entry of the covers that the house is glazed with",
    "House.use": "greenhouse, shed, coop or camper: what lives or is kept in it",
    "House.tightness": "how tight the cover is; decides the cracks",
    "Mass.stands_on": "what it stands on and exchanges heat with",
    "Obstacle.kind": "what stands there",
    "Opening.discharge_coefficient": "share of the ideal flow that comes through; 0.6 for a plain hole",
    "Opening.on": "wall or roof in which it lies",
    "Panel.watts": "of its plate, in full sun",
    "Panel.v_oc": "open-circuit voltage of its plate",
    "Panel.i_sc": "short-circuit current of its plate",
    "Panel.v_mp": "voltage of its plate at the greatest power",
    "Panel.i_mp": "current of its plate at the greatest power",
    "Panel.cells_in_series": 'cells one behind the other; 36 for a "12 V" panel',
    "Panel.width": "of the whole panel",
    "Panel.height": "of the whole panel",
    "Panel.single_diode": "the five parameters of its single diode, in place of the plate",
    "Place.albedo": "share of the light that the ground gives back",
    "Splitter.branches": "how many ways it divides to",
    "Splitter.arrangement": "its branches beside each other, or one behind the other",
    "Splitter.trunk": "the end towards the panel",
    "Splitter.branch": "the ends towards the fans",
    "Lead.diode": "a diode in it: the name of an entry, or its figures",
    "Target.air_changes": "air changes an hour that are wanted, in place of a rise",
    "Target.flow": "flow that is wanted, in place of a rise",
    "Target.start": "clock time from which air is needed, HH:MM",
    "Target.end": "clock time to which air is needed, HH:MM; earlier than the start: over midnight",
    "Weather.embedded": "the year that comes with the program",
    "Weather.clear_sky": "a year without a cloud, in place of weather",
    "plan_version": "of the form of this file",
    "title": "what the plan is called in answers",
    "notes": "words for yourself",
    "units": "metric or us: how answers are shown",
    "place": "where it stands",
    "weather": "the hours of light and air: a file, a climate, or the embedded year",
    "sky": "how a broken sky is read",
    "obstacle": "what stands between the panels and the sky",
    "house": "its size, cover and use",
    "target": "when air is needed, and how much is enough",
    "panel": "the panels",
    "fan": "the fans",
    "lead": "leads with ends of their own",
    "splitter": "splitters and junctions",
    "converter": "what stands between panels and fans",
    "opening": "ways for air other than fans",
    "mass": "water and other things that store heat",
    "heater": "a heater for cold nights",
    "screen": "a screen that is drawn at night",
    "shade": "cloth against the sun",
    "battery": "a battery with its controller",
    "wiring": "how the parts are joined: a layout, or runs of ids from source to load",
}


def plan_schema() -> dict[str, Any]:
    """Give the JSON Schema of a plan file, draft 2020-12; keys that a library entry may give are not required.

    Examples
    --------
    >>> plan_schema()["properties"]["fan"]["description"]
    'the fans'
    """
    schema = PlanRecord.model_json_schema()
    # An entry of the library may give any of them.
    for name in ("Panel", "Fan", "Lead", "Splitter", "Converter", "Opening", "Mass"):
        schema["$defs"][name].pop("required", None)
    tables = {**schema.get("$defs", {}), "": schema}
    for name, table in tables.items():
        for key, entry in table.get("properties", {}).items():
            if "description" not in entry and (words := _MEANINGS.get(f"{name}.{key}", _MEANINGS.get(key))):
                entry["description"] = words
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "solarvent plan", **schema}
