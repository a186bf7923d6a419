"""Arguments and options that several commands share, also those with a unit, and how a command ends."""

from __future__ import annotations

import errno
import os
import re
import shlex
import shutil
import sys
from collections.abc import Callable
from datetime import date
from math import isnan
from pathlib import Path
from typing import Any

import click

from solarvent.base.errors import OutputError, QuantityError
from solarvent.base.quantities import convert, parse, shown_unit
from solarvent.cli import EXIT_STOP, drop_what_is_left

#: A closed pipe; Windows has another word for it.
_READER_HAS_LEFT = {errno.EPIPE, errno.EINVAL} if os.name == "nt" else {errno.EPIPE}


class _Day(click.ParamType):
    """A day of the year, with or without its year."""

    name = "MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        text = value if value.count("-") == 2 else f"2000-{value}"
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.fail(f'"{value}" is no day; write it like 07-15', param, ctx)


class Within(click.FloatRange):
    """A number within bounds; unlike click's own, it lets no NaN through."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the number; a wrong one ends the command."""
        try:
            float(value)
        except ValueError:
            self.fail(f'"{value}" is no number; write digits alone, without a unit', param, ctx)
        number: float = super().convert(value, param, ctx)
        if isnan(number):
            self.fail(f"{value} is not a number", param, ctx)
        return number


class Whole(click.IntRange):
    """A whole number within bounds, with plainer words than click's own for what is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Read the number; a wrong one ends the command."""
        if not re.fullmatch(r"[+-]?[0-9]+", str(value).strip(), re.ASCII):
            self.fail(f'"{value}" is no whole number; write digits alone', param, ctx)
        return int(super().convert(value, param, ctx))


class Quantity(click.ParamType):
    """A number with its unit, within bounds in SI units (temperatures in [degC]).

    `dimension` is a kind of quantity of :mod:`solarvent.base.quantities`; `unit` is that in which bounds are told.
    """

    def __init__(self, dimension: str, least: float, most: float, unit: str = "") -> None:
        self.dimension, self.least, self.most = dimension, least, most
        self.name, self.unit = dimension, unit or shown_unit(dimension, "metric")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the text; a wrong one ends the command with what to write."""
        if isinstance(value, float):
            return value
        try:
            number = parse(value, self.dimension)
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if not self.least <= number <= self.most:
            low, high = (f"{convert(limit, self.dimension, self.unit):g}" for limit in (self.least, self.most))
            self.fail(f'"{value}" is outside {low} to {high} {self.unit}', param, ctx)
        return number


DAY, STEP = _Day(), Quantity("time", 60.0, 3600.0, "min")
TEMPERATURE, IRRADIANCE = Quantity("temperature", -60.0, 100.0), Quantity("irradiance", 1.0, 1400.0)

parts_option = click.option(
    "--parts",
    "parts_folder",
    type=click.Path(path_type=Path),
    envvar="SOLARVENT_PARTS",
    show_envvar=True,
    help="Folder of own parts, laid over the library.",
)
full_option = click.option("--full", is_flag=True, help="Every table and caution, not the one screen alone.")
units_option = click.option(
    "--units", type=click.Choice(["metric", "us"]), envvar="SOLARVENT_UNITS", show_envvar=True,
    help="Units of the text; else the plan's.",
)  # fmt: skip


def format_option(*formats: str) -> Callable[[Any], Any]:
    """Offer ``--format`` with these choices, the first being the default."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(formats),
        default=formats[0],
        show_default=True,
        help="Form of the output.",
    )


def manner_options(command: Any) -> Any:
    """Offer ``--quiet`` and ``--no-color``, kept in the context of the call."""
    for name, words in (("--no-color", "No colours, as NO_COLOR does."), ("--quiet", "Only the answer and mistakes.")):
        command = click.option(name, is_flag=True, expose_value=False, callback=_remembered, help=words)(command)
    return command


def output_options(command: Any) -> Any:
    """Offer ``-o FILE`` and ``--force``, and those of :func:`manner_options`."""
    command = click.option("--force", is_flag=True, help="Overwrite FILE if it is there.")(manner_options(command))
    return click.option(
        "-o", "--output", type=click.Path(path_type=Path), metavar="FILE",
        help="Write to FILE, not to the screen; - is the screen.",
    )(command)  # fmt: skip


