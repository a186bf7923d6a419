"""The sky: light under a clear one, its cloud and what that leaves of it, and how it splits into beam and diffuse."""

from __future__ import annotations

from functools import lru_cache
from math import exp
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from solarvent.plan.plan_record import Place
from solarvent.weather.sun import solar_position

if TYPE_CHECKING:
    import pandas as pd

OKTAS_FULL, OKTAS_HIDDEN = 8, 9
"""Synoptic codes of a full cover, and of a sky that cannot be seen (fog, snow)."""
CLOUD_FACTOR_HIDDEN = 0.15
"""Light left of a clear sky when the sky is hidden: common practice, no source. [-]"""
FULL_COVER = {"thin": 0.6, "ordinary": 0.25, "dark": 0.12}
"""Light left under a full cover: ordinary by Kasten & Czeplak; thin high cloud (0.5-0.7) and dark rain cloud
(0.10-0.15) by common practice, no source. [-]"""
CLOUD_EDGE = (1.1, 1.5)
"""Light between bright clouds and at their edge, as a share of that under a clear sky: it matters for the highest
voltage, not for the air. In a June at Payerne 2 % of the minutes pass the first, and the brightest has 1.45; of six
million minutes in thirty years at Thessaloniki the strongest has 1.497 (Natsis, Bais & Meleti 2024). [-]"""
FAINT = 50.0
"""Clear-sky light under which a step tells nothing of its cloud and is left whole: the sun may rise or set in it, and
shares mean nothing (our choice). [W/m2]"""
#: Haze of fair air, as Linke turbidity. [-]
_FAIR = 3.0


class SkyWords(NamedTuple):
    """How a person tells the amount of cloud: words of public forecasts, and one's own shadow."""

    words: str
    shadow: str


_FINE = SkyWords("mostly clear", "sharp, now and then a cloud")
_PARTLY = SkyWords("partly cloudy", "sharp between the clouds")
_BREAKS = SkyWords("cloudy with breaks", "comes and goes")

SKY_WORDS = (
    SkyWords("clear", "sharp all the time"),
    _FINE,
    _FINE,
    _PARTLY,
    _PARTLY,
    _BREAKS,
    _BREAKS,
    SkyWords("nearly overcast", "faint, and rarely there"),
    SkyWords("overcast", "none"),
    SkyWords("hidden", "none, and the sky cannot be seen"),
)
"""By oktas, 0 to 9: words of public forecasts; the shadow is common practice, no source."""


class ClearSky(NamedTuple):
    """Light under a cloudless sky, one value a step. [W/m2]"""

    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray


class Split(NamedTuple):
    """Horizontal light taken apart: direct normal and diffuse horizontal, one value a step. [W/m2]"""

    dni: np.ndarray
    dhi: np.ndarray


def clear_sky(
    times: pd.DatetimeIndex,
    latitude: float,
    longitude: float,
    altitude: float,
    linke_turbidity: float | None = None,
) -> ClearSky:
    """Light under a cloudless sky by Ineichen & Perez (2002), through pvlib, without a network; 0 with the sun down.

    The times are the middle of each step; the place is in [deg], north and east positive, and [m] above sea level. Haze
    is the Linke turbidity, 2 very clear to 7 very hazy [-]; without it pvlib's world map of monthly means is used.

    Raises
    ------
    DomainError
        As :func:`solarvent.weather.sun.solar_position`: for times without a time zone above all.

    Examples
    --------
    >>> import pandas as pd
    >>> noon = pd.DatetimeIndex(["2021-06-21 12:20"]).tz_localize("Etc/GMT+5")
    >>> float(clear_sky(noon, 36.1, -79.95, 273.0, linke_turbidity=3.0).ghi[0].round())
    1002.0

    References
    ----------
    P. Ineichen, R. Perez, "A new airmass independent formulation for the Linke turbidity coefficient", Solar Energy 73,
    2002, 151-157.
    """
    position = solar_position(times, latitude, longitude, altitude)
    turbidity = haze(times, latitude, longitude) if linke_turbidity is None else linke_turbidity
    return clear_sky_at(position.apparent_zenith, position.dni_extra, turbidity, altitude)


