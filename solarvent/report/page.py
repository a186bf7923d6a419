"""The page: the whole answer in one HTML file that needs nothing else, on a screen, a phone or paper."""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib.resources import files
from itertools import groupby
from typing import Any

from solarvent import __version__
from solarvent.base.findings import by_remedy, sort_findings
from solarvent.bench.preparation import Step
from solarvent.bench.steps import Checklist
from solarvent.plan.fields import minutes_of
from solarvent.report import page_parts as parts
from solarvent.report.assumptions import assumptions
from solarvent.report.charts import DayPicture, day_chart, day_words
from solarvent.report.drawing import wiring_drawing
from solarvent.report.operating_chart import operating_chart, operating_words
from solarvent.report.page_sections import night_section, panels_section
from solarvent.report.strips import SKY_NAMES, month_strips
from solarvent.studies.overview import DayOverview, Overview

#: Longer titles are cut on the page; the file of the plan keeps them whole.
_TITLE = 160
_MOST_CIRCUITS = 4
_LEVEL_WORDS = {"stop": "Stop", "warn": "Warning", "note": "Note"}
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
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("solarvent.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.finalize = lambda value: typeset(value) if type(value) is str else value
    style = files("solarvent.report").joinpath("templates", "page.css").read_text(encoding="utf-8")
    environment.globals["style"] = Markup(style)
    environment.filters["picture"] = Markup  # for our own SVG, whose words are escaped already
    return environment.get_template("page.html").render(content(overview, checklist, system, note))


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
        "policy": POLICY,
        "version": __version__,
        "verdict": overview.verdict.sentence,
        "worst": next((finding.level for finding in findings), "none"),
        "answer": parts.answer(overview, system),
        "months": months,
        "strips": next((each.strips for each in months if each.number == overview.month), []),
        "shown": overview.month,
        "findings": by_remedy(sort_findings(findings)),
        "level_words": _LEVEL_WORDS,
        "days": [_day(overview, day, system) for day in overview.days],
        "map": parts.year_map(overview.by_hour),
        "curves": [
            {"picture": operating_chart(curve, f"curves{number}"), "words": operating_words(curve), "fans": curve.fans}
            for number, curve in enumerate(curves[:_MOST_CIRCUITS], start=1)
        ],
        "more_curves": max(len(curves) - _MOST_CIRCUITS, 0),
        "wiring": wiring_drawing(checklist.wiring),
        "panels": panels_section(overview.panels),
        "night": night_section(overview.night, overview.night_findings, system),
        "phases": _phases(checklist.steps),
        "stops": checklist.stops,
        "light": f"{bench.irradiance:.0f}",
        "cells": f"{bench.temp_cell:.0f}",
        "shopping": checklist.shopping,
        "assumptions": assumptions(overview.run, system),
        "cautions": parts.cautions(record),
    }


def _day(overview: Overview, day: DayOverview, system: str) -> dict[str, Any]:
    """One day: its picture, its words, and its hours as a table."""
    run, need, telling = overview.run, overview.air.sunny, day.telling
    record, sky = run.plan.record, SKY_NAMES[telling.kind]
    picture = DayPicture(
        name=f"day-{sky}",
        title=f"{sky} day, {telling.day:%d %B}",
        hours=day.hours,
        step=run.conditions.step / 3600.0,
        fans=tuple(record.fan),
        wanted=need.wanted_air_changes if need else float("nan"),
        need=(minutes_of(record.target.start) / 60, minutes_of(record.target.end) / 60),
    )
    headers, rows = parts.day_table(day.hours, record.fan, system)
    return {
        "sky": sky,
        "date": f"{telling.day:%d %B}".lstrip("0"),
        "light": f"{telling.irradiation / 1000:.1f}",
        "picture": day_chart(picture, system),
        "words": day_words(picture, system),
        "headers": headers,
        "rows": rows,
    }


def _phases(steps: Sequence[Step]) -> list[dict[str, Any]]:
    """The steps of the checklist by phase, numbered through."""
    numbered = enumerate(steps, start=1)
    return [
        {"name": phase[0].upper() + phase[1:], "steps": [{"number": number, "step": step} for number, step in group]}
        for phase, group in groupby(numbered, key=lambda pair: pair[1].phase)
    ]
