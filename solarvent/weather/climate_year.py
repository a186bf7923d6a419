"""A year of hours made from a climate's monthly normals, with no chance in it; air in the course of a day.

How far the light of the clear sky and the cloud factor can be believed: monthly global irradiation by
`sky.clear_sky` and `sky.cloud_factor` against the two typical years (TMY3, Wilcox & Marion 2008) that pvlib ships,
errors in per cent. The first three take the file's own cover: opaque or total cover hour by hour, or the month's mean
opaque cover in every hour, which fails because the factor is concave. The last two are years made by
`climate_weather`: from each month's shares of okta by day, or from its mean alone, spread by
`solarvent.plan.climate.okta_shares`.

Station 723170, latitude 36.1, longitude -79.95::

    month     file   opaque    total     mean    dealt     from
          [kWh/m2]   hourly   hourly  monthly   shares     mean
        1     74.8     -7.3    -20.5    +23.4     -5.8     -2.8
        2     85.8     +5.0     +1.0    +31.5     +7.7     +9.8
        3    131.8     -6.1    -24.2    +19.4     -4.9     -3.3
        4    162.3     -5.1    -11.1    +19.5     -4.0     -3.8
        5    174.7     -6.1    -16.0    +22.0     -4.9     -6.3
        6    187.5     -2.0    -10.3    +14.8     -2.8     -6.9
        7    188.6     -3.6    -11.9    +15.2     -3.7     -8.8
        8    174.1     -0.3     -4.9    +15.1     +2.1     -5.7
        9    132.8     -0.6     -5.9    +26.5     +1.2     -1.2
       10    111.3     -4.4     -9.5    +24.5     -3.0     +1.6
       11     73.0     +3.9    -11.6    +35.6     +6.2     +8.7
       12     69.5     -4.9    -13.3    +23.5     -3.2     +0.1

Station 703165, latitude 55.3, longitude -160.5::

    month     file   opaque    total     mean    dealt     from
          [kWh/m2]   hourly   hourly  monthly   shares     mean
        1     18.1     +0.4     -4.6    +35.1     +4.1     -2.5
        2     29.3    +13.0     +4.9    +43.0    +18.8    +16.2
        3     57.4     +6.0     -0.4    +47.0     +9.2     +8.2
        4     91.7     -0.6     -3.3    +44.1     -0.1     +8.3
        5    101.6     +5.1     -0.2    +44.8     +6.0     +6.8
        6    114.2     +4.3     -7.9    +46.7     +7.0     +6.9
        7    155.1     +2.8     +0.9    +34.8     +4.7     +5.1
        8     83.8     +2.3     -0.9    +36.7     +6.8     +5.1
        9     91.2     +5.7     -4.5    +33.7     +9.4     +6.8
       10     50.0     -0.6     -6.1    +36.9     +5.0     +3.4
       11     22.3     -8.3    -12.1    +36.1     +0.4     -0.6
       12     14.3     -9.3    -18.6    +25.6     -2.2     +1.1

Hour by hour, opaque cover stays within 15 % in every month, at most 13.0 %. Total cover does worse at the first
station (thin high cloud counts in full and takes little light) and about as well at the second, where total and
opaque cover differ little. The made year overshoots in the second station's February by 19 %: its hours stand at 13 %
to begin with, and noon was more clouded than morning and evening there, which shares of hours do not know (3 %); the
rest is the order of its days.
"""

from __future__ import annotations

from datetime import timedelta, timezone
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from solarvent.plan.climate import Climate
from solarvent.plan.plan_record import Place
from solarvent.weather import sky, sun
from solarvent.weather.station_files import TMY_YEAR

if TYPE_CHECKING:
    import pandas as pd

_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_MONTHS = np.repeat(np.arange(12), _MONTH_DAYS)
#: Steps of the golden ratio come back to no earlier place and leave no part of the month to one kind of sky.
_GOLDEN = (5**0.5 - 1) / 2
#: Solar hour of the highest temperature (de Wit 1978). [h]
_WARMEST = 14.0


