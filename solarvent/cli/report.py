"""``solarvent report``."""

from __future__ import annotations

import sys

import click

from solarvent.cli.options import leave
from solarvent.cli.request import Request, about_a_plan


@click.command("report")
@click.option("--month", type=click.IntRange(1, 12), help="Month whose clear, broken and overcast days are shown.")
@about_a_plan("html")
def command(asked: Request, month: int | None) -> None:
    """Write the whole answer on PLAN (without one, the embedded example) as one page for a browser, phone or printer.

    The page is one HTML file: no network, no other file. Ends with exit code 3 if a finding says stop.

    Example:  solarvent report my-plan.toml -o plan.html
    """
    from solarvent.bench.steps import checklist
    from solarvent.findings.checks import find
    from solarvent.report.files import refuse_to_clobber
    from solarvent.report.page import render_page
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.overview import overview

    if asked.output is not None:
        refuse_to_clobber(asked.output, force=asked.force)
    run = simulate(asked.plan)
    findings = find(run, asked.system)
    whole, steps = overview(run, findings, asked.system, month), checklist(asked.plan, system=asked.system)
    if asked.output is None and hasattr(sys.stdout, "reconfigure"):
        # The page says which letters it is written in, whatever those of the console are.
        sys.stdout.reconfigure(encoding="utf-8")
    asked.answer(html=lambda: render_page(whole, steps, asked.system, asked.note))
    leave(any(finding.level == "stop" for finding in findings))
