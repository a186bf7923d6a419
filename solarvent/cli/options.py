"""Arguments and options that several commands share, and how a command ends."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.cli import EXIT_STOP

if TYPE_CHECKING:
    from solarvent.planning.findings import Finding

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


def leave(findings: Iterable[Finding]) -> None:
    """End a command with the exit code that its findings call for."""
    if any(finding.level == "stop" for finding in findings):
        click.get_current_context().exit(EXIT_STOP)
