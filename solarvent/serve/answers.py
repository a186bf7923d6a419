"""What the workers do: from the text of a plan to a part of the page, asking the same functions as the commands.

What a stage of the chain depends on is known by its content, and what was worked out of it is kept.
"""

from __future__ import annotations

import ctypes
import os
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import lru_cache, wraps
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarvent.base.errors import PlanError, Problem, SolarventError
from solarvent.plan.library import toml_content
from solarvent.plan.plan import Plan, plan_from
from solarvent.serve.drafts import LARGEST_PLAN
from solarvent.serve.forms import content_of, library, value_at
from solarvent.serve.pages import light_of, marks_of, readings_of, templates, tick_of

if TYPE_CHECKING:
    from solarvent.base.findings import Finding
    from solarvent.bench.steps import Checklist
    from solarvent.simulation.simulate import Simulation
    from solarvent.studies.overview import DayOverview, Overview

#: Entries of a plan that change no light and no weather, and those that change nothing that is worked out.
_AFTER_THE_LIGHT = {"fan", "wiring", "lead", "splitter", "converter", "opening", "mass", "plants", "heater"}
_AFTER_THE_LIGHT |= {"thermostat", "screen", "battery", "target"}
_WORDS = {"title", "notes", "units"}
#: What of a plan makes its circuits; which way a panel looks does not.
_CIRCUITS = {"panel", "fan", "wiring", "lead", "splitter", "converter", "battery"}
_FACING: Any = {"panel": {"__all__": {"tilt", "azimuth"}}}
_STYLE = re.compile(r' style="([^"]*)"')


def plan_of(text: str, folder: str, name: str) -> Plan:
    """Read the plan of a draft; weather files are those of the folder, and no others.

    PlanError with every mistake, as from the file.
    """
    if len(text) > LARGEST_PLAN:
        raise PlanError.single("", f"a plan here has at most {LARGEST_PLAN:,} letters", "is it the right file?")
    plan = plan_from(toml_content(text, f"{name}.toml", PlanError), library(), Path(folder) / f"{name}.toml")
    if file := plan.record.weather.file:
        place = os.path.realpath(Path(folder) / file)
        if os.path.dirname(place) != folder or os.path.basename(place) != file:
            what = f'"{file[:60]}" does not lie in the folder of the plan'
            raise PlanError.single("weather.file", what, "put it beside the plan, and write its name alone")
    return plan


@lru_cache(16)
def _plan(text: str, folder: str, name: str) -> Plan:
    return plan_of(text, folder, name)


class _Stages:
    """The stages of the chain that were worked out last, by what they depend on."""

    def __init__(self, most: int) -> None:
        self._most, self._kept = most, {}  # type: ignore[var-annotated]

    def get(self, key: Any, work: Any) -> Any:
        """Give what was worked out for a key, or work it out; the oldest goes."""
        if key not in self._kept:
            while len(self._kept) >= self._most:
                del self._kept[next(iter(self._kept))]
            self._kept[key] = work()
        return self._kept[key]


_SKY, _LIGHT, _LIMITS, _QUICK, _RUNS = (_Stages(most) for most in (4, 6, 12, 2, 4))


def _key(plan: Plan, without: set[str]) -> tuple[str, str]:
    """Name what a stage depends on: the plan without some sections, and the state of its weather file."""
    folder = "" if plan.path is None else str(plan.path.parent)
    return plan.record.model_dump_json(exclude=without), _stamp(folder, plan.record.weather.file)


def _stamp(folder: str, file: object) -> str:
    """Name the state of a weather file, by which it is known that another was put in its place; empty without one."""
    if not isinstance(file, str):
        return ""
    try:
        seen = (Path(folder) / file).stat()
    except (OSError, ValueError):
        return "missing"
    return f"{folder} {seen.st_mtime_ns} {seen.st_size}"


def weather_state(folder: str, *texts: str) -> tuple[str, ...]:
    """Name the state of the weather files that plans name; of a text that is no plan nothing."""
    return tuple(_stamp(folder, value_at(_content(text), "weather.file")) for text in texts)


