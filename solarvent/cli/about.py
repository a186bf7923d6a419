"""``solarvent about``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import answer, format_option, output_options


@click.group("about")
def about_command() -> None:
    """Say how the program comes to its answers, and how far to trust them."""


@about_command.command("questions")
@format_option("text", "json")
@output_options
def questions(form: str, output: Path | None, force: bool) -> None:
    """What people ask, a short answer, and the command that answers it with figures.

    Example:  solarvent about questions
    """
    from solarvent.report.about_text import questions_json, render_questions

    answer(form, output, force, text=render_questions, json=questions_json)


@about_command.command("models")
@format_option("text", "json")
@output_options
def models(form: str, output: Path | None, force: bool) -> None:
    """Equations, sources, known errors, and what moves the answers.

    Example:  solarvent about models
    """
    from solarvent.report.models_text import models_json, render_models

    answer(form, output, force, text=render_models, json=models_json)


@about_command.command("faults")
@format_option("text", "json")
@output_options
def faults(form: str, output: Path | None, force: bool) -> None:
    """What goes wrong, how a plan shows it, and what helps.

    Example:  solarvent about faults
    """
    from solarvent.report.about_text import faults_json, render_faults

    answer(form, output, force, text=render_faults, json=faults_json)


@about_command.command("checks")
@format_option("text", "json", "csv")
@output_options
def checks(form: str, output: Path | None, force: bool) -> None:
    """Figures from outside the program, and what it gives in their place.

    Published values, handbooks, almanacs, other programs and common practice. Those that it misses stand first, with
    the reason. In JSON and CSV a tolerance is a share of what is expected.

    Example:  solarvent about checks
    """
    from solarvent.report.about_text import checks_csv, checks_json, render_checks

    answer(form, output, force, text=render_checks, json=checks_json, csv=checks_csv)
