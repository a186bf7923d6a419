"""The answer of ``run`` as text: one screen, and in full three days, the months, house and power budget."""

from __future__ import annotations

from calendar import month_abbr
from collections.abc import Iterator, Sequence
from math import isnan
from typing import TYPE_CHECKING

from solarvent.base.columns import COLUMNS
from solarvent.base.quantities import convert, show, shown_unit
from solarvent.report.budget_text import battery_sentence, battery_words
from solarvent.report.days import day_bars
from solarvent.report.layout import (
    IN_BRACKETS,
    STOPS_EARLIER,
    Frame,
    cautions,
    cell,
    clock,
    findings_text,
    first_screen,
    headed,
    heading,
    next_step,
    of_bands,
    paragraph,
    spread,
    table,
    titled,
    verdict_text,
)
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.year import CaseSummary, HouseSummary
from solarvent.studies.overview import Overview

if TYPE_CHECKING:
    import pandas as pd


_WORDS = {
    "closed": "everything shut",
    "openings": "openings only",
    "fans": "fans, openers shut",
    "both": "as planned",
}


def house_rows(house: HouseSummary, system: str) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """Give how warm the house gets, a row for each way of running it: headers and rows."""
    degrees, kelvins = (shown_unit(kind, system) for kind in ("temperature", "temperature difference"))
    factor = convert(1.0, "temperature difference", kelvins)
    rows = [
        (
            _WORDS[row.case],
            _degrees(row.maximum, degrees),
            _degrees(row.need_mean, degrees),
            "-" if isnan(row.need_rise) else f"{row.need_rise * factor:.1f}",
            f"{row.hours_above:.0f}",
            f"{row.degree_hours * factor:.0f}",
            _degrees(row.minimum, degrees),
        )
        for row in _distinct(house.cases)
    ]
    headers = (
        "",
        f"hottest [{degrees}]",
        f"at need [{degrees}]",
        f"over outside [{kelvins}]",
        "too hot [h]",
        f"too hot [{kelvins} h]",
        f"coldest [{degrees}]",
    )
    return headers, rows


def house_block(house: HouseSummary, system: str) -> str:
    """Tabulate in at most 80 columns how warm the house gets, shut, with its openings, with its fans, and with both."""
    headers, rows = house_rows(house, system)
    band = show(house.band, "temperature difference", system, 0)
    limit = show(house.limit, "temperature", system, 0)
    spans = (
        " to ".join(show(value, "temperature", system, 0) for value in house.hottest[case])
        for case in ("closed", "both")
    )
    text = paragraph(
        f"Inside air. At need: mean over the hours of need. Too hot: above {limit},"
        " the limit of {}. Hottest by how wide the cracks of such houses are and how strong the fans: shut {},"
        " with everything {}.".format(house.crop, *spans)
        + f" Believe it within {band}, more or less (solarvent about models)."
    )
    flows = flows_block(house, system)
    return f"{heading('The house: how warm it gets')}\n{table(rows, headers)}\n{text}" + (
        f"\n\n{flows}" if flows else ""
    )


def flows_block(house: HouseSummary, system: str) -> str:
    """Tabulate through which opening and fan the air comes and goes in the hottest hour of need; "" without one."""
    moment = house.moment
    if moment is None:
        return ""
    # Below 1e-6 m3/s, 4 L an hour, stands what the solver leaves, and no air.
    rows = [
        (
            path.name,
            show(path.inward, "flow", system) if path.inward > 1e-6 else "-",
            show(path.outward, "flow", system) if path.outward > 1e-6 else "-",
            "beside a fan" if path.beside_fan and path.inward > 1e-6 else "",
        )
        for path in moment.paths
    ]
    inside = show(moment.temp_inside, "temperature", system, 0)
    title = heading(f"Where the air goes in the hottest hour: {house.when:%d %B %H:%M}, {inside} inside")
    return f"{title}\n{table(rows, ('', 'comes in', 'goes out', ''))}"


def _distinct(rows: Sequence[CaseSummary]) -> list[CaseSummary]:
    """Leave out fans alone where they are the same as everything together, for want of openers."""
    by_name = {row.case: row for row in rows}
    figures = [[value for key, value in vars(by_name[name]).items() if key != "case"] for name in ("fans", "both")]
    same = figures[0] == figures[1]
    return [row for row in rows if not (same and row.case == "fans")]


