"""The air outside: its course through a day, and the coldest that parts may meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from solarvent.weather import moist_air

if TYPE_CHECKING:
    import pandas as pd

    from solarvent.weather.conditions import Conditions


WARMEST = 14.0
"""Solar hour of the highest temperature (de Wit 1978). [h]"""


def sunrise(latitude: ArrayLike, day_of_year: ArrayLike) -> Any:
    """Solar hour at which the centre of the sun rises, on a flat horizon and without refraction.

    ``12 - arccos(-tan(latitude) tan(declination)) / 15 deg``, with the declination by Spencer (1971) through pvlib.

    Parameters
    ----------
    latitude : float
        North positive, -90 to 90. [deg]
    day_of_year : float or array
        1 to 366. [-]

    Returns
    -------
    float or array
        0 where the sun stays up all day, 12 where it stays down. [h]

    Examples
    --------
    >>> float(sunrise(43.0, 44).round(2))  # 13 February
    6.87

    References
    ----------
    J. W. Spencer, "Fourier series representation of the position of the sun", Search 2 (5), 1971, 172.
    """
    from pvlib.solarposition import declination_spencer71

    declination = declination_spencer71(np.asarray(day_of_year, dtype=float))
    half_day = np.arccos(np.clip(-np.tan(np.radians(latitude)) * np.tan(declination), -1.0, 1.0))
    return 12.0 - np.degrees(half_day) / 15.0


def air_temperature(
    hour: ArrayLike,
    sunrise: ArrayLike,
    temp_low: ArrayLike,
    temp_high: ArrayLike,
    temp_high_before: ArrayLike,
    temp_low_after: ArrayLike,
) -> Any:
    """Air temperature in the course of a day, by de Wit (1978): two half waves between the extremes.

    It rises as half a cosine from the lowest at sunrise to the highest at 14 h solar time, and falls as half a
    cosine from there to the next sunrise.

    Parameters
    ----------
    hour : float or array
        Solar time, 0 up to 24. [h]
    sunrise : float or array
        Solar time, 0 to 12. [h]
    temp_low, temp_high : float or array
        Extremes of the day. [degC]
    temp_high_before, temp_low_after : float or array
        Highest of the day before, lowest of the day after; between midnight and sunrise the air still cools from
        the one, after 14 h already towards the other. [degC]

    Returns
    -------
    float or array
        [degC]; NaN for an hour or a sunrise outside its range.

    Notes
    -----
    From the extremes of each day of two typical years (TMY3 stations 723170 and 703165) it gives their hours with an
    error of 2.2 and 1.3 K (root mean square), too cool before noon and too warm in the evening by up to 3 K in the
    mean of a month. The sine and exponential of Parton & Logan (1981) come to 1.8 and 1.1 K there, but jump at sunset
    and have no meaning where the sun stays up or down; this one turns into a wave of the whole day.

    Examples
    --------
    >>> air_temperature([5.0, 9.5, 14.0, 21.5], 5.0, 10.0, 20.0, 20.0, 10.0).round(6).tolist()
    [10.0, 15.0, 20.0, 15.0]

    References
    ----------
    C. T. de Wit, *Simulation of assimilation, respiration and transpiration of crops*, Pudoc, 1978; the same
    as "WAVE" in D. C. Reicosky, L. J. Winkelman, J. M. Baker, D. G. Baker, "Accuracy of hourly air temperatures
    calculated from daily minima and maxima", Agricultural and Forest Meteorology 46, 1989, 193-209.
    """
    hour, rise = np.asarray(hour, dtype=float), np.asarray(sunrise, dtype=float)
    known = (hour >= 0) & (hour < 24) & (rise >= 0) & (rise <= 12)
    morning, evening = hour < rise, hour >= WARMEST
    warmest = np.where(morning, temp_high_before, temp_high)
    coolest = np.where(evening, temp_low_after, temp_low)
    since = np.where(morning, hour + 24.0 - WARMEST, hour - WARMEST)
    falling = np.cos(np.pi * since / (24.0 - WARMEST + rise))
    rising = -np.cos(np.pi * (hour - rise) / (WARMEST - rise))
    wave = np.where(morning | evening, falling, rising)
    return np.where(known, (warmest + coolest) / 2 + (warmest - coolest) / 2 * wave, np.nan)[()]


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


def course_through(shape: np.ndarray, knots: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Lay the usual course of a day through a few readings: stretched so that it meets both around a step, or laid over
    the line between them where it hardly changes. [degC]

    `shape` is the usual temperature of each step, rising `knots` are the steps of the readings `values`.
    """
    rise, span = np.diff(values), np.diff(shape[knots])
    steep = np.abs(span) > 0.3 * np.ptp(shape)
    usual = float(np.median((rise[steep] / span[steep]).clip(0, None))) if steep.any() else 1.0
    slope = np.where(steep, np.divide(rise, span, out=np.full(rise.shape, usual), where=steep), usual)
    steps = np.arange(len(shape))
    piece = np.clip(np.searchsorted(knots, steps, side="right") - 1, 0, len(slope) - 1)
    stretch = slope[piece].clip(0, 4 * max(usual, 0.1))
    base = values[piece] - stretch * shape[knots[piece]]
    end = values[piece + 1] - stretch * shape[knots[piece + 1]]
    share = np.clip((steps - knots[piece]) / np.maximum(knots[piece + 1] - knots[piece], 1), 0, 1)
    return base + (end - base) * share + stretch * shape