def sunrise(latitude: ArrayLike, day_of_year: ArrayLike) -> Any:
    """Solar hour [h] at which the centre of the sun rises, on a flat horizon and without refraction.

    ``12 - arccos(-tan(latitude) tan(declination)) / 15 deg``, with the declination by Spencer (1971) through pvlib, at
    a latitude [deg] and days of the year from 1 [d]. 0 where the sun stays up all day, 12 where it stays down.

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
    """Air temperature in the course of a day [degC], by de Wit (1978): two half waves between the extremes.

    It rises as half a cosine from the lowest at sunrise to the highest at 14 h solar time, and falls as half a cosine
    from there to the next sunrise. Hour and sunrise are in solar time, 0 up to 24 and 0 to 12 [h], NaN outside; the
    extremes of the day, the highest of the day before and the lowest of the day after in [degC]: between midnight and
    sunrise the air still cools from the one, after 14 h already towards the other.

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
    C. T. de Wit, *Simulation of assimilation, respiration and transpiration of crops*, Pudoc, 1978; the same as "WAVE"
    in D. C. Reicosky, L. J. Winkelman, J. M. Baker, D. G. Baker, "Accuracy of hourly air temperatures calculated from
    daily minima and maxima", Agricultural and Forest Meteorology 46, 1989, 193-209.
    """
    hour, rise = np.asarray(hour, dtype=float), np.asarray(sunrise, dtype=float)
    known = (hour >= 0) & (hour < 24) & (rise >= 0) & (rise <= 12)
    morning, evening = hour < rise, hour >= _WARMEST
    warmest = np.where(morning, temp_high_before, temp_high)
    coolest = np.where(evening, temp_low_after, temp_low)
    since = np.where(morning, hour + 24.0 - _WARMEST, hour - _WARMEST)
    # Half a wave from 14 h to the next sunrise, which is taken as early as this day's.
    falling = np.cos(np.pi * since / (24.0 - _WARMEST + rise))
    rising = -np.cos(np.pi * (hour - rise) / (_WARMEST - rise))
    wave = np.where(morning | evening, falling, rising)
    return np.where(known, (warmest + coolest) / 2 + (warmest - coolest) / 2 * wave, np.nan)[()]


def course_through(shape: np.ndarray, knots: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Lay the usual course of a day through a few readings: stretched so that it meets both around a step, or laid over
    the line between them where it hardly changes. [degC]

    `shape` is the usual temperature of each step, rising `knots` are the steps of the readings `values`.
    """
    rise, span = np.diff(values), np.diff(shape[knots])
    # Where the usual course hardly rises between two readings, a stretch would be wild.
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


def climate_weather(climate: Climate, place: Place) -> pd.DataFrame:
    """Make a year of hours at a place from monthly normals, turned by half a year for the other hemisphere.

    Temperature: daily extremes run straight from month to month, such that the mean of each month is its normal; the
    hours between by `air_temperature`. Light: each day has one sky from midnight to
    midnight; a month's days share its oktas out, so that the mean cloud factor of the month is that of its shares to
    rounding, and clear and dull days alternate. Global light is that of the clear sky times the cloud factor (Kasten &
    Czeplak 1980), split by Erbs, Klein & Duffie (1982). Wind is the month's mean in every hour.

    The table is as from :func:`solarvent.weather.reading.read_weather`: 8760 rows, indexed by the middle of the hour,
    in the whole hours of offset nearest to the sun. `wind_direction` is NaN if the climate gives none;
    `relative_humidity`, `pressure` and `total_cover` are NaN. `attrs` also holds `ground`, twelve values [degC], or
    None.

    Every July day is as warm as the mean July day: there are no heat waves, no cold spells, no calm, and no tie between
    warmth and cloud. Whole days of one sky make the clear and the dull day more extreme than they are.
    """
    import pandas as pd

    normals = climate.at(place.latitude)
    offset = round(place.longitude / 15)
    zone = timezone(timedelta(hours=offset))
    index: Any = pd.date_range(f"{TMY_YEAR}-01-01 00:30", periods=8760, freq="h", tz=zone, name="time")
    day = index.day_of_year.to_numpy() - 1
    low, high = daily_values(normals.temp_low), daily_values(normals.temp_high)
    temp_air = air_temperature(
        sun.solar_hour(index, place.longitude),
        sunrise(place.latitude, day + 1),
        low[day],
        high[day],
        np.roll(high, 1)[day],
        np.roll(low, -1)[day],
    )
    oktas = dealt_oktas(normals.shares)[day]
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    ghi = clear.ghi * sky.cloud_factor(oktas)
    split = sky.split_global(ghi, position.zenith, day + 1)
    months = index.month.to_numpy() - 1
    table = pd.DataFrame(
        {
            "ghi": ghi,
            "dni": split.dni,
            "dhi": split.dhi,
            "temp_air": temp_air,
            "wind_speed": _monthly(normals.wind_speed)[months],
            "wind_direction": _monthly(normals.wind_direction)[months],
            "relative_humidity": np.nan,
            "pressure": np.nan,
            "total_cover": np.nan,
            "opaque_cover": oktas,
        },
        index=index,
    )
    table.attrs = {
        "title": f"a year made from monthly normals: {normals.name or 'own values'}",
        "source": normals.source,
        "latitude": place.latitude,
        "longitude": place.longitude,
        "altitude": place.altitude,
        "step": 3600.0,
        "notes": ("Made from monthly normals: no heat waves, no cold spells; each day has one sky.",),
        "ground": None if normals.ground is None else tuple(normals.ground),
    }
    return table


