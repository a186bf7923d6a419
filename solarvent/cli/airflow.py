"""``solarvent airflow``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from solarvent.cli.options import (
    EXAMPLE_NOTE,
    STEP,
    deliver,
    format_option,
    output_options,
    parts_option,
    plan_argument,
    units_option,
)


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
@plan_argument
@click.option("--month", type=click.IntRange(1, 12), help="1 to 12; else the hottest month of need.")
@click.option("--oktas", type=click.IntRange(0, 9), help="Cloud: 0 clear .. 8 overcast, 9 hidden; else all skies.")
@click.option("--cover", type=click.Choice(["thin", "ordinary", "dark"]), help="The kind of cloud at 8 oktas.")
@click.option("--from", "start", type=_CLOCK, help="Clock time from which; else the plan's.")
@click.option("--to", "end", type=_CLOCK, help="Clock time to which; else the plan's.")
@click.option("--step", type=STEP, help='A row for each step, like "10 min", in place of each hour.')
@click.option("--year", is_flag=True, help="The real afternoons of the plan's weather.")
@click.option("--orient", is_flag=True, help="Which tilt and azimuth are best for these hours.")
@parts_option
@units_option
@format_option("text", "json", "csv")
@output_options
def command(plan: Path | None, month: int | None, oktas: int | None, cover: str | None, start: str | None,
            end: str | None, step: float | None, year: bool, orient: bool, parts_folder: Path | None,
            units: str | None, form: str, output: Path | None, force: bool) -> None:  # fmt: skip
    """Say how much air PLAN (without one, the embedded example) moves in a span of hours under a given sky.

    Example:  solarvent airflow my-plan.toml --month 7 --oktas 8 --from 12 --to 18

    Example:  solarvent airflow --month 7 --year

    Example:  solarvent airflow --orient
    """
    from solarvent.plan.loading import load_plan
    from solarvent.report.airflow import answer_orientation, answer_skies, answer_year

    if (year and orient) or ((year or orient) and (oktas is not None or step is not None)):
        raise click.UsageError("--year and --orient stand alone: without --oktas, without --step, not together")
    if step is not None and 3600 % step:
        raise click.UsageError(f"--step: {step / 60:g} min is not a whole part of an hour; like 10 min or 15 min")
    if cover is not None and oktas != 8:
        raise click.UsageError("--cover goes with --oktas 8")
    loaded = load_plan(plan, parts_folder)
    start, end = start or loaded.record.target.start, end or loaded.record.target.end
    if start >= end:
        raise click.UsageError(f"--from {start} is not before --to {end}")
    system, note = units or loaded.record.units, EXAMPLE_NOTE if plan is None else ""
    if orient:
        text = answer_orientation(loaded, month, start, end, form, system, note)
    elif year:
        text = answer_year(loaded, month, start, end, form, system, note)
    else:
        text = answer_skies(loaded, month, start, end, oktas, cover, step, form, system, note)
    deliver(text, output, force)
