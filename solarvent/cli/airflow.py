"""``solarvent airflow``."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from solarvent.cli.options import STEP, leave
from solarvent.cli.request import Request, about_a_plan


class _Clock(click.ParamType):
    """A time of day."""

    name = "HH[:MM]"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        hours, _, minutes = str(value).partition(":")
        if hours.isascii() and hours.isdigit() and (minutes or "00").isascii() and (minutes or "00").isdigit():
            number = int(hours) * 60 + int(minutes or 0)
            if len(hours) <= 2 and int(minutes or 0) < 60 and number <= 24 * 60:
                return f"{number // 60:02d}:{number % 60:02d}"
        self.fail(f'"{value}" is no time of day; write it like 12 or 12:30', param, ctx)


_CLOCK = _Clock()


@click.command("airflow")
@click.option("--month", type=click.IntRange(1, 12), help="1 to 12; else the hottest month of need.")
@click.option("--oktas", type=click.IntRange(0, 9), help="Cloud: 0 clear .. 8 overcast, 9 hidden; else all skies.")
@click.option("--cover", type=click.Choice(["thin", "ordinary", "dark"]), help="The kind of cloud at 8 oktas.")
@click.option("--from", "start", type=_CLOCK, help="Clock time from which; else the plan's.")
@click.option("--to", "end", type=_CLOCK, help="Clock time to which; else the plan's.")
@click.option("--step", type=STEP, help='A row for each step, like "10 min", in place of each hour.')
@click.option("--year", is_flag=True, help="The real afternoons of the plan's weather.")
@click.option("--orient", is_flag=True, help="Which tilt and azimuth are best for these hours.")
@about_a_plan("text", "json", "csv", screen=True)
def airflow_command(asked: Request, month: int | None, oktas: int | None, cover: str | None, start: str | None,
            end: str | None, step: float | None, year: bool, orient: bool) -> None:  # fmt: skip
    """Say how much air PLAN (without one, the embedded example) moves in a span of hours under a given sky.

    Ends with exit code 3 if the verdict is that it must not be built so.

    Example:  solarvent airflow my-plan.toml --month 7 --oktas 8 --from 12 --to 18

    Example:  solarvent airflow --month 7 --year

    Example:  solarvent airflow --orient
    """
    from solarvent.report import airflow_text, choices_text, data
    from solarvent.studies.airflow import airflow, best_facing, real_afternoons

    _refuse(oktas, cover, step, year, orient)
    target = asked.plan.record.target
    start, end = start or target.start, end or target.end
    if start == end or (start > end and asked.plan.record.storage is None):
        reason = "" if start == end else ": only with a [battery] that has a capacity fans run over midnight"
        raise click.UsageError(f"--from {start} is not before --to {end}{reason}")
    answer: Any
    text: Callable[..., str]
    json: Callable[..., str]
    csv: Callable[..., str]
    if orient:
        answer = best_facing(asked.plan, month, start, end)
        text, json, csv = (
            choices_text.render_orientation, data.orientation_json, data.orientation_csv,
        )  # fmt: skip
    elif year:
        answer = real_afternoons(asked.plan, month, start, end)
        text, json, csv = airflow_text.render_year, data.year_json, data.year_csv
    else:
        answer = airflow(asked.plan, month, start, end, oktas, cover, step)
        text, json, csv = airflow_text.render_airflow, data.airflow_json, data.airflow_csv
    asked.answer(text=lambda: text(answer, asked.frame()), json=lambda: json(answer), csv=lambda: csv(answer))
    leave(not (year or orient) and answer.verdict.level == "stop")


def _refuse(oktas: int | None, cover: str | None, step: float | None, year: bool, orient: bool) -> None:
    """Refuse options that do not go together."""
    if (year and orient) or ((year or orient) and (oktas is not None or step is not None)):
        raise click.UsageError("--year and --orient stand alone: without --oktas, without --step, not together")
    if step is not None and 3600 % step:
        raise click.UsageError(f"--step: {step / 60:g} min is not a whole part of an hour; like 10 min or 15 min")
    if cover is not None and oktas != 8:
        raise click.UsageError("--cover goes with --oktas 8")
