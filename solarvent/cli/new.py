"""``solarvent new``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import deliver, parts_option


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path), default="plan.toml")
@click.option("--box", "boxes", multiple=True, metavar="KIT", help="Parts and joins from a kit or a file of your box.")
@parts_option
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
def command(file: Path, boxes: tuple[str, ...], parts_folder: Path | None, force: bool) -> None:
    """Write a commented starter plan to FILE (plan.toml), to be changed to your own house, parts and wires.

    Example:  solarvent new my-plan.toml

    With what is in your boxes, joined as "solarvent pair" finds it:

    Example:  solarvent new my-plan.toml --box my-box.toml
    """
    from solarvent.inputs.loading import embedded_plan_path

    if boxes:
        from solarvent.inputs.kit import load_boxes
        from solarvent.planning.box_plan import box_plan

        text = box_plan(load_boxes(boxes, parts_folder))
    else:
        text = embedded_plan_path().read_text(encoding="utf-8").rstrip("\n")
    deliver(text, file, force)
    click.echo(f"next: change place and house in it, then: solarvent run {file}, solarvent checklist {file}", err=True)