def haze(times: pd.DatetimeIndex, latitude: float, longitude: float) -> np.ndarray:
    """Linke turbidity of the air at some instants, by pvlib's world map of monthly means, shape (steps,). [-]

    Examples
    --------
    >>> import pandas as pd
    >>> haze(pd.DatetimeIndex(["2021-06-21 12:20"], tz="UTC"), 36.1, -79.95).round(2).tolist()
    [4.54]
    """
    utc = times.tz_convert("UTC")
    plain, leap = _haze_of_days(latitude, longitude)
    day = utc.dayofyear.to_numpy() - 1
    # From March on a day of a leap year has another number.
    return np.asarray(np.where(utc.is_leap_year, leap[day], plain[np.minimum(day, 364)]))


@lru_cache(maxsize=64)
def _haze_of_days(latitude: float, longitude: float) -> tuple[np.ndarray, np.ndarray]:
    """Turbidity of every day of a plain year and of a leap year: the map is a file, which is opened once a place."""
    import pandas as pd
    from pvlib.clearsky import lookup_linke_turbidity

    days = pd.date_range("2015-01-01", "2016-12-31", tz="UTC")
    values = lookup_linke_turbidity(days, latitude, longitude).to_numpy()
    return values[:365], values[365:]


def clear_sky_at(
    apparent_zenith: ArrayLike, dni_extra: ArrayLike, linke_turbidity: ArrayLike, altitude: float = 0.0
) -> ClearSky:
    """Light under a cloudless sky by Ineichen & Perez (2002), for a known position of the sun; see `clear_sky`.

    Arrays of shape (steps,): angle of the sun from the vertical, with refraction [deg]; light on a plane facing the
    sun, outside the atmosphere [W/m2]; haze of the air [-]; and the altitude above sea level [m].

    Examples
    --------
    >>> clear_sky_at([0.0], 1367.0, 3.0).ghi.round().tolist()
    [1057.0]
    """
    from pvlib import atmosphere, clearsky

    zenith = np.asarray(apparent_zenith, dtype=float)
    down = zenith >= 90
    # The formulas divide by the height of the sun; while it is down they are given one that is up.
    seen = np.where(down, 0.0, zenith)
    light = clearsky.ineichen(
        seen,
        atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(seen), atmosphere.alt2pres(altitude)),
        np.broadcast_to(np.asarray(linke_turbidity, dtype=float), zenith.shape),
        altitude=altitude,
        dni_extra=dni_extra,
    )
    return ClearSky(*(np.where(down, 0.0, light[name]) for name in ClearSky._fields))


def height_factor(altitude: float) -> float:
    """Light under a clear sky at a height [m] over that at the sea, by Ineichen & Perez (2002), sun overhead. [-]

    The formula of `clear_sky_at`, without the library that takes most of a second to load: about 6 % more a kilometre.

    Examples
    --------
    >>> [round(height_factor(metres), 2) for metres in (0.0, 1000.0, 3000.0)]
    [1.0, 1.05, 1.2]
    """

    def light(metres: float) -> float:
        # Pressure of the standard atmosphere over that at the sea, and so the air that light comes through.
        air = 100.0 * ((44331.514 - metres) / 11880.516) ** (1 / 0.1902632) / 101325.0
        haze = exp(-metres / 8000.0) + exp(-metres / 1250.0) * (_FAIR - 1)
        return (5.09e-5 * metres + 0.868) * exp(-(3.92e-5 * metres + 0.0387) * air * haze)

    return light(altitude) / light(0.0)


