"""Commands that try many designs or places: ``size`` and ``many``."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.base.constants import ENOUGH
from solarvent.cli import tell
from solarvent.cli.options import (
    Quantity,
    Whole,
    Within,
    answer,
    format_option,
    full_option,
    leave,
    manner_options,
    parts_option,
    progress_bar,
    quoted,
    say,
    typed,
)
from solarvent.cli.request import Request, about_a_plan

if TYPE_CHECKING:
    from solarvent.studies.many import ManyPlan


_WORTH_A_BAR, _WORTH_A_BAR_SLOW = 60, 3


class _Watts(Quantity):
    """Power, with its unit or a plain number of watts."""

    def __init__(self) -> None:
        super().__init__("power", 0.5, 1000.0)
        self.name = "watts"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        plain = isinstance(value, str) and value.replace(".", "", 1).isdigit()
        return super().convert(f"{value} W" if plain else value, param, ctx)


@click.command("size")
@click.option("--fans", type=Whole(1, 24), help="How many alike fans; without it those of PLAN, as it wires"
              " them.")  # fmt: skip
@click.option("--fan", metavar="PART", help="Fan of the library (see: solarvent parts fans); else the plan's first.")
@click.option("--panel", type=_Watts(), help="The reverse: how many fans on a panel of so many watts.")
@click.option("--watts", type=_Watts(), multiple=True, help="Panel to try, several times; else the trade's sizes.")
@click.option("--target", metavar="WANTED", help='What is enough: "120 m3/h", "250 cfm", "20 ach", "6 K" above outside,'
              ' "volume" (one a minute), "floor" (8 cfm/ft2), "70 % speed"; else the plan\'s.')  # fmt: skip
@click.option("--share", type=Within(0.05, 1.0), default=ENOUGH, show_default=True,
              help="Share of the hours that want air in which the target should be met.")  # fmt: skip
@click.option("--wire", multiple=True, help="Lead to try, like 16AWG, several times; else the plan's.")
@click.option("--tilt", type=Within(0, 90), multiple=True, help="Tilt to try, in degrees; else the plan's.")
@click.option("--azimuth", type=Within(0, 360), multiple=True, help="Azimuth to try; else the plan's.")
@about_a_plan("text", "json", "csv", screen=True)
def size_command(asked: Request, fans: int | None, fan: str | None, panel: float | None, watts: tuple[float, ...],
            target: str | None, share: float, wire: tuple[str, ...], tilt: tuple[float, ...],
            azimuth: tuple[float, ...]) -> None:  # fmt: skip
    """Choose panel watts for a number of fans, or a number of fans for a panel.

    Every panel is tried in each way to meet the fans' voltage: straight, with 24 V fans on the 12 V panel, behind a
    step-down converter, and with a clamp. Place, weather, house, thermostat, leads and hours of need come from PLAN
    (without one, the embedded example). With PLAN and neither --fans nor --panel its own fans are sized on as many
    panels as it has, wired as there. Ends with exit code 3 if every option says stop.

    Example:  solarvent size --fans 2

    Example:  solarvent size my-plan.toml

    Example:  solarvent size my-plan.toml --fans 3 --fan fan-12v-120x38 --target "250 cfm"

    Example:  solarvent size --panel "20 W" --fan fan-24v-120x25
    """
    from solarvent.base.processes import cores
    from solarvent.report.size_text import render_size, size_csv, size_json
    from solarvent.studies.sizing import size_plan

    given = asked.path is not None
    own = given and fans is None and panel is None and fan is None
    if not own and (fans is None) == (panel is None):
        raise click.UsageError('give --fans, like --fans 2; or --panel, like --panel "20 W"; or a plan alone')
    if panel is not None and watts:
        raise click.UsageError("--watts goes with --fans")
    record = asked.plan.record
    found = size_plan(
        asked.plan, fans, fan=fan, panel=panel, watts=watts, wires=wire, tilts=tilt, azimuths=azimuth, target=target,
        enough=share, system=asked.system, own_plan=given,
        progress=partial(_with_bar, slow=own or record.thermostat is not None), workers=cores(),
    )  # fmt: skip
    asked.answer(
        text=lambda: render_size(record, found, asked.frame()),
        json=lambda: size_json(record.title, found),
        csv=lambda: size_csv(found),
    )
    leave(found.choice is None)


def _with_bar(tried: Iterable[Any], slow: bool) -> Iterator[Any]:
    """Show how far it is, on a terminal and if it takes a while."""
    every = list(tried)
    if len(every) < (_WORTH_A_BAR_SLOW if slow else _WORTH_A_BAR) or not sys.stderr.isatty():
        yield from every
        return
    with progress_bar(len(every), "designs") as bar:
        for one in every:
            yield one
            bar.update(1)


_PATH = click.Path(path_type=Path)


@click.command("many")
@click.argument("plan", type=_PATH)
@click.argument("places", type=_PATH)
@click.option("-o", "--output", "folder", type=_PATH, metavar="FOLDER", help="Keep all rows there, as Parquet, with"
              " the summary and a picture; the same command again does only what is missing.")  # fmt: skip
@click.option("--designs", type=_PATH, metavar="DESIGNS.csv", help="Designs to try at every place.")
@click.option("--weather", type=_PATH, metavar="FOLDER", help="Take the nearest EPW, TMY3 or CSV file of a folder.")
@click.option("--within", type=Within(1, 20_000), default=100.0, show_default=True,
              help="How far weather is taken from, in km.")  # fmt: skip
@click.option("--whole/--sized", default=None, help="Each row by the whole of run, or by size; else the whole without"
              " --designs, and by size with them.")  # fmt: skip
@click.option(
    "--strict", is_flag=True, help="Refuse a table with a mistake; else its row says so, and the rest goes on."
)
@click.option("--scheduler", metavar="ADDRESS", help="A running dask cluster, like tcp://10.0.0.5:8786.")
@click.option("--workers", type=Whole(1, 512), help="On this machine; else one a core.")
@click.option("--on", "kind", type=click.Choice(["processes", "threads", "one"]), default="processes",
              show_default=True, help="On this machine: what a worker is.")  # fmt: skip
@parts_option
@full_option
@format_option("text", "json", "csv")
@manner_options
def many_command(plan: Path, places: Path, folder: Path | None, designs: Path | None, weather: Path | None,
                 within: float, whole: bool | None, strict: bool, scheduler: str | None, workers: int | None,
                 kind: str, parts_folder: Path | None, full: bool, form: str) -> None:  # fmt: skip
    """Work PLAN out at every place of PLACES, a CSV, and say at how many it fits, and what fails where and why.

    A row has an id, a latitude and a longitude. It may name a climate or a weather_file, and set any field of the plan
    by its place: panel.tilt, house.length [m], fan.bench.part. DESIGNS.csv does the same for designs, with an id; watts
    sizes their panels. The work is done by dask, on this machine or on a cluster.

    Example:  solarvent many my-plan.toml places.csv -o results

    Example:  solarvent many my-plan.toml places.csv --designs designs.csv --weather epw-files --format csv
    """
    from solarvent.plan.plan import load_plan
    from solarvent.report.many_text import kept_in, many_csv, many_json, places_picture, render_many
    from solarvent.studies.many import prepare
    from solarvent.studies.many_summary import summarise_places

    loaded = load_plan(plan, parts_folder)
    asked = prepare(loaded, places, designs, weather, 1000 * within, whole, strict)
    tell(asked.mistakes)
    title = loaded.record.title
    with kept_in(folder, asked.manifest) as kept:
        _do(asked, kept, scheduler, workers, kind)
        summary = summarise_places(kept.parts, [design.id for design in asked.study.designs] or [""])
        if folder is not None:
            kept.beside("summary.txt", render_many(title, summary, asked.study.whole, full=True))
            kept.beside("places.svg", places_picture(title, summary))
        answer(
            form, None, False,
            text=lambda: render_many(title, summary, asked.study.whole, full),
            json=lambda: many_json(title, summary, asked.study.whole, kept.parts()),
            csv=lambda: many_csv(kept.parts()),
        )  # fmt: skip
    if folder is not None:
        say(f"kept in: {folder}")
    elif form == "text":
        given = "".join(f" {option} {quoted(path)}" for option, path in
                        (("--designs", designs), ("--weather", weather)) if path)  # fmt: skip
        say(
            f"Next: solarvent many {typed(plan, parts_folder)} {quoted(places)}{given} -o results"
            "   keeps every row, and a picture"
        )


def _do(asked: ManyPlan, kept: Any, scheduler: str | None, workers: int | None, kind: str) -> None:
    """Work out what is missing; stopped before its end, say what stands."""
    from solarvent.studies.many import engine, work

    missing = kept.missing(asked.chunks)
    if not missing:
        return
    places = sum(len(asked.chunk(number)) for number in missing)
    try:
        with engine(scheduler, workers, kind) as client, progress_bar(places, "places") as bar:
            work(asked, missing, kept.keep, client, bar.update)
    except KeyboardInterrupt:
        left = len(kept.missing(asked.chunks))
        if not kept.passing:
            click.echo(f"solarvent: {asked.chunks - left} of {asked.chunks} chunks stand; the same command goes on",
                       err=True)  # fmt: skip
        raise