def daily_values(normals: Any) -> np.ndarray:
    """Run twelve monthly means straight from month to month through a year, shape (365,), keeping each month's mean.

    The unit stays that of the means. The values in mid-month lie beyond the normals where the year turns.

    Examples
    --------
    >>> daily_values([5.0] * 12)[[0, 200]].round(9).tolist()
    [5.0, 5.0]
    """
    middles = np.cumsum(_MONTH_DAYS) - _MONTH_DAYS / 2 - 0.5
    days = np.arange(365)
    around = np.concatenate([middles[-1:] - 365, middles, middles[:1] + 365])
    waves = np.eye(12)
    # Column k: what a one in the middle of month k, and zero in all others, adds to each day.
    weights = np.stack([np.interp(days, around, np.r_[row[-1], row, row[0]]) for row in waves], axis=1)
    # Means of straight lines are linear in their knots: twelve equations for twelve means.
    means = np.stack([weights[month == _MONTHS].mean(axis=0) for month in range(12)])
    return weights @ np.linalg.solve(means, np.asarray(normals, dtype=float))


def dealt_oktas(shares: Any) -> np.ndarray:
    """Share the skies of each month, shape (12, 9) [-], out among its days, shape (365,) [oktas].

    The days of a month take equal parts of the distribution, from its clear end to its dull end, in an order that steps
    by the golden ratio. A day whose part holds two oktas or more gets the one that lets as much light through, so that
    the mean cloud factor of each month is that of its shares.

    Examples
    --------
    >>> half = [0.5, 0, 0, 0, 0, 0, 0, 0, 0.5]
    >>> dealt_oktas([half] * 12)[31:39].round(2).tolist()
    [8.0, 0.0, 8.0, 0.0, 0.0, 8.0, 0.0, 8.0]
    """
    factors = sky.cloud_factor(np.arange(9))
    result = []
    for row, days in zip(np.asarray(shares, dtype=float), _MONTH_DAYS, strict=True):
        ends = np.concatenate([[0.0], np.cumsum(row)])
        let_through = np.concatenate([[0.0], np.cumsum(row * factors)])
        # From the clear end up to the end of each day's part; the differences are the days' own.
        light = np.interp(np.arange(days + 1) / days, ends / ends[-1], let_through)
        factor = np.clip(np.round(np.diff(light) * days, 12), factors[-1], 1.0)
        # The rank of each day in steps of the golden ratio.
        order = np.argsort(np.argsort(np.arange(1, days + 1) * _GOLDEN % 1))
        result.append(sky.oktas_that_leave(factor)[order])
    return np.concatenate(result)


def _monthly(values: list[float] | None) -> np.ndarray:
    """Twelve values, NaN if none are given."""
    return np.full(12, np.nan) if values is None else np.array(values, dtype=float)
