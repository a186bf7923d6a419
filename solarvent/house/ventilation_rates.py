"""Ventilation rates that a standard and the trade ask for; the heat, the vapour and the air of animals."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_DENSITY, AIR_HEAT_CAPACITY, STANDARD_PRESSURE
from solarvent.plan.house_records import Animals
from solarvent.weather.moist_air import standard_pressure

Array = NDArray[np.float64]

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
    """Flow that keeps the leaving air at a rise over outside in steady sun, by the balance of ANSI/ASAE EP406.

    The heat that stays sensible goes out through the cover and with the air; the air is well mixed, nothing is stored,
    and the ground takes nothing::

        transmittance (1 - evapotranspiration) ghi floor_area
            = u_value cover_area rise + density heat_capacity flow rise

    Parameters
    ----------
    rise : array_like
        Of the leaving air. [K] At or below zero no flow is enough: NaN. Ventilation never cools below outside.
    ghi : array_like
        Outside, on the level. [W/m2]
    floor_area, cover_area : float
        [m2]
    transmittance : float
        Of the cover for sunlight. [-]
    evapotranspiration : float
        Share of the sun's heat that goes into vapour: about 0.5 for a floor full of leaf, 0 for a dry house. [-]
    u_value : float
        Of the cover. [W/(m2 K)]

    Returns
    -------
    float or ndarray
        [m3/s] 0 where the cover alone already loses enough.

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
    """Summer flow by the rule of one volume a minute.

    Parameters
    ----------
    volume : array_like
        [m3] In a high house the rule counts it to 8 ft (2.44 m) only.

    Returns
    -------
    float or ndarray
        [m3/s]

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
    """Summer flow by the rule of so much for each area of floor.

    8-10 cfm/ft2 hold the rise from inlet to fan to 7-10 degF (3.9-5.6 K) at sea level. Above it, multiply by
    `elevation_factor`.

    Parameters
    ----------
    floor_area : array_like
        [m2]
    flow_per_area : float, default 0.0406
        8 cfm/ft2; `SUMMER_FLOW_BY_FLOOR` holds it and 10 cfm/ft2. [m3/(s m2)]

    Returns
    -------
    float or ndarray
        [m3/s]

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
    """How much more volume of air a house needs above sea level, for the same mass of it at the same temperature.

    Inverse pressure of the standard atmosphere. Not its inverse density, which would also count the cold of the height:
    a summer day in the hills is warm all the same.

    Parameters
    ----------
    altitude : array_like
        [m] From -5000 to 11 000; NaN outside.

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> round(float(elevation_factor(914.4)), 3)
    1.116

    References
    ----------
    ISO 2533, Standard Atmosphere.
    """
    return (STANDARD_PRESSURE / np.asarray(standard_pressure(altitude)))[()]


#: Of all heat of laying hens on a floor: 6.8 W for each kg^0.75, and 25 W for each kg of eggs a day; of that at 20 degC
#: 2 % more for each kelvin below. What is not vapour is the share 0.67, less 9.8e-11 t^6 (S. Pedersen, K. Sallvik, ed.,
#: "Climatization of animal houses", 4th report of the CIGR working group, 2002, from memory).
_BY_WEIGHT, _EGGS, _BY_KELVIN, _DRY_SHARE, _PANTING = 6.8, 25 * 0.05, 0.02, 0.67, 9.8e-11
#: Air in the heat for each kg of bird (poultry pages of the trade: 3 cfm per kg). [m3/(s kg)]
SUMMER_BY_WEIGHT = 3 * 0.3048**3 / 60


class AnimalHeat(NamedTuple):
    """Heat that warms the air, and heat that turns into vapour. [W]"""

    sensible: np.ndarray
    latent: np.ndarray


def animals_heat(animals: Animals | None, temp_inside: np.ndarray) -> AnimalHeat:
    """Work out what animals give off at an inside temperature [degC]; the warmer it is, the more of it is vapour.

    From 0 to 40 degC; beyond, as at the ends: birds in deeper frost or greater heat are not what the source measured.
    """
    temp = np.clip(np.asarray(temp_inside, dtype=float), 0.0, 40.0)
    if animals is None:
        return AnimalHeat(np.zeros_like(temp), np.zeros_like(temp))
    whole = animals.count * (_BY_WEIGHT * animals.weight**0.75 + _EGGS)
    total = whole * (1 + _BY_KELVIN * (20.0 - temp))
    sensible = np.clip(whole * (_DRY_SHARE * (1 + _BY_KELVIN * (20.0 - temp)) - _PANTING * temp**6), 0.0, None)
    return AnimalHeat(sensible, total - sensible)


def summer_flow(animals: Animals | None) -> float:
    """Give the air that the trade moves for animals in the heat; NaN without any. [m3/s]"""
    return float("nan") if animals is None else animals.count * animals.weight * SUMMER_BY_WEIGHT
