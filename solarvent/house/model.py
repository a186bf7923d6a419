"""From a plan to the figures of its house: light, covers, masses, ground, step by step; and with more water or none."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.network import geometry, volume
from solarvent.base.constants import AIR_DENSITY, AIR_HEAT_CAPACITY, WATER_HEAT_CAPACITY
from solarvent.house import envelope
from solarvent.house.envelope import FloorHeat, floor_heat, vapour_share
from solarvent.house.heat_balance import Masses
from solarvent.house.sunlight import (
    Sunlight,
    caught_by,
    floor_of,
    house_surfaces,
    leaf_area,
    light_ends,
    light_on_pieces,
    sunlight,
    watered,
)
from solarvent.plan.house_records import Animals, Crop, Mass, MeasuredHouse
from solarvent.plan.plan import Plan
from solarvent.plan.shape import Surfaces
from solarvent.weather import moist_air
from solarvent.weather.conditions import OutsideAir, outside_air, relative_humidity
from solarvent.weather.sky import cover_or_by_light
from solarvent.weather.sun import SolarPosition, solar_hour

if TYPE_CHECKING:
    import pandas as pd


#: What a house holds if the plan does not say it: entries of the crops library.
_USUAL_CROP = {"greenhouse": "frost-tender", "shed": "people-and-stores", "coop": "hens", "camper": "people-and-stores"}
#: Vapour that the sun drives out of leaves without enough water over that of watered ones (common practice, no source).
_THIRSTY = 0.35
#: Water that a damp floor, and the leaves over it, give off also in the dark (typical: 2 and 6 g an hour); a dry floor
#: gives a tenth. [kg/(s m2)]
_SEEPING_FLOOR, _SEEPING_LEAF = 2e-3 / 3600, 6e-3 / 3600
_SEEPING_DRY = 0.1
#: Air, and light things in it that are as warm as it, over the air alone (typical).
_LIGHT_THINGS = 3.0
#: Heat that the edge of a floor loses for each metre and kelvin, not insulated: ASHRAE 90.1, table A6.3, 0.73 Btu/(h ft
#: degF), from memory. [W/(m K)]
EDGE_LOSS = 1.26
_GROUND_MEMORY = 30 * 86_400.0  # the ground under a house follows the outside air of about a month [s]


@dataclass(frozen=True, eq=False)
class HouseModel:
    """Everything of a house that does not depend on its own temperature. Arrays have one value a step.

    Attributes
    ----------
    step : float
        [s]
    temp_air, dew_point, wind_speed, wind_direction, ghi : array, shape (steps,)
        Outside; the wind is the station's. [degC], [degC], [m/s], [deg], [W/m2]
    density : array, shape (steps,)
        Of the outside air. [kg/m3]
    dark : array of bool, shape (steps,)
        The sun is down.
    u_value : array, shape (steps,)
        Of the cover in the wind that there is, with its night screen. [W/(m2 K)]
    temp_sol_air : array, shape (steps,)
        Outside, with what sun and sky do to the cover; averaged over it. [degC]
    cover_area : float
        [m2]
    inside_film : float
        Of the cover. [W/(m2 K)]
    outside_film, draught_outside : array, shape (steps,)
        The film outside the cover, and its part without radiation. [W/(m2 K)]
    sun : Sunlight
        On the house.
    light : array, shape (steps,)
        All of the sun that stays in the house. [W]
    damp : array, shape (steps,)
        Of it, what falls on what is wet, by its wetness: `vapour_heat` says how much of it turns into vapour. [W]
    leaf_area : float
        Leaf for each area of floor. [-]
    seeping : float
        Water that floor and leaves give off also in the dark. [kg/s]
    animals : Animals or None
        That live in it.
    sun_air : array, shape (steps,)
        Of the light, what warms the air, vapour included. [W]
    sun_mass : array, shape (steps, masses)
        Of the light, what goes straight into each mass; the first are those of the floor. [W]
    masses : Masses
        Shape (masses, 1).
    floor_weight : array, shape (FLOOR_NODES,)
        By which the temperatures of the floor's masses make that of its top. [-]
    air_capacity : float
        [J/K]
    temp_ground : array, shape (steps,)
        [degC]
    """

    step: float
    temp_air: np.ndarray
    dew_point: np.ndarray
    wind_speed: np.ndarray
    wind_direction: np.ndarray
    ghi: np.ndarray
    density: np.ndarray
    dark: np.ndarray
    u_value: np.ndarray
    temp_sol_air: np.ndarray
    cover_area: float
    inside_film: float
    outside_film: np.ndarray
    draught_outside: np.ndarray
    sun: Sunlight
    light: np.ndarray
    damp: np.ndarray
    leaf_area: float
    seeping: float
    animals: Animals | None
    sun_air: np.ndarray
    sun_mass: np.ndarray
    masses: Masses
    floor_weight: np.ndarray
    air_capacity: float
    temp_ground: np.ndarray

    def part(self, chosen: slice | np.ndarray) -> HouseModel:
        """Choose steps."""
        cut: dict[str, Any] = {
            name: value[chosen]
            for name, value in vars(self).items()
            if isinstance(value, np.ndarray) and name != "floor_weight"
        }
        return replace(self, sun=self.sun.part(chosen), **cut)

    @property
    def outside(self) -> OutsideAir:
        """The air around it."""
        return OutsideAir(*(getattr(self, field.name) for field in fields(OutsideAir)))

    def vapour_heat(self, temp: np.ndarray, at: slice | int = slice(None)) -> np.ndarray:
        """Heat that leaves and floor turn into vapour at an inside temperature, shape (steps, ...). [W]

        Watered leaf turns the share `vapour_share` of what it takes into vapour, other things their wetness times as
        much.
        """
        damp = self.damp[at]
        return damp.reshape(damp.shape + (1,) * (np.ndim(temp) - damp.ndim)) * np.asarray(
            vapour_share(temp, self.leaf_area)
        )

    def in_light(self, share: np.ndarray | float) -> HouseModel:
        """Let the sun be weaker or stronger, step by step: a share of what it is. [-]"""
        column = np.asarray(share)[..., None]
        return replace(
            self,
            sun=self.sun.times(share),
            light=self.light * share,
            damp=self.damp * share,
            sun_air=self.sun_air * share,
            sun_mass=self.sun_mass * column,
        )

    def adjusted(self, light: float = 1.0, cover: float = 1.0, storage: float = 1.0, ground: float = 0.0) -> HouseModel:
        """Put measured figures in place of those of the tables: factors on the light that stays, the U-value, and the
        heat that floor and masses take and give back; and a shift of the ground [K]."""
        return replace(
            self.in_light(light),
            # The light that fell on the house is the same as before.
            sun=self.sun,
            u_value=self.u_value * cover,
            masses=Masses(*(values * storage for values in vars(self.masses).values())),
            temp_ground=self.temp_ground + ground,
        )


def house_model(
    plan: Plan, weather: pd.DataFrame, position: SolarPosition, months: np.ndarray, step: float
) -> HouseModel:
    """Work out the figures of a plan's house under a span of weather.

    Parameters
    ----------
    plan : Plan
        The plan.
    weather : pandas.DataFrame
        ghi, dni, dhi, temp_air; wind_speed, wind_direction, relative_humidity, opaque_cover where they are known.
        Unknown wind counts as calm, unknown humidity as 70 %, unknown cloud as that which its light tells.
    position : SolarPosition
        Of the middle of each step.
    months : array of int, shape (steps,)
        1 to 12, by the plan's clock.
    step : float
        Length of a step. [s]

    Returns
    -------
    HouseModel
        One value a step.
    """
    record = plan.record
    outside = outside_air(weather, position, step, record.place.altitude)
    air = outside.temp_air
    vapour = relative_humidity(weather) / 100.0 * np.asarray(moist_air.saturation_pressure(air))
    dew = np.asarray(moist_air.dew_point(vapour))
    size = geometry(plan)
    sun = sunlight(plan, weather, position, months)
    pieces = house_surfaces(plan)
    falling = pieces.area @ light_on_pieces(pieces, sun, record.house.azimuth)
    absorbed = plan.cover(record.house.cover).absorptance * falling / size.cover_area
    convective, radiative = envelope.outside_film(outside.wind_speed * record.place.wind_share, air)
    views = float(pieces.area @ moist_air.sky_view(pieces.surface_tilt) / size.cover_area)
    hour = solar_hour(weather.index, record.place.longitude)
    sky = moist_air.sky_temperature(air, dew, cover_or_by_light(weather, record.place), hour)
    inside = envelope.inside_film(_warm_area(plan), size.cover_area)
    film = np.asarray(convective + radiative)
    u_value = _u_value(plan, pieces, film, inside)
    if record.screen is not None:
        # The screen is drawn while the sun is down.
        u_value = np.where(outside.dark, u_value * (1 - record.screen.saving), u_value)
    masses, weight = _masses(plan)
    heat = _heat_of_light(plan, sun, air)
    measured = record.house.measured or MeasuredHouse()
    return HouseModel(
        **vars(outside),
        dew_point=dew,
        ghi=weather["ghi"].to_numpy(dtype=float),
        u_value=u_value,
        temp_sol_air=np.asarray(
            envelope.sol_air_temperature(
                air, absorbed + heat.cover / size.cover_area, sky, views, convective, np.asarray(radiative)
            )
        ),
        cover_area=size.cover_area,
        inside_film=inside,
        outside_film=film,
        draught_outside=np.asarray(convective),
        sun=sun,
        light=heat.light,
        damp=heat.damp,
        leaf_area=leaf_area(plan),
        seeping=_seeping(plan) * size.floor_area,
        animals=record.animals,
        sun_air=heat.air,
        sun_mass=heat.masses,
        masses=masses,
        floor_weight=weight,
        air_capacity=_LIGHT_THINGS * AIR_DENSITY * AIR_HEAT_CAPACITY * volume(plan),
        temp_ground=_ground(air, step),
    ).adjusted(
        measured.light_factor or 1.0,
        measured.cover_factor or 1.0,
        measured.storage_factor or 1.0,
        measured.ground_shift or 0.0,
    )


def crop_of(plan: Plan) -> Crop:
    """What must not get too cold or too hot in there: the plan's plants, or what such a house usually holds."""
    record = plan.record
    return plan.crop(_USUAL_CROP[record.house.use] if record.plants is None else record.plants.crop)


