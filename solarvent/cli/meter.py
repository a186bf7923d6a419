"""``solarvent meter``."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from solarvent.cli.options import Within, leave, say
from solarvent.cli.request import Request, about_a_plan, put_into_plan

if TYPE_CHECKING:
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

    with click.progressbar(length=100, label="comparing", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        found = diagnose(asked.plan, taken, light, lambda share: bar.update(round(100 * share) - bar.pos))
    title = asked.plan.record.title
    asked.answer(
        text=lambda: render_diagnosis(title, found, light, asked.note),
        json=lambda: to_json(diagnosis_data(title, found, light)),
    )
    if write:
        _write(asked.plan, taken, light, found)
    leave(is_urgent(found))


def _write(loaded: Plan, taken: Readings, light: KnownLight, found: Any) -> None:
    """Put readings into the plan file."""
    from solarvent.bench.write_back import measured_values, written

    values, left_out = measured_values(loaded, taken, light, found)
    for words in left_out:
        say(f"not written: {words}")
    if not values:
        return
    put_into_plan(loaded, lambda text: written(text, values))
    for value in values:
        was = f" (was {value.before})" if value.before else ""
        say(f"written: {loaded.path}: {value.section} {value.part}: {value.key} = {value.value}{was}")
