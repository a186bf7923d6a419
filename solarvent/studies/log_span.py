"""A person's log on even steps: the weather that drove the house, and the readings against which it is held."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import WeatherError
from solarvent.plan.plan import Plan
from solarvent.weather import sky, sun
from solarvent.weather.climate_year import course_through
from solarvent.weather.conditions import plan_weather
from solarvent.weather.house_log import HouseLog

if TYPE_CHECKING:
    import pandas as pd

_HOUR = 3600.0
#: Steps of a log that is finer; the air of a house hardly keeps anything for longer. [s]
_FINE = 1800.0
#: Up to so many days what half an hour tells beside the hour shows. [d]
_FEW_WEEKS = 21
#: Rows further apart tell the air between them by the usual shape of a day. [s]
_SPARSE = 2.5 * _HOUR
_LONG_GAP = 3 * _HOUR  # the readings of the hours after one are left out [s]
_AFTER_GAP = 12 * _HOUR
#: Where neither the log nor the plan's weather says it: a light breeze [m/s], damp air [%], mild [degC].
_BREEZE, _DAMP, _MILD = 2.0, 75.0, 15.0
#: Clear-sky light from which on a ratio to it says something. [W/m2]
_BRIGHT = 150.0
#: Brightest light over that of a clear sky within which a sensor's own scale is believed. [-]
_BELIEVED = (0.75, 1.3)
#: Where no light was logged, that of a day over a clear one's goes with the root of how far the air outside swings:
#: 0.16 inland to 0.19 by the sea of the light above the air, of which a clear sky leaves 0.75 (Hargreaves and Samani
#: 1982, as FAO 56 has it, equations 37 and 50; from memory). [1/K^0.5]
_SWING_TO_LIGHT = 0.175 / 0.75
#: Spread of what the swing tells: 0.17 over the year of the embedded weather; and of the share that a sensor of unknown
#: scale tells (our choice). [-]
SWING_SPREAD, SENSED_SPREAD = 0.18, 0.12
#: Scale of the extreme values of readings that tremble by half a kelvin about the mean of their step: of so many alike
#: ones the outermost lies this times the logarithm of their number beyond (normal readings, 2 to 12 of them). [K]
_TREMBLING = 0.33
_DAY_BEGINS = 5.0  # by the mean sun [h]


@dataclass(frozen=True, eq=False)
class Observed:
    """Readings of the inside: at a step, or the least or the most of a span of steps.

    Attributes
    ----------
    kind : array of int, shape (readings,)
        0 at `last`; -1 the least, 1 the most from `first` to `last`.
    first, last : array of int, shape (readings,)
        Steps.
    value : array, shape (readings,)
        [degC]
    """

    kind: np.ndarray
    first: np.ndarray
    last: np.ndarray
    value: np.ndarray

    def of(self, temp: np.ndarray) -> np.ndarray:
        """What a thermometer would have shown at inside temperatures (steps,). [degC]

        The outermost of readings that tremble lies beyond their means, the further the more of them come near it.
        """
        shown = temp[self.last].copy()
        for k in np.flatnonzero(self.kind):
            beyond = self.kind[k] * temp[self.first[k] : self.last[k] + 1] / _TREMBLING
            shown[k] = self.kind[k] * _TREMBLING * np.logaddexp.reduce(beyond)
        return shown

    def at(self, temp: np.ndarray) -> np.ndarray:
        """Step of each reading; of a least or most the one at which these temperatures have it."""
        step = self.last.copy()
        for k in np.flatnonzero(self.kind):
            span = temp[self.first[k] : self.last[k] + 1]
            step[k] = self.first[k] + int(span.argmin() if self.kind[k] < 0 else span.argmax())
        return step


@dataclass(eq=False)
class LogSpan:
    """A log on even steps.

    Attributes
    ----------
    times : pandas.DatetimeIndex, shape (steps,)
        Middle of each step, UTC.
    step : float
        [s]
    position : SolarPosition
        Of the sun at `times`.
    clear : ClearSky
        Light under a clear sky. [W/m2]
    weather : pandas.DataFrame
        ghi, dni, dhi (those of a clear sky where the log does not tell its light step by step), temp_air, wind_speed,
        wind_direction, relative_humidity, opaque_cover.
    light : str
        "steps": measured step by step; "days": its share of each day; "unknown".
    day : array of int, shape (steps,)
        Number of the day, from dawn to dawn.
    shares : array, shape (days, 2)
        Light of each day over that of a clear one and its spread, where it is not known step by step. [-]
    observed : Observed
        Readings of the inside.
    sound : array of bool, shape (readings,)
        They may be used.
    dense : bool
        A reading every two hours or more often.
    sun : array, shape (steps,), or None
        The log's light as read.
    longitude : float
        [deg]
    volts : pandas.DataFrame
        Of panels and fans as logged, on its own times, with the light beside them if it was.
    notes : list of str
        What was found, left out and taken for granted.
    """

    times: pd.DatetimeIndex
    step: float
    position: sun.SolarPosition
    clear: sky.ClearSky
    weather: pd.DataFrame
    light: str
    day: np.ndarray
    shares: np.ndarray
    observed: Observed
    sound: np.ndarray
    volts: pd.DataFrame
    dense: bool
    sun: np.ndarray | None
    longitude: float
    notes: list[str] = field(default_factory=list)

    @property
    def solar_hour(self) -> np.ndarray:
        """Hours since midnight by the sun, shape (steps,). [h]"""
        return sun.solar_hour(self.times, self.longitude)

    @property
    def lit(self) -> np.ndarray:
        """The sun is up, shape (steps,)."""
        return np.asarray(self.position.apparent_zenith) < 90.0

    def date(self, day: int) -> str:
        """Date on which a day began."""
        at = int(np.flatnonzero(self.day == day)[0])
        return f"{self.times[at]:%d %B}".lstrip("0")


def span_of_log(plan: Plan, log: HouseLog) -> LogSpan:
    """Lay a log on even steps.

    Raises
    ------
    WeatherError
        If nothing tells the outside temperature, or the log has hardly any reading.
    """
    import pandas as pd

    place, table, notes = plan.record.place, log.table, list(log.notes)
    memory = "inside_min" in table
    fine = not memory and log.step <= 0.7 * _FINE
    step = _HOUR if memory or log.step > 1.5 * _HOUR else log.step
    if fine:
        step = _FINE if (table.index[-1] - table.index[0]).days <= _FEW_WEEKS else _HOUR
    start = table.index[0].floor("h") if fine or step == _HOUR != log.step else table.index[0]
    if memory:
        start = start - pd.Timedelta(days=1)
    seconds = (table.index - start).total_seconds().to_numpy()
    row = np.floor(seconds / step).astype(int) if fine else np.rint(seconds / step).astype(int)
    steps = int(row[-1]) + 1
    times = start + pd.to_timedelta((np.arange(steps) + (0.5 if fine else 0.0)) * step, unit="s")
    times = pd.DatetimeIndex(times, tz="UTC") if times.tz is None else times
    position = sun.solar_position(times, place.latitude, place.longitude, place.altitude, step)
    clear = sky.clear_sky(times, place.latitude, place.longitude, place.altitude)
    solar = sun.solar_hour(times, place.longitude)
    days = (times.as_unit("s").asi8 / 86_400 + (place.longitude / 15 - _DAY_BEGINS) / 24) // 1
    even = table.groupby(row).mean().reindex(range(steps))
    usual = _usual_weather(plan, times)
    outside, bridged = _outside(plan, log, even, row, usual, solar, step, notes)
    weather = pd.DataFrame(
        {
            "temp_air": outside,
            "wind_speed": _or_usual(even, "wind", usual["wind_speed"].fillna(_BREEZE)),
            "wind_direction": usual["wind_direction"].fillna(0.0),
            "relative_humidity": _or_usual(even, "humidity", usual["relative_humidity"].fillna(_DAMP)),
        },
        index=times,
    )
    weather.attrs["step"] = step
    day = (days - days[0]).astype(int)
    light, shares = _light(weather, even, clear, position, day, log.sun_unit, notes)
    observed = _observed(log, even, row)
    sound = np.isfinite(observed.value) & ~bridged[observed.last]
    if len(sound) and sound.sum() < 4:
        raise WeatherError.single(log.name, f"{sound.sum()} readings can be used", "some nights of readings are needed")
    electrical = [name for name in table if name.partition(".")[0] in ("volts", "amperes")]
    electrical += ["sun"] if electrical and "sun" in table else []
    return LogSpan(
        times, step, position, clear, weather, light, day, shares, observed, sound, table[electrical],
        not memory and log.step <= _SPARSE, even["sun"].to_numpy() if "sun" in even else None, place.longitude, notes,
    )  # fmt: skip


def _or_usual(even: pd.DataFrame, name: str, usual: pd.Series) -> np.ndarray:
    """A column of the log, and where it says nothing the usual value."""
    values = even[name].to_numpy() if name in even else np.full(len(even), np.nan)
    return np.where(np.isfinite(values), values, usual.to_numpy())


def _usual_weather(plan: Plan, times: pd.DatetimeIndex) -> pd.DataFrame:
    """Mean wind, damp and air of the plan's weather at the same month and hour; the file's own hours if it has them."""
    import pandas as pd

    names = ["temp_air", "wind_speed", "wind_direction", "relative_humidity"]
    if plan.record.weather.clear_sky:
        return pd.DataFrame(np.nan, index=times, columns=names)
    weather = plan_weather(plan)
    weather = weather[[name for name in names if name in weather]].reindex(columns=names)
    index: Any = weather.index.tz_convert("UTC")
    means = weather.groupby([index.month, index.hour]).mean()
    usual = means.reindex(pd.MultiIndex.from_arrays([times.month, times.hour])).set_axis(times)
    return usual.interpolate(limit_direction="both")


def _outside(
    plan: Plan, log: HouseLog, even: pd.DataFrame, row: np.ndarray, usual: pd.DataFrame, solar: np.ndarray,
    step: float, notes: list[str],
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Outside air of each step, and the steps whose air had to be bridged over a gap."""
    table, steps = log.table, len(even)
    if "outside" not in table and "outside_min" not in table:
        own = _own_hours(plan, log, even, usual)
        if own is None and not {"inside", "inside_min"} & set(table):
            # Of panels and fans the air changes a volt or two.
            return usual["temp_air"].fillna(_MILD).to_numpy(), np.zeros(steps, dtype=bool)
        if own is None:
            write = 'name it like "outside [degC]", or say --outside NAME; log it in the shade beside the house'
            raise WeatherError.single(log.name, "no column is known as the outside temperature", write)
        notes.append("Outside air is that of the plan's weather file: believe it within 2 K.")
        return own, np.zeros(steps, dtype=bool)
    read = [name for name in ("outside", "outside_min", "outside_max") if name in even]
    if np.isfinite(even[read].to_numpy()).sum() < 4:
        raise WeatherError.single(log.name, "it has hardly any outside temperature", "log the air outside as well")
    if "outside_min" in table or log.step > _SPARSE:
        notes.append(
            "Between its few readings the outside air follows the usual shape of a day: believe it within 2 K."
        )
        return _by_shape(log, row, usual, solar), np.zeros(steps, dtype=bool)
    known = np.flatnonzero(np.isfinite(even["outside"].to_numpy()))
    values = np.interp(np.arange(steps), known, even["outside"].to_numpy()[known])
    bridged = np.zeros(steps, dtype=bool)
    gaps = np.flatnonzero(np.diff(known) * step > _LONG_GAP)
    for k in gaps:
        bridged[known[k] + 1 : known[k + 1] + round(_AFTER_GAP / step)] = True
    bridged[: known[0]] = True
    bridged[known[-1] + 1 :] = True
    if gaps.size:
        hours = sum((known[k + 1] - known[k]) * step for k in gaps) / 3600
        notes.append(
            f"{gaps.size} gaps in the log, {hours:.0f} hours together, the first from"
            f" {_told(log, known[gaps[0]] * step)}: bridged for the weather. They, and the 12 hours after"
            " each, are not used."
        )
    return values, bridged


