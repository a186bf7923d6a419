"""``solarvent report``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from solarvent.cli.options import (
    EXAMPLE_NOTE,
    deliver,
    leave,
    output_options,
    parts_option,
    plan_argument,
    units_option,
)


@click.command("report")
@plan_argument
@click.option("--month", type=click.IntRange(1, 12), help="Month whose clear, broken and overcast days are shown.")
@parts_option
@units_option
@output_options
def command(plan: Path | None, month: int | None, parts_folder: Path | None, units: str | None, output: Path | None,
            force: bool) -> None:  # fmt: skip
    """Write the whole answer on PLAN (without one, the embedded example) as one page for a browser, phone or printer.

    The page is one HTML file: no network, no other file. Ends with exit code 3 if a finding says stop.

    Example:  solarvent report my-plan.toml -o plan.html
    """
    from solarvent.bench.preparation import prepare
    from solarvent.findings.checks import find
    from solarvent.plan.loading import load_plan
    from solarvent.report.files import refuse_to_clobber
    from solarvent.report.page import render_page
    from solarvent.simulation.simulate import simulate

    if output is not None:
        refuse_to_clobber(output, force=force)
    loaded = load_plan(plan, parts_folder)
    system = units or loaded.record.units
    result = simulate(loaded)
    findings = find(result, system)
    bench = prepare(loaded, system=system)
    text = render_page(result, findings, bench, system, month, EXAMPLE_NOTE if plan is None else "")
    if output is None and hasattr(sys.stdout, "reconfigure"):
        # The page says which letters it is written in, whatever those of the console are.
        sys.stdout.reconfigure(encoding="utf-8")
    deliver(text, output, force)
    leave(findings)
