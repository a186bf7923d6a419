"""``solarvent checklist``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli import EXIT_STOP
from solarvent.cli.options import (
    EXAMPLE_NOTE,
    Within,
    deliver,
    format_option,
    output_options,
    parts_option,
    plan_argument,
    units_option,
)


@click.command("checklist")
@plan_argument
@click.option("--irradiance", type=Within(50, 1400), show_default="900, a clear noon",
              help="Light on the cells for which the figures hold, in W/m2.")  # fmt: skip
@click.option("--temp-cell", type=Within(-40, 100), show_default="in this light at 20 degC outside",
              help="Temperature of the cells, in degC.")  # fmt: skip
@parts_option
@units_option
@format_option("text", "markdown", "json")
@output_options
def command(plan: Path | None, irradiance: float | None, temp_cell: float | None, parts_folder: Path | None,
            units: str | None, form: str, output: Path | None, force: bool) -> None:  # fmt: skip
    """Write the steps and the shopping list for building PLAN (without one, the embedded example), to be printed.

    Every step says what to do, how to set the meter, what it should show, and what it means if not. Ends with exit code
    3 if the plan would destroy a fan.

    Example:  solarvent checklist my-plan.toml -o checklist.txt
    """
    from solarvent.bench.checklist import checklist, stops
    from solarvent.bench.preparation import prepare
    from solarvent.bench.shopping import shopping
    from solarvent.plan.loading import load_plan
    from solarvent.report.checklist_text import checklist_data, markdown_checklist, render_checklist
    from solarvent.report.data import to_json

    bench = prepare(load_plan(plan, parts_folder), irradiance, temp_cell, units)
    steps, items = checklist(bench), shopping(bench)
    if form == "json":
        text = to_json(checklist_data(bench, steps, items))
    else:
        render = render_checklist if form == "text" else markdown_checklist
        text = render(bench, steps, items, EXAMPLE_NOTE if plan is None else "")
    deliver(text, output, force)
    if stops(bench):
        click.get_current_context().exit(EXIT_STOP)
