"""``solarvent pair``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import answer, format_option, leave, output_options, parts_option

_EXAMPLE = "trio-right-splitter"


@click.command("pair")
@click.argument("boxes", nargs=-1, metavar="KIT-or-PLAN...")
@parts_option
@format_option("text", "json")
@output_options
def command(boxes: tuple[str, ...], parts_folder: Path | None, form: str, output: Path | None, force: bool) -> None:
    """Can the parts in these boxes be joined so that every fan is fed, and rightly?

    KIT is the name of a kit that ships (without any argument they are listed, with an example), or a file that says
    what is in your box; several pool their parts. Of a PLAN with runs, the given joins are checked.

    Answers yes, yes after metering, or no; if no, what is the least to buy and where to cut instead. Exit code 3 for
    no, and for reversed poles.

    Example:  solarvent pair trio-wrong-splitter

    Example:  solarvent pair my-box.toml second-box.toml
    """
    from solarvent.plan.boxes import load_box
    from solarvent.report.data import to_json
    from solarvent.report.parts import pairing_data, pairing_text
    from solarvent.studies.pair import pair

    if not boxes:
        from solarvent.plan.boxes import shipped_kits

        click.echo(f"No kit was given: this is {_EXAMPLE}. Others: {', '.join(shipped_kits())}", err=True)
        click.echo(f"For your own box: solarvent new my-box.toml --copy {_EXAMPLE}", err=True)
    pairing = pair(load_box(boxes or (_EXAMPLE,), parts_folder))
    answer(
        form, output, force,
        text=lambda: pairing_text(pairing),
        json=lambda: to_json(pairing_data(pairing), indent=2),
    )  # fmt: skip
    leave(pairing.feasible == "no")