def _told(log: HouseLog, seconds: float) -> str:
    """Time in words, from the beginning of the log. [s]"""
    import pandas as pd

    return f"{log.table.index[0] + pd.Timedelta(seconds=float(seconds)):%d %B %H:%M} UTC".lstrip("0")


def _own_hours(plan: Plan, log: HouseLog, even: pd.DataFrame, usual: pd.DataFrame) -> np.ndarray | None:
    """Air of the plan's weather file, if that has the very days of the log."""
    if plan.record.weather.file is None:
        return None
    weather = plan_weather(plan)
    index: Any = weather.index.tz_convert("UTC")
    if index[0] > log.table.index[0] or index[-1] < log.table.index[-1]:
        return None
    at = usual.index.as_unit("s").asi8
    return np.interp(at, index.as_unit("s").asi8, weather["temp_air"].to_numpy())


def _by_shape(log: HouseLog, row: np.ndarray, usual: pd.DataFrame, solar: np.ndarray) -> np.ndarray:
    """Outside air between a few readings, or least and most of each day: the usual shape of a day through them."""
    shape = usual["temp_air"].to_numpy()
    if not np.ptp(shape) >= 1:
        # Unknown, or hardly any: coldest at dawn, warmest in mid-afternoon.
        since = (solar - 5) % 24
        shape = np.where(since < 10, -np.cos(np.pi * since / 10), np.cos(np.pi * (since - 10) / 14))
    table, at, air = log.table, [], []
    least, most = np.full(len(shape), -np.inf), np.full(len(shape), np.inf)
    if "outside_min" in table:
        lows, highs = table["outside_min"].to_numpy(), table["outside_max"].to_numpy()
        scale = float(np.nanmedian(highs - lows)) / np.ptp(shape)
        dawn, coldest = 0, np.inf
        for first, last, low, high in zip(np.append(0, row[:-1]), row, lows, highs, strict=True):
            set_at = coldest + scale * (shape[first] - shape[dawn])
            dawn = first + int(shape[first : last + 1].argmin())
            # If it was colder when the thermometer was set than it was later on, that moment is the least.
            at += [first if low > set_at else dawn, first + int(shape[first : last + 1].argmax())]
            air += [low, high]
            coldest = np.inf if low > set_at else low
            least[first : last + 1] = np.fmax(least[first : last + 1], low)
            most[first : last + 1] = np.fmin(most[first : last + 1], high)
    else:
        at, air = list(row), list(table["outside"].to_numpy())
    kept = {where: value for where, value in sorted(zip(at, air, strict=True)) if np.isfinite(value)}
    knots, values = np.array(list(kept)), np.array(list(kept.values()))
    return np.clip(course_through(shape, knots, values), least, most)


