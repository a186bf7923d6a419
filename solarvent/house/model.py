"""From a plan to the figures of its house: light, covers, masses and ground, step by step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.ventilation import geometry, volume
from solarvent.base.constants import AIR_DENSITY, AIR_HEAT_CAPACITY
from solarvent.house import glazing
from solarvent.house.heat_balance import Masses
from solarvent.plan.house_records import Crop, Mass
from solarvent.plan.plan import Plan
from solarvent.plan.shape import shape_surfaces
from solarvent.weather import cloud, moist_air, night_sky
from solarvent.weather.sun import SolarPosition

if TYPE_CHECKING:
    import pandas as pd

#: Share of the sun's heat that leaves pass on as vapour, by planting (ANSI/ASAE EP406, from memory).
EVAPOTRANSPIRATION = {"empty": 0.0, "half": 0.25, "full": 0.5}
#: What a house holds if the plan does not say it: entries of the crops library.
_USUAL_CROP = {"greenhouse": "frost-tender", "shed": "people-and-stores", "coop": "hens", "camper": "people-and-stores"}
#: Share of the floor under leaf, and of the light to the sides that plants and staging catch (typical).
_LEAF = {"empty": 0.0, "half": 0.5, "full": 0.9}
_CAUGHT = {"empty": 0.1, "half": 0.3, "full": 0.5}
#: Water that floor and leaves give off also in the dark (typical: 2, 10 and 20 g an hour). [kg/(s m2)]
_SEEPING = {"empty": 2e-3 / 3600, "half": 10e-3 / 3600, "full": 20e-3 / 3600}
#: However much stands in a house, a tenth of the light to the sides finds its way out (typical).
MOST_CAUGHT = 0.9
#: A solid back wall catches half of the light that crosses a lean-to (typical).
_BACK_WALL = 0.5
#: Bars and shelves stop a tenth of the light that the sheets pass (typical).
_BARS = 0.9
_ABSORPTANCE = 0.8
#: Air, and light things in it that are as warm as it, over the air alone (typical).
_LIGHT_THINGS = 3.0
#: Shade cloth inside throws back only part of what it stops; the rest warms the house (typical).
_INSIDE_CLOTH = 0.3
_FILM = 8.3
#: Heat that the edge of a floor loses for each metre and kelvin, not insulated: ASHRAE 90.1, table A6.3, 0.73 Btu/(h ft
#: degF), from memory. [W/(m K)]
EDGE_LOSS = 1.26
#: Floors: depth that takes part in a day [m], heat capacity [J/(m3 K)], conductivity [W/(m K)] (typical).
_FLOORS = {
    "soil": (0.15, 2.3e6, 1.2),
    "gravel": (0.15, 1.6e6, 0.7),
    "slab": (0.15, 2.06e6, 1.4),
    "boards": (0.025, 0.9e6, 0.14),
}
_GROUND_MEMORY = 30 * 86_400.0  # the ground under a house follows the outside air of about a month [s]
_HUMIDITY = 70.0  # where the weather does not tell it [%]


@dataclass(frozen=True, eq=False)
class HouseModel:
    """Everything of a house that does not depend on its own temperature. Arrays have one value a step.

    Attributes
    ----------
    step : float
        [s]
    temp_air, dew_point, wind_speed, ghi : array, shape (steps,)
        Outside; the wind is the station's. [degC], [degC], [m/s], [W/m2]
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
    light : array, shape (steps,)
        All of the sun that stays in the house. [W]
    crossing, side_sun : array, shape (steps,)
        Sun that crosses the house towards its sides, and what of it goes out there; as heat, if it were caught. [W]
    latent : array, shape (steps,)
        Of it, what leaves turn into vapour. [W]
    seeping : float
        Water that floor and leaves give off also in the dark. [kg/s]
    sun_air : array, shape (steps,)
        Of it, what warms the air. [W]
    sun_mass : array, shape (steps, masses)
        Of it, what goes straight into each mass; the first is the floor. [W]
    masses : Masses
        Shape (masses, 1).
    mass_names : tuple of str
        Their names.
    air_capacity : float
        [J/K]
    temp_ground : array, shape (steps,)
        [degC]
    """

    step: float
    temp_air: np.ndarray
    dew_point: np.ndarray
    wind_speed: np.ndarray
    ghi: np.ndarray
    density: np.ndarray
    dark: np.ndarray
    u_value: np.ndarray
    temp_sol_air: np.ndarray
    cover_area: float
    light: np.ndarray
    crossing: np.ndarray
    side_sun: np.ndarray
    latent: np.ndarray
    seeping: float
    sun_air: np.ndarray
    sun_mass: np.ndarray
    masses: Masses
    mass_names: tuple[str, ...]
    air_capacity: float
    temp_ground: np.ndarray

    def part(self, chosen: slice | np.ndarray) -> HouseModel:
        """Choose steps."""
        cut: dict[str, Any] = {
            name: value[chosen]
            for name, value in vars(self).items()
            if isinstance(value, np.ndarray) and len(value) == len(self.temp_air)
        }
        return replace(self, **cut)


def house_model(
    plan: Plan, weather: pd.DataFrame, position: SolarPosition, months: np.ndarray, step: float
) -> HouseModel:
    """Work out the figures of a plan's house under a span of weather.

    Parameters
    ----------
    plan : Plan
        The plan.
    weather : pandas.DataFrame
        ghi, dni, dhi, temp_air; wind_speed, relative_humidity, opaque_cover where they are known. Unknown wind counts
        as calm, unknown humidity as 70 %, unknown cloud as that which its light tells.
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
    air = weather["temp_air"].to_numpy(dtype=float)
    wind = _column(weather, "wind_speed", 0.0)
    humidity = np.clip(_column(weather, "relative_humidity", _HUMIDITY), 1.0, 100.0)
    pressure = moist_air.standard_pressure(record.place.altitude)
    vapour = humidity / 100.0 * np.asarray(moist_air.saturation_pressure(air))
    dew = np.asarray(moist_air.dew_point(vapour))
    dark = np.asarray(position.apparent_zenith) >= 90.0
    floor, things, leaving, absorbed, views = _light(plan, weather, position, months)
    convective, radiative = glazing.outside_film(wind * record.place.wind_share, air)
    sky = night_sky.sky_temperature(air, dew, cloud.cover_or_by_light(weather, record.place))
    u_value = np.asarray(glazing.u_value_in_wind(plan.cover(record.house.cover).u_value, convective + radiative))
    if record.screen is not None:
        u_value = np.where(dark, u_value * (1 - record.screen.saving), u_value)
    masses, names, caught = _masses(plan)
    latent, sun_air, sun_mass = _shares(plan, floor, things, caught)
    return HouseModel(
        step=step,
        temp_air=air,
        dew_point=dew,
        wind_speed=wind,
        ghi=weather["ghi"].to_numpy(dtype=float),
        density=np.asarray(moist_air.air_density(air, moist_air.humidity_ratio(vapour, pressure), pressure)),
        dark=dark,
        u_value=u_value,
        temp_sol_air=np.asarray(
            glazing.sol_air_temperature(air, absorbed, sky, views, convective, np.asarray(radiative))
        ),
        cover_area=geometry(plan).cover_area,
        light=floor + things,
        crossing=things + leaving,
        side_sun=leaving,
        latent=latent,
        seeping=_SEEPING[planting(plan)] * geometry(plan).floor_area,
        sun_air=sun_air,
        sun_mass=sun_mass,
        masses=masses,
        mass_names=names,
        air_capacity=_LIGHT_THINGS * AIR_DENSITY * AIR_HEAT_CAPACITY * volume(plan),
        temp_ground=_ground(air, step),
    )


