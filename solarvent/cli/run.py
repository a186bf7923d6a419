"""``solarvent run``."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from solarvent.cli.options import (
    DAY,
    EXAMPLE_NOTE,
    STEP,
    cannot_draw,
    deliver,
    format_option,
    leave,
    output_options,
    parts_option,
    plan_argument,
    units_option,
)

if TYPE_CHECKING:
    from solarvent.simulation.simulate import Simulation


@click.command("run")
@plan_argument
@click.option("--month", type=click.IntRange(1, 12), help="Month whose clear, middling and dull days are shown.")
@click.option("--day", type=DAY, help="One day in place of the year, like 07-15.")
@click.option("--step", type=STEP, help='Step within that day, like "10 min".')
@click.option("--ascii", "plain", is_flag=True, help="Plain ASCII in the pictures of the text.")
@click.option("--budget", is_flag=True, help="Only the power budget in Wh: made, usable, used, spilled, missing.")
@parts_option
@units_option
@format_option("text", "json", "csv")
@output_options
def command(plan: Path | None, month: int | None, day: date | None, step: float | None, plain: bool,
            budget: bool, parts_folder: Path | None, units: str | None, form: str, output: Path | None,
            force: bool) -> None:  # fmt: skip
    """Simulate PLAN (without one, the embedded example) and say what will happen: findings first, then the hours.

    Ends with exit code 3 if a finding says stop.

    Example:  solarvent run my-plan.toml --month 7

    Example:  solarvent run my-plan.toml --budget

    Example:  solarvent run my-plan.toml --day 07-15 --step "10 min" --format csv -o july.csv
    """
    from solarvent.findings.checks import find
    from solarvent.plan.loading import load_plan
    from solarvent.simulation.simulate import simulate

    if step is not None and day is None:
        raise click.UsageError("--step goes with --day")
    loaded = load_plan(plan, parts_folder)
    result = simulate(loaded, day, step)
    system = units or loaded.record.units
    findings = find(result, system)
    if budget:
        text = _budget(result, month, form, EXAMPLE_NOTE if plan is None else "")
    elif form == "text":
        from solarvent.report.run_text import render_run

        text = render_run(
            result, findings, system, month, EXAMPLE_NOTE if plan is None else "", plain or cannot_draw(output)
        )
    else:
        from solarvent.report.data import run_csv, run_json

        text = run_json(result, findings) if form == "json" else run_csv(result)
    deliver(text, output, force)
    leave(findings)


def _budget(result: Simulation, month: int | None, form: str, note: str) -> str:
    """Write the power budget."""
    from solarvent.report.budget_text import budget_csv, budget_json, render_budget

    if form == "text":
        return render_budget(result, month, note)
    return budget_json(result, month) if form == "json" else budget_csv(result)