def _content(text: str) -> dict[str, Any]:
    try:
        return content_of(text)
    except SolarventError:
        return {}


def _conditions(plan: Plan) -> Any:
    from solarvent.weather.conditions import conditions, on_panels

    without = _WORDS | _AFTER_THE_LIGHT
    sky = _SKY.get(_key(plan, without | {"panel"}), lambda: conditions(plan))
    return _LIGHT.get(_key(plan, without), lambda: on_panels(plan, sky))


def _limits(run: Simulation) -> Any:
    """Where the fans start and stop, by band; in the light on the cells, whichever way the panels look."""
    from solarvent.electrical.panel_model import BANDS, TYPICAL
    from solarvent.electrical.start_light import start_and_run_down

    def work() -> Any:
        others = {band.name: start_and_run_down(run.circuits, band) for band in BANDS if band != TYPICAL}
        return others | {TYPICAL.name: run.bands[TYPICAL.name].thresholds}

    return _LIMITS.get(run.plan.record.model_dump_json(include=_CIRCUITS, exclude=_FACING), work)


def _quick(plan: Plan) -> Any:
    """The fans over the year with typical plates, without the house: what the three days and the start need."""
    from solarvent.electrical.panel_model import TYPICAL
    from solarvent.simulation.simulate import simulate_under

    key = _key(plan, _WORDS)
    return _QUICK.get(key, lambda: simulate_under(plan, _conditions(plan), (TYPICAL,), house=False))


def _run(plan: Plan) -> tuple[Simulation, _Stages]:
    """The whole chain, and what was told of it; new units or a new title do not run it again."""
    from solarvent.simulation.simulate import simulate_under

    # A year of everything has 17 MB: what is told goes with its run, so that no more runs are held than are kept here.
    run, told = _RUNS.get(_key(plan, _WORDS), lambda: (simulate_under(plan, _conditions(plan)), _Stages(2)))
    return replace(run, plan=plan), told


def _whole(plan: Plan, system: str) -> Overview:
    """Everything that ``solarvent run`` works out."""
    from solarvent.findings.verdicts import find
    from solarvent.studies.overview import overview

    run, told = _run(plan)

    def work() -> Overview:
        found = overview(run, find(run, system), system)
        _give_back()
        return found

    whole: Overview = told.get((*_key(plan, {"units"}), system), work)
    return whole


