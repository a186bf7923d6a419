"""``solarvent about``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import deliver, format_option, output_options


@click.group("about")
def command() -> None:
    """Say how the program comes to its answers, and how far to trust them."""


@command.command("models")
@format_option("text", "json")
@output_options
def models(form: str, output: Path | None, force: bool) -> None:
    """Equations, sources, known errors, and what moves the answers.

    Example:  solarvent about models
    """
    from solarvent.report.models_text import models_json, render_models

    deliver(models_json() if form == "json" else render_models(), output, force)
