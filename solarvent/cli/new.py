"""``solarvent new``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import deliver


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path), default="plan.toml")
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
def command(file: Path, force: bool) -> None:
    """Write a commented starter plan to FILE (plan.toml), to be changed to your own house, parts and wires.

    Example:  solarvent new my-plan.toml
    """
    from solarvent.inputs.loading import embedded_plan_path

    deliver(embedded_plan_path().read_text(encoding="utf-8").rstrip("\n"), file, force)
    click.echo(f"next: open it in an editor, then: solarvent run {file}", err=True)
