"""``solarvent need``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import (
    EXAMPLE_NOTE,
    deliver,
    format_option,
    output_options,
    parts_option,
    plan_argument,
    units_option,
)
from solarvent.cli.quantity import IRRADIANCE, TEMPERATURE


@click.command("need")
@plan_argument
@click.option("--below", type=TEMPERATURE, required=True, help='Not warmer inside than this, like "32 degC".')
@click.option("--outside", type=TEMPERATURE, required=True, help='On a day as warm as this, like "24 degC".')
@click.option("--month", type=click.IntRange(1, 12), help="Whose noon sun shines; else the middle month of need.")
@click.option("--sun", type=IRRADIANCE, help='Sun on the level, like "700 W/m2"; else that of a clear noon.')
@parts_option
@units_option
@format_option("text", "json")
@output_options
def command(plan: Path | None, below: float, outside: float, month: int | None, sun: float | None,
            parts_folder: Path | None, units: str | None, form: str, output: Path | None,
            force: bool) -> None:  # fmt: skip
    """Say how many air changes keep the house of PLAN (without one, the embedded example) below a temperature.

    Example:  solarvent need my-plan.toml --below "32 degC" --outside "24 degC"
    """
    from solarvent.house.air_need import need_below
    from solarvent.plan.loading import load_plan
    from solarvent.report.need_text import need_json, render_need

    loaded = load_plan(plan, parts_folder)
    answer = need_below(loaded, below, outside, month, sun)
    if form == "json":
        text = need_json(loaded, answer)
    else:
        text = render_need(loaded, answer, units or loaded.record.units, EXAMPLE_NOTE if plan is None else "")
    deliver(text, output, force)
