"""``solarvent many``."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.cli import tell
from solarvent.cli.options import Within, answer, format_option, full_option, manner_options, parts_option, quoted, say

if TYPE_CHECKING:
    from solarvent.studies.many import ManyPlan

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
@click.option("--workers", type=click.IntRange(1, 512), help="On this machine; else one a core.")
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
        say(f"Next: solarvent many {quoted(plan)} {quoted(places)} -o results   keeps every row, and a picture")


def _do(asked: ManyPlan, kept: Any, scheduler: str | None, workers: int | None, kind: str) -> None:
    """Work out what is missing; stopped before its end, say what stands."""
    from solarvent.studies.many import engine, work

    missing = kept.missing(asked.chunks)
    if not missing:
        return
    places = sum(len(asked.chunk(number)) for number in missing)
    try:
        with engine(scheduler, workers, kind) as client, _bar(places) as done:
            work(asked, missing, kept.keep, client, done)
    except KeyboardInterrupt:
        left = len(kept.missing(asked.chunks))
        if not kept.passing:
            click.echo(f"solarvent: {asked.chunks - left} of {asked.chunks} chunks stand; the same command goes on",
                       err=True)  # fmt: skip
        raise


@contextmanager
def _bar(places: int) -> Iterator[Callable[[int], None]]:
    """Show how far it is and how long it will take, on a terminal."""
    with click.progressbar(length=places, label="places", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield bar.update
