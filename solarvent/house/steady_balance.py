"""The house: its steady heat balance, and the flows that the trade's rules ask for."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: Air as the check values use it: rating density [kg/m3] and specific heat [J/(kg K)].
AIR_DENSITY = 1.2
AIR_HEAT_CAPACITY = 1006.0

_CFM_PER_FT2 = 0.3048**3 / 60 / 0.3048**2
#: Least and most summer flow by floor: 8 and 10 cfm/ft2. [m3/(s m2)]
SUMMER_FLOW_BY_FLOOR = (8 * _CFM_PER_FT2, 10 * _CFM_PER_FT2)


def sensible_heat(
    flow: ArrayLike, rise: ArrayLike, density: float = AIR_DENSITY, heat_capacity: float = AIR_HEAT_CAPACITY
) -> Array | float:
    """Heat that an air flow carries off: ``density heat_capacity flow rise``.

    Parameters
    ----------
    flow : array_like
        [m3/s]
    rise : array_like
        Of the air that leaves over the air that enters. [K]
    density : float, default 1.2
        [kg/m3]
    heat_capacity : float, default 1006
        [J/(kg K)]

    Returns
    -------
    float or ndarray
        [W]

    Examples
    --------
    >>> round(float(sensible_heat(0.05, 5.0)), 1)
    301.8
    """
    return (density * heat_capacity * np.asarray(flow, dtype=float) * np.asarray(rise, dtype=float))[()]


def infiltration_conductance(
    volume: ArrayLike,
    air_changes: ArrayLike,
    density: float = AIR_DENSITY,
    heat_capacity: float = AIR_HEAT_CAPACITY,
) -> Array | float:
    """Heat that leaks carry off for each kelvin: ``density heat_capacity volume air_changes / 3600``.

    Parameters
    ----------
    volume : array_like
        [m3]
    air_changes : array_like
        [1/h]
    density : float, default 1.2
        [kg/m3]
    heat_capacity : float, default 1006
        [J/(kg K)]

    Returns
    -------
    float or ndarray
        [W/K]

    Examples
    --------
    >>> round(float(infiltration_conductance(9.0, 1.0)), 2)
    3.02
    """
    return sensible_heat(
        np.asarray(volume, dtype=float) * np.asarray(air_changes) / 3600.0, 1.0, density, heat_capacity
    )


def steady_rise(
    flow: ArrayLike,
    ghi: ArrayLike,
    floor_area: float,
    cover_area: float,
    transmittance: float,
    evapotranspiration: float,
    u_value: float,
    mean_share: float = 1.0,
    density: ArrayLike = AIR_DENSITY,
) -> Array | float:
    """Rise of the leaving air over the outside air in steady sun, by the sensible balance of ANSI/ASAE EP406.

    The heat that stays sensible goes out through the cover and with the air::

        transmittance (1 - evapotranspiration) ghi floor_area
            = u_value cover_area (mean_share rise) + density heat_capacity flow rise

    `rise` is that of the **leaving** air. The house as a whole is `mean_share` of it warmer than outside: 1
    where the air is well mixed (a fan in a small house; the safe side for the plants), 0.5 where it warms
    evenly on its way from inlet to fan. Nothing is stored, and the ground takes nothing.

    Parameters
    ----------
    flow : array_like
        Fresh air. [m3/s]
    ghi : array_like
        Outside, on the level. [W/m2]
    floor_area, cover_area : float
        [m2]
    transmittance : float
        Of the cover for sunlight. [-]
    evapotranspiration : float
        Share of the sun's heat that goes into vapour: about 0.5 for a floor full of leaf, 0 for a dry house.
        [-] Above 1 in hot dry weather, when the house is cooler than outside.
    u_value : float
        Of the cover. [W/(m2 K)]
    mean_share : float, default 1.0
        Mean rise over the rise of the leaving air. [-]
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [K] NaN where neither air nor cover carries heat off.

    Examples
    --------
    >>> round(float(steady_rise(0.04, 800.0, 1.0, 2.0, 0.7, 0.5, 6.2)), 2)
    4.61

    References
    ----------
    ANSI/ASAE EP406.4, Heating, Ventilating and Cooling Greenhouses (form of the balance from memory).
    """
    gain = transmittance * (1.0 - evapotranspiration) * np.asarray(ghi, dtype=float) * floor_area
    carried = np.asarray(sensible_heat(flow, 1.0)) * np.asarray(density, dtype=float) / AIR_DENSITY
    gain, conductance = np.broadcast_arrays(gain, u_value * cover_area * mean_share + carried)
    return np.divide(gain, conductance, out=np.full(gain.shape, np.nan), where=conductance > 0)[()]


def flow_for_rise(
    rise: ArrayLike,
    ghi: ArrayLike,
    floor_area: float,
    cover_area: float,
    transmittance: float,
    evapotranspiration: float,
    u_value: float,
    mean_share: float = 1.0,
    density: ArrayLike = AIR_DENSITY,
) -> Array | float:
    """Flow that keeps the leaving air at a rise over outside; the inverse of `steady_rise`.

    Parameters
    ----------
    rise : array_like
        Of the leaving air. [K] At or below zero no flow is enough: NaN. Ventilation never cools below outside.
    ghi, floor_area, cover_area, transmittance, evapotranspiration, u_value, mean_share, density
        As in `steady_rise`.

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
    As `steady_rise`.
    """
    rise = np.asarray(rise, dtype=float)
    wanted = np.where(rise > 0, rise, np.nan)
    gain = transmittance * (1.0 - evapotranspiration) * np.asarray(ghi, dtype=float) * floor_area
    per_flow = AIR_HEAT_CAPACITY * np.asarray(density, dtype=float)
    return np.maximum((gain / wanted - u_value * cover_area * mean_share) / per_flow, 0.0)[()]


def flow_by_volume(volume: ArrayLike, changes_per_minute: float = 1.0) -> Array | float:
    """Summer flow by the rule of one volume a minute.

    Parameters
    ----------
    volume : array_like
        [m3] In a high house the rule counts it to 8 ft (2.44 m) only.
    changes_per_minute : float, default 1.0
        [1/min]

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
    return (np.asarray(volume, dtype=float) * changes_per_minute / 60.0)[()]


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

    Inverse pressure of the standard atmosphere: ``(1 - 2.25577e-5 altitude) ** -5.2559``. Not its inverse
    density, which would also count the cold of the height: a summer day in the hills is warm all the same.

    Parameters
    ----------
    altitude : array_like
        [m] From -500 to 11 000; NaN outside.

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
    altitude = np.asarray(altitude, dtype=float)
    known = np.where((altitude >= -500.0) & (altitude <= 11000.0), altitude, np.nan)
    return ((1.0 - 2.25577e-5 * known) ** -5.2559)[()]
