"""``solarvent new``."""

from __future__ import annotations

import shlex
import shutil
import sys
from collections.abc import Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.base.errors import SolarventError
from solarvent.cli.options import deliver, parts_option

if TYPE_CHECKING:
    from solarvent.plan.asking import Question


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path), default="plan.toml")
@click.option("--ask", is_flag=True, help="Ask some plain questions, and write the plan from the answers.")
@click.option("--copy", metavar="NAME", help="Copy a kit or plan that ships, to be changed.")
@click.option("--box", "boxes", multiple=True, metavar="KIT", help="Parts and joins from a kit or a file of your box.")
@parts_option
@click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")
def command(
    file: Path, ask: bool, copy: str | None, boxes: tuple[str, ...], parts_folder: Path | None, force: bool
) -> None:
    """Write a commented starter plan to FILE (plan.toml), to be changed to your own house, parts and wires.

    Example:  solarvent new my-plan.toml

    With some fifteen questions in plain words, each with a default, so that the plan is yours from the start:

    Example:  solarvent new my-plan.toml --ask

    With what is in your boxes, joined as "solarvent pair" finds it; --ask then asks for place and house only:

    Example:  solarvent new my-plan.toml --box my-box.toml

    A file for what is in your box comes from one of the kits that "solarvent pair" names:

    Example:  solarvent new my-box.toml --copy box-of-fans
    """
    from solarvent.report.files import refuse_to_clobber

    if copy and (ask or boxes):
        raise click.UsageError("--copy goes alone: what it writes is changed by hand.")
    refuse_to_clobber(file, force=force)
    text = _text(ask, copy, boxes, parts_folder)
    deliver(text, file, force)
    name = shlex.quote(str(file)) if sys.platform != "win32" else f'"{file}"' if " " in str(file) else str(file)
    if "kit_version" in text:
        then = f"change it to what is in your box, then: solarvent pair {name}"
    else:
        own = "" if ask else "change place and house in it, then: "
        then = f"{own}solarvent run {name}, and for the bench: solarvent checklist {name}"
    click.echo(f"next: {then}", err=True)


def _text(ask: bool, copy: str | None, boxes: tuple[str, ...], parts_folder: Path | None) -> str:
    """Come by the text of the file, by questions or without."""
    from solarvent.plan.library import Library, shipped_text

    if not ask and not boxes:
        return shipped_text(copy or "default")
    from solarvent.plan.interview import interview, written_plan

    if not boxes:
        return _talk(written_plan(Library(parts_folder)))
    from solarvent.plan.boxes import load_box
    from solarvent.plan.parts import Fan
    from solarvent.plan.plan import Plan
    from solarvent.studies.box_plan import box_plan

    found = load_box(boxes, parts_folder)
    text = box_plan(found)  # Before any question: what cannot be joined needs none.
    if not ask or isinstance(found, Plan):
        return text
    widths = [part.size for part in found.of(Fan).values() if isinstance(part, Fan)]
    return box_plan(found, _talk(interview(Library(parts_folder), widths)))


def _talk(asking: Generator[Question, Any, Any]) -> Any:
    """Put the questions of a conversation one by one, and return what came of it; nothing is written before its end."""
    click.echo("Enter takes what stands in [ ]; ? explains the question; Ctrl-C stops, and nothing is written.")
    question = next(asking)
    while True:
        try:
            question = asking.send(_answer(question))
        except StopIteration as end:
            click.echo()
            return end.value


def _answer(question: Question) -> Any:
    """Ask until the answer can be used."""
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
        try:
            return answer_of(question, words)
        except SolarventError as error:
            click.echo(wrapped(str(error.problems[0]), "  ", "  "))