def _light(
    weather: pd.DataFrame, even: pd.DataFrame, clear: sky.ClearSky, position: sun.SolarPosition, day: np.ndarray,
    unit: str, notes: list[str],
) -> tuple[str, np.ndarray]:  # fmt: skip
    """Put the light into the weather, and say how far it is known: step by step, day by day or not at all."""
    weather["ghi"], weather["dni"], weather["dhi"] = clear.ghi, clear.dni, clear.dhi
    weather["opaque_cover"] = 0.0
    days, air = int(day[-1]) + 1, weather["temp_air"].to_numpy()
    # Of a day of which the log has only a part the swing is not known: it gets that of the others.
    swing, steps = np.array([np.ptp(air[day == d]) for d in range(days)]), np.bincount(day)
    swing = np.where(steps > 0.8 * steps.max(), swing, np.median(swing[steps > 0.8 * steps.max()]))
    unknown = np.column_stack([np.minimum(_SWING_TO_LIGHT * np.sqrt(swing), 1.0), np.full(days, SWING_SPREAD)])
    if "sun" not in even:
        notes.append("The log has no light: that of each day is only guessed, by how far the air outside swings.")
        return "unknown", unknown
    read = even["sun"].to_numpy()
    bright = np.isfinite(read) & (clear.ghi > _BRIGHT)
    if bright.sum() < 8 or not (read[bright] > 0).any():
        notes.append("Its light says nothing: that of each day is only guessed, by how far the air outside swings.")
        return "unknown", unknown
    ratio = read[bright] / clear.ghi[bright]
    brightest = float(np.percentile(ratio, 90))
    if unit in ("w/m2", "wm2", "kw/m2") and _BELIEVED[0] <= brightest <= _BELIEVED[1]:
        return _by_steps(weather, read, clear, position)
    # On its brightest days a sensor in the open follows a clear sky through the hours; one in a corner does not.
    lit = np.unique(day[bright])
    levels = np.array([np.percentile(ratio[day[bright] == d], 75) for d in lit])
    best = np.isin(day, lit[levels >= np.percentile(levels, 75)])
    chosen = bright & best & (clear.ghi > 0.5 * clear.ghi.max())
    level = read[chosen] / clear.ghi[chosen] if chosen.sum() > 5 else ratio
    if unit and brightest > 0.4 and np.percentile(level, 80) < 1.35 * np.percentile(level, 40):
        notes.append(
            f"Its light is counted in proportion: the brightest, {brightest:.2f} of a clear sky as written, as clear."
        )
        return _by_steps(weather, read / brightest, clear, position)
    sums = np.array([np.nansum(np.where(day == d, read, 0.0)) for d in range(days)])
    whole = np.array([clear.ghi[(day == d) & np.isfinite(read)].sum() for d in range(days)])
    share = np.divide(sums, whole, out=np.full(days, np.nan), where=whole > 0.5 * np.median(whole))
    top = np.array([np.nanmax(share[max(0, d - 10) : d + 11], initial=1e-9) for d in range(days)])
    known = np.isfinite(share)
    shares = np.where(known[:, None], np.column_stack([share / top, np.full(days, SENSED_SPREAD)]), unknown)
    notes.append(
        "Its light does not follow a clear sky through the hours, or has no scale: it tells the share of each day, the"
        " brightest days around counting as clear."
    )
    return "days", shares