def _give_back() -> None:
    """Give memory back to the system that lies free in the holes between what is kept; a few milliseconds.

    Else a worker grows for half an hour, by a tenth. Only the C library of GNU has holes, and the means to close them.
    """
    with suppress(OSError, TypeError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


def start() -> None:
    """Load what is slow to load, and work one answer out, before somebody waits for it."""
    import signal

    from solarvent.plan.library import shipped_text

    # The keyboard's interrupt goes to the whole group; the server ends its workers itself.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    year(shipped_text("default"), os.path.realpath(os.sep), "example", "metric")


def _part(template: str, **content: Any) -> str:
    """Write a part of the page; the style of pictures, which its policy forbids, becomes attributes of the drawing."""

    def attributes(found: re.Match[str]) -> str:
        pairs = (one.partition(":") for one in found[1].split(";") if ":" in one)
        return "".join(f' {key.strip()}="{value.strip()}"' for key, _, value in pairs)

    return _STYLE.sub(attributes, str(templates().get_template(template).render(**content)))


def _or_problems(part: str) -> Callable[[Callable[..., str]], Callable[..., str]]:
    """Let a function that writes a part of the page write in its place what has to be mended first."""

    def decorate(write: Callable[..., str]) -> Callable[..., str]:
        @wraps(write)
        def written(*arguments: Any) -> str:
            try:
                return write(*arguments)
            except SolarventError as error:
                return _part("cannot.html", part=part, problems=error.problems)

        return written

    return decorate


@_or_problems("days")
def days(text: str, folder: str, name: str, system: str) -> str:
    """The three days and the light at which fans start and stop."""
    from solarvent.report.days import fans_strip
    from solarvent.studies.overview import overview

    plan = _plan(text, folder, name)
    run = _quick(plan)
    told = overview(run, [], system).days
    fans = [_fan(fan, _limits(run), told, run.conditions.step / 3600.0) for fan in plan.record.fan]
    return _part("days.html", strips=[fans_strip(day, len(fans)) for day in told], fans=fans, days=told)


def _fan(fan: Any, limits: dict[str, Any], told: Sequence[DayOverview], step: float) -> dict[str, Any]:
    """Start and stop of one fan, and how long it turns on each day, in steps of so many hours."""
    from solarvent.report.layout import spread

    def light(kind: str) -> str:
        typical, low, high = (getattr(limits[band][fan.id], kind) for band in ("typical", "high", "low"))
        return "never" if isnan(typical) else spread(typical, low, high).replace("..", "to")

    hours = [day.hours[f"running.{fan.id}"] for day in told]
    return {
        "id": fan.id,
        "start": light("start_irradiance"),
        "stop": light("run_down_irradiance"),
        "hours": [f"{float(turning.sum()) * step:.1f} h" for turning in hours],
    }


def year(text: str, folder: str, name: str, system: str) -> tuple[str, str]:
    """The verdict with the first thing to do, for the head of every room; and the answer of the year."""
    from solarvent.report import page
    from solarvent.report.run_text import house_rows

    try:
        whole = _whole(_plan(text, folder, name), system)
    except SolarventError as error:
        problems = error.problems
        head = _part("verdict.html", verdict=None, problems=problems, code="")
        return head, _part("cannot.html", part="year", problems=problems)
    from solarvent.studies.mending import mendable

    head = _part("verdict.html", name=name, verdict=whole.verdict, problems=(), code=mendable(whole.verdict.first))
    headers, rows = house_rows(whole.house, system)
    remedies = page.by_remedy(page.sort_findings(whole.findings))
    body = _part(
        "year.html",
        sentences=page.answer(whole, system)[:-1],
        findings=remedies,
        level_words=page.LEVEL_WORDS,
        map=page.year_map(whole.by_hour),
        house=(("way", *headers[1:]), rows),
    )
    return head, body


def mended(text: str, folder: str, name: str, code: str) -> tuple[str, str] | tuple[Problem, ...]:
    """What mends a finding, as ``solarvent new --mend`` does it: what to get or to do, and the plan; or why not."""
    from solarvent.findings.verdicts import find
    from solarvent.simulation.simulate import simulate_under
    from solarvent.studies.mending import mend

    def look(plan: Plan) -> list[Finding]:
        return find(simulate_under(plan, _conditions(plan)))

    try:
        found = mend(text, _plan(text, folder, name), code, look)
    except SolarventError as error:
        return error.problems
    return found.words, found.text


@_or_problems("pictures")
def pictures(text: str, folder: str, name: str, system: str) -> str:
    """What takes longest to draw: the wiring, the days by the hour, why a fan starts."""
    from solarvent.report import page

    plan = _plan(text, folder, name)
    shown = page.content(_whole(plan, system), _checklist(plan, system), system, "")
    keys = ("days", "curves", "more_curves", "wiring", "light", "night", "panels")
    return _part("pictures.html", **{key: shown[key] for key in keys})


@_or_problems("cloud")
def cloud(text: str, folder: str, name: str, system: str, oktas: int) -> str:
    """The hours of need of the month under a sky that is named, as ``solarvent airflow --oktas`` has them."""
    from solarvent.report.airflow_text import sky_sentence
    from solarvent.studies.sky_day import for_span, under_sky
    from solarvent.weather.span import hottest_month

    plan = _plan(text, folder, name)
    weather, target = _conditions(plan).weather, plan.record.target
    month = hottest_month(plan, weather)
    answer = under_sky(for_span(plan, month, target.start, target.end), weather, month, oktas)
    return _part("cloud.html", sentence=sky_sentence(answer, system), oktas=oktas)


@_or_problems("difference")
def difference(pinned: str, text: str, folder: str, name: str, system: str) -> str:
    """What a change has brought against a state that was pinned, as ``solarvent compare`` has it."""
    from solarvent.report.choices_text import difference_rows
    from solarvent.studies.compare import compare

    plans = [_plan(one, folder, name) for one in (pinned, text)]
    rows = compare(plans[0], plans[1], [_run(plan)[0] for plan in plans])
    return _part("difference.html", rows=difference_rows(rows, system))


def _checklist(plan: Plan, system: str) -> Checklist:
    from solarvent.bench.steps import checklist

    return checklist(plan, system=system, known=_whole(plan, system).findings)


def bench(
    text: str, folder: str, name: str, system: str, ticks: tuple[str, ...], readings: tuple[tuple[str, str], ...]
) -> tuple[str, str]:
    """The wiring picture with fields at its marks; and the steps, with what is ticked, and the shopping list."""
    from solarvent.report.drawing import wiring_pieces

    try:
        steps = _checklist(_plan(text, folder, name), system)
    except SolarventError as error:
        head, body = (_part("cannot.html", part=part, problems=error.problems) for part in ("bench", "checklist"))
        return head, body
    shown = {"light": f"{steps.bench.irradiance:.0f}", "cells": f"{steps.bench.temp_cell:.0f}"}
    pieces, marks = wiring_pieces(steps.wiring), {mark.letter: mark for mark in marks_of(steps)}
    return _part("marks.html", **shown, stops=steps.stops, pieces=pieces, marks=marks, readings=dict(readings)), _part(
        "checklist.html", **shown, phases=steps.phases, tick_of=tick_of, ticks=ticks, shopping=steps.shopping
    )


@_or_problems("meaning")
def meaning(text: str, folder: str, name: str, system: str, readings: tuple[tuple[str, str], ...]) -> str:
    """What the readings mean, as ``solarvent meter`` tells it."""
    from solarvent.bench.diagnosis import diagnose
    from solarvent.report.diagnosis_text import diagnosis_blocks, is_urgent

    plan = _plan(text, folder, name)
    typed = dict(readings)
    light = light_of(typed.pop("read.light", ""))
    taken = readings_of(plan, typed)
    if not taken:
        return _part("meaning.html", blocks=(), urgent=False)
    found = diagnose(plan, taken, light)
    return _part("meaning.html", blocks=diagnosis_blocks(found, light), urgent=is_urgent(found))


@_or_problems("pairing")
def pairing(texts: tuple[str, ...], name: str) -> str:
    """Whether the things in the boxes go together, and what to buy or to cut, as ``solarvent pair`` tells it."""
    from solarvent.base.findings import by_remedy
    from solarvent.report.page import LEVEL_WORDS
    from solarvent.report.parts import pairing_blocks
    from solarvent.serve.boxes import Pool, pooled
    from solarvent.studies.pair import pair

    if not Pool(texts).ready:
        return _part("pairing.html", answer=None)
    answer = pair(pooled(texts))
    told = {"findings": by_remedy(answer.findings), "level_words": LEVEL_WORDS, "blocks": pairing_blocks(answer)}
    return _part("pairing.html", name=name, answer=answer, **told)


@_or_problems("joined")
def joined(text: str, folder: str, name: str, system: str) -> str:
    """How the parts of the plan itself are joined: the picture, and what is wrong about it."""
    from solarvent.report.drawing import wiring_drawing

    plan = _plan(text, folder, name)
    steps = _checklist(plan, system)
    return _part(
        "joined.html", wiring=wiring_drawing(steps.wiring), stops=steps.stops, light=f"{steps.bench.irradiance:.0f}"
    )


@_or_problems("report")
def report(text: str, folder: str, name: str, system: str) -> str:
    """The one-file report, as ``solarvent report`` writes it; problems come as their own short page."""
    from solarvent.report.page import render_page

    plan = _plan(text, folder, name)
    return render_page(_whole(plan, system), _checklist(plan, system), system)
