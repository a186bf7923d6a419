"""``solarvent checklist``."""

from __future__ import annotations

import click

from solarvent.cli.options import Within, leave
from solarvent.cli.request import Request, about_a_plan


@click.command("checklist")
@click.option("--irradiance", type=Within(50, 1400), show_default="900, a clear noon",
              help="Light on the cells for which the figures hold, in W/m2.")  # fmt: skip
@click.option("--temp-cell", type=Within(-40, 100), show_default="in this light at 20 degC outside",
              help="Temperature of the cells, in degC.")  # fmt: skip
@about_a_plan("text", "markdown", "json")
def command(asked: Request, irradiance: float | None, temp_cell: float | None) -> None:
    """Write the steps and the shopping list for building PLAN (without one, the embedded example), to be printed.

    Every step says what to do, how to set the meter, what it should show, and what it means if not. Ends with exit code
    3 if the plan would destroy a fan.

    Example:  solarvent checklist my-plan.toml -o checklist.txt
    """
    from solarvent.bench.steps import checklist
    from solarvent.report.bench_text import checklist_data, markdown_checklist, render_checklist
    from solarvent.report.data import to_json

    steps = checklist(asked.plan, irradiance, temp_cell, asked.units)
    asked.answer(
        text=lambda: render_checklist(steps, asked.note),
        markdown=lambda: markdown_checklist(steps, asked.note),
        json=lambda: to_json(checklist_data(steps)),
    )
    leave(bool(steps.stops))
