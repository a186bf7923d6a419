"""``solarvent schema``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from solarvent.cli.options import deliver, output_options


@click.command("schema")
@output_options
def command(output: Path | None, force: bool) -> None:
    """Print the JSON Schema of the plan file, with which an editor completes and checks it.

    Example:  solarvent schema -o plan.schema.json
    """
    from solarvent.plan.plan_record import plan_schema

    deliver(json.dumps(plan_schema(), indent=2), output, force)
