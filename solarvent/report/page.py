"""The page: the whole answer in one HTML file that needs nothing else, on a screen, a phone or paper."""

from __future__ import annotations

import re
from calendar import month_abbr, month_name
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files
from itertools import pairwise
from math import ceil, isnan
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from solarvent import __version__
from solarvent.base.columns import COLUMNS
from solarvent.base.findings import by_remedy, sort_findings
from solarvent.base.quantities import show
from solarvent.bench.steps import Checklist
from solarvent.plan.fields import minutes_of
from solarvent.plan.parts import Fan
from solarvent.report.budget_text import battery_sentence
from solarvent.report.charts import operating_chart, operating_words
from solarvent.report.days import DayPicture, day_chart, day_words, month_strips
from solarvent.report.drawing import wiring_drawing
from solarvent.report.layout import cautions, cell, clock, of_bands
from solarvent.report.night_text import night_section
from solarvent.report.size_text import panels_section
from solarvent.simulation.simulate import Simulation
from solarvent.studies.overview import DayOverview, Overview

if TYPE_CHECKING:
    import pandas as pd


_TINTS = 5


def answer(overview: Overview, system: str) -> list[str]:
    """Write the three sentences: when the fans turn, how much air that is, what to do first."""
    record, bands = overview.run.plan.record, overview.run.bands
    sentences = [_when(overview.days)]
    if not isnan(bands["typical"].target_flow):
        typical, low, high = (f"{changes:.2g}" for changes in of_bands(bands, "target_air_changes"))
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


_COMMON_PRACTICE = "common practice, no source"


class Assumption(NamedTuple):
    """One line: what it is about, what is assumed here, and where that comes from."""

    about: str
    here: str
    source: str


def assumptions(run: Simulation, system: str) -> list[Assumption]:
    """List what a run rests on, in the order of the chain: weather, sky, sun, panel, wires, fans, air, house."""
    return [*_light(run), *_electrical(run, system), *_air(run, system)]


def _light(run: Simulation) -> Iterator[Assumption]:
    record, weather = run.plan.record, run.conditions.weather.attrs
    title, source = str(weather.get("title") or "hours"), str(weather.get("source") or "as the plan gives it")
    yield Assumption("weather", f"{title}: a typical year, no forecast", source)
    sky = record.sky
    if sky.as_measured:
        told, source = (
            "An hour of broken cloud is its brightest, middle and dullest third, which keep its mean light.",
            "one-minute data of Payerne, June 2016; mean light by cloud: Kasten & Czeplak 1980",
        )
    else:
        gap, shadow = sky.levels
        told, source = (
            f"An hour of broken cloud is spells of sun ({gap:.2f} of a clear sky) and of shadow ({shadow:.2f}) that"
            " keep its mean light.",
            "the plan; mean light by cloud: Kasten & Czeplak 1980",
        )
    yield Assumption("broken cloud", told, source)
    yield Assumption(
        "sun on the panel",
        "; ".join(f"{panel.id}: tilt {panel.tilt:g}°, facing {panel.azimuth:g}°" for panel in record.panel[:6]),
        "clear sky: Ineichen & Perez 2002; tilted plane: Hay & Davies 1980; direct and diffuse: Erbs, Klein & Duffie"
        " 1982",
    )
    clean = "; ".join(f"{panel.id}: {1 - panel.soiling_ratio:.0%} lost in dirt" for panel in record.panel[:6])
    yield Assumption("dirt on the panel", clean, _COMMON_PRACTICE)


def _electrical(run: Simulation, system: str) -> Iterator[Assumption]:
    record = run.plan.record
    yield Assumption(
        "panel",
        "A single diode through the figures of the plate; a weak panel gives 0.80 of it, 0.65 where only watts are"
        " known.",
        "De Soto, Klein & Beckman 2006; the spread: common practice, no source",
    )
    heat = "; ".join(
        f"{panel.id}: {show(panel.noct, 'temperature', system)} in the maker's test light" for panel in record.panel[:6]
    )
    yield Assumption("warmth of the cells", heat, "Ross 1980")
    contact = show(record.wiring.contact_resistance, "resistance", system)
    yield Assumption("wires and joints", f"copper by gauge, both ways; {contact} a contact", _COMMON_PRACTICE)
    spread = sorted({fan.tolerance for fan in record.fan})
    yield Assumption(
        "fans, electrical",
        f"Each starts at its start voltage against a locked rotor; fans stray by {_percent(spread)}.",
        "data sheets and common practice, no single source",
    )


def _percent(shares: list[float]) -> str:
    first, last = shares[0], shares[-1]
    return f"{first:.0%}" if first == last else f"{first:.0%} to {last:.0%}"


def _air(run: Simulation, system: str) -> Iterator[Assumption]:
    record = run.plan.record
    claimed = sorted({fan.delivered for fan in record.fan if not fan.curve})
    curve = (
        f"{_percent(claimed)} of the claimed flow, by the fan laws" if claimed else "measured curves, by the fan laws"
    )
    yield Assumption(
        "fans, air", f"Flow follows the voltage: {curve}.", "fan laws; the share: common practice, no source"
    )
    yield Assumption(
        "wind",
        f"{record.place.wind_share:.0%} of the wind of the weather station reaches the house.",
        "pressure on a wall: Swami & Chandra 1987 (coefficients from memory)",
    )
    house = record.house
    rise = show(record.target.rise, "temperature difference", system)
    asked = record.target.flow is not None or record.target.air_changes is not None
    yield Assumption(
        "enough air",
        "as the plan asks for" if asked else f"what keeps the house within {rise} of outside in a sunny hour",
        "ANSI/ASAE EP406.4 (form of the balance from memory)",
    )
    yield Assumption(
        "house",
        f"{house.shape}, cover {house.cover}, {house.tightness}, planting {house.planting}, floor {house.floor}; heat"
        " is stored in air, floor and the masses that the plan names",
        "balance of heat through time; figures of covers: see the parts library",
    )
    found = house.measured
    if found is not None:
        names = ("leakage", "light", "cover", "storage")
        given = [f"{name} {getattr(found, f'{name}_factor'):g}" for name in names if getattr(found, f"{name}_factor")]
        if found.ground_shift is not None:
            given.append(f"ground {show(found.ground_shift, 'temperature difference', system)}")
        told = f"Measured in this house, over what the tables say: {', '.join(given) or 'nothing yet'}."
        yield Assumption("your own readings", told, found.source or "the plan")


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
    # In still air nothing is divided by nought.
    highest = max(float(mean["air_changes"].max()), 1e-9)
    rows = []
    for month in sorted(set(mean.index.get_level_values(0))):
        cells = []
        for hour in hours:
            row = mean.loc[(month, hour)] if (month, hour) in mean.index else None
            value = 0.0 if row is None else float(row["air_changes"])
            tint = 0 if value < 0.05 else min(ceil(_TINTS * value / highest), _TINTS)
            # A cell is two letters wide on a phone: whole numbers, or tenths without their nought.
            text = f"{value:.0f}" if highest >= 10 or value >= 1 else f"{value:.1f}".lstrip("0")
            shown = value >= (0.5 if highest >= 10 else 0.05)
            cells.append((text if shown else "", tint, row is not None and bool(row["need"] > 0)))
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
        # A name that a template has wrong is an error, and no gap in the page.
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # Markup is a str of its own kind: pictures are not typeset, nor is what a person wrote in a plan.
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
