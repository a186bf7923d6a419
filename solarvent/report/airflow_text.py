"""The answers of ``airflow``: one sky by hour, all skies, the real afternoons, tilts and azimuths, as text."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Sequence
from datetime import datetime
from math import isnan
from typing import TYPE_CHECKING

from solarvent.base.columns import COLUMNS
from solarvent.base.quantities import show
from solarvent.report.layout import (
    IN_BRACKETS,
    Frame,
    cautions,
    cell,
    foot,
    headed,
    heading,
    of_bands,
    paragraph,
    paragraphs,
    spread,
    table,
    titled,
    verdict_text,
)
from solarvent.report.run_text import house_block, house_sentence
from solarvent.simulation.simulate import Simulation
from solarvent.studies.airflow import Afternoons, Airflow
from solarvent.studies.sky_day import SkyAnswer
from solarvent.weather.sky import CLOUD_EDGE, OKTAS_FULL, SKY_WORDS

if TYPE_CHECKING:
    import pandas as pd


_PHRASES = (
    "a clear {}", "a mostly clear {}", "a mostly clear {}", "a partly cloudy {}", "a partly cloudy {}",
    "a {} of broken cloud", "a {} of broken cloud", "a nearly overcast {}", "an overcast {}", "a {} in fog",
)  # fmt: skip
_GUIDE = (
    (0, "0"), (1, "1-2"), (3, "3-4"), (5, "5-6"), (7, "7"), (8, "8"), (9, "9"),
)  # fmt: skip


def part_of_day(start: str, end: str) -> str:
    """Name a span of clock time: morning, afternoon, night, or else day."""
    if start > end:
        return "night"
    if start < "11:00" and end <= "13:00":
        return "morning"
    return "afternoon" if start >= "11:00" and end <= "19:00" else "day"


def clock_words(run: Simulation) -> str:
    """Say which clock the times follow, and whether daylight saving is in them."""
    record = run.plan.record
    if record.clock == "solar":
        return "Clock: the sun's mean time of the place."
    # Where the clocks change within the month, the middle of it counts.
    local: datetime = run.hours.index[len(run.hours) // 2].to_pydatetime()
    minutes = round(local.utcoffset().total_seconds() / 60)  # type: ignore[union-attr]
    offset = f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60}" + (
        f":{abs(minutes) % 60:02d}" if minutes % 60 else ""
    )
    saving = "daylight saving time" if local.dst() else "no daylight saving"
    return f"Clock: {record.place.timezone} in {month_name[local.month]}, {offset} ({saving})."


def sky_sentence(answer: SkyAnswer, system: str) -> str:
    """Write the one line that answers: how much air, how much of the time, and what is wanted."""
    record = answer.run.plan.record
    target, bands = record.target, answer.run.bands
    month = month_name[int(answer.rows.index[0].month)]
    phrase = _PHRASES[answer.oktas].format(f"{month} {part_of_day(target.start, target.end)}")
    changes = spread(*of_bands(bands, "target_air_changes"))
    flow = show(bands["typical"].target_flow, "flow", system)
    return (
        f"On {phrase}: {changes} air changes an hour ({flow}), running {answer.running:.0%} of the time; wanted"
        f" {answer.wanted.wanted_air_changes:.0f}."
    )


def render_airflow(answer: Airflow, frame: Frame) -> str:
    """Write the answer for one sky by hour, or a table of all of them; the verdict first."""
    head = [_title(answer.skies[0].run, frame.note), verdict_text(answer.verdict, frame.system)]
    if len(answer.skies) == 1:
        blocks = _one_sky(answer.skies[0], answer.other, frame)
        then = "add --full for how the sky is read, and for the house"
    else:
        blocks = _all_skies(answer.skies, frame)
        then = f"{frame.command('airflow --oktas 6')}   one sky by hour; or --year for the real days"
    return "\n\n".join([*head, *blocks, _foot(answer.skies[0].run, then, frame)])


def _foot(run: Simulation, then: str, frame: Frame) -> str:
    """Write the one caution that the plan earns, or in full all, and what comes next."""
    told = cautions(run.plan.record)
    if frame.full:
        return headed("Cautions", told)
    return foot(told[0], then)


def _one_sky(answer: SkyAnswer, other: SkyAnswer | None, frame: Frame) -> list[str]:
    """Write one sky, low, typical and high; `other` is the other reading of it."""
    system = frame.system
    blocks = [paragraph(sky_sentence(answer, system)), _rows(answer, system)]
    if not frame.full:
        return [*blocks, house_sentence(answer.house, system)]
    notes = paragraphs(_sky_notes(answer, other))
    return [*blocks, _explained(answer, system), house_block(answer.house, system), notes]


def _title(run: Simulation, note: str) -> str:
    record = run.plan.record
    return titled(record.title, note) + "\n" + paragraph(clock_words(run))


def _explained(answer: SkyAnswer, system: str) -> str:
    """Say what the figures in the one line are held against."""
    target = answer.run.plan.record.target
    if target.flow is not None or target.air_changes is not None:
        wanted = "Wanted: what the plan asks for."
    else:
        rise = show(target.rise, "temperature difference", system)
        wanted = (
            f"Wanted: to stay within {rise} of outside in the mean sun and air of these hours,"
            f" {answer.wanted.ghi:.0f} W/m2 on the level and {show(answer.wanted.temp_air, 'temperature', system, 0)}."
        )
    return paragraph(f"{wanted} {IN_BRACKETS} On: at least one fan turns; ACH: air changes an hour.")


def _rows(answer: SkyAnswer, system: str) -> str:
    """Tabulate the span."""
    fans = len(answer.run.plan.record.fan)
    broken = not isnan(answer.gap_level)
    charge = "state_of_charge" in answer.rows
    last = "state_of_charge" if charge else "restarts"
    rows = []
    for time, row in answer.rows.iterrows():
        light = [cell("poa_global", row[name], system) for name in (("gap", "shadow") if broken else ("poa_global",))]
        rows.append(
            (
                f"{time:%H:%M}",
                *light,
                cell("temp_air", row["temp_air"], system),
                cell("temp_inside", row["temp_inside"], system),
                f"{row['running']:.0%}",
                f"{row['fans_running']:.1f}",
                cell("flow_running", row["flow_running"], system),
                cell("flow", row["flow"], system),
                cell("air_changes", row["air_changes"], system),
                f"{row[last]:.0%}" if charge else f"{row[last]:.0f}",
            )
        )
    sun = COLUMNS["poa_global"].unit(system)
    air = COLUMNS["flow"].unit(system)
    headers = (
        "from",
        *((f"gaps\n[{sun}]", f"shadow\n[{sun}]") if broken else (f"sun\n[{sun}]",)),
        COLUMNS["temp_air"].heading(system),
        COLUMNS["temp_inside"].heading(system),
        "on",
        f"fans\nof {fans}",
        f"if on\n[{air}]",
        f"mean\n[{air}]",
        "ACH\n[1/h]",
        "battery\nfull" if charge else "start\nagain",
    )
    return table(rows, headers)


def _sky_notes(answer: SkyAnswer, other: SkyAnswer | None) -> list[str]:
    """Say how the sky is read, and how far that may be off."""
    words = SKY_WORDS[answer.oktas]
    notes = [
        f"Sky: {answer.oktas} oktas ({words.words}); your shadow: {words.shadow}. Mean light {answer.factor:.0%} of"
        " that under a clear sky."
    ]
    if not isnan(answer.sunlit):
        notes.append(
            f"Broken cloud counts as {answer.sunlit:.0%} of the time in gaps, at {answer.gap_level:.2f} of a clear sky,"
            f" and the rest in shadow, at {answer.shadow_level:.2f}, as the plan gives it."
        )
    elif not isnan(answer.gap_level):
        notes.append(
            f"Broken cloud counts as three parts of the time, as measured by the minute: the brightest third at"
            f" {answer.gap_level:.2f} of a clear sky, the dullest at {answer.shadow_level:.2f}."
        )
    if other is not None and not isnan(other.gap_level):
        band = other.run.bands["typical"]
        notes.append(
            f"The other reading, gaps {other.sunlit:.0%} of the time (1 - oktas / 8) and shadows at"
            f" {other.shadow_level:.2f}: {band.target_air_changes:.0f} air changes an hour, running"
            f" {other.running:.0%}. Take the two as a span."
        )
    if answer.oktas == OKTAS_FULL:
        notes.append("Overcast is wide: --cover thin or dark for bright haze or rain cloud.")
    day = answer.rows.index[0]
    if "state_of_charge" in answer.rows:
        notes.append(
            "The battery begins such a day with what such a day leaves in it. The fans are switched on in the span that"
            " was asked for, and in the evening of the plan."
        )
    notes.append(
        f"Sun of {day:%d %B}, the mean day of the month (Klein 1977); temperature and prevailing wind are the month's"
        " means by hour. Start again: fans that the brightest light of the hour would start from standing; the others"
        f" only keep turning. At cloud edges the light is {CLOUD_EDGE[0]:g} to {CLOUD_EDGE[1]:g} times that of a clear"
        " sky for a minute: no air to speak of, but volts."
    )
    return notes


def _all_skies(answers: Sequence[SkyAnswer], frame: Frame) -> list[str]:
    """Write the table of all skies by hour."""
    first = answers[0]
    target = first.run.plan.record.target
    month = month_name[int(first.rows.index[0].month)]
    title = heading(f"A {month} {part_of_day(target.start, target.end)} under every sky, air changes an hour")
    names = [f"{answer.oktas} oktas" if answer.oktas else "clear" for answer in answers]
    rows = []
    for number, time in enumerate(first.rows.index):
        rows.append((f"{time:%H:%M}", *(_share(answer.rows.iloc[number]) for answer in answers)))
    rows.append(
        (
            "mean",
            *(f"{answer.run.bands['typical'].target_air_changes:.0f} ({answer.running:.0%})" for answer in answers),
        )
    )
    rows.append(("wanted", *(f"{answer.wanted.wanted_air_changes:.0f}" for answer in answers)))
    rows.append(("light", *(f"{answer.factor:.0%}" for answer in answers)))
    blocks = [
        "\n".join(paragraph(sky_sentence(answer, frame.system)) for answer in (answers[0], answers[-1])),
        f"{title}\n{table(rows, ('from', *names))}\n"
        + paragraph("In brackets: share of the time in which a fan turns. Light: of that under a clear sky."),
    ]
    if not frame.full:
        return blocks
    guide = [(text, SKY_WORDS[oktas].words, SKY_WORDS[oktas].shadow) for oktas, text in _GUIDE]
    return [*blocks, heading("How does your shadow look?") + "\n" + table(guide, ("oktas", "sky", "shadow"))]


def _share(row: pd.Series) -> str:
    return f"{row['air_changes']:.0f} ({row['running']:.0%})"


#: Of the hottest, on the first screen.
_FEW_DAYS = 2


def render_year(answer: Afternoons, frame: Frame) -> str:
    """Write what the real afternoons of the weather get; the note under the title."""
    system = frame.system
    run, month = answer.run, answer.month
    target = run.plan.record.target
    part = part_of_day(target.start, target.end)
    chosen, name = answer.months.loc[month], month_name[month]
    changes = spread(*of_bands(run.bands, "target_air_changes"))
    record = run.plan.record
    lines = [titled(record.title, frame.note)]
    attrs = run.conditions.weather.attrs
    lines.append(paragraph(f"Weather: {attrs.get('title', 'hours')}. {_year_clock(run)}"))
    lines += [paragraph(text) for text in attrs.get("notes", ())]
    own_wish = target.flow is None and target.air_changes is None
    wish = (
        f"what their own sun wants ({chosen['wanted']:.0f} in the middle)"
        if own_wish
        else f"the {chosen['wanted']:.0f} that the plan asks for"
    )
    short = paragraph(
        f"On {name} {part}s ({target.start} to {target.end}): {changes} air changes an hour on average, running"
        f" {chosen['running']:.0%} of the time. {chosen['reached']:.0f} of {chosen['days']:.0f} get {wish}; half get"
        f" {chosen['middle']:.0f} or more, the worst tenth {chosen['low']:.0f} or less."
    )
    blocks = ["\n".join(lines), short, heading(f"The {part}s by month") + "\n" + _months_table(answer.months)]
    hottest, dull = answer.hottest if frame.full else answer.hottest[:_FEW_DAYS], answer.dull_and_hot
    blocks.append(heading(f"The hottest {name} {part}s") + "\n" + _days_table(hottest, system))
    title = heading(f"Dull and hot: {len(dull)} of {len(answer.own)} {part}s in {name}")
    text = "Of the hottest third, those with less sun than the middle one; shadows stop fans while the house is hot."
    table_of_dull = _days_table(dull, system) + "\n" if len(dull) and frame.full else ""
    then = f"{frame.command('airflow')}   the air by hour under every sky; add --full for more days"
    blocks += [f"{title}\n{table_of_dull}{paragraph(text)}", _foot(run, then, frame)]
    return "\n\n".join(blocks)


def _year_clock(run: Simulation) -> str:
    record = run.plan.record
    if record.clock == "solar":
        return "Clock: the sun's mean time of the place."
    return f"Clock: {record.place.timezone}, with its daylight saving where it has one."


def _months_table(months: pd.DataFrame) -> str:
    rows = [
        (
            month_abbr[int(number)],
            f"{row['reached']:.0f} of {row['days']:.0f}",
            f"{row['low']:.0f}",
            f"{row['middle']:.0f}",
            f"{row['high']:.0f}",
            f"{row['wanted']:.0f}",
            f"{row['running']:.0%}",
        )
        for number, row in months.iterrows()
    ]
    headers = ("", "get enough", "worst tenth [1/h]", "middle [1/h]", "best tenth [1/h]", "wanted [1/h]", "running")
    return table(rows, headers)


def _days_table(days: pd.DataFrame, system: str) -> str:
    rows = [
        (
            f"{day:%d %b}",
            cell("temp_air", row["temp_air"], system),
            cell("oktas", row["oktas"], system),
            cell("poa_global", row["poa_global"], system),
            f"{row['running']:.0%}",
            cell("flow", row["flow"], system),
            f"{row['air_changes']:.0f}",
            f"{row['air_changes_wanted']:.0f}",
        )
        for day, row in days.iterrows()
    ]
    headers = (
        "day",
        COLUMNS["temp_air"].heading(system),
        "cloud [oktas]",
        COLUMNS["poa_global"].heading(system),
        "running",
        COLUMNS["flow"].heading(system),
        "changes [1/h]",
        "wanted [1/h]",
    )
    return table(rows, headers)
