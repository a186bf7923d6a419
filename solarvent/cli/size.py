"""``solarvent size``."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from functools import partial
from typing import Any

import click

from solarvent.base.constants import ENOUGH
from solarvent.base.errors import QuantityError
from solarvent.base.quantities import parse
from solarvent.cli.options import Within, leave
from solarvent.cli.request import Request, about_a_plan

_WORTH_A_BAR, _WORTH_A_BAR_SLOW = 60, 3


class _Watts(click.ParamType):
    """Power, with its unit or a plain number of watts."""

    name = "WATTS"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        try:
            watts = float(value) if value.replace(".", "", 1).isdigit() else parse(value, "power")
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if not 0.5 <= watts <= 1000:
            self.fail(f'"{value}" is outside 0.5 W to 1000 W', param, ctx)
        return watts


@click.command("size")
@click.option("--fans", type=click.IntRange(1, 24), help="How many alike fans; without it those of PLAN, as it wires"
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
    with click.progressbar(every, label="designs", file=sys.stderr) as bar:
        yield from bar