def furnished(plan: Plan, model: HouseModel, masses: list[Mass]) -> HouseModel:
    """Put other things that store heat into a house: its light and its heat are shared out anew."""
    other = plan.with_records(mass=masses)
    rows, weight = _masses(other)
    heat = _heat_of_light(other, model.sun, model.temp_air)
    measured = plan.record.house.measured or MeasuredHouse()
    return replace(
        model,
        light=heat.light,
        damp=heat.damp,
        sun_air=heat.air,
        sun_mass=heat.masses,
        masses=rows,
        floor_weight=weight,
    ).adjusted(measured.light_factor or 1.0, storage=measured.storage_factor or 1.0)


def _warm_area(plan: Plan) -> float:
    """Area from which warmth reaches the cover by radiation: floor and masses. [m2]

    Masses in a row hide each other: they show their fronts and their backs.
    """
    return geometry(plan).floor_area + sum(2 * mass.count * mass.sun_area for mass in plan.record.mass)


def _u_value(plan: Plan, pieces: Surfaces, film: np.ndarray, inside: float) -> np.ndarray:
    """Mean of the cover and of a solid back wall between its films, step by step. [W/(m2 K)]"""
    house = plan.record.house
    value = np.asarray(envelope.u_value_in_wind(plan.cover(house.cover).u_value, film, inside))
    if house.back is None:
        return value
    # A solid back is the upright piece that faces away from the front.
    behind = np.isclose((pieces.surface_azimuth - house.azimuth) % 360.0, 180.0) & (pieces.surface_tilt == 90.0)
    share = float(pieces.area[behind].sum() / pieces.area.sum())
    solid = np.asarray(envelope.u_value_in_wind(plan.cover(house.back).u_value, film, inside))
    return (1 - share) * value + share * solid


