"""The real afternoons of a weather year: how many get the air that is wanted, the hottest, the dull and hot ones."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air.airflow import air_changes
from solarvent.air.ventilation import volume
from solarvent.findings.air import reaches
from solarvent.house.air_need import wanted_flow
from solarvent.simulation.simulate import Simulation
from solarvent.weather.span import hours_of_need, within_clock

if TYPE_CHECKING:
    import pandas as pd

HOTTEST = 10
_HOT, _DULL = 2 / 3, 1 / 2


def afternoons(run: Simulation, start: str, end: str) -> pd.DataFrame:
    """Sum up the same span of hours, from one clock time ``"HH:MM"`` to another, of every day.

    Indexed by day: month, temp_air [degC], oktas, ghi and poa_global [W/m2], running (share in which a fan turns), flow
    and flow_wanted [m3/s] (the plan's own, or by the heat balance for the day's own mean sun), air_changes and
    air_changes_wanted [1/h].
    """
    hours = run.hours
    table = hours[["month", "temp_air", "oktas", "poa_global", "flow"]].assign(
        ghi=run.conditions.weather["ghi"].to_numpy(), running=run.electrical.any_running
    )
    chosen = table[within_clock(run.conditions.times, start, end)]
    days = chosen.groupby(chosen.index.date).mean()
    days["month"] = days["month"].astype(int)
    days["flow_wanted"] = wanted_flow(run.plan, days["ghi"].to_numpy())
    for name, flow in (("air_changes", "flow"), ("air_changes_wanted", "flow_wanted")):
        days[name] = air_changes(days[flow].to_numpy(), volume(run.plan))
    days.index.name = "day"
    return days


@dataclass(frozen=True, eq=False)
class Afternoons:
    """The real afternoons of a plan's weather.

    `run` goes over the year, its hours of need being those of the month that is told in full; `days` is from
    :func:`afternoons`.
    """

    run: Simulation
    days: pd.DataFrame
    month: int

    @cached_property
    def own(self) -> pd.DataFrame:
        """The days of the month."""
        return self.days[self.days["month"] == self.month]

    @cached_property
    def months(self) -> pd.DataFrame:
        """All months, see :func:`months_of`."""
        return months_of(self.days)

    @cached_property
    def hottest(self) -> pd.DataFrame:
        """The hottest days of the month, hottest first."""
        return hottest(self.own)

    @cached_property
    def dull_and_hot(self) -> pd.DataFrame:
        """Days of the month that are hot with little sun, see :func:`dull_and_hot`."""
        return dull_and_hot(self.own)

    @cached_property
    def by_clock(self) -> pd.DataFrame:
        """The month's means of flow, air_changes and running, by clock time."""
        hours = self.run.hours[["flow", "air_changes"]].assign(running=self.run.electrical.any_running)
        chosen = hours[hours_of_need(self.run.plan, self.run.conditions.times)]
        return chosen.groupby(chosen.index.strftime("%H:%M")).mean()

    @property
    def means(self) -> dict[str, float]:
        """Mean over these clock times: flow [m3/s], air changes [1/h], share of the time with a fan turning."""
        return means_of(self.by_clock)


def means_of(rows: pd.DataFrame) -> dict[str, float]:
    """Average the rows of a span: flow [m3/s], air changes [1/h], share of the time with a fan turning."""
    names = {"mean_flow": "flow", "mean_air_changes": "air_changes", "running_share": "running"}
    return {key: float(rows[name].mean()) for key, name in names.items()}


def months_of(days: pd.DataFrame) -> pd.DataFrame:
    """Sum up the days of :func:`afternoons` by month.

    Indexed by month: days, reached (days on which the flow is what is wanted, or more), air_changes [1/h] in the worst
    tenth, the middle and the best tenth (low, middle, high), running, and the median of what is wanted.
    """
    import pandas as pd

    by_month = days.groupby("month")
    reached = pd.Series(reaches(days["flow"].to_numpy(), days["flow_wanted"].to_numpy()), days.index)
    spread = by_month["air_changes"].quantile([0.1, 0.5, 0.9]).unstack()
    return pd.DataFrame(
        {
            "days": by_month.size(),
            "reached": reached.groupby(days["month"]).sum(),
            "low": spread[0.1],
            "middle": spread[0.5],
            "high": spread[0.9],
            "running": by_month["running"].mean(),
            "wanted": by_month["air_changes_wanted"].median(),
        }
    )


def hottest(days: pd.DataFrame) -> pd.DataFrame:
    """Choose the ten hottest days, hottest first."""
    return days.sort_values("temp_air", ascending=False, kind="stable").head(HOTTEST)


def dull_and_hot(days: pd.DataFrame) -> pd.DataFrame:
    """Choose the days of the hottest third whose sun is below the median, least air first."""
    if days.empty:
        return days
    hot = days["temp_air"] >= np.quantile(days["temp_air"], _HOT)
    dull = days["ghi"] < np.quantile(days["ghi"], _DULL)
    return days[hot & dull].sort_values("air_changes", kind="stable")
