"""Commands that take what was read: ``meter`` at the parts, ``calibrate`` from a log of the house."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from solarvent.cli.options import (
    Quantity,
    Within,
    format_option,
    leave,
    output_options,
    parts_option,
    progress_bar,
    say,
    typed,
    units_option,
)
from solarvent.cli.request import Request, about_a_plan, put_into_plan

if TYPE_CHECKING:
    from solarvent.bench.diagnosis import Diagnosis
    from solarvent.bench.evidence import KnownLight
    from solarvent.bench.metering import Readings
    from solarvent.plan.plan import Plan


_BRIGHT, _WARM = 1000.0, 50.0
_MOMENT = click.DateTime(["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"])


@click.command("meter")
@click.option("--irradiance", type=Within(1, 1400), show_default="1000",
              help="Light on the cells, in W/m2.")  # fmt: skip
@click.option("--temp-cell", type=Within(-40, 100), show_default="50",
              help="Temperature of the cells, in degC.")  # fmt: skip
@click.option("--at", type=_MOMENT, metavar="'YYYY-MM-DD HH:MM'",
              help="Clear-sky light at this clock time, in place of --irradiance.")  # fmt: skip
@click.option("--temp-air", type=Within(-60, 60), default=20.0, show_default=True,
              help="Outside temperature that goes with --at, in degC.")  # fmt: skip
@click.option("--panel-open", multiple=True, metavar="[ID=]20.4V", help="Read: a panel with nothing joined.")
@click.option("--panel-short", multiple=True, metavar="[ID=]0.9A", help="Read: through the meter across a panel alone.")
@click.option("--panel-joined", multiple=True, metavar="[ID=]17V/0.5A", help="Read at a panel, everything joined.")
@click.option("--fan", multiple=True, metavar="ID=11V/0.2A",
              help="Read at a fan, everything joined; add /turns, /stands or /pulses if you see it.")  # fmt: skip
@click.option("--write", is_flag=True, help="Put the readings into PLAN, where they win over the plates.")
@about_a_plan("text", "json")
def meter_command(asked: Request, irradiance: float | None, temp_cell: float | None, at: datetime | None,
                  temp_air: float, panel_open: tuple[str, ...], panel_short: tuple[str, ...],
                  panel_joined: tuple[str, ...], fan: tuple[str, ...], write: bool) -> None:  # fmt: skip
    """Say what a meter should read on PLAN (without one, the embedded example), or what readings mean.

    Without readings: the volts and amperes to expect in a given sun.

    With readings, as many or few as you have: what is most likely wrong, and what to read next. Ends with exit code 3
    if something may be destroyed.

    Example:  solarvent meter my-plan.toml --irradiance 600 --temp-cell 45

    Example:  solarvent meter my-plan.toml --panel-open 20.4V --panel-short 0.9A --fan bench=0.4V/0.9A
    """
    from solarvent.bench.evidence import KnownLight
    from solarvent.bench.metering import parse_readings

    if at is not None and irradiance is not None:
        raise click.UsageError("give --irradiance or --at, one of them")
    record = asked.plan.record
    taken = parse_readings(
        [panel.id for panel in record.panel],
        [one.id for one in record.fan],
        panel_open=panel_open,
        panel_short=panel_short,
        panel_joined=panel_joined,
        fan=fan,
    )
    if write and (asked.path is None or not taken):
        raise click.UsageError("--write needs a PLAN and at least one reading")
    light = KnownLight(irradiance, irradiance is not None, temp_cell)
    if at is not None:
        light = _clear_sky(asked.plan, at, temp_air, temp_cell)
    if taken:
        _diagnose(asked, taken, light, write)
    else:
        _expect(asked, light)


def _clear_sky(loaded: Plan, at: datetime, temp_air: float, temp_cell: float | None) -> KnownLight:
    from solarvent.bench.metering import clear_sky_light

    light = clear_sky_light(loaded, at, temp_air)
    return light if temp_cell is None else replace(light, temp_cell=temp_cell)


def _expect(asked: Request, light: KnownLight) -> None:
    """Write what a meter should read."""
    from solarvent.bench.metering import expected_readings
    from solarvent.report.bench_text import expected_data, render_expected, socket_note
    from solarvent.report.data import to_json

    record = asked.plan.record
    irradiance = _BRIGHT if light.irradiance is None else round(light.irradiance)
    temp_cell = _WARM if light.temp_cell is None else round(light.temp_cell)
    bands, note = expected_readings(asked.plan, irradiance, temp_cell), asked.note or socket_note(record)
    asked.answer(
        text=lambda: render_expected(record.title, irradiance, temp_cell, bands, replace(asked.frame(), note=note)),
        json=lambda: to_json(expected_data(record.title, irradiance, temp_cell, bands["typical"])),
    )


def _diagnose(asked: Request, taken: Readings, light: KnownLight, write: bool) -> None:
    """Write what readings mean, and put them into the plan if that is wanted."""
    from solarvent.bench.diagnosis import diagnose
    from solarvent.report.data import to_json
    from solarvent.report.diagnosis_text import diagnosis_data, is_urgent, render_diagnosis

    with progress_bar(100, "comparing") as bar:
        found = diagnose(asked.plan, taken, light, lambda share: bar.update(round(100 * share) - bar.pos))
    title = asked.plan.record.title
    asked.answer(
        text=lambda: render_diagnosis(title, found, light, asked.note, _after_reading(asked, found, write)),
        json=lambda: to_json(diagnosis_data(title, found, light)),
    )
    if write:
        _write(asked.plan, taken, light, found)
    leave(is_urgent(found))


def _after_reading(asked: Request, found: Sequence[Diagnosis], write: bool) -> str:
    """Say what comes after what readings mean."""
    from solarvent.report.diagnosis_text import is_urgent

    if is_urgent(found):
        return "put that right with the panel covered, and read again"
    if any(one.next_reading for one in found):
        return "the same command again, with that reading in it"
    if any(one.ranking[0].fault != "normal" for one in found):
        return "put right what is told first, and read again"
    if asked.path is None:
        return "solarvent new my-plan.toml --ask   a plan of your own, into which readings can be put"
    name = typed(asked.path, asked.parts_folder)
    return f"solarvent run {name}" if write else "the same command with --write, which puts the readings into the plan"


def _write(loaded: Plan, taken: Readings, light: KnownLight, found: Any) -> None:
    """Put readings into the plan file."""
    from solarvent.bench.metering import measured_values, written

    values, left_out = measured_values(loaded, taken, light, found)
    for words in left_out:
        say(f"not written: {words}")
    if not values:
        return
    put_into_plan(loaded, lambda text: written(text, values))
    for value in values:
        was = f" (was {value.before})" if value.before else ""
        say(f"written: {loaded.path}: {value.section} {value.part}: {value.key} = {value.value}{was}")


class _Shift(Quantity):
    """A length of time with its unit, forward or back."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        text = str(value).strip()
        seconds = super().convert(text.lstrip("+-"), param, ctx)
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
@click.option(
    "--shift",
    type=_Shift("time", 0.0, 26 * 3600.0, "h"),
    default=0.0,
    help='Added to the times, like "-1 h", where the clock was off.',
)
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
    with progress_bar(1, "fitting") as bar:
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
            say("Next: the same command with --write, which puts what is told into the plan")
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
    say(f"Next: solarvent run {typed(plan, parts_folder)}   with what your readings tell")