def _seeping(plan: Plan) -> float:
    """Water that floor and leaves give off also in the dark. [kg/(s m2)]"""
    given = _SEEPING_FLOOR * (floor_of(plan).wetness > 0) + _SEEPING_LEAF * leaf_area(plan)
    return given if watered(plan) else _SEEPING_DRY * given


def _masses(plan: Plan) -> tuple[Masses, np.ndarray]:
    """The floor's masses and the plan's, and the weights of the floor's."""
    record, floor = plan.record, _floor_heat(plan)
    rows = []
    for mass in record.mass:
        # From the air: its film, then what lies between surface and middle of the mass.
        surface = mass.count * mass.area / (1 / mass.film + mass.inner_resistance)
        rows.append((mass.count * mass.volume * mass.heat_capacity * 1e6, max(surface, 1e-6), 0.0))
    own = np.array(rows, dtype=float).reshape(-1, 3).T[:, :, None]
    joined = (np.concatenate(pair) for pair in zip(vars(floor.masses).values(), own, strict=True))
    return Masses(*joined), floor.weight


def _floor_heat(plan: Plan) -> FloorHeat:
    """The floor of a plan's house as masses."""
    house, area = plan.record.house, geometry(plan).floor_area
    return floor_heat(floor_of(plan), area, 2 * (house.length + house.width) * EDGE_LOSS, envelope.INSIDE_FILM)


