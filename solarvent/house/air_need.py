"""How much air a house needs: its own heat balance in the sun, the standard's, and the rules of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.air.airflow import air_changes
from solarvent.air.network import geometry, volume
from solarvent.base.constants import AIR_DENSITY, AIR_HEAT_CAPACITY, STANDARD_PRESSURE, ZERO_CELSIUS
from solarvent.house.envelope import vapour_share
from solarvent.house.model import house_model
from solarvent.house.moisture import animals_heat
from solarvent.house.sunlight import leaf_area
from solarvent.plan.house_records import Animals, Shade
from solarvent.plan.plan import Plan
from solarvent.weather import sky, sun
from solarvent.weather.moist_air import standard_pressure

Array = NDArray[np.float64]

#: Air changes of the shut house by wind and cracks [1/h] (ANSI/ASAE EP406 and NRAES-33, from memory).
_INFILTRATION = {"tight": 0.75, "average": 1.5, "leaky": 3.0}
#: Share of the sun's heat that the standard lets leaves pass on as vapour, by leaf area (ANSI/ASAE EP406, from memory:
#: 0.5 for a floor full of leaf).
_EVAPOTRANSPIRATION = ((0.0, 1.0, 3.0), (0.0, 0.25, 0.5))
#: Of the day for which the need is worked out: light wind at the station and middling damp (typical).
_WIND, _HUMIDITY, _AIR = 2.0, 60.0, 24.0
#: Temperature of the air of which AIR_DENSITY is the density. [K]
_RATED = 20.0 + ZERO_CELSIUS
_CFM_PER_FT2 = 0.3048**3 / 60 / 0.3048**2
#: Least and most summer flow by floor: 8 and 10 cfm/ft2. [m3/(s m2)]
SUMMER_FLOW_BY_FLOOR = (8 * _CFM_PER_FT2, 10 * _CFM_PER_FT2)


def flow_for_rise(
    rise: ArrayLike,
    ghi: ArrayLike,
    floor_area: float,
    cover_area: float,
    transmittance: float,
    evapotranspiration: float,
    u_value: float,
) -> Array | float:
    """Flow [m3/s] that keeps the leaving air at a rise [K] over outside in steady sun, as ANSI/ASAE EP406 has it.

    The heat that stays sensible goes out through the cover and with the air; the air is well mixed, nothing is stored,
    and the ground takes nothing::

        transmittance (1 - evapotranspiration) ghi floor_area
            = u_value cover_area rise + density heat_capacity flow rise

    The sun is that on the level outside [W/m2], the areas are in [m2], the U-value in [W/(m2 K)]; of the sun's heat
    goes into vapour about 0.5 for a floor full of leaf, 0 for a dry house. At or below no rise no flow is enough, for
    ventilation never cools below outside: NaN. 0 where the cover alone already loses enough.

    Examples
    --------
    >>> round(float(flow_for_rise(4.61, 800.0, 1.0, 2.0, 0.7, 0.5, 6.2)), 3)
    0.04

    References
    ----------
    ANSI/ASAE EP406.4, Heating, Ventilating and Cooling Greenhouses (form of the balance from memory).
    """
    rise = np.asarray(rise, dtype=float)
    wanted = np.where(rise > 0, rise, np.nan)
    gain = transmittance * (1.0 - evapotranspiration) * np.asarray(ghi, dtype=float) * floor_area
    return np.maximum((gain / wanted - u_value * cover_area) / (AIR_DENSITY * AIR_HEAT_CAPACITY), 0.0)[()]


def flow_by_volume(volume: ArrayLike) -> Array | float:
    """Summer flow [m3/s] by the rule of one volume [m3] a minute; in a high house the rule counts it to 8 ft (2.44 m)
    only.

    Examples
    --------
    >>> float(flow_by_volume(9.0))
    0.15

    References
    ----------
    University of Massachusetts Extension, Natural Ventilation in Greenhouses.
    """
    return (np.asarray(volume, dtype=float) / 60.0)[()]


def flow_by_floor(floor_area: ArrayLike, flow_per_area: float = SUMMER_FLOW_BY_FLOOR[0]) -> Array | float:
    """Summer flow [m3/s] by the rule of so much [m3/(s m2)] for each area of floor [m2].

    8-10 cfm/ft2 hold the rise from inlet to fan to 7-10 degF (3.9-5.6 K) at sea level. Above it, multiply by
    `elevation_factor`.

    Examples
    --------
    >>> round(float(flow_by_floor(4.46)), 3)
    0.181

    References
    ----------
    University of Massachusetts Extension, Natural Ventilation in Greenhouses.
    """
    return (np.asarray(floor_area, dtype=float) * flow_per_area)[()]


def elevation_factor(altitude: ArrayLike) -> Array | float:
    """How much more volume of air a house needs above sea level [m], for as much mass of it, as warm. [-]

    Inverse pressure of the standard atmosphere, from -5000 to 11 000 m, NaN outside. Not its inverse density, which
    would also count the cold of the height: a summer day in the hills is warm all the same.

    Examples
    --------
    >>> round(float(elevation_factor(914.4)), 3)
    1.116

    References
    ----------
    ISO 2533, Standard Atmosphere.
    """
    return (STANDARD_PRESSURE / np.asarray(standard_pressure(altitude)))[()]


#: Air in the heat for each kg of bird (poultry pages of the trade: 3 cfm per kg). [m3/(s kg)]
_SUMMER_BY_WEIGHT = 3 * 0.3048**3 / 60


def summer_flow(animals: Animals | None) -> float:
    """Give the air that the trade moves for animals in the heat; NaN without any. [m3/s]"""
    return float("nan") if animals is None else animals.count * animals.weight * _SUMMER_BY_WEIGHT


@dataclass(frozen=True)
class SunnyHouse:
    """A house at the sunniest hour of a clear day, when nothing is stored any more.

    Attributes
    ----------
    ghi : float
        On the level. [W/m2]
    gain : float
        Sun's heat that stays in the house, that of vapour included. [W]
    damp : float
        Of it, what would turn into vapour at the most. [W]
    leaf_area : float
        Leaf for each area of floor. [-]
    conductance : float
        Through the cover and the edge of the floor. [W/K]
    warmed : float
        How much warmer than the air the outside seems to the cover, by sun and sky. [K]
    animals : Animals or None
        That live in it.
    elevation_factor : float
        Of the air at sea level over that of the place. [-]
    """

    ghi: float
    gain: float
    damp: float
    leaf_area: float
    conductance: float
    warmed: float
    animals: Animals | None
    elevation_factor: float

    def sensible(self, temp_inside: np.ndarray) -> np.ndarray:
        """Sun's heat that stays in the house and does not turn into vapour, at an inside temperature. [W]"""
        return self.gain - self.damp * np.asarray(vapour_share(temp_inside, self.leaf_area))

    def flow_for(self, rise: float, ghi: np.ndarray, outside: np.ndarray) -> np.ndarray:
        """Fresh air that holds a rise over outside in other suns and other outside air [m3/s]; NaN for no rise.

        0 where the cover alone loses enough, and in the polar night.
        """
        if rise <= 0:
            return np.full_like(ghi, np.nan)
        sun = ghi / self.ghi if self.ghi > 0 else np.zeros_like(ghi)
        heat = self.sensible(outside + rise) * sun - self.conductance * rise + self.conductance * self.warmed * sun
        heat = heat + animals_heat(self.animals, outside + rise).sensible
        density = AIR_DENSITY * _RATED / (outside + ZERO_CELSIUS) / self.elevation_factor
        return np.maximum(heat / (density * AIR_HEAT_CAPACITY * rise), 0.0)


