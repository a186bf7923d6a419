"""The real afternoons of a weather year as text: how many get enough, the hottest, the dull and hot ones."""

from __future__ import annotations

from calendar import month_abbr, month_name
from typing import TYPE_CHECKING

from solarvent.base.columns import COLUMNS
from solarvent.report.airflow_text import part_of_day
from solarvent.report.layout import CAUTIONS, cell, heading, paragraph, spread, table
from solarvent.simulation.simulate import Simulation
from solarvent.studies.afternoons import Afternoons

if TYPE_CHECKING:
    import pandas as pd


def render_year(answer: Afternoons, system: str, note: str = "") -> str:
    """Write what the real afternoons of the weather get.

    Parameters
    ----------
    answer : Afternoons
        From :func:`solarvent.studies.airflow.real_afternoons`.
    system : {"metric", "us"}
        Units.
    note : str
        Said under the title.

    Returns
    -------
    str
        Text of at most 80 columns.
    """
    run, month = answer.run, answer.month
    target = run.plan.record.target
    part = part_of_day(target.start, target.end)
    chosen, name = answer.months.loc[month], month_name[month]
    changes = spread(*(run.bands[band].target_air_changes for band in ("typical", "low", "high")))
    record = run.plan.record
    lines = [paragraph(record.title[:200]), *([paragraph(note)] if note else [])]
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
    blocks.append(heading(f"The hottest {name} {part}s") + "\n" + _days_table(answer.hottest, system))
    dull = answer.dull_and_hot
    title = heading(f"Dull and hot: {len(dull)} of {len(answer.own)} {part}s in {name}")
    text = "Of the hottest third, those with less sun than the middle one; shadows stop fans while the house is hot."
    blocks.append(f"{title}\n" + (_days_table(dull, system) + "\n" if len(dull) else "") + paragraph(text))
    blocks.append(heading("Cautions") + "\n" + "\n".join(paragraph(text) for text in CAUTIONS))
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