def crop_of(plan: Plan) -> Crop:
    """What must not get too cold or too hot in there: the plan's plants, or what such a house usually holds."""
    record = plan.record
    return plan.crop(_USUAL_CROP[record.house.use] if record.plants is None else record.plants.crop)


def planting(plan: Plan) -> str:
    """How much of the floor is green: as the plan says; without a word, half of a greenhouse and nothing of a shed."""
    house = plan.record.house
    return house.planting if house.use == "greenhouse" or "planting" in house.model_fields_set else "empty"


def _column(weather: pd.DataFrame, name: str, otherwise: float) -> np.ndarray:
    """One column of the weather, with a value where it says nothing."""
    if name not in weather:
        return np.full(len(weather), otherwise)
    values = weather[name].to_numpy(dtype=float)
    return np.where(np.isnan(values), otherwise, values)


def _light(
    plan: Plan, weather: pd.DataFrame, position: SolarPosition, months: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, float]:
    """Light that stays on the floor and on things, what leaves [W], in the cover [W/m2]; its view of the sky."""
    record, size = plan.record, geometry(plan)
    cover = plan.cover(record.house.cover)
    house = record.house
    pieces = shape_surfaces(house.shape, house.length, house.width, house.eaves, house.ridge, house.azimuth)
    ghi, dni, dhi = (weather[name].to_numpy(dtype=float) for name in ("ghi", "dni", "dhi"))
    outside, effective = glazing.cover_light(
        pieces.surface_tilt, pieces.surface_azimuth, position.apparent_zenith, position.azimuth, dni, dhi,
        record.place.albedo, cover.layers, cover.refractive_index,
    )  # fmt: skip
    whole, slanted = pieces.area @ outside, pieces.area @ effective
    cloth = _cloth(plan, months)
    passed = cover.transmittance * _BARS * cloth
    slant = np.divide(slanted, whole, out=np.ones_like(whole), where=whole > 0)
    caught = _CAUGHT[planting(plan)] + _sunlit_area(record.mass) / side_area(plan)
    if house.shape == "lean-to":
        caught = 1 - (1 - caught) * (1 - _BACK_WALL)
    caught = min(caught, MOST_CAUGHT)
    floor, things = glazing.kept_light(passed * slanted, passed * slant * ghi * size.floor_area, caught, _ABSORPTANCE)
    leaving = things * (1 - caught) / caught
    # A cloth outside spares the cover too.
    shaded = cloth if record.shade is not None and record.shade.place == "outside" else 1.0
    absorbed = cover.absorptance * whole * shaded / size.cover_area
    return (
        floor,
        things,
        leaving,
        absorbed,
        float(pieces.area @ night_sky.sky_view(pieces.surface_tilt) / size.cover_area),
    )


