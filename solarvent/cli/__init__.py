"""The command line. Only this package prints; a command loads, calls, renders, echoes and leaves with its exit code."""

from __future__ import annotations

import importlib
import os
import re
import sys
from collections.abc import Sequence
from typing import Any

import click

from solarvent import __version__
from solarvent.base.errors import Problem, SolarventError

EXIT_MISTAKE = 1
EXIT_STOP = 3
EXIT_INTERRUPTED = 130
MOST_MISTAKES = 40

#: Command -> (module, what the overview says of it). The modules are loaded only when their command is called.
_COMMANDS = {
    "run": ("answers", "The whole plan: findings first, then the days and the year by hour."),
    "pair": ("files", "Can the parts in these boxes be joined, and is the polarity right?"),
    "size": ("designs", "Panel watts for a number of fans, or fans for a panel, and how to meet the voltage."),
    "meter": ("readings", "What a meter should read in a given sun, or what the readings taken mean."),
    "calibrate": ("readings", "Your own readings of the house into the plan: a log of its temperatures."),
    "checklist": ("answers", "Steps and shopping list for building the plan, to be printed."),
    "airflow": ("answers", "The air moved under a given sky, month and span of hours; the real afternoons."),
    "need": ("answers", "How much air keeps the house below a temperature."),
    "night": ("answers", "Cold nights: frost, water mass, backup heat."),
    "report": ("answers", "The whole answer as one page for a browser, a phone or the printer."),
    "serve": ("answers", "The page on this machine: plan by picking and typing, with the answer at once."),
    "compare": ("answers", "Two plans side by side, differences first."),
    "many": ("designs", "One plan, or many designs, at many places: how many it fits, and where it fails."),
    "new": ("files", "Write a commented starter plan."),
    "weather": ("files", "Look at an hourly weather file, or fetch one."),
    "parts": ("files", "List and show the parts library."),
    "schema": ("files", "Print the JSON Schema of the plan file, for editors."),
    "about": ("about", "The models behind the answers, and how far to trust them."),
}


def _keep_examples_whole(command: click.Command) -> None:
    """Mark the examples in a help text, so that no line of them is broken: they are there to be copied."""
    if command.help and "\b" not in command.help:
        command.help = re.sub(r"\n\n( *)Example:", "\n\n\\1\b\n\\1Example:", command.help)
    for below in getattr(command, "commands", {}).values():
        _keep_examples_whole(below)


class _Commands(click.Group):
    """A group that knows its commands by name and loads each one on demand."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"solarvent.cli.{_COMMANDS[cmd_name][0]}")
        found: click.Command = getattr(module, f"{cmd_name}_command")
        _keep_examples_whole(found)
        return found

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        if args and not args[0].startswith("-") and args[0] not in _COMMANDS:
            from solarvent.base.errors import nearest

            ctx.fail(f'There is no command "{args[0]}"; {nearest(args[0], _COMMANDS)}')
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in _COMMANDS.items()])


@click.group(
    cls=_Commands,
    context_settings={
        "help_option_names": ["-h", "--help"],
        "max_content_width": 100,
        "auto_envvar_prefix": "SOLARVENT",
    },
)
@click.version_option(__version__, prog_name="solarvent")
def _group() -> None:
    """Plan solar-driven ventilation without a grid: will the panel turn the fans, when, and is the air enough?

    \b
    Start with:  solarvent run                       the embedded example
    Then:        solarvent new my-plan.toml --ask    a plan of your own
                 solarvent run my-plan.toml
    Questions:   solarvent about questions
    """


def _with_example(error: click.MissingParameter) -> click.MissingParameter:
    """Add the first example of the command: what is missing is seldom alone, and the example shows all of it."""
    example = re.search(r"Example: *(solarvent .*)", (error.ctx and error.ctx.command.help) or "")
    words = f"Write it like: {example[1]}" if example else None
    return click.MissingParameter(words, error.ctx, error.param, error.param_hint, error.param_type)


def main(args: list[str] | None = None) -> None:
    """Run the command line and leave the process with its exit code.

    0 fine; 1 a bad plan, part or weather file; 2 a bad command line; 3 done, but a finding of level "stop" stands.
    """
    for stream in (sys.stdout, sys.stderr):
        # A console of another code page shows a question mark rather than stopping half-way.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    # Two, since telling of a mistake may itself meet a closed pipe.
    code = 0
    try:
        try:
            code = _group.main(args, prog_name="solarvent", standalone_mode=False)
        except SolarventError as error:
            code = EXIT_MISTAKE
            tell(error.problems)
        except click.MissingParameter as error:
            code = error.exit_code
            _with_example(error).show()
        except click.ClickException as error:
            code = error.exit_code
            error.show()
        except (click.Abort, KeyboardInterrupt):
            code = EXIT_INTERRUPTED
            click.echo("solarvent: stopped", err=True)
        except MemoryError:
            code = EXIT_MISTAKE
            click.echo("solarvent: there is not enough memory for this", err=True)
        except OSError as error:
            code = EXIT_MISTAKE
            drop_what_is_left()
            place = f"{error.filename}: " if error.filename else ""
            click.echo(f"solarvent: {place}{error.strerror or error}", err=True)
    except BrokenPipeError:
        # Nobody listens to the messages any more: nothing is wrong with the answer, and nothing more may be written.
        sys.stdout = sys.stderr = None
    sys.exit(code or 0)


def tell(problems: Sequence[Problem]) -> None:
    """Print the mistakes that a person can mend, one a line."""
    for problem in problems[:MOST_MISTAKES]:
        click.echo(f"solarvent: {problem}", file=sys.stderr)
    if (more := len(problems) - MOST_MISTAKES) > 0:
        click.echo(f"solarvent: and {more} more of the kind", file=sys.stderr)


def drop_what_is_left() -> None:
    """Let go of printed text that the system would not take; else it is tried, and fails, once more on leaving."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