def _remembered(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    """Keep a flag that no command needs to know of where the writing of the answer finds it."""
    ctx.meta[f"solarvent.{param.name}"] = value


def say(text: str) -> None:
    """Tell something beside the answer, on the error stream, unless it is to be quiet."""
    if not click.get_current_context().meta.get("solarvent.quiet"):
        click.echo(text, err=True)


def progress_bar(length: int, label: str) -> Any:
    """Show how far it is and how long it will take, on a terminal; a context whose ``update`` takes steps done."""
    return click.progressbar(length=length, label=label, file=sys.stderr, hidden=not sys.stderr.isatty())


def quoted(path: Path) -> str:
    """Write a path as it is typed on a command line of this system."""
    if sys.platform == "win32":
        return f'"{path}"' if " " in str(path) else str(path)
    return shlex.quote(str(path))


def typed(path: Path | None, parts_folder: Path | None) -> str:
    """Write what is typed after a command for a plan or a box, if one was given, and the folder of its own parts."""
    return " ".join([*([quoted(path)] if path else []), *(["--parts", quoted(parts_folder)] if parts_folder else [])])


def answer(form: str, output: Path | None, force: bool, **renderers: Callable[[], str]) -> None:
    """Write the answer in the form that was asked for, by the renderer of that name."""
    if form != "text":
        deliver(renderers[form](), output, force)
        return
    from solarvent.report.layout import WIDTH, set_to

    # A file is written as wide on every machine.
    columns = shutil.get_terminal_size((WIDTH, 24)).columns if _on_screen(output) else WIDTH
    with set_to(columns):
        text = renderers[form]()
    deliver(_coloured(text) if _takes_colour(output) else text, output, force)


def _on_screen(output: Path | None) -> bool:
    """Tell whether the answer goes to a terminal, or to a pipe whose width was said."""
    return output is None and sys.stdout is not None and (sys.stdout.isatty() or "COLUMNS" in os.environ)


def _takes_colour(output: Path | None) -> bool:
    """Tell whether weight and colours help: on a terminal that has them and whose owner wants them."""
    plain = click.get_current_context().meta.get("solarvent.no_color") or os.environ.get("NO_COLOR")
    on_terminal = output is None and sys.stdout is not None and sys.stdout.isatty()
    return on_terminal and not plain and os.environ.get("TERM") != "dumb"


#: The word of a level at the beginning of a line, and how it looks; headings are the lines above a rule.
_LEVEL = re.compile(r"^(?P<lead>(?:->|  )?[* ]? *(?:[\d.]+ W +)?)(?P<word>STOP|WARN|NOTE|SHORT|FITS)\b", re.M)
_LOOKS: dict[str, dict[str, Any]] = {
    "STOP": {"fg": "red", "bold": True},
    "WARN": {"fg": "yellow", "bold": True},
    "SHORT": {"fg": "yellow"},
    "FITS": {"fg": "green"},
    "NOTE": {"dim": True},
}
_HEADING = re.compile(r"^(.+)(?=\n-{3,}$)", re.M)


def _coloured(text: str) -> str:
    """Give weight to headings and colour to the words of the levels, which stand there all the same."""
    text = _HEADING.sub(lambda found: click.style(found[1], bold=True), text)
    return _LEVEL.sub(lambda found: found["lead"] + click.style(found["word"], **_LOOKS[found["word"]]), text)


def deliver(text: str, output: Path | None, force: bool) -> None:
    """Print the text, or write it to the file that was asked for."""
    if output is None or str(output) == "-":
        _show(text)
        return
    from solarvent.report.files import write_whole

    _spare_what_is_read(output)
    write_whole(output, text + "\n", force=force)
    say(f"written: {output}")


def _show(text: str) -> None:
    """Print an answer, and say so if it cannot be: a full disk behind ``>`` must not look like success."""
    if sys.stdout is None:
        raise OutputError.single("", "there is no screen and no pipe to write to", "name a file with -o")
    try:
        # To the very stream: of itself the library behind the commands writes UTF-8 where ASCII was asked for.
        click.echo(text, file=sys.stdout)
    except OSError as error:
        drop_what_is_left()
        # The reader of a pipe may leave when it has seen enough: the answer stands, and so does its exit code.
        if error.errno not in _READER_HAS_LEFT:
            reason = f"the answer cannot be written: {error.strerror}"
            raise OutputError.single("", reason, "make room, or name a file elsewhere with -o") from None


def _spare_what_is_read(output: Path) -> None:
    """Refuse to write over a file that the same command reads, even with ``--force``."""
    for value in click.get_current_context().params.values():
        for given in value if isinstance(value, tuple) else (value,):
            if isinstance(given, str | Path) and given is not output and _is_same_file(Path(given), output):
                raise OutputError.single(str(output), "this file is what is read here", "choose another name")


def _is_same_file(one: Path, other: Path) -> bool:
    """Tell whether two names lead to one plain file."""
    try:
        return one.is_file() and one.samefile(other)
    except (OSError, ValueError):
        return False


def cannot_draw(output: Path | None) -> bool:
    """Tell whether the console lacks the blocks that bars are made of; a file has them."""
    if output is not None:
        return False
    from solarvent.report.days import BLOCKS

    try:
        # All of them: the old code pages of Windows have the full block, and not the lower ones.
        BLOCKS.encode(sys.stdout.encoding or "ascii")
    except (UnicodeError, LookupError):
        return True
    return False


def leave(stop: bool) -> None:
    """End a command, with the exit code of a plan that must not be built so if `stop` is true."""
    if stop:
        click.get_current_context().exit(EXIT_STOP)
