"""``solarvent parts``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import deliver, format_option, output_options, parts_option


@click.command("parts")
@click.argument("kind", required=False)
@click.argument("part", required=False)
@parts_option
@format_option("text", "json", "csv")
@output_options
def command(kind: str | None, part: str | None, parts_folder: Path | None, form: str, output: Path | None,
            force: bool) -> None:  # fmt: skip
    """List the kinds of part, the parts of one KIND, or all that is known of one PART.

    Example:  solarvent parts fans fan-12v-120x25
    """
    from solarvent.plan.library import Library
    from solarvent.report.parts import render_parts

    deliver(render_parts(Library(parts_folder), kind, part, form), output, force)
