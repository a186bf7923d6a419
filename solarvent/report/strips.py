"""Days at a glance: for each hour the sun above a line and the air below it, for the three skies of every month."""

from __future__ import annotations

from calendar import month_abbr, month_name
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.simulation.simulate import Simulation

if TYPE_CHECKING:
    import pandas as pd

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


def month_strips(run: Simulation) -> list[MonthStrips]:
    """Give three days of every month, chosen by the light on the panel as :func:`telling_days` does.

    Parameters
    ----------
    run : Simulation
        Over a year, or any span.

    Returns
    -------
    list of MonthStrips
        In the order of the calendar; fewer days where the span has fewer.
    """
    index: Any = run.hours.index
    columns = run.hours[["air_changes", "poa_global", "fans_running"]]
    by_hour = columns.groupby([run.hours["month"].to_numpy(), index.day, index.hour]).mean()
    by_hour = by_hour[by_hour["poa_global"] > 0]
    chosen = []
    for month in by_hour.index.get_level_values(0).unique():
        own = by_hour.loc[month]
        daily = own["poa_global"].groupby(level=0).sum().sort_values(kind="stable")
        places = dict.fromkeys((len(daily) - 1, len(daily) // 2, 0))
        days = [(sky, int(daily.index[place])) for place, sky in zip(places, SKY_NAMES.values(), strict=False)]
        chosen.append((int(month), [(sky, day, own.loc[day]) for sky, day in days]))
    highest = max((float(table["air_changes"].max()) for _, days in chosen for *_, table in days), default=0.0)
    return [
        MonthStrips(
            month,
            month_abbr[month],
            [_strip(sky, f"{day} {month_name[month]}", table, highest or 1.0) for sky, day, table in days],
        )
        for month, days in chosen
    ]


def _strip(sky: str, date: str, table: pd.DataFrame, highest: float) -> Strip:
    hours = table.index.to_numpy(dtype=float)
    turning = np.flatnonzero(table["fans_running"].to_numpy() > 0)
    words = "no fan turns"
    if len(turning):
        first, last = hours[turning[0]], hours[turning[-1]] + 1
        words = f"{first:02.0f}:00 to {last:02.0f}:00, up to {table['air_changes'].max():.2g} changes/h"
    return Strip(
        sky,
        date,
        words,
        list(zip(hours.tolist(), (table["air_changes"] / highest).tolist(), strict=True)),
        list(zip(hours.tolist(), np.minimum(table["poa_global"] / _FULL_SUN, 1.0).tolist(), strict=True)),
    )
