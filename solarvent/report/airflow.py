"""What ``airflow`` was asked, worked out and rendered in the form that was asked for."""

from __future__ import annotations

from solarvent.electrical.bands import BANDS, TYPICAL
from solarvent.plan.plan import Plan
from solarvent.studies.sky_day import SKIES, STEP, for_span, under_sky
from solarvent.weather.broken_sky import open_sky_share
from solarvent.weather.conditions import plan_weather
from solarvent.weather.sky import OKTAS_FULL
from solarvent.weather.span import hottest_month


def answer_skies(
    plan: Plan,
    month: int | None,
    start: str,
    end: str,
    oktas: int | None,
    cover: str | None,
    step: float | None,
    form: str,
    system: str,
    note: str,
) -> str:
    """Answer for one sky, or for all of them if `oktas` is None."""
    from solarvent.report import airflow_data, airflow_text

    weather = plan_weather(plan)
    number = month or hottest_month(plan, weather)
    spanned = for_span(plan, number, start, end)
    seconds, row = step or STEP, step or 3600.0
    skies = SKIES if oktas is None else (oktas,)
    alone = oktas is not None
    answers = [under_sky(spanned, weather, number, sky, cover, seconds, row, bands=BANDS, house=alone) for sky in skies]
    if form == "csv":
        return airflow_data.skies_csv(answers)
    if oktas is None:
        if form == "json":
            return airflow_data.skies_json(answers)
        return airflow_text.render_skies(answers, system, note)
    other = None
    if 0 < oktas < OKTAS_FULL and plan.record.sky.sunlit_share is None:
        share = float(open_sky_share(oktas))
        other = under_sky(spanned, weather, number, oktas, cover, seconds, row, share, (TYPICAL,))
    if form == "json":
        return airflow_data.sky_json(answers[0], other)
    return airflow_text.render_sky(answers[0], other, system, note)


def answer_year(plan: Plan, month: int | None, start: str, end: str, form: str, system: str, note: str) -> str:
    """Answer for the real afternoons of the plan's weather."""
    from solarvent.base.errors import PlanError
    from solarvent.report import afternoons_text, airflow_data
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.afternoons import afternoons

    number = month or hottest_month(plan, plan_weather(plan))
    run = simulate(for_span(plan, number, start, end), house=False)
    days = afternoons(run, start, end)
    if number not in set(days["month"]):
        months = ", ".join(str(one) for one in sorted(set(days["month"])))
        raise PlanError.single("month", f"the weather has no hours in month {number}", f"choose one of {months}")
    if form == "json":
        return airflow_data.year_json(run, days, number)
    if form == "csv":
        return airflow_data.year_csv(days)
    return afternoons_text.render_year(run, days, number, system, note)


def answer_orientation(plan: Plan, month: int | None, start: str, end: str, form: str, system: str, note: str) -> str:
    """Answer which way the panels should face for the hours of need, or for those of one month."""
    from solarvent.report import airflow_data, orientation_text
    from solarvent.studies.orientation import last_start, orientations, turned

    months = [month] if month else plan.record.months_of_need
    target = plan.record.target.model_copy(update={"months": months, "start": start, "end": end})
    spanned = Plan(plan.record.model_copy(update={"target": target}), plan.library, plan.path)
    panel = spanned.record.panel[0]
    now, run = turned(spanned)
    found = orientations(spanned, panel, last_start(run, panel))
    if form == "csv":
        return airflow_data.orientation_csv(found)
    tried = [now, *(turned(spanned, *found.best(light))[0] for light in (found.need_light, found.year_light))]
    if form == "json":
        return airflow_data.orientation_json(found, tried)
    return orientation_text.render_orientation(spanned, panel, found, tried, system, note)
