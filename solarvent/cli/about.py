"""``solarvent about``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from solarvent.cli.options import answer, deliver, format_option, output_options


@click.group("about")
def about_command() -> None:
    """Say how the program comes to its answers, and how far to trust them."""


@about_command.command("questions")
@format_option("text", "json")
@output_options
def questions(form: str, output: Path | None, force: bool) -> None:
    """What people ask, and the command that answers it with figures.

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
    from solarvent.report.about_text import models_json, render_models

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
    """Figures from outside, and what the program gives instead.

    Published values, handbooks, almanacs, other programs and common practice. Those that it misses stand first, with
    the reason. In JSON and CSV a tolerance is a share of what is expected.

    Example:  solarvent about checks
    """
    from solarvent.report.about_text import checks_csv, checks_json, render_checks

    answer(form, output, force, text=render_checks, json=checks_json, csv=checks_csv)


@about_command.command("manual")
@output_options
def manual(output: Path | None, force: bool) -> None:
    """All commands and their options as one manual page, for ``man``.

    Example:  solarvent about manual -o solarvent.1
    """
    root = click.get_current_context().find_root()
    deliver("\n".join(_page(root)), output, force)


def _page(root: click.Context) -> Iterator[str]:
    """Write the manual page of a program, section by section."""
    name = root.info_name or "solarvent"
    yield f'.TH {name.upper()} 1 "" "{name}" "User Commands"'
    yield f".SH NAME\n{name} \\- will a solar panel turn the fans, when, and is the air enough"
    yield f".SH SYNOPSIS\n.B {name}\n.I COMMAND\n[OPTIONS]"
    yield ".SH DESCRIPTION\n" + _roff(root.command.help or "")
    for context in _below(root):
        yield f".SH {context.command_path.upper()}\n.B {_roff(context.command.get_usage(context))}\n.PP"
        yield _roff(context.command.help or "")
        for param in context.command.get_params(context):
            if isinstance(param, click.Option) and (record := param.get_help_record(context)):
                yield f".TP\n.B {_roff(record[0])}\n{_roff(record[1])}"
    codes = "0 fine; 1 a bad plan, part or weather file; 2 a bad command line; 3 done, and a finding says stop."
    yield f".SH EXIT STATUS\n{codes}"
    yield (
        ".SH ENVIRONMENT\n.B SOLARVENT_UNITS, SOLARVENT_PARTS\nstand for --units and --parts of every command; any"
        " other option is set as SOLARVENT_RUN_MONTH is. NO_COLOR: no colours."
    )


def _below(context: click.Context) -> Iterator[click.Context]:
    """Give every command under a group, and those under its groups, in their order."""
    group = context.command
    if not isinstance(group, click.Group):
        yield context
        return
    for name in group.list_commands(context):
        if (command := group.get_command(context, name)) is not None:
            yield from _below(click.Context(command, parent=context, info_name=name))


def _roff(text: str) -> str:
    """Write text so that ``man`` takes none of it for an order."""
    # Backslashes first, or those of the escapes were escaped; a bare hyphen would print as a dash.
    plain = text.replace("\\", "\\e").replace("\b", "").replace("-", "\\-")
    blocks = (block.split("\n") for block in plain.strip().split("\n\n"))
    lines = ("\n.br\n".join("\\&" + line.strip() for line in block if line.strip()) for block in blocks)
    return "\n.PP\n".join(filter(None, lines))
