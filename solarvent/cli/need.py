"""``solarvent need``."""

from __future__ import annotations

import click

from solarvent.cli.quantity import IRRADIANCE, TEMPERATURE
from solarvent.cli.request import Request, about_a_plan


@click.command("need")
@click.option("--below", type=TEMPERATURE, required=True, help='Not warmer inside than this, like "32 degC".')
@click.option("--outside", type=TEMPERATURE, required=True, help='On a day as warm as this, like "24 degC".')
@click.option("--month", type=click.IntRange(1, 12), help="Whose noon sun shines; else the middle month of need.")
@click.option("--sun", type=IRRADIANCE, help='Sun on the level, like "700 W/m2"; else that of a clear noon.')
@about_a_plan("text", "json")
def command(asked: Request, below: float, outside: float, month: int | None, sun: float | None) -> None:
    """Say how many air changes keep the house of PLAN (without one, the embedded example) below a temperature.

    Example:  solarvent need my-plan.toml --below "32 degC" --outside "24 degC"
    """
    from solarvent.house.air_need import need_below
    from solarvent.report.choices_text import need_json, render_need

    need = need_below(asked.plan, below, outside, month, sun)
    asked.answer(
        text=lambda: render_need(asked.plan, need, asked.system, asked.note), json=lambda: need_json(asked.plan, need)
    )
