"""``solarvent night``."""

from __future__ import annotations

from datetime import date

import click

from solarvent.cli.options import DAY
from solarvent.cli.quantity import TEMPERATURE
from solarvent.cli.request import Request, about_a_plan


@click.command("night")
@click.option("--date", "evening", type=DAY, help="Evening of the first night, like 02-10; else the coldest night.")
@click.option("--nights", type=click.IntRange(1, 14), default=1, show_default=True, help="How many nights in a row.")
@click.option("--hold", type=TEMPERATURE, help='Temperature to be held, like "3 degC"; else what the plants bear.')
@about_a_plan("text", "json", "csv")
def command(asked: Request, evening: date | None, nights: int, hold: float | None) -> None:
    """Carry PLAN (without one, the embedded example) through its coldest nights: frost, water mass, backup heat.

    Example:  solarvent night my-plan.toml --hold "3 degC"

    Example:  solarvent night --date 02-10 --nights 3
    """
    from solarvent.findings.house import night_findings
    from solarvent.report.night_text import night_csv, night_json, render_night
    from solarvent.simulation.cold_night import cold_night

    night = cold_night(asked.plan, evening, nights, hold)
    asked.answer(
        text=lambda: render_night(night, list(night_findings(night, asked.system)), asked.system, asked.note),
        json=lambda: night_json(night, list(night_findings(night))),
        csv=lambda: night_csv(night),
    )