def cloud_factor(oktas: ArrayLike, full_cover: str = "ordinary") -> Any:
    """Global light under cloud as a share of that under a clear sky, by Kasten & Czeplak. [-]

    ``1 - 0.75 (oktas / 8)**3.4``, with eighths of the sky under cloud, 0-8, of a kind of full cover (`FULL_COVER`), or
    9 for a hidden sky, which gives 0.15 (common practice, no source); NaN for anything else. It is concave: a mean of
    oktas gives more light than the mean of the factors, so it belongs on single hours.

    Examples
    --------
    >>> cloud_factor([0, 4, 8]).round(4).tolist()
    [1.0, 0.929, 0.25]

    References
    ----------
    F. Kasten, G. Czeplak, "Solar and terrestrial radiation dependent on the amount and type of cloud", Solar Energy 24,
    1980, 177-189.
    """
    cover = np.asarray(oktas, dtype=float)
    seen = np.where((cover >= 0) & (cover <= 8), cover, np.nan)
    factor = np.where(cover == OKTAS_HIDDEN, CLOUD_FACTOR_HIDDEN, 1 - 0.75 * (seen / 8) ** 3.4)
    return np.where(cover == OKTAS_FULL, FULL_COVER[full_cover], factor)[()]


def oktas_that_leave(factor: np.ndarray) -> np.ndarray:
    """Cloud [oktas] that leaves a share of the clear sky's light [-], 0.25 to 1: `cloud_factor` turned round."""
    return np.asarray(OKTAS_FULL * ((1 - factor) / 0.75) ** (1 / 3.4))


def clear_sky_index(ghi: ArrayLike, ghi_clear: ArrayLike) -> Any:
    """Global light as a share of that under a clear sky. [-]

    Both are global horizontal irradiance [W/m2]. Above 1 for a moment at the edge of a cloud; NaN where the clear sky
    gives no light.

    Examples
    --------
    >>> float(clear_sky_index(465.0, 500.0))
    0.93
    """
    full = np.asarray(ghi_clear, dtype=float)
    return np.asarray(ghi, dtype=float) / np.where(full > 0, full, np.nan)


def known_cover(weather: pd.DataFrame) -> np.ndarray:
    """Opaque cover of each step as the weather says it, NaN where it says nothing. [oktas]"""
    if "opaque_cover" not in weather:
        return np.full(len(weather), np.nan)
    return weather["opaque_cover"].to_numpy(dtype=float)


def cover_or_by_light(weather: pd.DataFrame, place: Place) -> np.ndarray:
    """Opaque cover of each step; where the weather says nothing, the one that dims a clear sky to its light.

    It is 0-9 [oktas], of shape (steps,), for a table with ghi that is indexed by the middle of each step.

    A night lies straight between the last hour of light and the next; a span without any light counts as clear.

    On the embedded year, with its own cover left out, the nights come out 0.1 oktas too low on average (2.6 oktas RMS);
    taken as clear they would be 3.7 too low, and their sky 7 K too cold.
    """
    cover = known_cover(weather)
    unknown = np.isnan(cover)
    if not unknown.any():
        return cover
    clear = np.asarray(clear_sky(weather.index, place.latitude, place.longitude, place.altitude).ghi)
    lit = np.flatnonzero(clear > FAINT)
    if not lit.size:
        return np.where(unknown, 0.0, cover)
    index = np.clip(weather["ghi"].to_numpy(dtype=float)[lit] / clear[lit], 0.25, 1.0)
    return np.where(unknown, np.interp(np.arange(len(cover)), lit, oktas_that_leave(index)), cover)


def split_global(ghi: ArrayLike, zenith: ArrayLike, day_of_year: ArrayLike) -> Split:
    """Direct normal and diffuse light from global light [W/m2], by Erbs, Klein & Duffie (1982) through pvlib.

    The zenith of the sun is without refraction [deg], the day of the year 1 to 366 [d]. All light is diffuse within 3
    degrees of the horizon and with the sun down. The relation was fitted to hours in the United States; at a step under
    an hour it is less certain.

    Examples
    --------
    >>> split = split_global([500.0], [40.0], [172])
    >>> split.dhi.round().tolist()
    [336.0]

    References
    ----------
    D. G. Erbs, S. A. Klein, J. A. Duffie, "Estimation of the diffuse radiation fraction for hourly, daily and
    monthly-average global radiation", Solar Energy 28, 1982, 293-302.
    """
    from pvlib.irradiance import erbs

    ghi, zenith = np.asarray(ghi, dtype=float), np.asarray(zenith, dtype=float)
    parts = erbs(ghi, zenith, np.asarray(day_of_year))
    return Split(dni=np.asarray(parts["dni"]), dhi=np.asarray(parts["dhi"]))
