"""How much air a plan moves: under a named sky, on the real afternoons of its year, and turned to the sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air.airflow import air_changes
from solarvent.air.network import volume
from solarvent.base.errors import PlanError, require_kind
from solarvent.base.findings import KeyFigure, Verdict, first_remedy
from solarvent.electrical.panel_model import BANDS, TYPICAL
from solarvent.findings.air import reaches
from solarvent.findings.verdicts import STOPPED, find, verdict_level
from solarvent.house.air_need import wanted_flow
from solarvent.plan.fields import minutes_of
from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.studies.orientation import Orientations, Turned, last_start, orientations, turned
from solarvent.studies.sky_day import SKIES, STEP, SkyAnswer, for_span, under_sky
from solarvent.weather.conditions import plan_weather
from solarvent.weather.sky import OKTAS_FULL
from solarvent.weather.sky_states import open_sky_share
from solarvent.weather.span import hottest_month, within_clock

if TYPE_CHECKING:
    import pandas as pd


HOTTEST = 10
#: Share of the days of a month that are cooler than a hot one, and brighter than a dull one (our choice). [-]
_HOT, _DULL = 2 / 3, 1 / 2


def afternoons(run: Simulation, start: str, end: str) -> pd.DataFrame:
    """Sum up the same span of hours, from one clock time ``"HH:MM"`` to another, of every day.

    Indexed by day: month, temp_air [degC], oktas, ghi and poa_global [W/m2], running (share in which a fan turns), flow
    and flow_wanted [m3/s] (the plan's own, or by the heat balance for the day's own mean sun), air_changes and
    air_changes_wanted [1/h].
    """
    import pandas as pd

    hours = run.hours
    table = hours[["month", "temp_air", "oktas", "poa_global", "flow"]].assign(
        ghi=run.conditions.weather["ghi"].to_numpy(), running=run.electrical.any_running
    )
    chosen = table[within_clock(run.conditions.times, start, end)]
    # A night belongs to the day on which it begins.
    begun = chosen.index if start < end else chosen.index - pd.Timedelta(minutes=minutes_of(start))
    days = chosen.groupby(begun.date).mean()
    days["month"] = days["month"].astype(int)
    days["flow_wanted"] = wanted_flow(run.plan, days["ghi"].to_numpy(), days["temp_air"].to_numpy())
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
        """The days by month.

        Indexed by month: days, reached (days on which the flow is what is wanted, or more), air_changes [1/h] in the
        worst tenth, the middle and the best tenth (low, middle, high), running, and the median of what is wanted.
        """
        import pandas as pd

        days = self.days
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

    @cached_property
    def hottest(self) -> pd.DataFrame:
        """The ten hottest days of the month, hottest first."""
        return self.own.sort_values("temp_air", ascending=False, kind="stable").head(HOTTEST)

    @cached_property
    def dull_and_hot(self) -> pd.DataFrame:
        """Days of the hottest third of the month whose sun is below its median, least air first."""
        days = self.own
        if days.empty:
            return days
        hot = days["temp_air"] >= np.quantile(days["temp_air"], _HOT)
        dull = days["ghi"] < np.quantile(days["ghi"], _DULL)
        return days[hot & dull].sort_values("air_changes", kind="stable")

    @cached_property
    def by_clock(self) -> pd.DataFrame:
        """The month's means of flow, air_changes and running, by clock time."""
        hours = self.run.hours[["flow", "air_changes"]].assign(running=self.run.electrical.any_running)
        chosen = hours[self.run.needed]
        return chosen.groupby(chosen.index.strftime("%H:%M")).mean()

    @property
    def means(self) -> dict[str, float]:
        """Mean over these clock times: flow [m3/s], air changes [1/h], share of the time with a fan turning."""
        return means_of(self.by_clock)


def means_of(rows: pd.DataFrame) -> dict[str, float]:
    """Average the rows of a span: flow [m3/s], air changes [1/h], share of the time with a fan turning."""
    names = {"mean_flow": "flow", "mean_air_changes": "air_changes", "running_share": "running"}
    return {key: float(rows[name].mean()) for key, name in names.items()}


@dataclass(frozen=True, eq=False)
class Airflow:
    """The air in a span of hours on the mean day of a month, under the sky that was asked for or all of the table.

    `other` is one broken sky with its other reading: gaps as large as the open sky.
    """

    plan: Plan
    skies: tuple[SkyAnswer, ...]
    other: SkyAnswer | None = None

    @cached_property
    def means(self) -> dict[str, float]:
        """Flow [m3/s], air changes [1/h] and share of the time with a fan turning, over the rows of all skies."""
        import pandas as pd

        return means_of(pd.concat([answer.rows for answer in self.skies]))

    @cached_property
    def verdict(self) -> Verdict:
        """Say whether the plan can be built, as its run has it, and under which of these skies the air is enough."""
        findings = find(simulate(self.plan))
        bands = {sky.oktas: sky.run.bands["typical"] for sky in self.skies}
        enough = [
            sky.oktas
            for sky in self.skies
            if reaches(np.array(bands[sky.oktas].target_flow), np.array(sky.wanted.wanted))
        ]
        brightest = self.skies[0]
        if len(self.skies) == 1:
            sentence = f"The air is {'' if enough else 'not '}enough under this sky."
        elif len(enough) == len(self.skies):
            sentence = "The air is enough under every sky."
        elif enough:
            sentence = f"The air is enough under {enough[0]} oktas of cloud and more, and not under a brighter sky."
        else:
            sentence = "The air is enough under no sky."
        figures = (
            KeyFigure(
                "air under a clear sky" if brightest.oktas == 0 else "air", bands[brightest.oktas].target_flow, "flow"
            ),
            KeyFigure("wanted then", brightest.wanted.wanted, "flow"),
            KeyFigure("share of that time with a fan turning", brightest.running),
        )
        level = verdict_level(findings, 1.0 if len(enough) == len(self.skies) else 0.0)
        if level == "stop":
            sentence = f"{STOPPED} {sentence}"
        return Verdict(level, sentence, first_remedy(findings), figures)


