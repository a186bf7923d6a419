"""Days at a glance: for each hour the sun above a line and the air below it, for the three skies of every month."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solarvent.studies.overview import GlanceDay

SKY_NAMES = {"clear": "clear", "middling": "broken", "dull": "overcast"}
_FULL_SUN = 1000.0


@dataclass(frozen=True)
class Strip:
    """One day, from midnight to midnight.

    Attributes
    ----------
    sky, date, words : str
        Which day, and the same in words.
    bars : list of tuple
        Clock hour, and its air changes as a share of the most in any hour that is shown.
    sun : list of tuple
        Clock hour, and its light on the panel as a share of 1000 W/m2.
    """

    sky: str
    date: str
    words: str
    bars: list[tuple[float, float]]
    sun: list[tuple[float, float]]


@dataclass(frozen=True)
class MonthStrips:
    """The brightest, the middle and the dullest day of a month."""

    number: int
    name: str
    strips: list[Strip]


def month_strips(glance: Sequence[Sequence[GlanceDay]]) -> list[MonthStrips]:
    """Draw the telling days of every month, all to one scale.

    Parameters
    ----------
    glance : sequence of sequence of GlanceDay
        Of each month.

    Returns
    -------
    list of MonthStrips
        In the same order.
    """
    highest = max((float(day.hours["air_changes"].max()) for days in glance for day in days), default=0.0)
    return [
        MonthStrips(days[0].month, month_abbr[days[0].month], [_strip(day, highest or 1.0) for day in days])
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
    return Strip(
        SKY_NAMES[day.kind],
        f"{day.day} {month_name[day.month]}",
        words,
        list(zip(hours.tolist(), (table["air_changes"] / highest).tolist(), strict=True)),
        list(zip(hours.tolist(), np.minimum(table["poa_global"] / _FULL_SUN, 1.0).tolist(), strict=True)),
    )