def _degrees(value: float, unit: str) -> str:
    return "-" if isnan(value) else f"{convert(value, 'temperature', unit):.0f}"


_DAY_COLUMNS = ("poa_global", "temp_air", "panel_voltage", "flow", "air_changes", "temp_inside")
_MONTH_COLUMNS = ("energy_made", "energy_used", "hours_running", "air_changes_noon", "air_changes_15")


_MOST_FANS = 6


def render_run(overview: Overview, frame: Frame) -> str:
    """Write the answer over a year or a day: what fits on one screen, or, in full, every table."""
    run, record = overview.run, overview.run.plan.record
    then = f"{frame.command('checklist')}   {_NEXT[overview.verdict.level]}"
    if frame.mend:
        then = f"{frame.command(f'new --mend {frame.mend}')}   tries what is to be done first and writes it in"
    if not frame.full:
        blocks = [_fans(run, frame), _days(overview, frame.system), _air(overview)]
        blocks[-1] += "\n" + house_sentence(overview.house, frame.system)
        then += "; add --full for every table"
        return first_screen(frame, record.title, overview.verdict, overview.findings, blocks, cautions(record)[0], then)
    blocks = [titled(record.title, frame.note), verdict_text(overview.verdict, frame.system)]
    blocks.append(heading("Findings, worst first") + "\n" + (findings_text(overview.findings) or "none"))
    blocks.append(heading("In short") + "\n" + "\n".join(_short_answer(overview, frame.system)))
    blocks += [house_block(overview.house, frame.system), _fans(run, frame)]
    if overview.is_one_day:
        day = run.hours.index[0].date()
        blocks.append(heading(f"{day:%d %B}") + "\n" + _day(run, run.hours[run.hours["poa_global"] > 0], frame))
    else:
        blocks += _telling_days(overview, frame)
        blocks.append(_months(overview, frame.system))
    blocks.append(headed("Cautions", cautions(record)))
    return "\n\n".join([*blocks, next_step(then)])


#: What the checklist is for, by the level of the verdict.
_NEXT = {
    "stop": "what to change first",
    "short": "steps and shopping list, if that air will do",
    "fits": "steps and shopping list",
}


def _days(overview: Overview, system: str) -> str:
    """Tabulate what the telling days of a month come to."""
    if overview.is_one_day:
        return ""
    rows = [
        (
            f"{day.telling.kind}, {day.telling.day:%d %b}",
            "stand" if day.turning is None else f"{clock(day.turning[0])}-{clock(day.turning[1])}",
            cell("air_changes", day.air_changes, system),
            cell("temp_inside", day.hottest, system),
        )
        for day in overview.days
    ]
    degrees = COLUMNS["temp_inside"].unit(system)
    return table(rows, ("day", "fans turn", "air changes [1/h]", f"hottest inside [{degrees}]"))


def _air(overview: Overview) -> str:
    """Say how much air there is, and how much would be enough."""
    bands, target, wanted = overview.run.bands, overview.run.plan.record.target, overview.air.sunny
    if isnan(bands["typical"].target_flow):
        return paragraph("No hour of need lies in this span.")
    changes = spread(*of_bands(bands, "target_air_changes"))
    text = f"Air from {target.start} to {target.end} in the months of need: {changes} changes an hour"
    if wanted:
        text += f"; a sunny hour wants {wanted.wanted_air_changes:.0f}"
    said = paragraph(f"{text}. {IN_BRACKETS}")
    return said if overview.battery is None else f"{said}\n{paragraph(battery_sentence(overview.battery))}"


def house_sentence(house: HouseSummary, system: str) -> str:
    """Say how warm and how cold it gets inside."""
    by_name = {row.case: row for row in house.cases}
    shut, planned = by_name["closed"], by_name["both"]

    def degrees(value: float) -> str:
        return show(value, "temperature", system, 0)

    return paragraph(
        f"Inside at the hottest: {degrees(planned.maximum)} as planned, {degrees(shut.maximum)} with everything shut;"
        f" above {degrees(house.limit)}, the limit of {house.crop}, for {planned.hours_above:.0f} h. Coldest:"
        f" {degrees(planned.minimum)}."
    )