@lru_cache(maxsize=32)
def sunny_house(plan: Plan, month: int | None = None) -> SunnyHouse:
    """Work out a plan's house at the sunniest hour of a clear 21st, by default of the middle month of need.

    With 24 degC outside, a light wind of 2 m/s at the station and air of 60 %.
    """
    import pandas as pd

    place = plan.record.place
    months = plan.record.months_of_need
    month = months[len(months) // 2] if month is None else month
    # Noon of the mean sun, near which the light is greatest.
    noon = pd.Timestamp(2001, month, 21, 12, tz="UTC") - pd.Timedelta(minutes=round(4 * place.longitude))
    index = pd.date_range(noon - pd.Timedelta(hours=4), noon + pd.Timedelta(hours=4), freq="20min")
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    air = {"temp_air": _AIR, "wind_speed": _WIND, "relative_humidity": _HUMIDITY, "opaque_cover": 0.0}
    weather = pd.DataFrame(clear._asdict() | air, index=index)
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    model = house_model(plan, weather, position, np.full(len(index), month), 1200.0)
    at = int(np.argmax(model.ghi))
    inner, outer = model.masses.conductance[:, 0], model.masses.far_conductance[:, 0]
    # When nothing is stored any more a mass gives to the air what the ground does not take.
    kept = model.sun_air[at] + float((model.sun_mass[at] * inner / (inner + outer)).sum())
    edge = float((inner * outer / (inner + outer)).sum())
    loss = float(model.u_value[at]) * model.cover_area
    # Referred to all conductances, so that one temperature of outside serves for cover and edge.
    warmed = loss * (model.temp_sol_air[at] - model.temp_air[at]) / (loss + edge)
    damp = float(model.damp[at])
    return SunnyHouse(
        float(model.ghi[at]), float(kept), damp, model.leaf_area, loss + edge, float(warmed), plan.record.animals,
        float(elevation_factor(place.altitude)),
    )  # fmt: skip


@dataclass(frozen=True)
class Need:
    """How much air would be enough.

    Attributes
    ----------
    ghi, temp_air : float
        The sun for which it is meant, and the air outside. [W/m2], [degC]
    by_balance : float
        For the wanted rise, by the heat balance of the house. [m3/s]
    by_standard : float
        The same by the balance of ANSI/ASAE EP406, which takes its floor for all that meets the sun. [m3/s]
    by_volume : float
        One volume a minute. [m3/s]
    by_floor : tuple of float
        8 and 10 cfm for each square foot of floor. [m3/s]
    by_animals : float
        The trade's summer rate for the animals of the plan; NaN without any. [m3/s]
    wanted : float
        What the plan asks for: its own flow or air changes, or else by the heat balance. [m3/s]
    wanted_air_changes : float
        The same. [1/h]
    """

    ghi: float
    temp_air: float
    by_balance: float
    by_standard: float
    by_volume: float
    by_floor: tuple[float, float]
    by_animals: float
    wanted: float
    wanted_air_changes: float


def need(plan: Plan, ghi: float, temp_air: float = _AIR) -> Need:
    """Work out the flow that the plan's house needs.

    Parameters
    ----------
    plan : Plan
        The plan.
    ghi : float
        A sunny hour of need. [W/m2]
    temp_air : float
        Of the outside air then. [degC]

    Returns
    -------
    Need
        By the heat balance, and by the standard and the rules of the trade beside it.
    """
    target, size, rooms = plan.record.target, geometry(plan), volume(plan)
    wanted = float(wanted_flow(plan, np.array(ghi), np.array(temp_air)))
    return Need(
        ghi=ghi,
        temp_air=temp_air,
        by_balance=float(_flow_by_balance(plan, np.array(ghi), np.array(temp_air))),
        by_standard=_by_standard(plan, target.rise, ghi),
        by_volume=float(flow_by_volume(rooms)),
        by_floor=_by_floor(size.floor_area),
        by_animals=summer_flow(plan.record.animals),
        wanted=wanted,
        wanted_air_changes=float(air_changes(wanted, rooms)),
    )


def wanted_flow(plan: Plan, ghi: np.ndarray, temp_air: np.ndarray) -> np.ndarray:
    """Give the fresh air that a plan asks for: its own flow or air changes, or else by the heat balance of its house.

    The one answer for every command: in the sun on the level [W/m2] and the outside air [degC] of each step, with the
    heat of its animals [m3/s]; NaN where no air holds the rise.
    """
    target = plan.record.target
    if target.flow is not None:
        return np.full(np.shape(ghi), target.flow)
    if target.air_changes is not None:
        return np.full(np.shape(ghi), target.air_changes * volume(plan) / 3600.0)
    return _flow_by_balance(plan, ghi, temp_air)


def _flow_by_balance(plan: Plan, ghi: np.ndarray, temp_air: np.ndarray) -> np.ndarray:
    """Fresh air that holds the rise of the plan's target, by the heat balance of its house. [m3/s]"""
    return sunny_house(plan).flow_for(plan.record.target.rise, ghi, temp_air)


def _by_floor(area: float) -> tuple[float, float]:
    """Least and most summer flow [m3/s] for a floor [m2]."""
    low, high = SUMMER_FLOW_BY_FLOOR
    return float(flow_by_floor(area, low)), float(flow_by_floor(area, high))


def _by_standard(plan: Plan, rise: float, ghi: float) -> float:
    """Flow by the sensible balance of ANSI/ASAE EP406, less what the cracks bring; NaN for no rise. [m3/s]"""
    cover, size = plan.cover(plan.record.house.cover), geometry(plan)
    vapour = float(np.interp(leaf_area(plan), *_EVAPOTRANSPIRATION))
    flow = flow_for_rise(rise, ghi, size.floor_area, size.cover_area, cover.transmittance, vapour, cover.u_value)
    return max(float(flow) - _INFILTRATION[plan.record.house.tightness] * volume(plan) / 3600.0, 0.0)


@dataclass(frozen=True)
class NeedBelow:
    """Air that keeps a house below a temperature.

    Attributes
    ----------
    below, outside : float
        [degC]
    ghi : float
        [W/m2]
    month : int
        Whose clear noon it is.
    flow, air_changes : float
        NaN where no air does it. [m3/s], [1/h]
    by_standard, by_volume : float
        [m3/s]
    by_floor : tuple of float
        [m3/s]
    otherwise : dict of str to float
        The flow if one thing were different that matters here. [m3/s]
    volume : float
        Of the house. [m3]
    """

    below: float
    outside: float
    ghi: float
    month: int
    flow: float
    air_changes: float
    by_standard: float
    by_volume: float
    by_floor: tuple[float, float]
    otherwise: dict[str, float]
    volume: float

    def changes_of(self, flow: float) -> float:
        """Changes of the air of this house that a flow makes. [1/h]"""
        return float(air_changes(flow, self.volume))


def need_below(
    plan: Plan, below: float, outside: float, month: int | None = None, ghi: float | None = None
) -> NeedBelow:
    """Work out how much air keeps the house below a temperature with a known one outside. [degC]

    In the steady sun of a month, by default the middle one of need, and of a strength on the level [W/m2], by default
    that of a clear noon; with nothing stored, which is the safe side for the plants.
    """
    months = plan.record.months_of_need
    month = months[len(months) // 2] if month is None else month
    size, rooms = geometry(plan), volume(plan)
    rise = below - outside
    sun_now = sunny_house(plan, month).ghi if ghi is None else ghi

    def flow(of: Plan) -> float:
        return float(sunny_house(of, month).flow_for(rise, np.array(sun_now), np.array(outside)))

    cloth = Shade(transmittance=0.5, place="outside", months=[month])
    others = {"with a shade cloth of 50 % over the roof": plan.with_records(shade=cloth)}
    house = plan.record.house
    if house.use == "greenhouse":
        for words, planting in (("with the floor full of leaf", "full"), ("empty and dry", "empty")):
            planted = {"planting": planting, "leaf_area": None, "watered": planting == "full"}
            others[words] = plan.with_records(house=house.model_copy(update=planted))
    usual, changed = flow(plan), {words: flow(other) for words, other in others.items()}
    return NeedBelow(
        below=below,
        outside=outside,
        ghi=sun_now,
        month=month,
        flow=usual,
        air_changes=float(air_changes(usual, rooms)),
        by_standard=_by_standard(plan, rise, sun_now),
        by_volume=float(flow_by_volume(rooms)),
        by_floor=_by_floor(size.floor_area),
        otherwise={words: one for words, one in changed.items() if not abs(one - usual) < 1e-9},
        volume=rooms,
    )
