"""The air around a house, step by step: what a flow network needs to know of the weather."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from solarvent.weather import moist_air

if TYPE_CHECKING:
    import pandas as pd

    from solarvent.weather.conditions import Conditions

#: Where the weather does not tell it. [%]
HUMIDITY = 70.0


@dataclass(frozen=True, eq=False)
class OutsideAir:
    """Outside air, one value a step.

    Attributes
    ----------
    step : float
        Length of a step. [s]
    temp_air : array, shape (steps,)
        [degC]
    density : array, shape (steps,)
        [kg/m3]
    wind_speed, wind_direction : array, shape (steps,)
        At the weather station, and where it comes from. [m/s], [deg] Where either is unknown it counts as calm.
    dark : array of bool, shape (steps,)
        The sun is down.
    """

    step: float
    temp_air: np.ndarray
    density: np.ndarray
    wind_speed: np.ndarray
    wind_direction: np.ndarray
    dark: np.ndarray


def outside_air(conditions: Conditions, altitude: float) -> OutsideAir:
    """Take the outside air from the weather of a span, at an altitude [m]."""
    weather = conditions.weather
    air = weather["temp_air"].to_numpy(dtype=float)
    return OutsideAir(
        step=conditions.step,
        temp_air=air,
        density=air_density(air, relative_humidity(weather), altitude),
        wind_speed=known(weather, "wind_speed", 0.0),
        wind_direction=weather["wind_direction"].to_numpy(dtype=float),
        dark=np.asarray(conditions.position.apparent_zenith) >= 90.0,
    )


def relative_humidity(weather: pd.DataFrame) -> np.ndarray:
    """Relative humidity of the weather, 70 % where it does not tell it. [%]"""
    return np.clip(known(weather, "relative_humidity", HUMIDITY), 1.0, 100.0)


def air_density(temp_air: np.ndarray, relative_humidity: np.ndarray, altitude: float) -> np.ndarray:
    """Density of the air at an altitude [m], by its temperature [degC] and relative humidity [%]. [kg/m3]"""
    pressure = moist_air.standard_pressure(altitude)
    vapour = relative_humidity / 100.0 * np.asarray(moist_air.saturation_pressure(temp_air))
    return np.asarray(moist_air.air_density(temp_air, moist_air.humidity_ratio(vapour, pressure), pressure))


def known(weather: pd.DataFrame, name: str, otherwise: float) -> np.ndarray:
    """One column of the weather, with a value where it says nothing."""
    if name not in weather:
        return np.full(len(weather), otherwise)
    values = weather[name].to_numpy(dtype=float)
    return np.where(np.isnan(values), otherwise, values)
