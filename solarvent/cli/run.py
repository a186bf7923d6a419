"""``solarvent run``."""

from __future__ import annotations

from datetime import date

import click

from solarvent.cli.options import DAY, STEP, cannot_draw, leave
from solarvent.cli.request import Request, about_a_plan


@click.command("run")
@click.option("--month", type=click.IntRange(1, 12), help="Month whose clear, middling and dull days are shown.")
@click.option("--day", type=DAY, help="One day in place of the year, like 07-15.")
@click.option("--step", type=STEP, help='Step within that day, like "10 min".')
@click.option("--ascii", "plain", is_flag=True, help="Plain ASCII in the pictures of the text.")
@click.option("--budget", is_flag=True, help="Only the power budget in Wh: made, usable, used, spilled, missing.")
@about_a_plan("text", "json", "csv")
def command(asked: Request, month: int | None, day: date | None, step: float | None, plain: bool, budget: bool) -> None:
    """Simulate PLAN (without one, the embedded example) and say what will happen: findings first, then the hours.

    Ends with exit code 3 if a finding says stop.

    Example:  solarvent run my-plan.toml --month 7

    Example:  solarvent run my-plan.toml --budget

    Example:  solarvent run my-plan.toml --day 07-15 --step "10 min" --format csv -o july.csv
    """
    from solarvent.findings.checks import find
    from solarvent.report import data, run_text
    from solarvent.simulation.power_budget import power_budget
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.overview import overview

    if step is not None and day is None:
        raise click.UsageError("--step goes with --day")
    run = simulate(asked.plan, day, step)
    findings = find(run, asked.system)
    if budget:
        energy = power_budget(run, month)
        asked.answer(
            text=lambda: run_text.render_budget(energy, asked.note),
            json=lambda: run_text.budget_json(energy),
            csv=lambda: run_text.budget_csv(energy),
        )
    else:
        whole = overview(run, findings, asked.system, month)
        asked.answer(
            text=lambda: run_text.render_run(whole, asked.system, asked.note, plain or cannot_draw(asked.output)),
            json=lambda: data.run_json(whole),
            csv=lambda: data.run_csv(run),
        )
    leave(any(finding.level == "stop" for finding in findings))
