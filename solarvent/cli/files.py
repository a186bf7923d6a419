"""Commands about what a plan is made of: ``pair``, ``parts``, ``new``, ``schema``, ``weather``."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.base.errors import SolarventError
from solarvent.cli.options import (
    Within,
    answer,
    deliver,
    format_option,
    full_option,
    leave,
    output_options,
    parts_option,
    progress_bar,
    quoted,
    say,
    typed,
    units_option,
)
from solarvent.cli.request import put_into_plan, stop_to_mend

if TYPE_CHECKING:
    from solarvent.plan.asking import Asking, Question
    from solarvent.studies.pair import Pairing


_EXAMPLE = "pv-pair-barrel-fans"


@click.command("pair")
@click.argument("boxes", nargs=-1, metavar="KIT-or-PLAN...")
@full_option
@parts_option
@units_option
@format_option("text", "json")
@output_options
def pair_command(boxes: tuple[str, ...], full: bool, parts_folder: Path | None, units: str | None, form: str,
                 output: Path | None, force: bool) -> None:  # fmt: skip
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
        from solarvent.plan.library import shipped

        others = f"No kit was given: this is {_EXAMPLE}. Others: {', '.join(shipped('kits'))}."
        say(textwrap.fill(others, shutil.get_terminal_size().columns, break_on_hyphens=False))
        say(f"For your own box: solarvent new my-box.toml --copy {_EXAMPLE}")
    pairing = pair(load_box(boxes or (_EXAMPLE,), parts_folder), units)
    answer(
        form, output, force,
        text=lambda: pairing_text(pairing, _after_pairing(pairing, boxes or (_EXAMPLE,), parts_folder, full), full),
        json=lambda: to_json(pairing_data(pairing), indent=2),
    )  # fmt: skip
    leave(pairing.feasible == "no")


def _after_pairing(pairing: Pairing, boxes: tuple[str, ...], parts_folder: Path | None, full: bool) -> str:
    """Say what comes next: a plan from the boxes, what mends the plan, or the same question with other parts."""
    given = [Path(box) for box in boxes]
    own = [typed(None, parts_folder)] if parts_folder else []
    if not pairing.loose:
        code, plan = stop_to_mend(given[0], pairing.findings), typed(given[0], parts_folder)
        if code:
            return f"solarvent new {plan} --mend {code}   tries what is to be done first and writes it in"
        return f"solarvent run {plan}   whether it works, and when"
    # Where nothing to buy helps, there is no plan to be written.
    if pairing.fits == "no" and not pairing.buy:
        return f"solarvent pair {' '.join([*map(quoted, given), *own])}   again, with other parts"
    listed = " ".join([*(f"--box {quoted(box)}" for box in given), *own])
    words = "a plan from these boxes" + ("; add --full for more" if pairing.buy and not full else "")
    return f"solarvent new my-plan.toml --ask {listed}   {words}"


@click.command("parts")
@click.argument("kind", required=False)
@click.argument("part", required=False)
@parts_option
@format_option("text", "json", "csv")
@output_options
def parts_command(kind: str | None, part: str | None, parts_folder: Path | None, form: str, output: Path | None,
            force: bool) -> None:  # fmt: skip
    """List the kinds of part, the parts of one KIND, or all that is known of one PART.

    Example:  solarvent parts fans fan-12v-120x25
    """
    from solarvent.plan.library import Library
    from solarvent.report.parts import render_parts

    answer(form, output, force, **{form: lambda: render_parts(Library(parts_folder), kind, part, form)})


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path), default="plan.toml")
@click.option("--ask", is_flag=True, help="Ask some plain questions, and write the plan from the answers.")
@click.option("--copy", metavar="NAME", help="Copy a kit or plan that ships, to be changed.")
@click.option("--box", "boxes", multiple=True, metavar="KIT", help="Parts and joins from a kit or a file of your box.")
@click.option("--mend", "code", metavar="FINDING", help="Write what a finding asks for into the plan FILE.")
@parts_option
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", envvar="SOLARVENT_UNITS",
              show_envvar=True, show_default=True, help="Units that the first question of --ask offers.")  # fmt: skip
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
def new_command(
    file: Path,
    ask: bool,
    copy: str | None,
    boxes: tuple[str, ...],
    code: str | None,
    parts_folder: Path | None,
    units: str,
    force: bool,
) -> None:
    """Write a commented starter plan to FILE (plan.toml), to be changed to your own house, parts and wires.

    Example:  solarvent new my-plan.toml

    With some fifteen questions in plain words, each with a default, so that the plan is yours from the start:

    Example:  solarvent new my-plan.toml --ask

    With what is in your boxes, joined as "solarvent pair" finds it, and what must be bought to join it; --ask then asks
    for place and house only:

    Example:  solarvent new my-plan.toml --box my-box.toml

    A file for what is in your box comes from one of the kits that "solarvent pair" names:

    Example:  solarvent new my-box.toml --copy box-of-fans

    What "solarvent run" finds wrong in a plan is mended in it, if a change of parts or wires can do it: each way is
    tried first, notes and layout stay, and what was changed is shown:

    Example:  solarvent new my-plan.toml --mend over-voltage
    """
    from solarvent.report.files import refuse_to_clobber

    if code is not None:
        if ask or copy or boxes:
            raise click.UsageError("--mend goes alone: it changes a plan that is there.")
        _mend(file, code, parts_folder)
        return
    if copy and (ask or boxes):
        raise click.UsageError("--copy goes alone: what it writes is changed by hand.")
    refuse_to_clobber(file, force=force)
    text = _text(ask, copy, boxes, parts_folder, units)
    deliver(text, file, force)
    name = typed(file, parts_folder)
    if "kit_version" in text:
        then = f"change it to what is in your box, then: solarvent pair {name}"
    else:
        own = "" if ask else "change place and house in it, then: "
        then = f"{own}solarvent run {name}, and for the bench: solarvent checklist {name}"
    say(f"Next: {then}")


def _mend(file: Path, code: str, parts_folder: Path | None) -> None:
    """Write what mends a finding into a plan file, and show it."""
    import difflib

    from solarvent.findings.verdicts import find
    from solarvent.plan.plan import load_plan
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.mending import Mended, mend

    loaded = load_plan(file, parts_folder)
    mended: list[Mended] = []

    def change(text: str) -> str:
        mended.append(mend(text, loaded, code, lambda plan: find(simulate(plan))))
        return mended[0].text

    with progress_bar(1, "trying") as bar:
        before, after = (text.splitlines() for text in put_into_plan(loaded, change))
        bar.update(1)
    shown = difflib.unified_diff(before, after, f"{file}, as it was", f"{file}, mended", lineterm="", n=1)
    stops = [finding.code for finding in mended[0].findings if finding.level == "stop"]
    left = f"Still to stop at: {', '.join(dict.fromkeys(stops))}." if stops else "Nothing says stop any more."
    passed = [f"Tried before, and left: {words}" for words in mended[0].passed]
    deliver("\n".join([mended[0].words, *passed, "", *shown, "", left]), None, force=False)
    further = stop_to_mend(file, mended[0].findings)
    name = typed(file, parts_folder)
    say(f"Next: solarvent {f'new {name} --mend {further}' if further else f'run {name}'}")
    leave(bool(stops))


def _text(ask: bool, copy: str | None, boxes: tuple[str, ...], parts_folder: Path | None, units: str) -> str:
    """Come by the text of the file, by questions or without."""
    from solarvent.plan.library import Library, shipped_text

    if not ask and not boxes:
        return shipped_text(copy or "default")
    from solarvent.plan.interview import interview, written_plan

    if not boxes:
        return _talk(lambda: written_plan(Library(parts_folder), units))
    from solarvent.plan.boxes import load_box
    from solarvent.plan.parts import Fan
    from solarvent.studies.box_plan import box_plan
    from solarvent.studies.pair import joined_boxes

    joined = joined_boxes(load_box(boxes, parts_folder))
    for item in joined.missing:
        name = item.item.partition(" - ")[0]
        text = f"still to buy, and in the plan already: {item.count} x {name} ({item.part}), which {item.why}"
        say(textwrap.fill(text, shutil.get_terminal_size().columns, break_on_hyphens=False))
    text = box_plan(joined)  # Before any question: what a plan has no words for needs none.
    if not ask:
        return text
    widths = [part.size for part in joined.boxes.of(Fan).values() if isinstance(part, Fan)]
    return box_plan(joined, _talk(lambda: interview(Library(parts_folder), widths, units)))


def _talk(begin: Callable[[], Asking]) -> Any:
    """Put the questions of a conversation one by one, and return what came of it; nothing is written before its end."""
    click.echo("Enter takes what stands in [ ]; ? explains the question; < goes back to the one before.")
    click.echo("Ctrl-C stops, and nothing is written.")
    given: list[Any] = []
    asking = begin()
    question = next(asking)
    while True:
        answers = [_answer(question)]
        if answers == [_BACK]:
            # What was asked hangs on what was said: the conversation is held once more, up to the question before.
            answers, given, asking = given[:-1], [], begin()
            question = next(asking)
        for value in answers:
            given.append(value)
            try:
                question = asking.send(value)
            except StopIteration as end:
                click.echo()
                return end.value


#: What goes back to the question before.
_BACK = "<"


def _answer(question: Question) -> Any:
    """Ask until the answer can be used, or is the wish to go back."""
    from solarvent.plan.asking import answer_of

    def wrapped(text: str, first: str, indent: str) -> str:
        return click.wrap_text(text, min(shutil.get_terminal_size().columns, 80), first, indent)

    click.echo()
    for number, words in enumerate(question.choices, start=1):
        click.echo(wrapped(words, f" {number:>3}  ", "      "))
    while True:
        words = click.prompt(question.text, default=question.default, prompt_suffix="? ")
        if not sys.stdin.isatty():
            click.echo(words)  # What comes through a pipe is not seen on the screen.
        if words.strip() == "?":
            click.echo(wrapped(question.help, "  ", "  "))
            continue
        if words.strip() == _BACK:
            return _BACK
        try:
            return answer_of(question, words)
        except SolarventError as error:
            click.echo(wrapped(str(error.problems[0]), "  ", "  "))


@click.command("schema")
@output_options
def schema_command(output: Path | None, force: bool) -> None:
    """Print the JSON Schema of the plan file, with which an editor completes and checks it.

    Example:  solarvent schema -o plan.schema.json
    """
    from solarvent.plan.plan_record import plan_schema

    deliver(json.dumps(plan_schema(), indent=2), output, force)


_EMBEDDED_NOTE = "No file was given: this is the year that comes with the program."


@click.group("weather")
def weather_command() -> None:
    """Look at an hourly weather file, or fetch one."""


@weather_command.command("look", short_help="Check a file and sum it up.")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", envvar="SOLARVENT_UNITS",
              show_envvar=True, show_default=True, help="Units of the text.")  # fmt: skip
@format_option("text", "json", "csv")
@output_options
def look(file: Path | None, units: str, form: str, output: Path | None, force: bool) -> None:
    """Check FILE (TMY3, EPW or the plain CSV) and sum it up: light and cloud by month, heat, wind, what is missing.

    Example:  solarvent weather look my-year.epw
    """
    from solarvent.report.weather_text import render_weather, weather_csv, weather_json
    from solarvent.weather.reading import embedded_weather, read_weather
    from solarvent.weather.span import summarise

    summary = summarise(embedded_weather() if file is None else read_weather(file))
    answer(
        form, output, force,
        text=lambda: render_weather(summary, units, _EMBEDDED_NOTE if file is None else ""),
        json=lambda: weather_json(summary),
        csv=lambda: weather_csv(summary),
    )  # fmt: skip
    if form == "text" and file is not None:
        say(f"Next: put file = '{file}' under [weather] of your plan, in place of the line with climate or file")


@weather_command.command("fetch", short_help="Fetch a year of hours for a place (uses the network).")
@click.option("--lat", "latitude", type=Within(-90, 90), required=True, help="Degrees, north positive.")
@click.option("--lon", "longitude", type=Within(-180, 180), required=True, help="Degrees, east positive.")
@click.option("--year", type=int, help="2001 or later; without it, the last that is likely to be whole.")
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), metavar="FILE", help="Write to FILE.")
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
@click.option("--timeout", type=Within(1, 3600), default=120.0, show_default=True,
              help="Seconds for one attempt; there are at most three.")  # fmt: skip
@click.option("--url", hidden=True, help="Another server that speaks as the service does.")
def fetch(latitude: float, longitude: float, year: int | None, output: Path, force: bool, timeout: float,
          url: str | None) -> None:  # fmt: skip
    """Fetch a year of hours for a place from the NASA POWER service, and write it as a weather file.

    This is the one command that uses a network. It sends the latitude, the longitude and the year, and nothing else.

    Example:  solarvent weather fetch --lat 51.5 --lon -2.6 --year 2023 -o my-2023.csv
    """
    from solarvent.report.files import refuse_to_clobber
    from solarvent.report.weather_text import weather_file
    from solarvent.weather.fetch import default_year, fetch_weather

    refuse_to_clobber(output, force=force)
    chosen = default_year(date.today()) if year is None else year
    show = _progress if sys.stderr.isatty() else _silence
    try:
        weather = fetch_weather(latitude, longitude, chosen, url=url, timeout=timeout, tell=show)
    finally:
        show("")
    deliver(weather_file(weather), output, force)
    say(f"Next: solarvent weather look {quoted(output)}")


def _progress(words: str) -> None:
    """Write over the last line of a terminal."""
    click.echo(f"\r{words[:79]:<79}\r", nl=False, err=True)


def _silence(words: str) -> None:
    """Say nothing where nobody watches."""
