"""How much air a plan moves in a span of hours: under a named sky, on the real afternoons, and turned to the sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from solarvent.base.errors import PlanError
from solarvent.electrical.bands import BANDS, TYPICAL
from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate
from solarvent.studies.afternoons import Afternoons, afternoons, means_of
from solarvent.studies.orientation import Orientations, Turned, last_start, orientations, turned
from solarvent.studies.sky_day import SKIES, STEP, SkyAnswer, for_span, under_sky
from solarvent.weather.broken_sky import open_sky_share
from solarvent.weather.conditions import plan_weather
from solarvent.weather.sky import OKTAS_FULL
from solarvent.weather.span import hottest_month


@dataclass(frozen=True, eq=False)
class Airflow:
    """The air in a span of hours on the mean day of a month, under the sky that was asked for or all of the table.

    `other` is one broken sky with its other reading: gaps as large as the open sky.
    """

    skies: tuple[SkyAnswer, ...]
    other: SkyAnswer | None = None

    @cached_property
    def means(self) -> dict[str, float]:
        """Flow [m3/s], air changes [1/h] and share of the time with a fan turning, over the rows of all skies."""
        import pandas as pd

        return means_of(pd.concat([answer.rows for answer in self.skies]))


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
        If the weather has no hours in this month.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> [sky] = airflow(load_plan(), month=7, oktas=0).skies
    >>> sky.oktas, sky.running
    (0, 1.0)
    """
    weather = plan_weather(plan)
    number = month or hottest_month(plan, weather)
    spanned = for_span(plan, number, *_hours(plan, start, end))
    seconds, row = step or STEP, step or 3600.0
    house = oktas is not None
    skies = tuple(
        under_sky(spanned, weather, number, sky, full_cover, seconds, row, bands=BANDS, house=house)
        for sky in (SKIES if oktas is None else (oktas,))
    )
    if oktas is None or not 0 < oktas < OKTAS_FULL or plan.record.sky.sunlit_share is not None:
        return Airflow(skies)
    share = float(open_sky_share(oktas))
    return Airflow(skies, under_sky(spanned, weather, number, oktas, full_cover, seconds, row, share, (TYPICAL,)))


def real_afternoons(
    plan: Plan, month: int | None = None, start: str | None = None, end: str | None = None
) -> Afternoons:
    """Work out the air on the real afternoons of a plan's weather; parameters as for :func:`airflow`."""
    number = month or hottest_month(plan, plan_weather(plan))
    hours = _hours(plan, start, end)
    run = simulate(for_span(plan, number, *hours), house=False)
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
    months = [month] if month else plan.record.months_of_need
    spanned = plan.with_({"target.months": months, "target.start": first, "target.end": last})
    panel = spanned.record.panel[0]
    now, run = turned(spanned)
    light = orientations(spanned, panel, last_start(run, panel))
    best = [turned(spanned, *light.best(grid))[0] for grid in (light.need_light, light.year_light)]
    return Facing(spanned, panel, light, [now, *best])


def _hours(plan: Plan, start: str | None, end: str | None) -> tuple[str, str]:
    """The span that was asked for, or else that of the plan."""
    return start or plan.record.target.start, end or plan.record.target.end
