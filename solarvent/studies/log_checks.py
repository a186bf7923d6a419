"""What is wrong with a log, by the sun: its clock, swapped columns, thermometers in the sun, open doors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import WeatherError
from solarvent.studies.log_span import LogSpan

if TYPE_CHECKING:
    from solarvent.studies.house_fit import FittedHouse

_HOUR = 3600.0
#: Sun from which on a shut house is warmer than outside, whatever its cover. [W/m2]
_BRIGHT = 250.0
#: Outside air in the shade warms by less in an hour, but for a few days of a year; and by less on any day (common
#: practice, no source; the year of the embedded weather has five days of the first, and none of the second). [K/h]
_FASTEST_AIR, _NO_AIR = 5.0, 7.0
#: A thermometer in the sun says how warm the air is at the most: not more than this above the line between the last
#: hour before and the first one after (common practice, no source). [K]
_MOST_OVER_LINE = 8.0
#: Clocks are told from this on: by light, which knows the hour, and by warmth alone. [s]
_CLOCK_BY_LIGHT, _CLOCK_BY_WARMTH = 50 * 60.0, 2.6 * _HOUR
#: The moment at which a thermometer was set may be the least or the most that it kept within so much [K], and is known
#: too badly where the house warms or cools faster than this [K/h] (our choice).
_SET_NEAR, _SET_STEEP = 1.5, 1.5
#: How far and how long readings of a day must part from the house to be named: in noises, in kelvin, in kelvin where
#: the outside air is a guess between a few readings, and [s].
_ODD_NOISES, _ODD_KELVIN, _ODD_SPARSE, _ODD_SPAN = 4.0, 3.0, 6.0, 2.0 * _HOUR
#: Days that are odd beyond this share are no exceptions: the model does not fit the house.
_EXCEPTIONS = 0.4


def refuse_swapped(span: LogSpan, name: str) -> None:
    """Refuse a log whose "outside" is the warmer one in the sun: its columns are swapped."""
    if (span.observed.kind != 0).any():
        lows, highs = span.observed.kind < 0, span.observed.kind > 0
        inside = float(np.nanmedian(span.observed.value[highs]) - np.nanmedian(span.observed.value[lows]))
        air = span.weather["temp_air"].to_numpy()
        outside = float(np.median([np.ptp(air[span.day == day]) for day in range(int(span.day[-1]) + 1)]))
        swapped = outside > 1.5 * inside
    else:
        at = span.observed.last
        bright = span.sound & (span.weather["ghi"].to_numpy()[at] > _BRIGHT)
        rise = (span.observed.value - span.weather["temp_air"].to_numpy()[at])[bright]
        swapped = rise.size > 5 and float(np.median(rise)) < -2.0 and float(np.mean(rise < 0)) > 0.8
    if swapped:
        write = "are the columns swapped? say which is which: --inside NAME --outside NAME"
        raise WeatherError.single(name, "in the sun its outside is warmer than its inside", write)


def refuse_wrong_clock(span: LogSpan, name: str) -> None:
    """Refuse a log whose light, or else whose warmth, comes hours before or after the sun."""
    sun = span.sun
    hour = np.arange(len(span.day)) * span.step
    # From midnight to midnight by the sun: a light that is hours off is still in its day.
    midnight = np.cumsum(np.diff(span.solar_hour, prepend=span.solar_hour[0]) < 0)
    apart = []
    for day in range(int(midnight[-1]) + 1):
        at = np.flatnonzero(midnight == day)
        if len(at) * span.step < 23 * _HOUR or span.clear.ghi[at].max() < 50:
            continue
        if sun is not None:
            # Of a day under cloud the middle wanders; first and last light do not.
            lit = at[sun[at] > 0.02 * np.nanmax(sun)]
            up = at[span.clear.ghi[at] > 0.02 * span.clear.ghi.max()]
            if lit.size:
                apart.append((hour[lit[0]] + hour[lit[-1]] - hour[up[0]] - hour[up[-1]]) / 2)
        elif span.dense:
            read = np.interp(at, span.observed.last, span.observed.value)
            rise = (read - span.weather["temp_air"].to_numpy()[at]).clip(0)
            if rise.max() > 4:
                weight = (rise - np.percentile(rise, 30)).clip(0)
                warm, light = (float((hour[at] * w).sum() / w.sum()) for w in (weight, span.clear.ghi[at]))
                # A house is warmest some hour after the sun is highest (common practice, no source).
                apart.append(warm - light - 1.0 * _HOUR)
    if len(apart) < 2:
        return
    shift, limit = float(np.median(apart)), _CLOCK_BY_LIGHT if sun is not None else _CLOCK_BY_WARMTH
    if abs(shift) > limit:
        off = round(4 * shift / _HOUR) / 4
        what = f"by its {'light' if sun is not None else 'warmth'} its clock is about {abs(off):g} h"
        what += " behind the sun" if off < 0 else " ahead of the sun"
        write = f'check zone and daylight saving; if so, say --shift "{-off:g} h"'
        raise WeatherError.single(name, what, write)


def without_sunny_outside(span: LogSpan) -> np.ndarray:
    """Find the days on which the outside thermometer stands in the sun, put what the air can be at the most in the
    place of their readings, and give the steps whose air is not known, shape (steps,)."""
    air = span.weather["temp_air"].to_numpy().copy()
    if not span.dense:
        return np.zeros(len(air), dtype=bool)
    hours = round(_HOUR / span.step)
    climb = np.zeros(len(air))
    climb[hours:] = air[hours:] - air[:-hours]
    inside = np.full(len(air), np.nan)
    inside[span.observed.last] = span.observed.value
    lit = span.clear.ghi > 20.0
    struck = lit & (climb > (_FASTEST_AIR if (lit & (climb > _NO_AIR)).any() else _NO_AIR))
    # Nothing that shuts in the sun is colder than the air around it.
    struck |= lit & (air > inside + 1.5) & (span.weather["ghi"].to_numpy() > _BRIGHT) & (climb > 2.0)
    named = np.unique(span.day[struck]).tolist()
    # The whole day is in doubt: a thermometer that the sun reaches is too warm before it is seen to be.
    unknown = np.isin(span.day, named) & lit
    known = np.flatnonzero(~unknown)
    if not named or not known.size:
        return unknown
    line = np.interp(np.arange(len(air)), known, air[known])
    span.weather["temp_air"] = np.where(unknown, np.minimum(air, line + _MOST_OVER_LINE), air)
    span.notes.append(
        f"The outside thermometer stands in the sun on {len(named)} days ({_dates(span, named)}): it warms by more than"
        f" {_FASTEST_AIR:g} K an hour. The daylight readings of these days are not used."
    )
    return unknown


def without_settings(span: LogSpan, temp: np.ndarray) -> np.ndarray:
    """Find what a thermometer with memory kept, at inside temperatures (steps,), of the very moment at which it was set
    or read while the house warmed or cooled fast: nobody knows that moment well enough. Shape (readings,)."""
    observed, rate = span.observed, np.abs(np.diff(temp)) / span.step * _HOUR
    out = np.zeros(len(observed.kind), dtype=bool)
    for k in np.flatnonzero(observed.kind):
        first, last = observed.first[k], observed.last[k]
        inner = observed.kind[k] * temp[first : last + 1]
        ends = inner[[0, -1]] > inner.max() - _SET_NEAR
        out[k] = (ends & (rate[[first, last - 1]] > _SET_STEEP)).any()
    if out.any():
        span.notes.append(
            f"{out.sum()} of its least and most may be those of the moment at which the thermometer was set, when the"
            " house warmed or cooled fast: they are not used."
        )
    return out


def odd_readings(span: LogSpan, fitted: FittedHouse) -> tuple[np.ndarray, list[str], bool]:
    """Find readings that no figures explain: of a thermometer in the sun, of an open door, of something else.

    Returns the readings to be left out, shape (readings,), sentences that name their days, and whether so many are odd
    that it is the model which does not fit.
    """
    at = span.observed.at(fitted.temp_inside)
    over, under = (span.observed.value - span.observed.of(each) for each in (fitted.temp_warmest, fitted.temp_coolest))
    lit, day = span.lit[at], span.day[at]
    kelvin = _ODD_KELVIN if span.dense else _ODD_SPARSE
    limit = np.maximum(_ODD_NOISES * np.where(lit, fitted.noise[1], fitted.noise[0]), kelvin)
    least = round(_ODD_SPAN / span.step) if span.dense else 1
    out = np.zeros(len(over), dtype=bool)
    warm: list[int] = []
    cool: list[int] = []
    for number in np.unique(day):
        chosen = np.flatnonzero((day == number) & span.sound)
        for days, beyond in ((warm, (over > limit)[chosen]), (cool, (under < -limit)[chosen])):
            if beyond.sum() >= least:
                days.append(int(number))
                first = chosen[np.flatnonzero(beyond)[0]]
                # What a door or the sun has done lasts for a while after.
                until = at[chosen[np.flatnonzero(beyond)[-1]]] + round(3 * _HOUR / span.step)
                out |= (at >= at[first] - 1) & (at <= until) & (day == number)
    remarks = []
    all_days = len(np.unique(day))
    if warm:
        when = _dates(span, warm) + _hours(span, at, over > limit, over)
        remarks.append(
            f"Warmer inside than any figures make it on {when}: is the thermometer in the sun, or a heater on?"
        )
    if cool:
        when = _dates(span, cool) + _hours(span, at, under < -limit, under)
        remarks.append(f"Cooler inside than any figures make it on {when}: did a door or vent stand open?")
    return out, remarks, len({*warm, *cool}) > max(_EXCEPTIONS * all_days, 3)


def _hours(span: LogSpan, at: np.ndarray, beyond: np.ndarray, off: np.ndarray) -> str:
    """Say within which hours by the sun readings are off, and by how much."""
    chosen = beyond & span.sound
    low, high = np.percentile(span.solar_hour[at[chosen]], [10, 90])
    size = float(np.median(np.abs(off[chosen])))
    return f", mostly from {low:.0f} to {high + span.step / _HOUR:.0f} h by the sun and by {size:.1f} K"


def _dates(span: LogSpan, days: list[int]) -> str:
    """Name days; of many the first ones."""
    named = [span.date(day) for day in days[:6]]
    more = f" and {len(days) - 6} more" if len(days) > 6 else ""
    return ", ".join(named) + more
