"""Spans of weather by a plan's clock, and what is in a year of weather before it is trusted with a plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta, timezone, tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import PlanError
from solarvent.plan.fields import minutes_of
from solarvent.plan.plan import Plan
from solarvent.weather import sky

if TYPE_CHECKING:
    import pandas as pd


#: A year without a leap day and without meaning, for weather that belongs to no year.
_ANY_YEAR = 2001


def clear_year(plan: Plan) -> pd.DataFrame:
    """Make an hourly year of clear sky, with one temperature and no wind."""
    import pandas as pd

    place = plan.record.place
    index = pd.date_range(f"{_ANY_YEAR}-01-01", periods=8760, freq="h", tz="UTC") + pd.Timedelta(minutes=30)
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    table = pd.DataFrame(
        {
            "ghi": clear.ghi,
            "dni": clear.dni,
            "dhi": clear.dhi,
            "temp_air": plan.record.weather.temp_air,
            "wind_speed": 0.0,
            "wind_direction": 0.0,
            "opaque_cover": 0.0,
        },
        index=index,
    )
    table.attrs.update(title="a clear sky every day", source="Ineichen clear sky through pvlib", step=3600.0)
    return table


def plan_clock(plan: Plan) -> tzinfo:
    """Give the clock of a plan: the one on the wall, or the sun's mean time."""
    place = plan.record.place
    if plan.record.clock == "solar":
        return timezone(timedelta(minutes=round(4 * place.longitude)))
    return place.zone


def starts(weather: pd.DataFrame, clock: tzinfo, step: float | None = None) -> Any:
    """Start of each step, by the plan's clock."""
    import pandas as pd

    index: Any = weather.index
    length = weather.attrs["step"] if step is None else step
    # The index of weather stands at the middle of each step.
    return (index - pd.Timedelta(seconds=length / 2)).tz_convert(clock)


def calendar_year(weather: pd.DataFrame, clock: tzinfo) -> pd.DataFrame:
    """Carry the hours that a year of weather has beyond New Year on the plan's clock to the year's other end.

    Without this the clock of another zone would cut 1 January, or 31 December, in two halves a year apart.
    """
    import pandas as pd

    # Shorter and longer spans have no other end that would fit on.
    if len(weather) * weather.attrs["step"] != 365 * 86400:
        return weather
    year = starts(weather, clock).year
    own = year[len(year) // 2]
    if (year == own).all():
        return weather
    whole = weather.copy()
    whole.index = weather.index + pd.to_timedelta(365 * np.sign(own - year), unit="D")
    whole = whole.sort_index()
    whole.attrs = dict(weather.attrs)
    return whole


def one_day(weather: pd.DataFrame, day: date, clock: tzinfo) -> pd.DataFrame:
    """Cut one day out of the year, by the plan's clock."""
    local = starts(weather, clock)
    chosen = weather[(local.month == day.month) & (local.day == day.day)]
    if chosen.empty:
        raise PlanError.single("day", f"the weather has no {day:%d %B}", "choose another day")
    chosen.attrs = weather.attrs
    return chosen


def finer(
    weather: pd.DataFrame, seconds: float, step: float, latitude: float, longitude: float, altitude: float
) -> pd.DataFrame:
    """Divide hours into shorter steps: the hour's share of the clear sky is kept, the sun moves within it."""
    import pandas as pd

    if not 60 <= step <= seconds or seconds % step:
        what = f"{step / 60:g} min is not a whole part of {seconds / 60:g} min, the step of the weather"
        raise PlanError.single("step", what, "like 10 min or 15 min; not below 1 min")
    count = int(seconds // step)
    shift = pd.to_timedelta(np.tile((np.arange(count) + 0.5) * step - seconds / 2, len(weather)), unit="s")
    fine = weather.loc[weather.index.repeat(count)]
    fine.index = fine.index + shift
    fine.attrs = {**weather.attrs, "step": step}
    clear = sky.clear_sky(fine.index, latitude, longitude, altitude)
    for name in ("ghi", "dni", "dhi"):
        fine_clear = np.asarray(getattr(clear, name)).reshape(len(weather), count)
        # An hour keeps its own mean: what matters of the clear sky is its shape within the hour.
        mean = fine_clear.mean(axis=1, keepdims=True)
        shape = np.divide(fine_clear, mean, out=np.ones_like(fine_clear), where=mean > 1.0)
        fine[name] = (shape * weather[name].to_numpy()[:, None]).ravel()
    # Air has no course of its own within the hour: straight from middle to middle.
    fine["temp_air"] = np.interp(fine.index.asi8, weather.index.asi8, weather["temp_air"].to_numpy())
    return fine


def hours_of_need(plan: Plan, times: pd.DatetimeIndex) -> np.ndarray:
    """Mark the steps that begin within the months and hours in which the plan needs air."""
    target = plan.record.target
    return np.asarray(times.month.isin(plan.record.months_of_need)) & within_clock(times, target.start, target.end)


def hours_switched_on(plan: Plan, times: pd.DatetimeIndex) -> np.ndarray:
    """Mark the steps in which the fans of a plan with a battery are switched on, as far as the clock decides it.

    Those of need and of its evening; all, where nothing switches them, or a thermostat does.
    """
    battery = plan.record.storage
    if battery is None or battery.fed == "always" or plan.record.thermostat is not None:
        return np.ones(len(times), dtype=bool)
    need = hours_of_need(plan, times)
    if battery.start == battery.end:
        return need
    evening = within_clock(times, battery.start, battery.end)
    return need | (evening & np.asarray(times.month.isin(plan.record.months_of_need)))


def in_order_of_span(times: pd.DatetimeIndex, start: str, end: str) -> pd.DatetimeIndex:
    """Put the early hours of a span over midnight behind its evening: a day later than they stand in the weather."""
    import pandas as pd

    if start < end:
        return times
    early = np.asarray(times.hour * 60 + times.minute) < minutes_of(end)
    return times.where(~early, times + pd.Timedelta(days=1))


def within_clock(times: pd.DatetimeIndex, start: str, end: str) -> np.ndarray:
    """Mark the steps that begin from one clock time to another, over midnight if the first is the later one."""
    minutes = np.asarray(times.hour * 60 + times.minute)
    since, before = minutes >= minutes_of(start), minutes < minutes_of(end)
    return since & before if start < end else since | before


def hottest_month(plan: Plan, weather: pd.DataFrame) -> int:
    """Choose the month of need with the hottest hours of need; of all months if the weather has none of them."""
    times = starts(weather, plan_clock(plan))
    need = hours_of_need(plan, times)
    chosen = need if need.any() else np.ones(len(times), dtype=bool)
    return int(weather["temp_air"][chosen].groupby(times.month.to_numpy()[chosen]).mean().idxmax())


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
    # The short way round the clock.
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
    # One hour a day, or a single heat wave would fill the list.
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
