"""What a person wants to know of a simulated year: three telling days of a month, the months, the totals."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from solarvent.simulation.house_summary import house_totals
from solarvent.simulation.simulate import Simulation

if TYPE_CHECKING:
    import pandas as pd

#: The brightest, the middle and the dullest day of a month, as every answer calls them.
DAY_KINDS = ("clear", "broken", "overcast")
#: Steps of a day of which a span has fewer than this share are its edge (a day may be an hour short). [-]
_WHOLE_DAY = 0.9


@dataclass(frozen=True)
class TellingDay:
    """One day of the weather year that stands for many: ``"clear"``, ``"broken"`` or ``"overcast"``.

    It is a day by the plan's clock, with the light on the panel over the day [Wh/m2].
    """

    kind: str
    day: date
    irradiation: float


def telling_days(run: Simulation, month: int) -> tuple[TellingDay, ...]:
    """Choose the brightest, the middle and the dullest day of a month, by the light on the panel.

    In that order; fewer if the span has fewer days of that month with light. A day of which the span has only a part is
    none, unless it has no other.
    """
    hours = run.hours
    light = hours["poa_global"][hours["month"] == month] * run.conditions.step / 3600.0
    by_day = light.groupby(light.index.date)
    whole = by_day.size() * run.conditions.step >= _WHOLE_DAY * 86400
    daily = by_day.sum()[whole if whole.any() else slice(None)].sort_values(kind="stable")
    # At the edge of a short span a day may be there by its dark hours alone.
    daily = daily[daily > 0]
    if daily.empty:
        return ()
    places = dict(zip(DAY_KINDS, (len(daily) - 1, len(daily) // 2, 0), strict=True))
    chosen = {
        kind: place for kind, place in places.items() if list(places.values()).index(place) == [*places].index(kind)
    }
    return tuple(TellingDay(kind, daily.index[place], float(daily.iloc[place])) for kind, place in chosen.items())


def day_hours(run: Simulation, day: date) -> pd.DataFrame:
    """Give the lit hours of one day, and those in which a fan turns in the dark."""
    hours = run.hours
    chosen = hours[hours.index.date == day]
    return chosen[(chosen["poa_global"] > 0) | (chosen["fans_running"] > 0)]


def months_table(run: Simulation) -> pd.DataFrame:
    """Sum up each month: energy, hours, the usual first start and last stop, and the air at noon and at 15:00.

    Returns
    -------
    pandas.DataFrame
        Indexed by month; columns of :mod:`solarvent.base.columns`. First start and last stop are medians over the days
        on which a fan turns, in hours of the plan's clock; NaN if there is none.
    """
    import pandas as pd

    hours, length = run.hours, run.conditions.step / 3600.0
    clock = hours.index.hour + hours.index.minute / 60.0
    frame = pd.DataFrame(
        {
            "month": hours["month"],
            "day": hours.index.date,
            "energy_made": hours["power_available"] * length,
            "energy_used": used_power(run) * length,
            "hours_running": hours["fans_running"] * length,
            "air_changes_noon": hours["air_changes"].where(clock.astype(int) == 12),
            "air_changes_15": hours["air_changes"].where(clock.astype(int) == 15),
            "start": np.where(hours["fans_running"] > 0, clock, np.nan),
            "stop": np.where(hours["fans_running"] > 0, clock + length, np.nan),
        }
    )
    by_month = frame.groupby("month")
    table = by_month[["energy_made", "energy_used", "hours_running"]].sum()
    for name in ("air_changes_noon", "air_changes_15"):
        table[name] = by_month[name].mean()
    days = frame.groupby(["month", "day"]).agg(start=("start", "min"), stop=("stop", "max"))
    table["first_start"] = days["start"].groupby("month").median()
    table["last_stop"] = days["stop"].groupby("month").median()
    return table


def used_power(run: Simulation) -> np.ndarray:
    """Power that reaches turning fans, step by step. [W]"""
    return run.electrical.fan_power.sum(axis=0)


def totals(run: Simulation) -> dict[str, object]:
    """Sum up the span that was simulated, with the low and high readings beside the typical one.

    Returns
    -------
    dict
        house (see :func:`solarvent.simulation.house_summary.house_totals`); energy_made, energy_used [Wh]; and by band:
        hours_running and thresholds by fan, target_flow [m3/s] and target_air_changes [1/h] over the hours of need.
    """
    length = run.conditions.step / 3600.0
    return {
        "house": None if run.house is None else house_totals(run),
        "energy_made": float(run.hours["power_available"].sum() * length),
        "energy_used": float(used_power(run).sum() * length),
        "bands": {
            name: {
                "target_flow": band.target_flow,
                "target_air_changes": band.target_air_changes,
                "fans": [
                    {
                        "id": fan,
                        "hours_running": band.hours_running[fan],
                        "start_irradiance": limits.start_irradiance,
                        "run_down_irradiance": limits.run_down_irradiance,
                    }
                    for fan, limits in band.thresholds.items()
                ],
            }
            for name, band in run.bands.items()
        },
    }
