"""What every command about a plan is given: the plan, the parts, the units, and where the answer goes."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.cli.options import (
    answer,
    cannot_draw,
    format_option,
    full_option,
    output_options,
    parts_option,
    typed,
    units_option,
)

if TYPE_CHECKING:
    from solarvent.base.findings import Finding
    from solarvent.plan.plan import Plan
    from solarvent.report.layout import Frame

EXAMPLE_NOTE = "No plan was given: the embedded example. Yours: solarvent new my-plan.toml --ask"


@dataclass(frozen=True, eq=False)
class Request:
    """One call of a command about a plan: without `path` the embedded example, without `units` those of the plan."""

    path: Path | None
    parts_folder: Path | None
    units: str | None
    form: str
    output: Path | None
    force: bool
    full: bool = False

    @cached_property
    def plan(self) -> Plan:
        """The plan, read when it is asked for first."""
        from solarvent.plan.plan import load_plan

        plan = load_plan(self.path, self.parts_folder)
        # To who waits at a terminal; looking costs something itself.
        if len(plan.record.panel) + len(plan.record.fan) > 2 and sys.stderr.isatty():
            tell_if_slow(plan)
        return plan

    @property
    def system(self) -> str:
        """Units of the text."""
        return self.units or self.plan.record.units

    @property
    def note(self) -> str:
        """What is said under the title where no plan was given."""
        return EXAMPLE_NOTE if self.path is None else ""

    def frame(self, plain: bool = False) -> Frame:
        """How the text is to be set; if plain, with only ASCII in its pictures."""
        from solarvent.report.layout import Frame

        name = typed(self.path, self.parts_folder)
        return Frame(self.system, self.note, name, self.full, plain or cannot_draw(self.output))

    def answer(self, **renderers: Callable[[], str]) -> None:
        """Write the answer in the form that was asked for."""
        answer(self.form, self.output, self.force, **renderers)


def about_a_plan(*formats: str, screen: bool = False) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command its plan, parts, units, form and output as one :class:`Request`, its first argument.

    A command whose text is one `screen` has the rest of it behind ``--full``.
    """

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @wraps(command)
        def call(plan: Path | None, parts_folder: Path | None, units: str | None, output: Path | None, force: bool,
                 form: str = formats[0], full: bool = False, **others: Any) -> None:  # fmt: skip
            command(Request(plan, parts_folder, units, form, output, force, full), **others)

        options = [click.argument("plan", required=False, type=click.Path(path_type=Path)), parts_option, units_option]
        options += [format_option(*formats)] if len(formats) > 1 else []
        options += [full_option] if screen else []
        decorated: Any = output_options(call)
        for option in reversed(options):
            decorated = option(decorated)
        return decorated

    return decorate


def tell_if_slow(plan: Plan) -> None:
    """Say what makes a plan slow, before it is worked out."""
    from solarvent.base.errors import SolarventError
    from solarvent.electrical.circuit_parts import slow_words
    from solarvent.wiring.circuit import circuits
    from solarvent.wiring.harness import build_harness

    # What is wrong with the wiring is told by the command itself.
    with suppress(SolarventError):
        for words in filter(None, map(slow_words, circuits(build_harness(plan), plan))):
            click.echo(words, err=True)


def stop_to_mend(path: Path | None, findings: Sequence[Finding]) -> str:
    """The finding whose remedy comes first, if it is a stop and can be written into the file; else empty."""
    from solarvent.base.findings import first_remedy

    first = first_remedy(findings)
    if first is None or first.level != "stop" or path is None or not path.is_file():
        return ""
    from solarvent.studies.mending import mendable

    return mendable(first)


def put_into_plan(plan: Plan, change: Callable[[str], str]) -> tuple[str, str]:
    """Change the text of a plan's file; what comes of it is checked before it takes the place of the old one.

    Gives the text as it was and as it is.
    """
    import tomllib

    from solarvent.base.errors import PlanError
    from solarvent.plan.checking import check_plan
    from solarvent.plan.library import shipped
    from solarvent.report.files import write_whole

    assert plan.path is not None
    if plan.path in shipped("plans").values():
        what = "this plan ships with the program and stays as it is"
        write = f"make a copy of it: solarvent new my-plan.toml --copy {plan.path.stem}"
        raise PlanError.single(plan.path.stem, what, write)
    # As bytes: to read it as text would turn line ends of Windows into others.
    old = plan.path.read_bytes().decode("utf-8")
    # Some editors put a mark in front; it is no TOML, and stays.
    mark = "\ufeff" if old.startswith("\ufeff") else ""
    old = old.removeprefix(mark)
    text = change(old)
    check_plan(tomllib.loads(text.replace("\r\n", "\n")), plan.library)
    write_whole(plan.path, mark + text, force=True)
    return old, text
