"""``solarvent serve``."""

from __future__ import annotations

from pathlib import Path

import click

from solarvent.cli.options import parts_option

_WARNING = (
    "Everybody who has this address can see and change the plans of this folder until you end the program. It goes"
    " through your network unencrypted: do this at home, not in a café."
)


@click.command("serve")
@click.argument("place", metavar="[FOLDER-or-PLAN]", type=click.Path(path_type=Path), default=".")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="Port to listen on; left out or 0: any free one."
)
@click.option("--no-browser", is_flag=True, help="Do not open the page in the browser.")
@parts_option
@click.option("--phone", is_flag=True, help="Let a phone of the same network in, too: prints a code for its camera.")
def serve_command(place: Path, port: int, no_browser: bool, parts_folder: Path | None, phone: bool) -> None:
    """Plan by picking and typing, on a page of this machine: place and house, kit, answer, bench.

    The page works with the plan files of FOLDER (without one, the current folder), or begins with one PLAN; they are
    the same files as everywhere. It prints its address, with a key that ends with the program, and opens it in the
    browser. Ctrl-C ends it; what was typed and not saved is there again the next time.

    Example:  solarvent serve my-plan.toml
    """
    from solarvent.base.errors import PlanError
    from solarvent.serve.server import run

    folder, first = place, ""
    if place.is_file():
        if place.suffix != ".toml":
            raise PlanError.single(str(place), "this is no plan file", "its name ends in .toml")
        folder, first = place.absolute().parent, place.stem
    if not folder.is_dir():
        raise PlanError.single(str(place), "there is no such folder and no such plan", "make the folder first")

    def ready(address: str, for_phone: str) -> None:
        click.echo(address)
        if for_phone:
            click.echo(f"\n{_code(for_phone)}\n{for_phone}\n{_WARNING}", err=True)
        if not no_browser:
            click.launch(address)

    run(folder, first, parts_folder, port, phone, ready)


def _code(address: str) -> str:
    """Draw an address for the camera of a phone, in signs of a terminal."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(address, error="m").terminal(out=drawn, compact=True, border=2)
    return drawn.getvalue()