def _by_steps(
    weather: pd.DataFrame, read: np.ndarray, clear: sky.ClearSky, position: sun.SolarPosition
) -> tuple[str, np.ndarray]:
    """Put measured light into the weather, with its beam and its cloud."""
    known = np.flatnonzero(np.isfinite(read))
    # Cloud edges may give more than a clear sky, but for a step hardly this much (common practice, no source).
    ghi = np.interp(np.arange(len(read)), known, read[known]).clip(0.0, 1.4 * clear.ghi + 20.0)
    split = sky.split_global(ghi, np.asarray(position.apparent_zenith), weather.index.day_of_year.to_numpy())
    # Near a clear sky its own split is the better one.
    whole = ghi > 0.93 * clear.ghi
    weather["ghi"] = ghi
    weather["dni"] = np.where(whole, clear.dni, np.minimum(split.dni, clear.dni))
    weather["dhi"] = np.where(whole, clear.dhi + ghi - clear.ghi, split.dhi).clip(0.0)
    weather["opaque_cover"] = np.nan
    return "steps", np.empty((0, 2))


def _observed(log: HouseLog, even: pd.DataFrame, row: np.ndarray) -> Observed:
    """Readings of the inside on the steps."""
    table = log.table
    if "inside_min" in table:
        before = np.concatenate([[max(row[0] - (row[1] - row[0] if len(row) > 1 else 24), 0)], row[:-1]])
        least, most = (table[name].to_numpy(dtype=float) for name in ("inside_min", "inside_max"))
        kind = np.repeat([-1, 1], len(row))
        return Observed(kind, np.tile(before, 2), np.tile(row, 2), np.concatenate([least, most]))
    inside = even["inside"].to_numpy() if "inside" in even else np.full(len(even), np.nan)
    at = np.flatnonzero(np.isfinite(inside))
    return Observed(np.zeros(len(at), dtype=int), at, at, inside[at])
