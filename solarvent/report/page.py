"""The page: the whole answer in one HTML file that needs nothing else, on a screen, a phone or paper."""

from __future__ import annotations

import re
from calendar import month_abbr, month_name
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from itertools import pairwise
from math import ceil, isnan
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent import __version__
from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding, by_remedy, sort_findings
from solarvent.base.quantities import show
from solarvent.bench.steps import Checklist
from solarvent.plan.fields import minutes_of
from solarvent.plan.parts import Fan
from solarvent.report.budget_text import battery_sentence
from solarvent.report.charts import night_chart, night_words, operating_chart, operating_words
from solarvent.report.days import DayPicture, day_chart, day_words, month_strips
from solarvent.report.drawing import wiring_drawing
from solarvent.report.layout import cautions, cell, clock
from solarvent.report.models_text import assumptions
from solarvent.report.night_text import short_answer
from solarvent.simulation.cold_night import Night
from solarvent.studies.overview import DayOverview, Overview
from solarvent.studies.size_option import SizedDesign

if TYPE_CHECKING:
    import pandas as pd


_TINTS = 5


def answer(overview: Overview, system: str) -> list[str]:
    """Write the three sentences: when the fans turn, how much air that is, what to do first."""
    record, bands = overview.run.plan.record, overview.run.bands
    sentences = [_when(overview.days)]
    if not isnan(bands["typical"].target_flow):
        typical, low, high = (f"{bands[name].target_air_changes:.2g}" for name in ("typical", "low", "high"))
        flow = show(bands["typical"].target_flow, "flow", system)
        share = overview.air.share_of_sunny_hour
        enough = "" if isnan(share) else f", {share:.0%} of what a sunny hour wants"
        sentences.append(
            f"From {record.target.start} to {record.target.end} in {_months(record.months_of_need)} they move {flow} on"
            f" average: {typical} ({low} to {high}) air changes an hour{enough}."
        )
    else:
        sentences.append("The weather has none of the hours in which air is needed.")
    if overview.battery is not None:
        sentences.append(battery_sentence(overview.battery))
    return [*sentences, overview.verdict.first_sentence]


def _months(numbers: list[int]) -> str:
    """Name months, a run of them by its ends."""
    follows = all((later - first) % 12 == 1 for first, later in pairwise(numbers))
    if follows and len(numbers) > 1:
        return f"{month_name[numbers[0]]} to {month_name[numbers[-1]]}"
    return ", ".join(month_name[number] for number in numbers)


def _when(days: Sequence[DayOverview]) -> str:
    parts = []
    for day in days:
        words = " to ".join(clock(hours) for hours in day.turning or ())
        parts.append((day.telling.kind, f"from {words}" if words else "not at all"))
    if not parts:
        return "There is no lit day in the weather."
    (sky, words), *rest = parts
    month = month_name[days[0].telling.day.month]
    more = "".join(f", {other_words} on {_an(other)} one" for other, other_words in rest)
    return f"On {_an(sky)} {month} day fans turn {words}{more}."


