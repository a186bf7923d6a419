"""What is in a year of weather, before it is trusted with a plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta, timezone
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.weather import sky

if TYPE_CHECKING:
    import pandas as pd

CALM = 0.5
"""Wind below this is reported as calm (WMO-No. 8, Guide to Instruments of Observation, from memory). [m/s]"""
HOTTEST = 10
_CLEAR_DAY = 0.9
_FEWEST_CLEAR = 5
_LATE = 0.2
"""Half an hour is the usual slip; the haze of mornings and evenings makes a few minutes. [h]"""
_FAR_CLOCK = 3.5
"""Zones stray from the sun by up to three hours. [h]"""


@dataclass(frozen=True)
class WeatherSummary:
    """A weather table in short.

    Attributes
    ----------
    title, source : str
        As the file says.
    latitude, longitude, altitude : float
        [deg, deg, m]
    step : float
        [s]
    start, end : pandas.Timestamp
        Of the first and the last interval.
    offset : str
        The clock of all times here, ``"UTC-05:00"``.
    coldest, warmest : (float, pandas.Timestamp)
        Extremes of the air temperature, and the start of their hours. [degC]
    irradiation : float
        Sum of global light on the level. [kWh/m2]
    calm_share : float
        Share of the steps with known wind in which it is below 0.5 m/s; NaN if no wind is known. [-]
    months : pandas.DataFrame
        By month: days, irradiation [kWh/m2], clear_sky_index [-], temp_low, temp_high (means of the days' extremes)
        [degC], oktas (by day), wind_speed [m/s], calm_share [-].
    hottest : pandas.DataFrame
        The hottest step of each of the ten hottest days, hottest first: temp_air [degC], ghi [W/m2], clear_sky_index
        [-], wind_speed [m/s], by the start of the step.
    missing : dict of str to float
        Column -> share of the steps without a value, for those that lack any. [-]
    notes : tuple of str
        What was mended on reading, and what looks odd.
    """

    title: str
    source: str
    latitude: float
    longitude: float
    altitude: float
    step: float
    start: pd.Timestamp
    end: pd.Timestamp
    offset: str
    coldest: tuple[float, pd.Timestamp]
    warmest: tuple[float, pd.Timestamp]
    irradiation: float
    calm_share: float
    months: pd.DataFrame
    hottest: pd.DataFrame
    missing: dict[str, float]
    notes: tuple[str, ...]


def summarise(weather: pd.DataFrame) -> WeatherSummary:
    """Sum a weather table up, by the file's own clock, or by the whole hours nearest to the sun if that is far from it.

    The clear-sky index is the light over that of the clear sky of Ineichen & Perez (2002) with pvlib's map of haze.
    """
    import pandas as pd

    about = weather.attrs
    step = float(about["step"])
    table = weather.tz_convert(_clock(weather))
    index: Any = table.index
    clear = sky.clear_sky(index, about["latitude"], about["longitude"], about["altitude"]).ghi
    hours = table.assign(
        clear=clear,
        month=index.month,
        day=index.date,
        calm=_calm(table),
        bright=table["opaque_cover"].where(clear > 20),
    )
    hours.index = index - pd.Timedelta(seconds=step / 2)
    warm, cold = hours["temp_air"].idxmax(), hours["temp_air"].idxmin()
    share = hours[list(weather.columns)].isna().mean()
    return WeatherSummary(
        title=about.get("title") or "",
        source=about.get("source") or "",
        latitude=about["latitude"],
        longitude=about["longitude"],
        altitude=about["altitude"],
        step=step,
        start=hours.index[0],
        end=hours.index[-1] + pd.Timedelta(seconds=step),
        offset=f"UTC{hours.index[0].isoformat()[-6:]}",
        coldest=(float(hours["temp_air"].min()), cold),
        warmest=(float(hours["temp_air"].max()), warm),
        irradiation=float(hours["ghi"].sum() * step / 3.6e6),
        calm_share=float(hours["calm"].mean()),
        months=_months(hours, step),
        hottest=_hottest(hours),
        missing={str(name): float(value) for name, value in share.items() if value > 0},
        notes=(*about.get("notes", ()), *_odd(hours)),
    )


def _clock(weather: pd.DataFrame) -> Any:
    """The file's own offset, or that of the sun where the file keeps a far clock (UTC, mostly)."""
    index: Any = weather.index
    sun = weather.attrs["longitude"] / 15
    own = index[0].utcoffset().total_seconds() / 3600
    far = abs((own - sun + 12) % 24 - 12) > _FAR_CLOCK
    return timezone(timedelta(hours=round(sun))) if far else index.tz


def _calm(table: pd.DataFrame) -> Any:
    """1 where the wind is calm, 0 where it blows, NaN where it is not known."""
    wind = table["wind_speed"]
    return (wind < CALM).astype(float).where(wind.notna())


def _months(hours: pd.DataFrame, step: float) -> pd.DataFrame:
    """Sums and means of each month."""
    by_month = hours.groupby("month")
    days = hours.groupby(["month", "day"])["temp_air"].agg(["min", "max"]).groupby("month")
    light, clear = by_month["ghi"].sum(), by_month["clear"].sum()
    months = days.mean().rename(columns={"min": "temp_low", "max": "temp_high"})
    months.insert(0, "days", by_month.size() * step / 86400)
    months.insert(1, "irradiation", light * step / 3.6e6)
    months.insert(2, "clear_sky_index", (light / clear).where(clear > 0))
    months["oktas"] = by_month["bright"].mean()
    months["wind_speed"] = by_month["wind_speed"].mean()
    months["calm_share"] = by_month["calm"].mean()
    return months


def _hottest(hours: pd.DataFrame) -> pd.DataFrame:
    """The hottest step of each of the hottest days."""
    of_days = hours.loc[hours.groupby("day")["temp_air"].idxmax()]
    chosen = of_days.sort_values("temp_air", ascending=False, kind="stable").head(HOTTEST)
    index = sky.clear_sky_index(chosen["ghi"].to_numpy(), chosen["clear"].to_numpy())
    return chosen[["temp_air", "ghi", "wind_speed"]].assign(
        clear_sky_index=np.where(chosen["clear"] > 20, index, np.nan)
    )


def _odd(hours: pd.DataFrame) -> list[str]:
    """Say what a person should look at again."""
    late = _lateness(hours)
    if not abs(late) > _LATE:
        return []
    side = "later" if late > 0 else "earlier"
    return [
        f"On clear days the light comes {abs(late) * 60:.0f} min {side} than the sun: look at the stamps (start, middle"
        " or end of the hour), the offset from UTC and the longitude."
    ]


def _lateness(hours: pd.DataFrame) -> float:
    """How much later than the clear sky's the light is centred, median of the clear days; NaN without any. [h]"""
    clock = (hours.index.hour + hours.index.minute / 60).to_numpy()
    substeps = hours.assign(at_light=hours["ghi"] * clock, at_clear=hours["clear"] * clock)
    daily = substeps.groupby("day")[["ghi", "clear", "at_light", "at_clear"]].sum()
    daily = daily[(daily["clear"] > 0) & (daily["ghi"] > _CLEAR_DAY * daily["clear"])]
    if len(daily) < _FEWEST_CLEAR:
        return float("nan")
    return float((daily["at_light"] / daily["ghi"] - daily["at_clear"] / daily["clear"]).median())
