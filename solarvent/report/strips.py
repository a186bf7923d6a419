"""Days as bars: for each hour the sun above a line and the air below it, in text and as a picture."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.report.layout import clock, width
from solarvent.studies.overview import DayOverview, GlanceDay

if TYPE_CHECKING:
    import pandas as pd


#: Eight heights; the plain ones are letters that every console has.
BLOCKS, PLAIN = "▁▂▃▄▅▆▇█", ".:-=+*#@"
_LABEL, _WORDS = 5, 12
_FULL_SUN = 1000.0


def day_bars(hours: pd.DataFrame, highest: float, plain: bool = False) -> str:
    """Draw sun and air changes of the lit steps of a day, one bar a step; empty for no steps.

    Three lines of at most 80 columns: the clock, the sun (a full bar is 1000 W/m2), and the air, of which a full bar is
    `highest` [1/h].
    """
    if hours.empty:
        return ""
    space = width() - _LABEL - _WORDS
    together = ceil(len(hours) / space)
    wide = max(min(space // ceil(len(hours) / together), 4), 1)
    index: Any = hours.index
    starts = (index.hour + index.minute / 60.0).to_numpy()[::together]
    lines = [" " * _LABEL + _clock(starts, wide)]
    for label, name, full, unit in (("sun", "poa_global", _FULL_SUN, "W/m2"), ("air", "air_changes", highest, "/h")):
        values = hours[name].to_numpy(dtype=float)
        means = [values[at : at + together].mean() for at in range(0, len(values), together)]
        bars = "".join(bar(value / full if full > 0 else 0.0, plain) * wide for value in means)
        lines.append(f"{label:<{_LABEL}}{bars}  {values.max():.0f} {unit}")
    return "\n".join(line.rstrip() for line in lines)


def bar(share: float, plain: bool = False) -> str:
    """Give the sign for a share of a full bar; a blank for next to nothing."""
    signs = PLAIN if plain else BLOCKS
    if not share > 0.02:
        return " "
    return signs[min(ceil(share * len(signs)), len(signs)) - 1]


def _clock(starts: np.ndarray, wide: int) -> str:
    """Write every third hour above its bar."""
    line = ""
    for place, start in enumerate(starts):
        earlier = starts[place - 1] if place else start - 1
        if ceil(earlier + 1e-9) <= start and int(start) % 3 == 0 and (not place or int(earlier) != int(start)):
            if len(line) > place * wide:
                continue
            line = f"{line:<{place * wide}}{int(start):02d}:00 "
    return line


@dataclass(frozen=True)
class Strip:
    """One day, from midnight to midnight, by clock hour.

    The bars are shares of a full one, of the air or of the fans that turn; the sun is the light on the panel as a
    share of 1000 W/m2.
    """

    sky: str
    date: str
    words: str
    bars: list[tuple[float, float]]
    sun: list[tuple[float, float]]


@dataclass(frozen=True)
class MonthStrips:
    """The brightest, the middle and the dullest day of a month; a full bar of air is `highest` [1/h]."""

    number: int
    name: str
    strips: list[Strip]
    highest: float


def month_strips(glance: Sequence[Sequence[GlanceDay]]) -> list[MonthStrips]:
    """Draw the telling days of every month, all to one scale."""
    highest = max((float(day.hours["air_changes"].max()) for days in glance for day in days), default=0.0)
    return [
        MonthStrips(days[0].month, month_abbr[days[0].month], [_strip(day, highest or 1.0) for day in days], highest)
        for days in glance
    ]


def _strip(day: GlanceDay, highest: float) -> Strip:
    table = day.hours
    hours = table.index.to_numpy(dtype=float)
    turning = np.flatnonzero(table["fans_running"].to_numpy() > 0)
    words = "no fan turns"
    if len(turning):
        first, last = hours[turning[0]], hours[turning[-1]] + 1
        words = f"{first:02.0f}:00 to {last:02.0f}:00, up to {table['air_changes'].max():.2g} changes/h"
    return _laid(day.kind, f"{day.day} {month_name[day.month]}", words, table, table["air_changes"] / highest)


def fans_strip(day: DayOverview, fans: int) -> Strip:
    """Draw one day with bars for the share of so many fans that turns, in place of the air."""
    hours: Any = day.hours.index
    table = day.hours[["poa_global", "fans_running"]].groupby(hours.hour).mean()
    words = "no fan turns"
    if day.turning:
        first, last = (clock(hour) for hour in day.turning)
        words = f"fans turn from {first} to {last}, at most {table['fans_running'].max():.3g} of {fans}"
    date = f"{day.telling.day:%d %B}".lstrip("0")
    return _laid(day.telling.kind, date, words, table, table["fans_running"] / fans)


def _laid(kind: str, date: str, words: str, table: pd.DataFrame, bars: pd.Series) -> Strip:
    """Lay a day out whose table is indexed by clock hour."""
    hours = [float(hour) for hour in table.index]
    sun = np.minimum(table["poa_global"] / _FULL_SUN, 1.0)
    return Strip(kind, date, words, *(list(zip(hours, values.tolist(), strict=True)) for values in (bars, sun)))
