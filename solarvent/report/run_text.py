"""The answer of ``run`` as text: findings, the short answer, three days, the months."""

from __future__ import annotations

from calendar import month_abbr
from collections.abc import Iterator
from math import isnan
from typing import TYPE_CHECKING

from solarvent.base.columns import COLUMNS
from solarvent.base.quantities import show
from solarvent.report.day_bars import day_bars
from solarvent.report.house_text import house_block
from solarvent.report.layout import (
    CAUTIONS,
    STOPS_EARLIER,
    cell,
    clock,
    findings_text,
    heading,
    paragraph,
    spread,
    table,
)
from solarvent.simulation.simulate import Simulation
from solarvent.studies.overview import Overview

if TYPE_CHECKING:
    import pandas as pd

_DAY_COLUMNS = ("poa_global", "temp_air", "panel_voltage", "flow", "air_changes", "temp_inside")
_MONTH_COLUMNS = ("energy_made", "energy_used", "hours_running", "air_changes_noon", "air_changes_15")


def render_run(overview: Overview, system: str, note: str = "", plain: bool = False) -> str:
    """Write the whole answer.

    Parameters
    ----------
    overview : Overview
        Over a year or a day.
    system : {"metric", "us"}
        Units.
    note : str
        Said under the title.
    plain : bool
        Only ASCII in the pictures.

    Returns
    -------
    str
        Text of at most 80 columns.
    """
    run = overview.run
    blocks = [paragraph(run.plan.record.title[:200])]
    if note:
        blocks[0] += "\n" + paragraph(note)
    blocks.append(f"{paragraph(overview.verdict.sentence)}\n{paragraph(overview.verdict.first_sentence)}")
    blocks.append(heading("Findings, worst first") + "\n" + (findings_text(overview.findings) or "none"))
    blocks.append(heading("In short") + "\n" + "\n".join(_short_answer(overview, system)))
    blocks += [house_block(overview.house, system), _fans(run, system)]
    if overview.is_one_day:
        day = run.hours.index[0].date()
        blocks.append(heading(f"{day:%d %B}") + "\n" + _day(run, run.hours[run.hours["poa_global"] > 0], system, plain))
    else:
        blocks += _telling_days(overview, system, plain)
        blocks.append(_months(overview, system))
    blocks.append(heading("Cautions") + "\n" + "\n".join(paragraph(text) for text in CAUTIONS))
    return "\n\n".join(blocks)


def _short_answer(overview: Overview, system: str) -> Iterator[str]:
    """Say in a few sentences what the person came to know."""
    bands, target = overview.run.bands, overview.run.plan.record.target
    typical = bands["typical"]
    if not isnan(typical.target_flow):
        unit = COLUMNS["flow"].unit(system)
        flows = [COLUMNS["flow"].shown(bands[name].target_flow, system) for name in ("typical", "low", "high")]
        changes = [bands[name].target_air_changes for name in ("typical", "low", "high")]
        yield paragraph(
            f"From {target.start} to {target.end} in the months of need the fans move {spread(*flows)} {unit} on"
            f" average, which is {spread(*changes)} air changes an hour. (In brackets: weak panel and stiff fans .."
            " all at their best.)"
        )
    if wanted := overview.air.sunny:
        floor = " to ".join(show(flow, "flow", system) for flow in wanted.by_floor)
        yield paragraph(
            f"Enough for a sunny hour ({wanted.ghi:.0f} W/m2 on the level) would be"
            f" {show(wanted.wanted, 'flow', system)}, {wanted.wanted_air_changes:.0f} air changes an hour, to stay"
            f" within {show(target.rise, 'temperature difference', system)}. Rules of the trade: one volume a minute,"
            f" {show(wanted.by_volume, 'flow', system)}; by floor, {floor}."
        )
    made, used, _ = overview.year
    share = used / made if made else 0.0
    yield paragraph(
        f"The panel could make {made:,.0f} Wh over the span; the fans use {used:,.0f} Wh of it ({share:.0%})."
    )


