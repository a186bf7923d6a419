"""How much air a house needs: its own heat balance in the sun, the standard's, and the rules of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from solarvent.air.airflow import air_changes
from solarvent.air.network import geometry, volume
from solarvent.base.constants import AIR_DENSITY, AIR_HEAT_CAPACITY, ZERO_CELSIUS
from solarvent.house import ventilation_rates as rates
from solarvent.house.floor import vapour_share
from solarvent.house.model import house_model
from solarvent.house.sunlight import leaf_area
from solarvent.house.ventilation_rates import animals_heat, summer_flow
from solarvent.plan.house_records import Animals, Shade
from solarvent.plan.plan import Plan
from solarvent.weather import sky, sun

#: Air changes of the shut house by wind and cracks [1/h] (ANSI/ASAE EP406 and NRAES-33, from memory).
_INFILTRATION = {"tight": 0.75, "average": 1.5, "leaky": 3.0}
#: Share of the sun's heat that the standard lets leaves pass on as vapour, by leaf area (ANSI/ASAE EP406, from memory:
#: 0.5 for a floor full of leaf).
EVAPOTRANSPIRATION = ((0.0, 1.0, 3.0), (0.0, 0.25, 0.5))
#: Of the day for which the need is worked out: light wind at the station and middling damp (typical).
_WIND, _HUMIDITY, _AIR = 2.0, 60.0, 24.0
#: Temperature of the air of which AIR_DENSITY is the density. [K]
_RATED = 20.0 + ZERO_CELSIUS


_FULL = {"planting": "full", "leaf_area": None, "watered": True}
_EMPTY = {"planting": "empty", "leaf_area": None, "watered": False}


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
    thinness : float
        Of the air at sea level over that of the place. [-]
    """

    ghi: float
    gain: float
    damp: float
    leaf_area: float
    conductance: float
    warmed: float
    animals: Animals | None
    thinness: float

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
        density = AIR_DENSITY * _RATED / (outside + ZERO_CELSIUS) / self.thinness
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
    noon = pd.Timestamp(2001, month, 21, 12, tz="UTC") - pd.Timedelta(minutes=round(4 * place.longitude))
    index = pd.date_range(noon - pd.Timedelta(hours=4), noon + pd.Timedelta(hours=4), freq="20min")
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    weather = pd.DataFrame(
        {
            "ghi": clear.ghi,
            "dni": clear.dni,
            "dhi": clear.dhi,
            "temp_air": _AIR,
            "wind_speed": _WIND,
            "relative_humidity": _HUMIDITY,
            "opaque_cover": 0.0,
        },
        index=index,
    )
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    model = house_model(plan, weather, position, np.full(len(index), month), 1200.0)
    at = int(np.argmax(model.ghi))
    inner, outer = model.masses.conductance[:, 0], model.masses.far_conductance[:, 0]
    kept = model.sun_air[at] + float((model.sun_mass[at] * inner / (inner + outer)).sum())
    edge = float((inner * outer / (inner + outer)).sum())
    loss = float(model.u_value[at]) * model.cover_area
    warmed = loss * (model.temp_sol_air[at] - model.temp_air[at]) / (loss + edge)
    damp = float(model.damp[at])
    return SunnyHouse(
        float(model.ghi[at]), float(kept), damp, model.leaf_area, loss + edge, float(warmed), plan.record.animals,
        float(rates.elevation_factor(place.altitude)),
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
    low, high = (float(rates.flow_by_floor(size.floor_area, rate)) for rate in rates.SUMMER_FLOW_BY_FLOOR)
    return Need(
        ghi=ghi,
        temp_air=temp_air,
        by_balance=float(_flow_by_balance(plan, np.array(ghi), np.array(temp_air))),
        by_standard=_by_standard(plan, target.rise, ghi),
        by_volume=float(rates.flow_by_volume(rooms)),
        by_floor=(low, high),
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


def _by_standard(plan: Plan, rise: float, ghi: float) -> float:
    """Flow by the sensible balance of ANSI/ASAE EP406, less what the cracks bring; NaN for no rise. [m3/s]"""
    cover, size = plan.cover(plan.record.house.cover), geometry(plan)
    vapour = float(np.interp(leaf_area(plan), *EVAPOTRANSPIRATION))
    flow = rates.flow_for_rise(rise, ghi, size.floor_area, size.cover_area, cover.transmittance, vapour, cover.u_value)
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
    others = {"with a shade cloth of 50 % over the roof": _changed(plan, shade=cloth)}
    if plan.record.house.use == "greenhouse":
        others["with the floor full of leaf"] = _changed(plan, house=_FULL)
        others["empty and dry"] = _changed(plan, house=_EMPTY)
    usual, changed = flow(plan), {words: flow(other) for words, other in others.items()}
    low, high = (float(rates.flow_by_floor(size.floor_area, rate)) for rate in rates.SUMMER_FLOW_BY_FLOOR)
    return NeedBelow(
        below=below,
        outside=outside,
        ghi=sun_now,
        month=month,
        flow=usual,
        air_changes=float(air_changes(usual, rooms)),
        by_standard=_by_standard(plan, rise, sun_now),
        by_volume=float(rates.flow_by_volume(rooms)),
        by_floor=(low, high),
        otherwise={words: one for words, one in changed.items() if not abs(one - usual) < 1e-9},
        volume=rooms,
    )


def _changed(plan: Plan, shade: Shade | None = None, house: dict[str, Any] | None = None) -> Plan:
    """Copy a plan with a shade cloth, or with other words on its house."""
    changes: dict[str, object] = {} if shade is None else {"shade": shade}
    if house is not None:
        changes["house"] = plan.record.house.model_copy(update=house)
    return plan.with_records(**changes)
