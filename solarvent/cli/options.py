"""Arguments and options that several commands share, and how a command ends."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from datetime import date
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import parse
from solarvent.cli import EXIT_STOP

if TYPE_CHECKING:
    from solarvent.planning.findings import Finding

EXAMPLE_NOTE = "No plan was given: this is the embedded example. For your own: solarvent new my-plan.toml"


class _Day(click.ParamType):
    """A day of the year, with or without its year."""

    name = "MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        text = value if value.count("-") == 2 else f"2000-{value}"
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.fail(f'"{value}" is no day; write it like 07-15', param, ctx)


class Within(click.FloatRange):
    """A number within bounds; unlike click's own, it lets no NaN through."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the number; a wrong one ends the command."""
        number: float = super().convert(value, param, ctx)
        if isnan(number):
            self.fail(f"{value} is not a number", param, ctx)
        return number


class _Step(click.ParamType):
    """A length of time with its unit."""

    name = "TIME"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        try:
            seconds = parse(value, "time")
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if not 60 <= seconds <= 3600:
            self.fail(f'"{value}" is outside 1 min to 60 min', param, ctx)
        return seconds


DAY, STEP = _Day(), _Step()

plan_argument = click.argument("plan", required=False, type=click.Path(path_type=Path))
parts_option = click.option(
    "--parts", "parts_folder", type=click.Path(path_type=Path), help="Folder of own parts, laid over the library."
)
units_option = click.option("--units", type=click.Choice(["metric", "us"]), help="Units of the text; else the plan's.")


def format_option(*formats: str) -> Callable[[Any], Any]:
    """Offer ``--format`` with these choices, the first being the default."""
    return click.option("--format", "form", type=click.Choice(formats), default=formats[0], show_default=True)


def output_options(command: Any) -> Any:
    """Offer ``-o FILE`` and ``--force``."""
    command = click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")(command)
    return click.option(
        "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Write to FILE, not to the screen."
    )(command)


def deliver(text: str, output: Path | None, force: bool) -> None:
    """Print the text, or write it to the file that was asked for."""
    if output is None:
        click.echo(text)
        return
    from solarvent.report.files import write_whole

    write_whole(output, text + "\n", force=force)
    click.echo(f"written: {output}", err=True)


def cannot_draw(output: Path | None) -> bool:
    """Tell whether the console lacks the blocks that bars are made of; a file has them."""
    if output is not None:
        return False
    try:
        "█".encode(sys.stdout.encoding or "ascii")
    except (UnicodeError, LookupError):
        return True
    return False


def leave(findings: Iterable[Finding]) -> None:
    """End a command with the exit code that its findings call for."""
    if any(finding.level == "stop" for finding in findings):
        click.get_current_context().exit(EXIT_STOP)