def _an(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


@dataclass(frozen=True)
class YearMap:
    """Mean air changes by month and clock hour; the hours are those in which a panel is lit in some month.

    A row is a month, and for each hour its figure as text, its tint 0-5, and whether air is needed then.
    """

    hours: list[int]
    rows: list[tuple[str, list[tuple[str, int, bool]]]]


def year_map(mean: pd.DataFrame) -> YearMap:
    """Lay out the mean air changes by month and clock hour."""
    lit = mean[mean["poa_global"] > 1.0].index.get_level_values(1)
    hours = list(range(int(lit.min()), int(lit.max()) + 1)) if len(lit) else []
    highest = max(float(mean["air_changes"].max()), 1e-9)
    rows = []
    for month in sorted(set(mean.index.get_level_values(0))):
        cells = []
        for hour in hours:
            row = mean.loc[(month, hour)] if (month, hour) in mean.index else None
            value = 0.0 if row is None else float(row["air_changes"])
            tint = 0 if value < 0.05 else min(ceil(_TINTS * value / highest), _TINTS)
            text = (
                ""
                if value < (0.5 if highest >= 10 else 0.05)
                else f"{value:.0f}"
                if highest >= 10 or value >= 1
                else f"{value:.1f}".lstrip("0")
            )
            cells.append((text, tint, row is not None and bool(row["need"] > 0)))
        rows.append((month_abbr[int(month)], cells))
    return YearMap(hours, rows)


def day_table(hours: pd.DataFrame, fans: Sequence[Fan], system: str) -> tuple[list[str], list[list[str]]]:
    """Give the hours of a day as a small table: headers and rows."""
    names = ("poa_global", "temp_air", "temp_inside")
    headers = ["from", *(COLUMNS[name].heading(system) for name in names), "fans [V]", "turning", "changes [1/h]"]
    rows = []
    for time, row in hours.iterrows():
        volts = np.array([row[f"voltage.{fan.id}"] for fan in fans])
        low, high = f"{volts.min():.1f}", f"{volts.max():.1f}"
        rows.append(
            [
                f"{time:%H:%M}",
                *(cell(name, row[name], system) for name in names),
                low if low == high else f"{low} to {high}",
                f"{round(row['fans_running'], 1):g} of {len(fans)}",
                cell("air_changes", row["air_changes"], system),
            ]
        )
    return headers, rows


@dataclass(frozen=True)
class Section:
    """A section of the page: paragraphs, then a picture (SVG) with what it shows in words, then a table.

    The key is the anchor. A row whose first cell ends with ``*`` is the plan's own.
    """

    key: str
    title: str
    lines: Sequence[str] = ()
    picture: str = ""
    words: str = ""
    headers: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()


def panels_section(choices: Sequence[SizedDesign], system: str) -> Section | None:
    """Show what smaller and larger panels would change; None if no watts are known."""
    if not choices:
        return None
    air = COLUMNS["mean_flow"].heading(system)
    headers = ("panel [W]", "all start at [W/m2]", "turn down to [W/m2]", air, "air enough", "most volts", "verdict")
    fitting = next((choice for choice in choices if choice.verdict == "fits"), None)
    safe = next((choice for choice in choices if choice.verdict != "stop"), None)
    own = next((choice for choice in choices if choice.design.as_planned), None)
    lines = [
        "The same fans and wires on another panel, judged as the plan is. Air: the mean in the hours of need. Air"
        " enough: share of the hours that want air in which the fans move it. Most volts: at the fan nearest to its"
        " limit, in the coldest bright hour, and its rated maximum."
    ]
    if safe is None:
        lines.insert(0, "No panel of the usual sizes suits this plan: see what the findings ask for.")
    elif fitting is None:
        text = "No panel lets these fans move enough air; the smallest with which the plan can be built is"
        lines.insert(0, f"{text} {_watts(safe)}.")
    elif own is None or own.verdict != "fits":
        lines.insert(0, f"The smallest panel with which these fans move enough air is {_watts(fitting)}.")
    return Section("panels", "Other panels", lines, headers=headers, rows=[_row(choice, system) for choice in choices])


def _watts(choice: SizedDesign) -> str:
    return " + ".join(f"{watts:.3g}" for watts in choice.design.every_watts) + " W"


def _row(choice: SizedDesign, system: str) -> list[str]:
    start, stop = (
        "never" if isnan(light) else f"{light:.0f}" for light in (choice.start_irradiance, choice.run_down_irradiance)
    )
    return [
        _watts(choice).removesuffix(" W") + (" *" if choice.design.as_planned else ""),
        start,
        stop,
        cell("mean_flow", choice.mean_flow, system),
        "-" if isnan(choice.share_at_target) else f"{choice.share_at_target:.0%}",
        f"{choice.fan_voltage_max:.1f} of {choice.fan_voltage_limit:.1f}",
        choice.verdict,
    ]


def night_section(night: Night | None, findings: Sequence[Finding], system: str) -> Section | None:
    """Show the coldest night; None if the weather is too short to have one."""
    if night is None:
        return None
    lines = [f"{finding.text} {finding.do}" for finding in findings if finding.level != "note"]
    lines += short_answer(night, system)
    return Section("night", "The coldest night", lines, night_chart(night, system), night_words(night, system))


#: Longer titles are cut on the page; the file of the plan keeps them whole.
_TITLE = 160
_MOST_CIRCUITS = 4
LEVEL_WORDS = {"stop": "Stop", "warn": "Warning", "note": "Note"}
#: Units behind a number or in a heading; a plan's own spelling, as in "[[m3/h, Pa], ...]", is left alone.
_UNIT = re.compile(r"(?:(?<=\d )|(?<=[^\[]\[))(kWh/m2|W/m2|m3/h|m3/s|m2|m3|cm2|in2|ft2|degC|degF)\b")
_TYPESET = str.maketrans({"2": "²", "3": "³"})
#: Nothing may be fetched, posted or run; only the page's own style counts, which charts carry inline.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"


def render_page(overview: Overview, checklist: Checklist, system: str, note: str = "") -> str:
    """Write the page of a simulated plan.

    Parameters
    ----------
    overview : Overview
        Of a year.
    checklist : Checklist
        For the wiring picture and the steps.
    system : {"metric", "us"}
        Units.
    note : str
        Said under the title.

    Returns
    -------
    str
        HTML. Whatever words the plan holds stand in it as text.
    """
    return whole_page("page.html", **content(overview, checklist, system, note))


def whole_page(template: str, **shown: Any) -> str:
    """Fill a template of a page that needs nothing else: its style stands in it, and its policy lets nothing in."""
    from markupsafe import Markup

    style = files("solarvent.report").joinpath("templates", "page.css").read_text(encoding="utf-8")
    made = environment("solarvent.report").get_template(template)
    return str(made.render(policy=POLICY, style=Markup(style), **shown))


def environment(*packages: str) -> Any:
    """Make the maker of pages from the templates of some packages: all words are escaped, and units typeset."""
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    made = Environment(
        loader=ChoiceLoader([PackageLoader(package, "templates") for package in packages]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.finalize = lambda value: typeset(value) if type(value) is str else value
    made.filters["picture"] = Markup  # for our own SVG, whose words are escaped already
    return made


def typeset(text: str) -> str:
    """Write units as people write them."""
    return _UNIT.sub(lambda unit: unit[1].translate(_TYPESET).replace("deg", "°"), text)


def content(overview: Overview, checklist: Checklist, system: str, note: str) -> dict[str, Any]:
    """Collect everything that the template shows; parameters as for :func:`render_page`."""
    record, bench, curves = overview.run.plan.record, checklist.bench, overview.curves
    title, months, findings = " ".join(record.title.split()), month_strips(overview.glance), list(overview.findings)
    return {
        "title": title if len(title) <= _TITLE else title[: _TITLE - 1] + "…",
        "note": note,
        "version": __version__,
        "verdict": overview.verdict.sentence,
        "worst": next((finding.level for finding in findings), "none"),
        "answer": answer(overview, system),
        "months": months,
        "scale": f"{max((each.highest for each in months), default=0.0):.2g} changes",
        "strips": next((each.strips for each in months if each.number == overview.month), []),
        "shown": overview.month,
        "findings": by_remedy(sort_findings(findings)),
        "level_words": LEVEL_WORDS,
        "days": [_day(overview, day, system) for day in overview.days],
        "map": year_map(overview.by_hour),
        "curves": [
            {"picture": operating_chart(curve, f"curves{number}"), "words": operating_words(curve), "fans": curve.fans}
            for number, curve in enumerate(curves[:_MOST_CIRCUITS], start=1)
        ],
        "more_curves": max(len(curves) - _MOST_CIRCUITS, 0),
        "wiring": wiring_drawing(checklist.wiring),
        "panels": panels_section(overview.panels, system),
        "night": night_section(overview.night, overview.night_findings, system),
        "phases": checklist.phases,
        "stops": checklist.stops,
        "light": f"{bench.irradiance:.0f}",
        "cells": f"{bench.temp_cell:.0f}",
        "shopping": checklist.shopping,
        "assumptions": assumptions(overview.run, system),
        "cautions": cautions(record),
    }


def _day(overview: Overview, day: DayOverview, system: str) -> dict[str, Any]:
    """One day: its picture, its words, and its hours as a table."""
    record, telling = overview.run.plan.record, day.telling
    picture = day_picture(overview, day)
    headers, rows = day_table(day.hours, record.fan, system)
    return {
        "sky": telling.kind,
        "date": f"{telling.day:%d %B}".lstrip("0"),
        "light": f"{telling.irradiation / 1000:.1f}",
        "picture": day_chart(picture, system),
        "words": day_words(picture, system),
        "headers": headers,
        "rows": rows,
    }


def day_picture(overview: Overview, day: DayOverview) -> DayPicture:
    """Collect what the picture of a day shows."""
    run, need, telling = overview.run, overview.air.sunny, day.telling
    record, sky = run.plan.record, telling.kind
    return DayPicture(
        name=f"day-{sky}",
        title=f"{sky} day, {telling.day:%d %B}",
        hours=day.hours,
        step=run.conditions.step / 3600.0,
        fans=tuple(record.fan),
        wanted=need.wanted_air_changes if need else float("nan"),
        need=(minutes_of(record.target.start) / 60, minutes_of(record.target.end) / 60),
    )
