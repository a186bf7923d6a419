"""``solarvent night``."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from solarvent.cli.options import (
    DAY,
    EXAMPLE_NOTE,
    deliver,
    format_option,
    output_options,
    parts_option,
    plan_argument,
    units_option,
)
from solarvent.cli.quantity import TEMPERATURE


@click.command("night")
@plan_argument
@click.option("--date", "evening", type=DAY, help="Evening of the first night, like 02-10; else the coldest night.")
@click.option("--nights", type=click.IntRange(1, 14), default=1, show_default=True, help="How many nights in a row.")
@click.option("--hold", type=TEMPERATURE, help='Temperature to be held, like "3 degC"; else what the plants bear.')
@parts_option
@units_option
@format_option("text", "json", "csv")
@output_options
def command(plan: Path | None, evening: date | None, nights: int, hold: float | None, parts_folder: Path | None,
            units: str | None, form: str, output: Path | None, force: bool) -> None:  # fmt: skip
    """Carry PLAN (without one, the embedded example) through its coldest nights: frost, water mass, backup heat.

    Example:  solarvent night my-plan.toml --hold "3 degC"

    Example:  solarvent night --date 02-10 --nights 3
    """
    from solarvent.plan.loading import load_plan
    from solarvent.report.night_text import night_csv, night_json, render_night
    from solarvent.simulation.cold_night import cold_night

    loaded = load_plan(plan, parts_folder)
    night = cold_night(loaded, evening, nights, hold)
    if form == "text":
        text = render_night(night, units or loaded.record.units, EXAMPLE_NOTE if plan is None else "")
    else:
        text = night_json(night) if form == "json" else night_csv(night)
    deliver(text, output, force)