def _cloth(plan: Plan, months: np.ndarray) -> np.ndarray:
    """Share of the sun that shade cloth leaves to the house."""
    shade = plan.record.shade
    if shade is None:
        return np.ones(len(months))
    stopped = (1 - shade.transmittance) * (1.0 if shade.place == "outside" else _INSIDE_CLOTH)
    return np.where(np.isin(months, shade.months or plan.record.months_of_need), 1 - stopped, 1.0)


def _sunlit_area(masses: list[Mass]) -> float:
    """Front of all things that the sun reaches. [m2]"""
    return sum(mass.count * mass.sun_area for mass in masses if mass.sunlit)


def side_area(plan: Plan) -> float:
    """Silhouette of the house from the side, through which crossing light leaves. [m2]"""
    house = plan.record.house
    return house.length * (house.eaves + house.ridge) / 2


def _masses(plan: Plan) -> tuple[Masses, tuple[str, ...], np.ndarray]:
    """The floor and the plan's masses; and the share of the light on things that falls on each of the latter."""
    record, size = plan.record, geometry(plan)
    depth, capacity, conductivity = _FLOORS[record.house.floor]
    area = size.floor_area
    path = 1 / _FILM + depth / 2 / conductivity
    edge = 2 * (record.house.length + record.house.width) * EDGE_LOSS
    rows = [(area * depth * capacity, area / path, edge)]
    for mass in record.mass:
        surface = mass.count * mass.area / (1 / mass.film + mass.inner_resistance)
        rows.append((mass.count * mass.volume * mass.heat_capacity * 1e6, max(surface, 1e-6), 0.0))
    names = ("floor", *(mass.id or mass.name or f"mass {number}" for number, mass in enumerate(record.mass, 1)))
    table = np.array(rows, dtype=float)
    own = _CAUGHT[planting(plan)] * side_area(plan)
    sunlit = np.array([mass.count * mass.sun_area * mass.sunlit for mass in record.mass])
    return Masses(*table.T[:, :, None]), names, sunlit / (own + sunlit.sum())


def _shares(
    plan: Plan, floor: np.ndarray, things: np.ndarray, caught: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Split the light into vapour, heat of the air, and heat that goes straight into each mass."""
    record = plan.record
    on_masses = things[:, None] * caught
    others = floor + things * (1 - caught.sum())
    latent = EVAPOTRANSPIRATION[planting(plan)] * others
    # Of the sun on a surface a part goes in and a part into the air at once, as their resistances are.
    depth, _, conductivity = _FLOORS[record.house.floor]
    soil = (1 - EVAPOTRANSPIRATION[planting(plan)]) * floor * (1 - _LEAF[planting(plan)])
    into_floor = soil * (1 / _FILM) / (1 / _FILM + depth / 2 / conductivity)
    inward = np.array([1 / mass.film / (1 / mass.film + mass.inner_resistance) for mass in record.mass])
    into = np.column_stack([into_floor, on_masses * inward]) if record.mass else into_floor[:, None]
    return latent, floor + things - latent - into.sum(axis=1), into


def _ground(temp_air: np.ndarray, step: float) -> np.ndarray:
    """Temperature under the house: the outside air of the last month or so, at the start that of the month to come."""
    import pandas as pd

    start = temp_air[: max(1, round(_GROUND_MEMORY / step))].mean()
    chain = pd.Series(np.concatenate([[start], temp_air]))
    return chain.ewm(alpha=1 - np.exp(-step / _GROUND_MEMORY), adjust=False).mean().to_numpy()[1:]
