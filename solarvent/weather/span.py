"""Spans of weather by a plan's clock: a calendar year, one day of it, shorter steps, and a year of clear sky."""

from __future__ import annotations

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
    return (index - pd.Timedelta(seconds=length / 2)).tz_convert(clock)


def calendar_year(weather: pd.DataFrame, clock: tzinfo) -> pd.DataFrame:
    """Carry the hours that a year of weather has beyond New Year on the plan's clock to the year's other end.

    Without this the clock of another zone would cut 1 January, or 31 December, in two halves a year apart.
    """
    import pandas as pd

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
    fine["temp_air"] = np.interp(fine.index.asi8, weather.index.asi8, weather["temp_air"].to_numpy())
    return fine


def hours_of_need(plan: Plan, times: pd.DatetimeIndex) -> np.ndarray:
    """Mark the steps that begin within the months and hours in which the plan needs air."""
    target = plan.record.target
    return np.asarray(times.month.isin(plan.record.months_of_need)) & within_clock(times, target.start, target.end)


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
