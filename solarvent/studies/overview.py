"""What a person wants to know of one simulated plan, in code and on the page, and of it with other panels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.base.errors import PlanError, SolarventError
from solarvent.findings.air import AirSupply, air_supply
from solarvent.findings.house import night_findings
from solarvent.findings.verdicts import find, verdict
from solarvent.plan.plan import Plan, load_plan
from solarvent.simulation.cold_night import Night, cold_night
from solarvent.simulation.power_budget import BatteryBudget, battery_budget
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.simulation.year import (
    HouseSummary,
    TellingDay,
    day_hours,
    house_summary,
    months_table,
    telling_days,
    totals,
    used_power,
)
from solarvent.studies.operating_curves import OperatingCurves, operating_curves
from solarvent.weather.conditions import plan_weather
from solarvent.weather.span import hottest_month

if TYPE_CHECKING:
    import pandas as pd

    from solarvent.base.findings import Finding, Verdict
    from solarvent.studies.size_option import SizedDesign


@dataclass(frozen=True, eq=False)
class Result:
    """A simulated plan.

    Attributes
    ----------
    hours : pandas.DataFrame
        One row a step, indexed by its start on the plan's clock; columns of :mod:`solarvent.base.columns`, those of a
        fan or panel as ``"voltage.fan-id"``. ``hours.attrs["units"]`` gives the SI unit of each column, ``""`` for a
        pure number; ``attrs["title"]`` and ``attrs["weather"]`` say what it is.
    findings : list of Finding
        Worst first.
    totals : dict
        As in the JSON of ``solarvent run``.
    simulated : Simulation
        Everything else that was worked out.
    """

    hours: pd.DataFrame
    findings: list[Finding]
    totals: dict[str, object]
    simulated: Simulation = field(repr=False)


def run(plan: Plan | str | Path | None = None, day: date | None = None, step: float | None = None) -> Result:
    """Simulate a plan over its year of weather, or over one day.

    Parameters
    ----------
    plan : Plan, str or Path, optional
        A plan, or the path of one; without one, the embedded example.
    day : date, optional
        One day in place of the year; its year does not matter.
    step : float, optional
        Length of a step within that day. [s]

    Returns
    -------
    Result
        ``.hours``, ``.findings``, ``.totals``, ``.simulated``.

    Raises
    ------
    SolarventError
        For a plan with mistakes, and for weather that cannot be used.

    Examples
    --------
    >>> from datetime import date
    >>> result = run("default", date(2001, 7, 15))
    >>> len(result.hours), result.hours.attrs["units"]["flow"]
    (24, 'm3/s')
    """
    simulated = simulate(plan if isinstance(plan, Plan) else load_plan(plan), day, step)
    hours = simulated.hours.copy()
    hours.attrs = {
        "title": simulated.plan.record.title,
        "weather": str(simulated.conditions.weather.attrs.get("title", "")),
        "units": {name: COLUMNS[name.split(".", 1)[0]].unit_si() for name in hours.columns},
    }
    return Result(hours, find(simulated), totals(simulated), simulated)


@dataclass(frozen=True, eq=False)
class DayOverview:
    """One of the telling days of a month, and its lit steps.

    `turning` are the clock hours between which fans turn [h]; None if none does. `air_changes` is the mean over the
    clock hours of need [1/h], `hottest` the highest temperature inside [degC].
    """

    telling: TellingDay
    hours: pd.DataFrame
    turning: tuple[float, float] | None
    air_changes: float
    hottest: float


@dataclass(frozen=True, eq=False)
class GlanceDay:
    """A telling day: means of air_changes [1/h], poa_global [W/m2] and fans_running, indexed by clock hour."""

    kind: str
    month: int
    day: int
    hours: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Overview:
    """One simulated plan; what follows from the simulation is worked out when it is asked for.

    The findings are worst first, with texts in the units of `system`; `month` is the one whose telling days are told.
    """

    run: Simulation
    findings: Sequence[Finding]
    system: str
    month: int

    @cached_property
    def verdict(self) -> Verdict:
        """Whether to build it, and what to do first."""
        return verdict(self.run, self.findings)

    @cached_property
    def air(self) -> AirSupply:
        """Whether the air is enough in the hours of need."""
        return air_supply(self.run)

    @cached_property
    def totals(self) -> dict[str, Any]:
        """Sums over the span, see :func:`solarvent.simulation.year.totals`."""
        return totals(self.run)

    @cached_property
    def house(self) -> HouseSummary:
        """How warm the house gets."""
        return house_summary(self.run)

    @property
    def is_one_day(self) -> bool:
        """Whether the span is a single day."""
        return len(set(self.run.hours.index.date)) == 1

    @cached_property
    def days(self) -> tuple[DayOverview, ...]:
        """The clear, the broken and the overcast day of the month; fewer in a shorter span."""
        return tuple(self._day(telling) for telling in telling_days(self.run, self.month))

    def day(self, day: date | None = None) -> DayOverview:
        """One lit day of the span, whatever its year; without a date the first of those that tell.

        Raises
        ------
        PlanError
            If there is no light on that day.
        """
        if day is None and self.days:
            return self.days[0]
        light = self.run.hours["poa_global"]
        for found in sorted(set(light.index.date)):
            if day is not None and (found.month, found.day) == (day.month, day.day):
                light = light[light.index.date == found] * self.run.conditions.step / 3600.0
                if light.sum() > 0:
                    return self._day(TellingDay("chosen", found, float(light.sum())))
        raise PlanError.single("day", f"there is no light on {day or 'any day'} of this run", "choose another day")

    def _day(self, telling: TellingDay) -> DayOverview:
        hours, target = day_hours(self.run, telling.day), self.run.plan.record.target
        needed = hours.between_time(target.start, target.end, inclusive="left")
        return DayOverview(
            telling,
            hours,
            turning_span(hours, self.run.conditions.step / 3600.0),
            float(needed["air_changes"].mean()),
            float(hours["temp_inside"].max()),
        )

    @cached_property
    def months(self) -> pd.DataFrame:
        """The months, see :func:`solarvent.simulation.year.months_table`."""
        return months_table(self.run)

    @cached_property
    def year(self) -> tuple[float, float, float]:
        """Energy that could be made and that is used, and hours of all fans together. [Wh], [Wh], [h]"""
        run, length = self.run, self.run.conditions.step / 3600.0
        sums = run.hours["power_available"].sum(), used_power(run).sum(), run.hours["fans_running"].sum()
        made, used, turning = (float(value * length) for value in sums)
        return made, used, turning

    @cached_property
    def battery(self) -> BatteryBudget | None:
        """How far the battery reaches; None without one."""
        return battery_budget(self.run)

    @cached_property
    def glance(self) -> list[list[GlanceDay]]:
        """The three telling days of every month."""
        return days_at_a_glance(self.run)

    @cached_property
    def by_hour(self) -> pd.DataFrame:
        """Means of air_changes, poa_global and need, indexed by month and clock hour."""
        index: Any = self.run.hours.index
        table = self.run.hours[["air_changes", "poa_global"]].assign(need=self.run.needed)
        return table.groupby([self.run.hours["month"].to_numpy(), index.hour]).mean()

    @cached_property
    def curves(self) -> tuple[OperatingCurves, ...]:
        """Every circuit's operating points."""
        return tuple(operating_curves(self.run))

    @cached_property
    def panels(self) -> tuple[SizedDesign, ...]:
        """The same plan with smaller and larger panels, as a sizing judges them; none if no watts are known."""
        from solarvent.studies.size_designs import as_wired, usual_watts
        from solarvent.studies.size_fans import PlaceLight
        from solarvent.studies.sizing import size

        plan = self.run.plan
        if any(panel.watts is None and panel.v_mp is None for panel in plan.record.panel):
            return ()
        tried = [as_wired(plan, watts) for watts in usual_watts(plan.record.panel[0])]
        weather = plan_weather(plan)
        # The light of the run, unless that is of a day only.
        year = self.run.conditions if len(self.run.conditions.times) == len(weather) else None
        light = PlaceLight(plan, weather, hottest_month(plan, weather), {}, year)
        return size(plan, tried, system=self.system, known=(self.run, self.findings), light=light).options

    @cached_property
    def night(self) -> Night | None:
        """The coldest night; None if the weather is too short to have one."""
        try:
            return cold_night(self.run.plan, run=self.run)
        except SolarventError:
            return None

    @cached_property
    def night_findings(self) -> list[Finding]:
        """What that night does to the house."""
        return [] if self.night is None else list(night_findings(self.night, self.system))


