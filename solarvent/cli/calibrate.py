"""``solarvent calibrate``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import parse
from solarvent.cli.options import Within, format_option, output_options, parts_option, quoted, say, units_option
from solarvent.cli.request import Request, put_into_plan


class _Shift(click.ParamType):
    """A length of time with its unit, forward or back."""

    name = "TIME"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        text = str(value).strip()
        try:
            seconds = parse(text.lstrip("+-"), "time")
        except QuantityError as error:
            self.fail(str(error), param, ctx)
        if seconds > 26 * 3600:
            self.fail(f'"{text}" is more than a day', param, ctx)
        return -seconds if text.startswith("-") else seconds


def _pair(ctx: click.Context, param: click.Parameter, values: tuple[tuple[str, str], ...]) -> dict[str, str]:
    """Give the columns of parts: ``volts.ID`` to name."""
    del ctx
    return {f"{param.name}.{part}": name for part, name in values}


@click.command("calibrate")
@click.argument("plan", type=click.Path(path_type=Path))
@click.argument("log", metavar="LOG.csv", type=click.Path(path_type=Path))
@click.option("--time", metavar="NAME", help="Column of the times; so for the others. Else they are known by name.")
@click.option("--inside", metavar="NAME", help="Column of the inside temperature.")
@click.option("--inside-min", metavar="NAME", help="Column of the least since the last row.")
@click.option("--inside-max", metavar="NAME", help="Column of the most since the last row.")
@click.option("--outside", metavar="NAME", help="Column of the outside temperature.")
@click.option("--outside-min", metavar="NAME", help="Its least since the last row.")
@click.option("--outside-max", metavar="NAME", help="Its most since the last row.")
@click.option("--sun", metavar="NAME", help="Column of the light on the level, in W/m2 or lux.")
@click.option("--volts", type=(str, str), multiple=True, callback=_pair, metavar="PART NAME",
              help="Column of a panel's or fan's volts.")  # fmt: skip
@click.option("--amperes", type=(str, str), multiple=True, callback=_pair, metavar="PART NAME",
              help="Column of a panel's or fan's current.")  # fmt: skip
@click.option("--stamp", type=click.Choice(["middle", "start", "end"]), default="middle", show_default=True,
              help="What a row's time stands at; a reading at a moment is its own middle.")  # fmt: skip
@click.option("--shift", type=_Shift(), default=0.0, help='Added to the times, like "-1 h", where the clock was off.')
@click.option("--shut", is_flag=True, help="Openings stayed shut and fans stood, whatever the plan says.")
@click.option("--hold-out", type=Within(0.05, 0.9), default=0.25, show_default=True, help="Share of days not fitted.")
@click.option("--write", is_flag=True, help="Put what was found into PLAN, where it wins over the tables.")
@parts_option
@units_option
@format_option("text", "json", "csv", "html")
@output_options
def calibrate_command(
    plan: Path, log: Path, volts: dict[str, str], amperes: dict[str, str], stamp: str, shift: float, shut: bool,
    hold_out: float, write: bool, parts_folder: Path | None, units: str | None, form: str, output: Path | None,
    force: bool, **columns: str | None,
) -> None:  # fmt: skip
    """Find the figures of PLAN's house in LOG.csv, a log of its temperatures by a logger or from a notebook.

    Needed are times, inside and outside temperature; light on the level helps. Rows may be a minute or half a day
    apart, or hold the least and the most of each day. Times without a zone follow the plan's clock. Some days are held
    out and show what the result is worth. What is odd in the log is told and left out, never mended.

    Example:  solarvent calibrate my-plan.toml log.csv

    Example:  solarvent calibrate my-plan.toml log.csv --inside "T1 [degF]" --write

    Example:  solarvent calibrate my-plan.toml log.csv --format html -o readings.html
    """
    from solarvent.report.calibrate_text import (
        calibration_csv,
        calibration_json,
        calibration_page,
        render_calibration,
    )
    from solarvent.studies.calibrate import calibrate

    asked = Request(plan, parts_folder, units, form, output, force)
    told = {name: column for name, column in columns.items() if column is not None} | volts | amperes
    with click.progressbar(length=1, label="fitting", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        found = calibrate(asked.plan, log, told, stamp=stamp, shift=shift, shut=shut, hold_out=hold_out)
        bar.update(1)
    asked.answer(
        text=lambda: render_calibration(found, asked.system),
        json=lambda: calibration_json(found),
        csv=lambda: calibration_csv(found),
        html=lambda: calibration_page(found, asked.system),
    )
    changes = found.edits()
    if not write:
        if form == "text" and changes:
            say(f"Next: solarvent calibrate {quoted(plan)} {quoted(log)} --write   puts what is told into the plan")
        return
    from solarvent.plan.edit import edited

    if not changes:
        say("not written: these readings tell no figure of the plan")
        return
    put_into_plan(asked.plan, lambda text: edited(text, changes))
    for change in changes:
        values = change.value if isinstance(change.value, dict) else {"": change.value}
        for name, value in values.items():
            place = ".".join(step for step in (change.section, change.part, change.key, name) if step)
            say(f"written: {plan}: {place} = {value}")
    say(f"Next: solarvent run {quoted(plan)}   with what your readings tell")
