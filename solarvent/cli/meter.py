"""``solarvent meter``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import EXAMPLE_NOTE, deliver, format_option, output_options, parts_option, plan_argument


@click.command("meter")
@plan_argument
@click.option("--irradiance", type=click.FloatRange(1, 1400), default=1000.0, show_default=True,
              help="Light on the cells, in W/m2.")  # fmt: skip
@click.option("--temp-cell", type=click.FloatRange(-40, 100), default=50.0, show_default=True,
              help="Temperature of the cells, in degC.")  # fmt: skip
@parts_option
@format_option("text", "json")
@output_options
def command(plan: Path | None, irradiance: float, temp_cell: float, parts_folder: Path | None, form: str,
            output: Path | None, force: bool) -> None:  # fmt: skip
    """Say what a meter should read on PLAN (without one, the embedded example) in a given sun.

    Example:  solarvent meter my-plan.toml --irradiance 600 --temp-cell 45
    """
    from solarvent.inputs.loading import load_plan
    from solarvent.planning.metering import expected_readings
    from solarvent.report.data import to_json
    from solarvent.report.meter_text import expected_data, render_expected

    loaded = load_plan(plan, parts_folder)
    bands = expected_readings(loaded, irradiance, temp_cell)
    title = loaded.plan.title
    if form == "json":
        text = to_json(expected_data(title, irradiance, temp_cell, bands["typical"]))
    else:
        text = render_expected(title, irradiance, temp_cell, bands, EXAMPLE_NOTE if plan is None else "")
    deliver(text, output, force)