def overview(
    run: Simulation, findings: Sequence[Finding], system: str = "metric", month: int | None = None
) -> Overview:
    """Give the overview of a plan simulated over a year or a day, its findings worst first.

    The telling days are by default those of the hottest month in which air is needed.
    """
    return Overview(run, findings, system, month or hottest_month(run.plan, run.conditions.weather))


def turning_span(hours: pd.DataFrame, step: float) -> tuple[float, float] | None:
    """Clock hours between which fans turn on a day; None if none does. [h]"""
    turning = hours[hours["fans_running"] > 0]
    if turning.empty:
        return None
    first, last = (time.hour + time.minute / 60 for time in (turning.index[0], turning.index[-1]))
    return first, last + step


def days_at_a_glance(run: Simulation) -> list[list[GlanceDay]]:
    """Give the brightest, the middle and the dullest day of every month, chosen as by :func:`telling_days`.

    In the order of the calendar; fewer days where the span has fewer.
    """
    index: Any = run.hours.index
    columns = run.hours[["air_changes", "poa_global", "fans_running"]]
    by_hour = columns.groupby([run.hours["month"].to_numpy(), index.day, index.hour]).mean()
    by_hour = by_hour[by_hour["poa_global"] > 0]
    months = []
    for month in by_hour.index.get_level_values(0).unique():
        own = by_hour.loc[month]
        days = [(telling.kind, telling.day.day) for telling in telling_days(run, int(month))]
        months.append([GlanceDay(kind, int(month), day, own.loc[day]) for kind, day in days])
    return months