@dataclass(frozen=True, eq=False)
class _HeatOfLight:
    """What becomes of the light in a house, step by step, all in W: `light` is the sum of air and masses; of it, `damp`
    lies on what is wet, and what the cover takes from within stands beside it."""

    light: np.ndarray
    damp: np.ndarray
    air: np.ndarray
    masses: np.ndarray
    cover: np.ndarray


def _heat_of_light(plan: Plan, sun: Sunlight, temp_air: np.ndarray) -> _HeatOfLight:
    """Share out the light that ends in a house: to the air, and straight into each mass."""
    floor, standing, walls, cover, cloth, _ = light_ends(plan, sun).T
    caught = standing[:, None] * caught_by(plan)
    kind, heat = floor_of(plan), _floor_heat(plan)
    # Of the sun on a surface a part goes in and a part into the air at once, as their resistances are; the vapour of a
    # floor, about that at the outside temperature, takes its heat before.
    dried = floor * (1 - kind.wetness * np.asarray(vapour_share(temp_air, leaf_area(plan))))
    inward = np.array([1 / mass.film / (1 / mass.film + mass.inner_resistance) for mass in plan.record.mass])
    into = np.column_stack([(dried * heat.into)[:, None] * heat.weight, caught[:, 2:] * inward])
    # Cloth hangs between house and cover, and gives its heat to both.
    light = floor + standing + walls + cloth / 2
    damp = (1.0 if watered(plan) else _THIRSTY) * caught[:, 0] + kind.wetness * floor
    return _HeatOfLight(light, damp, light - into.sum(axis=1), into, cover + cloth / 2)


def _ground(temp_air: np.ndarray, step: float) -> np.ndarray:
    """Temperature under the house: the outside air of the last month or so, at the start that of the month to come."""
    import pandas as pd

    # A mean over the month to come stands for the one before, which the weather does not have.
    start = temp_air[: round(_GROUND_MEMORY / step)].mean()
    # An exponential mean forgets as the ground does, over a month.
    chain = pd.Series(np.concatenate([[start], temp_air]))
    return chain.ewm(alpha=1 - np.exp(-step / _GROUND_MEMORY), adjust=False).mean().to_numpy()[1:]


#: A standing drum of 55 US gal: litres, surface and front [L], [m2], [m2] (typical).
_DRUM = (208.2, 1.87, 0.51)


def drums(litres: float) -> Mass:
    """Any amount of water in sunlit standing drums."""
    size, area, front = _DRUM
    share = litres / size
    return Mass.model_construct(
        id="water", name="water", volume=litres / 1000.0, heat_capacity=WATER_HEAT_CAPACITY, area=area * share,
        sun_area=front * share, film=8.3, inner_resistance=0.0, count=1, sunlit=True, start=None,
    )  # fmt: skip


def add_mass(plan: Plan, model: HouseModel, mass: Mass) -> HouseModel:
    """Put one more thing into a house."""
    return furnished(plan, model, [*plan.record.mass, mass])


def drop_masses(plan: Plan, model: HouseModel) -> HouseModel:
    """Take everything that stores heat out of a house but its floor."""
    return furnished(plan, model, [])