def _short_answer(overview: Overview, system: str) -> Iterator[str]:
    """Say in a few sentences what the person came to know."""
    bands, target = overview.run.bands, overview.run.plan.record.target
    typical = bands["typical"]
    if not isnan(typical.target_flow):
        unit = COLUMNS["flow"].unit(system)
        flows = [COLUMNS["flow"].shown(flow, system) for flow in of_bands(bands, "target_flow")]
        changes = of_bands(bands, "target_air_changes")
        yield paragraph(
            f"From {target.start} to {target.end} in the months of need the fans move {spread(*flows)} {unit} on"
            f" average, which is {spread(*changes)} air changes an hour. ({IN_BRACKETS})"
        )
    if wanted := overview.air.sunny:
        hens = "" if isnan(wanted.by_animals) else f"; for the hens, {show(wanted.by_animals, 'flow', system)}"
        floor = " to ".join(show(flow, "flow", system) for flow in wanted.by_floor)
        yield paragraph(
            f"Enough for a sunny hour ({wanted.ghi:.0f} W/m2 on the level) would be"
            f" {show(wanted.wanted, 'flow', system)}, {wanted.wanted_air_changes:.0f} air changes an hour, to stay"
            f" within {show(target.rise, 'temperature difference', system)}. Rules of the trade: one volume a minute,"
            f" {show(wanted.by_volume, 'flow', system)}; by floor, {floor}{hens}."
        )
    made, used, _ = overview.year
    share = used / made if made else 0.0
    yield paragraph(
        f"The panel could make {made:,.0f} Wh over the span; the fans use {used:,.0f} Wh of it ({share:.0%})."
    )
    if (kept := overview.battery) is not None:
        yield from map(paragraph, battery_words(overview.run, kept))


def _fans(run: Simulation, frame: Frame) -> str:
    """Tabulate the fans: from which light they start, down to which they turn, and how long in all."""
    rows = []
    thresholds, hours = of_bands(run.bands, "thresholds"), of_bands(run.bands, "hours_running")
    for name in (fan.id for fan in run.plan.record.fan):
        limits = [of_fans[name] for of_fans in thresholds]
        lights = ([getattr(limit, key) for limit in limits] for key in ("start_irradiance", "run_down_irradiance"))
        # From a battery a fan starts in no light, and stops in none.
        ends = (spread(*light) if any(light) else "on battery" for light in lights)
        rows.append((name, *ends, spread(*(of_fans[name] for of_fans in hours))))
    headers = ("fan", "starts at [W/m2]", "stops at [W/m2]", "turning [h]")
    if not frame.full:
        left = f"\nand {len(rows) - _MOST_FANS} more fans: --full" if len(rows) > _MOST_FANS else ""
        return table(rows[:_MOST_FANS], headers) + left
    title = heading("Fans: typical (weak panel, stiff fan .. all at their best)")
    words = (
        "Light on the panel's cells, rising from darkness and falling again, at"
        f" {show(20.0, 'temperature', frame.system, 0)} outside."
    )
    if any(limit.start_irradiance < limit.run_down_irradiance for limit in run.bands["typical"].thresholds.values()):
        words += f" {STOPS_EARLIER}"
    return f"{title}\n{table(rows, headers)}\n" + paragraph(words)


def _telling_days(overview: Overview, frame: Frame) -> Iterator[str]:
    """Tabulate the clear, the broken and the overcast day of a month."""
    for day in overview.days:
        telling = day.telling
        article = "An" if telling.kind == "overcast" else "A"
        light = f"{telling.irradiation / 1000:.1f} kWh/m2 on the panel"
        title = heading(f"{article} {telling.kind} day: {telling.day:%d %B}, {light}")
        yield f"{title}\n{_day(overview.run, day.hours, frame)}"


def _day(run: Simulation, hours: pd.DataFrame, frame: Frame) -> str:
    """Draw and tabulate the hours of one day."""
    system = frame.system
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
    bars = day_bars(hours, float(run.hours["air_changes"].max()), frame.plain)
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