def _fans(run: Simulation, system: str) -> str:
    """Tabulate the fans: from which light they start, down to which they turn, and how long in all."""
    rows = []
    order = ("typical", "low", "high")
    for fan in run.plan.record.fan:
        name = fan.id
        limits = [run.bands[band].thresholds[name] for band in order]
        turning = [run.bands[band].hours_running[name] for band in order]
        rows.append(
            (
                name,
                spread(*(limit.start_irradiance for limit in limits)),
                spread(*(limit.run_down_irradiance for limit in limits)),
                spread(*turning),
            )
        )
    headers = ("fan", "starts at [W/m2]", "stops at [W/m2]", "turning [h]")
    title = heading("Fans: typical (weak panel, stiff fan .. all at their best)")
    words = (
        "Light on the panel's cells, rising from darkness and falling again, at"
        f" {show(20.0, 'temperature', system, 0)} outside."
    )
    if any(limit.start_irradiance < limit.run_down_irradiance for limit in run.bands["typical"].thresholds.values()):
        words += f" {STOPS_EARLIER}"
    return f"{title}\n{table(rows, headers)}\n" + paragraph(words)


def _telling_days(overview: Overview, system: str, plain: bool) -> Iterator[str]:
    """Tabulate the clear, the middling and the dull day of a month."""
    for day in overview.days:
        telling = day.telling
        title = heading(
            f"A {telling.kind} day: {telling.day:%d %B}, {telling.irradiation / 1000:.1f} kWh/m2 on the panel"
        )
        yield f"{title}\n{_day(overview.run, day.hours, system, plain)}"


def _day(run: Simulation, hours: pd.DataFrame, system: str, plain: bool) -> str:
    """Draw and tabulate the hours of one day."""
    fans = run.plan.record.fan
    volts = [f"voltage.{fan.id}" for fan in fans]
    rows = []
    for time, row in hours.iterrows():
        cells = {name: cell(name, row[name], system) for name in _DAY_COLUMNS}
        fan_volts = [row[name] for name in volts]
        low, high = (f"{value:.1f}" for value in (min(fan_volts), max(fan_volts)))
        rows.append(
            (
                f"{time:%H:%M}",
                cells["poa_global"],
                cells["temp_air"],
                cells["panel_voltage"],
                low if low == high else f"{low}-{high}",
                f"{round(row['fans_running'], 1):g} of {len(fans)}",
                cells["flow"],
                cells["air_changes"],
                cells["temp_inside"],
            )
        )
    headers = (
        "from",
        COLUMNS["poa_global"].heading(system),
        COLUMNS["temp_air"].heading(system),
        "panel [V]",
        "fans [V]",
        "turning",
        COLUMNS["flow"].heading(system),
        "changes [1/h]",
        COLUMNS["temp_inside"].heading(system),
    )
    bars = day_bars(hours, float(run.hours["air_changes"].max()), plain)
    return f"{bars}\n\n{table(rows, headers)}" if bars else table(rows, headers)


def _months(overview: Overview, system: str) -> str:
    """Tabulate the months."""
    rows = [
        (
            month_abbr[int(number)],
            *(cell(name, row[name], system) for name in _MONTH_COLUMNS[:3]),
            clock(row["first_start"]),
            clock(row["last_stop"]),
            *(cell(name, row[name], system) for name in _MONTH_COLUMNS[3:]),
        )
        for number, row in overview.months.iterrows()
    ]
    rows.append(("year", *(f"{value:.0f}" for value in overview.year), "", "", "", ""))
    headers = (
        "",
        *(COLUMNS[name].heading(system) for name in _MONTH_COLUMNS[:3]),
        "first start",
        "last stop",
        "at noon [1/h]",
        "at 15:00 [1/h]",
    )
    text = table(rows, headers)
    notes = "First start and last stop: median over the days. Hours turning: of all fans together."
    return f"{heading('The year by month')}\n{text}\n{paragraph(notes)}"
