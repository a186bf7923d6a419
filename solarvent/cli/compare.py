"""``solarvent compare``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import answer, format_option, output_options, parts_option, units_option


@click.command("compare")
@click.argument("left", type=click.Path(path_type=Path))
@click.argument("right", type=click.Path(path_type=Path))
@click.option("--all", "everything", is_flag=True, help="Show what is the same in both, too.")
@parts_option
@units_option
@format_option("text", "json")
@output_options
def command(left: Path, right: Path, everything: bool, parts_folder: Path | None, units: str | None, form: str,
            output: Path | None, force: bool) -> None:  # fmt: skip
    """Set two plans side by side, differences first: what comes of them, their findings, and their entries.

    The names of plans that ship with the program, "default", "faulty" and "coop", may stand for a file.

    Example:  solarvent compare my-plan.toml bigger-panel.toml
    """
    from solarvent.plan.loading import load_plan
    from solarvent.report.choices_text import compare_json, render_compare
    from solarvent.studies.compare import compare

    plans = [load_plan(name, parts_folder) for name in (left, right)]
    rows = compare(plans[0], plans[1])
    titles = plans[0].record.title, plans[1].record.title
    if titles[0] == titles[1]:
        # Two trials of one plan keep its title; their files tell them apart.
        titles = f"{titles[0]} ({left})", f"{titles[1]} ({right})"
    answer(
        form, output, force,
        text=lambda: render_compare(titles, rows, units or plans[0].record.units, everything),
        json=lambda: compare_json(titles, rows),
    )  # fmt: skip