def airflow(
    plan: Plan,
    month: int | None = None,
    start: str | None = None,
    end: str | None = None,
    oktas: int | None = None,
    full_cover: str | None = None,
    step: float | None = None,
) -> Airflow:
    """Work out the air that a plan moves in a span of hours under a sky, or under each of the table.

    Parameters
    ----------
    plan : Plan
        The plan.
    month : int, optional
        1 to 12; by default the hottest month of need.
    start, end : str, optional
        Clock times, ``"HH:MM"``; by default the plan's hours of need.
    oktas : int, optional
        0 clear to 8 overcast, 9 hidden; by default all skies of the table.
    full_cover : {"thin", "ordinary", "dark"}, optional
        The kind of cloud at 8 oktas; by default the plan's.
    step : float, optional
        Length of a step and of a row of the answer; by default steps of ten minutes in rows of an hour. [s]

    Returns
    -------
    Airflow
        ``.skies``, each with its rows, bands and what is wanted.

    Raises
    ------
    PlanError
        If there is no such month, or the weather has no hours in it.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> [sky] = airflow(load_plan(), month=7, oktas=0).skies
    >>> sky.oktas, sky.running
    (0, 1.0)
    """
    require_kind(plan, Plan)
    weather = plan_weather(plan)
    number = hottest_month(plan, weather) if month is None else _month(month)
    spanned = for_span(plan, number, *_hours(plan, start, end))
    seconds, row = step or STEP, step or 3600.0
    if oktas is not None and oktas not in range(10):
        raise PlanError.single("oktas", f"{oktas!r} is no cloud", "give eighths of the sky, 0 to 8, or 9 for hidden")
    skies = tuple(
        under_sky(spanned, weather, number, sky, full_cover, seconds, row, bands=BANDS)
        for sky in (SKIES if oktas is None else (oktas,))
    )
    if oktas is None or not 0 < oktas < OKTAS_FULL or plan.record.sky.sunlit_share is not None:
        return Airflow(plan, skies)
    share = float(open_sky_share(oktas))
    return Airflow(plan, skies, under_sky(spanned, weather, number, oktas, full_cover, seconds, row, share, (TYPICAL,)))


def real_afternoons(
    plan: Plan, month: int | None = None, start: str | None = None, end: str | None = None
) -> Afternoons:
    """Work out the air on the real afternoons of a plan's weather; parameters as for :func:`airflow`."""
    number = hottest_month(plan, plan_weather(plan)) if month is None else _month(month)
    hours = _hours(plan, start, end)
    run = simulate(for_span(plan, number, *hours))
    days = afternoons(run, *hours)
    if number not in set(days["month"]):
        months = ", ".join(str(one) for one in sorted(set(days["month"])))
        raise PlanError.single("month", f"the weather has no hours in month {number}", f"choose one of {months}")
    return Afternoons(run, days, number)


@dataclass(frozen=True, eq=False)
class Facing:
    """Which way the panels should face, by the light of the one that was turned.

    `tried` is the air of the plan as it is, turned to the best for the hours of need, and to the best for the year.
    """

    plan: Plan
    panel: Panel
    light: Orientations
    tried: Sequence[Turned]


def best_facing(plan: Plan, month: int | None = None, start: str | None = None, end: str | None = None) -> Facing:
    """Find how the panels should face for the hours of need, or those of one month; parameters as for airflow."""
    first, last = _hours(plan, start, end)
    months = plan.record.months_of_need if month is None else [_month(month)]
    spanned = plan.with_({"target.months": months, "target.start": first, "target.end": last})
    panel = spanned.record.panel[0]
    now, run = turned(spanned)
    light = orientations(spanned, panel, last_start(run, panel))
    best_ways = [turned(spanned, *light.best(grid))[0] for grid in (light.need_light, light.year_light)]
    return Facing(spanned, panel, light, [now, *best_ways])


def _month(number: int) -> int:
    """Hold a number to those of the months."""
    if not isinstance(number, int) or not 1 <= number <= 12:
        raise PlanError.single("month", f"{number!r} is no month", "give one from 1 to 12")
    return number


def _hours(plan: Plan, start: str | None, end: str | None) -> tuple[str, str]:
    """The span that was asked for, or else that of the plan."""
    return start or plan.record.target.start, end or plan.record.target.end
