"""Moist air: saturation, humidity ratio, dew point, density, pressure by altitude; and the sky as a cold body."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import DRY_AIR_GAS_CONSTANT, STANDARD_PRESSURE, ZERO_CELSIUS

Array = NDArray[np.float64]

#: Molar mass of water over that of dry air (ASHRAE Handbook, Fundamentals 2017, chapter 1, from memory). [-]
_MASS_RATIO = 0.621945
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def saturation_pressure(temp: ArrayLike) -> Array | float:
    """Pressure of saturated vapour [Pa] over water, below 0 degC over ice, by Hyland & Wexler.

    ``ln p = c0/T + c1 + c2 T + c3 T**2 + c4 T**3 + c5 T**4 + c6 ln T`` with the temperature T in kelvin; it is given in
    [degC], from -100 to 200, NaN outside.

    Examples
    --------
    >>> float(saturation_pressure(25.0).round(1))
    3169.2

    References
    ----------
    R. W. Hyland, A. Wexler 1983, as in the ASHRAE Handbook, Fundamentals 2017, chapter 1, equations 5 and 6
    (coefficients from memory, checked against the handbook's table).
    """
    temp = np.asarray(temp, dtype=float)
    kelvin = np.where((temp >= -100.0) & (temp <= 200.0), temp, np.nan) + ZERO_CELSIUS
    logarithm = np.log(kelvin)

    def curve(c: tuple[float, ...]) -> Array:
        powers = c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5]))
        return c[0] / kelvin + c[1] + kelvin * powers + c[6] * logarithm

    # Over water and over ice the two curves meet at the triple point, 0.01 degC.
    return np.exp(np.where(temp > 0.01, curve(_WATER), curve(_ICE)))[()]


#: Of Magnus' formula, ``p = p0 exp(rate t / (t + offset))``: pressure at 0 degC [Pa], rate [-] and offset [K];
#: O. A. Alduchov, R. E. Eskridge 1996, J. Appl. Meteorology 35, 601-609 (from memory).
_MAGNUS = (610.94, 17.625, 243.04)


def saturation_growth(temp: ArrayLike) -> Array:
    """Share by which the pressure of saturated vapour grows with a kelvin, by Magnus' formula. [1/K]"""
    _, rate, offset = _MAGNUS
    return np.asarray(rate * offset / (np.asarray(temp, dtype=float) + offset) ** 2)


def saturation_slope(temp: ArrayLike) -> Array:
    """Growth of the pressure of saturated vapour with the temperature, by Magnus' formula. [Pa/K]"""
    at_freezing, rate, offset = _MAGNUS
    warm = np.asarray(temp, dtype=float)
    return np.asarray(at_freezing * np.exp(rate * warm / (warm + offset)) * saturation_growth(warm))


def dew_point(vapour_pressure: ArrayLike) -> Array | float:
    """Temperature [degC] at which air begins to drop water or frost: the inverse of `saturation_pressure`.

    Newton's method in the logarithm of the vapour pressure [Pa], 1 to 200 000, NaN outside; from Magnus' formula. Below
    0.01 degC it is the frost point.

    Examples
    --------
    >>> float(dew_point(saturation_pressure(18.0)).round(6))
    18.0
    """
    pressure = np.asarray(vapour_pressure, dtype=float)
    wanted = np.log(np.where((pressure >= 1.0) & (pressure <= 2e5), pressure, np.nan))
    at_freezing, rate, offset = _MAGNUS
    ratio = wanted - np.log(at_freezing)
    temp = offset * ratio / (rate - ratio)
    step = 1e-4
    for _ in range(12):
        slope = (np.log(saturation_pressure(temp + step)) - np.log(saturation_pressure(temp))) / step
        temp = temp + (wanted - np.log(saturation_pressure(temp))) / slope
    return temp[()]


def humidity_ratio(vapour_pressure: ArrayLike, pressure: ArrayLike = STANDARD_PRESSURE) -> Array | float:
    """Mass of water with each kilogram of dry air [kg/kg]: ``0.621945 p_w / (pressure - p_w)``.

    Vapour pressure and that of the air are in [Pa]; NaN where the vapour's is not the lower one.

    Examples
    --------
    >>> float(humidity_ratio(saturation_pressure(25.0)).round(5))
    0.02008

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, chapter 1, equation 20 (from memory).
    """
    vapour, total = np.asarray(vapour_pressure, dtype=float), np.asarray(pressure, dtype=float)
    dry = total - vapour
    return (_MASS_RATIO * vapour / np.where(dry > 0, dry, np.nan))[()]


def vapour_pressure(humidity_ratio: ArrayLike, pressure: ArrayLike = STANDARD_PRESSURE) -> Array | float:
    """Pressure of the vapour [Pa] in air of a humidity ratio [kg/kg] and a pressure [Pa]: the inverse of that.

    Examples
    --------
    >>> float(vapour_pressure(humidity_ratio(1500.0)))
    1500.0
    """
    ratio = np.asarray(humidity_ratio, dtype=float)
    return (np.asarray(pressure, dtype=float) * ratio / (_MASS_RATIO + ratio))[()]


def air_density(
    temp: ArrayLike, humidity_ratio: ArrayLike = 0.0, pressure: ArrayLike = STANDARD_PRESSURE
) -> Array | float:
    """Mass of moist air in a cubic metre [kg/m3], by temperature [degC], humidity ratio W [kg/kg] and pressure [Pa].

    ``pressure (1 + W) / (287.042 T (1 + 1.607858 W))`` with the temperature T in kelvin.

    Examples
    --------
    >>> float(air_density(20.0).round(3))
    1.204

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, chapter 1, equations 26 and 28 (from memory).
    """
    kelvin = np.asarray(temp, dtype=float) + ZERO_CELSIUS
    ratio = np.asarray(humidity_ratio, dtype=float)
    volume = DRY_AIR_GAS_CONSTANT * kelvin * (1 + ratio / _MASS_RATIO)
    return (np.asarray(pressure, dtype=float) * (1 + ratio) / volume)[()]


def standard_pressure(altitude: ArrayLike) -> Array | float:
    """Pressure of the standard atmosphere [Pa]: ``101325 (1 - 2.25577e-5 altitude) ** 5.2559``.

    The altitude above sea level is in [m], from -5000 to 11 000; NaN outside.

    Examples
    --------
    >>> float(standard_pressure(500.0).round())
    95461.0

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, chapter 1, equation 3; ISO 2533.
    """
    height = np.asarray(altitude, dtype=float)
    known = np.where((height >= -5000.0) & (height <= 11000.0), height, np.nan)
    return (STANDARD_PRESSURE * (1.0 - 2.25577e-5 * known) ** 5.2559)[()]


_CLOUD_BASE = np.exp(-2.0 / 8.2)  # how much of a black body a cloud with its base at 2 km is, seen from the ground [-]


def sky_view(surface_tilt: ArrayLike) -> Array | float:
    """Share of a cold clear sky that counts for a tilted [deg] surface: ``F ** 1.5`` with ``F = (1 + cos tilt) / 2``.

    F is what an open horizon shows of the sky; the low part of it, seen by walls, is nearly as warm as the air.

    Examples
    --------
    >>> sky_view([0.0, 90.0]).round(3).tolist()
    [1.0, 0.354]

    References
    ----------
    G. N. Walton 1983, Thermal Analysis Research Program reference manual, NBSIR 83-2655 (from memory).
    """
    return (((1 + np.cos(np.radians(np.asarray(surface_tilt, dtype=float)))) / 2) ** 1.5)[()]


def sky_temperature(
    temp_air: ArrayLike, dew_point: ArrayLike, oktas: ArrayLike = 0.0, solar_hour: ArrayLike | None = None
) -> Array | float:
    """Temperature of the sky [degC] from air and dew point [degC] and opaque cloud [oktas]; never above the air's.

    Emittance of a clear sky by Berdahl & Martin, ``e0 = 0.711 + 0.56 (d/100) + 0.73 (d/100)**2`` with the dew point d
    in degC, found for -13 to 24; and ``0.013 cos(2 pi hour / 24)`` more, for by night the air near the ground is colder
    than that above, where the solar hour [h] is given (left out: the mean of the day). With a share n of opaque cloud,
    at a base of 2 km, by Martin & Berdahl ``e = e0 + (1 - e0) n exp(-2 / 8.2)``; then ``T e**0.25`` in kelvin. A hidden
    sky, 9 oktas, counts as 8.

    Examples
    --------
    >>> float(sky_temperature(10.0, 5.0).round(1)), float(sky_temperature(10.0, 5.0, 8.0).round(1))
    (-10.5, 5.9)

    References
    ----------
    P. Berdahl, M. Martin 1984, Emissivity of clear skies, Solar Energy 32, 663-664; M. Martin, P. Berdahl 1984,
    Characteristics of infrared sky radiation in the United States, Solar Energy 33, 321-336 (both from memory).
    """
    dew = np.asarray(dew_point, dtype=float) / 100.0
    cloud = np.minimum(np.asarray(oktas, dtype=float), 8.0) / 8.0
    clear = 0.711 + 0.56 * dew + 0.73 * dew**2
    if solar_hour is not None:
        clear = clear + 0.013 * np.cos(2 * np.pi * np.asarray(solar_hour, dtype=float) / 24.0)
    emittance = np.minimum(clear + (1 - clear) * cloud * _CLOUD_BASE, 1.0)
    return ((np.asarray(temp_air, dtype=float) + ZERO_CELSIUS) * emittance**0.25 - ZERO_CELSIUS)[()]
