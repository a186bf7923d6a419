"""What the workers do: from the text of a plan to a part of the page, asking the same functions as the commands.

What a stage of the chain depends on is known by its content, and what was worked out of it is kept.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarvent.base.errors import PlanError, Problem, SolarventError
from solarvent.plan.library import Library, toml_content
from solarvent.plan.plan import Plan, plan_from
from solarvent.serve.drafts import LARGEST_PLAN
from solarvent.serve.forms import content_of, value_at
from solarvent.serve.pages import templates

if TYPE_CHECKING:
    from solarvent.bench.steps import Checklist
    from solarvent.simulation.simulate import Simulation
    from solarvent.studies.overview import DayOverview, Overview

#: Entries of a plan that change no light and no weather, and those that change nothing that is worked out.
_AFTER_THE_LIGHT = {"fan", "wiring", "lead", "splitter", "converter", "opening", "mass", "plants", "heater"}
_AFTER_THE_LIGHT |= {"thermostat", "screen", "battery", "target"}
_WORDS = {"title", "notes", "units"}
#: A line of a list begins a paragraph of its own.
_NUMBERED = re.compile(r" {0,2}[0-9]+(?:\. | x )| +-> ")
_STYLE = re.compile(r' style="([^"]*)"')


def plan_of(text: str, folder: str, name: str) -> Plan:
    """Read the plan of a draft; weather files are those of the folder, and no others.

    PlanError with every mistake, as from the file.
    """
    if len(text) > LARGEST_PLAN:
        raise PlanError.single("", f"a plan here has at most {LARGEST_PLAN:,} letters", "is it the right file?")
    plan = plan_from(toml_content(text, f"{name}.toml", PlanError), Library(), Path(folder) / f"{name}.toml")
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


_LIGHT, _QUICK, _RUNS, _WHOLE = _Stages(6), _Stages(12), _Stages(4), _Stages(4)


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
    from solarvent.weather.conditions import conditions

    return _LIGHT.get(_key(plan, _WORDS | _AFTER_THE_LIGHT), lambda: conditions(plan))


def _quick(plan: Plan) -> Any:
    """The fans over the year with typical plates, without the house: what the three days and the start need."""
    from solarvent.electrical.panel_model import TYPICAL
    from solarvent.simulation.simulate import simulate_under

    key = _key(plan, _WORDS)
    return _QUICK.get(key, lambda: simulate_under(plan, _conditions(plan), (TYPICAL,), house=False))


def _run(plan: Plan) -> Simulation:
    """The whole chain, whatever the units of the answer; a new title does not run it again."""
    from solarvent.simulation.simulate import simulate_under

    found: Simulation = _RUNS.get(_key(plan, _WORDS), lambda: simulate_under(plan, _conditions(plan)))
    return replace(found, plan=plan)


def _whole(plan: Plan, system: str) -> Overview:
    """Everything that ``solarvent run`` works out."""
    from solarvent.findings.verdicts import find
    from solarvent.studies.overview import overview

    def work() -> Overview:
        run = _run(plan)
        return overview(run, find(run, system), system)

    found: Overview = _WHOLE.get((*_key(plan, {"units"}), system), work)
    return found


def start() -> None:
    """Load what is slow to load, and work one answer out, before somebody waits for it."""
    import signal

    from solarvent.plan.library import shipped_text

    # The keyboard's interrupt goes to the whole group; the server ends its workers itself.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    year(shipped_text("default"), os.path.realpath(os.sep), "example", "metric")


def _part(template: str, **content: Any) -> str:
    """Write a part of the page; its pictures carry no style of their own, which the page's policy forbids."""
    return plain_style(str(templates().get_template(template).render(**content)))


def plain_style(html: str) -> str:
    """Turn style attributes, which are the pictures' own, into attributes of the drawing that say the same."""

    def attributes(found: re.Match[str]) -> str:
        pairs = (one.partition(":") for one in found[1].split(";") if ":" in one)
        return "".join(f' {key.strip()}="{value.strip()}"' for key, _, value in pairs)

    return _STYLE.sub(attributes, html)


def problems_of(error: SolarventError) -> tuple[Problem, ...]:
    """Give at most twenty of the problems."""
    return error.problems[:20]


def _or_problems(part: str, work: Any) -> str:
    """Write a part, or in its place what has to be mended first."""
    try:
        return str(work())
    except SolarventError as error:
        return _part("cannot.html", part=part, problems=problems_of(error))


def days(text: str, folder: str, name: str, system: str) -> str:
    """The three days and the light at which fans start and stop."""

    def work() -> str:
        from solarvent.electrical.panel_model import BANDS
        from solarvent.electrical.start_light import start_and_run_down
        from solarvent.studies.overview import overview

        plan = _plan(text, folder, name)
        run = _quick(plan)
        told = overview(run, [], system).days
        limits = {band.name: start_and_run_down(run.circuits, band) for band in BANDS}
        fans = [_fan(fan, limits, told) for fan in plan.record.fan]
        return _part("days.html", strips=[_strip(day, len(fans)) for day in told], fans=fans, days=told)

    return _or_problems("days", work)


def _strip(day: DayOverview, fans: int) -> Any:
    """One day by the clock: the sun, and how many of the fans turn."""
    from solarvent.report.layout import clock
    from solarvent.report.strips import Strip

    hours = day.hours.groupby(day.hours.index.hour)[["poa_global", "fans_running"]].mean()
    at = [float(hour) for hour in hours.index]
    words = "no fan turns"
    if day.turning:
        first, last = (clock(hour) for hour in day.turning)
        words = f"fans turn from {first} to {last}, at most {hours['fans_running'].max():.3g} of {fans}"
    return Strip(
        day.telling.kind,
        f"{day.telling.day:%d %B}".lstrip("0"),
        words,
        list(zip(at, (hours["fans_running"] / fans).tolist(), strict=True)),
        list(zip(at, (hours["poa_global"] / 1000.0).clip(upper=1.0).tolist(), strict=True)),
    )


def _fan(fan: Any, limits: dict[str, Any], told: Sequence[DayOverview]) -> dict[str, Any]:
    """Start and stop of one fan, and how long it turns on each day."""

    def light(kind: str) -> str:
        typical, low, high = (getattr(limits[band][fan.id], kind) for band in ("typical", "high", "low"))
        return "never" if isnan(typical) else f"{typical:.0f} ({_number(low)} to {_number(high)})"

    hours = [day.hours[f"running.{fan.id}"] for day in told]
    return {
        "id": fan.id,
        "start": light("start_irradiance"),
        "stop": light("run_down_irradiance"),
        "hours": [f"{float(turning.sum()) * _step(turning):.1f} h" for turning in hours],
    }


def _number(value: float) -> str:
    return "never" if isnan(value) else f"{value:.0f}"


def _step(column: Any) -> float:
    """Length of the steps of a column. [h]"""
    times = column.index
    return float((times[1] - times[0]).total_seconds() / 3600.0) if len(times) > 1 else 1.0


def year(text: str, folder: str, name: str, system: str) -> tuple[str, str]:
    """The verdict with the first thing to do, for the head of every room; and the answer of the year."""
    from solarvent.report import page
    from solarvent.report.run_text import house_rows

    try:
        whole = _whole(_plan(text, folder, name), system)
    except SolarventError as error:
        problems = problems_of(error)
        return _part("verdict.html", verdict=None, problems=problems, code=""), _part(
            "cannot.html", part="year", problems=problems
        )
    from solarvent.studies.mending import mendable

    head = _part("verdict.html", verdict=whole.verdict, problems=(), code=mendable(whole.verdict.first))
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

    try:
        plan = _plan(text, folder, name)
        found = mend(text, plan, code, lambda other: find(simulate_under(other, _conditions(other))))
    except SolarventError as error:
        return problems_of(error)
    return found.words, found.text


def pictures(text: str, folder: str, name: str, system: str) -> str:
    """What takes longest to draw: the wiring, the days by the hour, why a fan starts."""

    def work() -> str:
        from solarvent.report import page

        plan = _plan(text, folder, name)
        shown = page.content(_whole(plan, system), _checklist(plan, system), system, "")
        keys = ("days", "curves", "more_curves", "wiring", "light", "night", "panels")
        return _part("pictures.html", **{key: shown[key] for key in keys})

    return _or_problems("pictures", work)


def cloud(text: str, folder: str, name: str, system: str, oktas: int) -> str:
    """The hours of need of the month under a sky that is named, as ``solarvent airflow --oktas`` has them."""

    def work() -> str:
        from solarvent.report.airflow_text import sky_sentence
        from solarvent.studies.sky_day import for_span, under_sky
        from solarvent.weather.span import hottest_month

        plan = _plan(text, folder, name)
        weather, target = _conditions(plan).weather, plan.record.target
        month = hottest_month(plan, weather)
        answer = under_sky(for_span(plan, month, target.start, target.end), weather, month, oktas)
        return _part("cloud.html", sentence=sky_sentence(answer, system), oktas=oktas)

    return _or_problems("cloud", work)


def difference(pinned: str, text: str, folder: str, name: str, system: str) -> str:
    """What a change has brought against a state that was pinned, as ``solarvent compare`` has it."""

    def work() -> str:
        from solarvent.report.choices_text import difference_rows
        from solarvent.studies.compare import compare

        plans = [_plan(one, folder, name) for one in (pinned, text)]
        rows = compare(plans[0], plans[1], [_run(plan) for plan in plans])
        return _part("difference.html", rows=difference_rows(rows, system))

    return _or_problems("difference", work)


def _checklist(plan: Plan, system: str) -> Checklist:
    from solarvent.bench.steps import checklist

    return checklist(plan, system=system, known=_whole(plan, system).findings)


def bench(
    text: str, folder: str, name: str, system: str, ticks: tuple[str, ...], readings: tuple[tuple[str, str], ...]
) -> str:
    """The wiring picture, the steps and the shopping list, with what is ticked."""

    def work() -> str:
        from solarvent.report.drawing import wiring_drawing
        from solarvent.serve.marks import marks_of, phases

        plan = _plan(text, folder, name)
        steps = _checklist(plan, system)
        return _part(
            "marks.html",
            stops=steps.stops,
            wiring=wiring_drawing(steps.wiring),
            light=f"{steps.bench.irradiance:.0f}",
            cells=f"{steps.bench.temp_cell:.0f}",
            marks=marks_of(steps),
            phases=phases(steps.steps, set(ticks)),
            shopping=steps.shopping,
            readings=dict(readings),
        )

    return _or_problems("bench", work)


def meaning(text: str, folder: str, name: str, readings: str, irradiance: str) -> str:
    """What the readings mean, as ``solarvent meter`` tells it."""

    def work() -> str:
        from solarvent.bench.diagnosis import diagnose
        from solarvent.report.diagnosis_text import is_urgent, render_diagnosis
        from solarvent.serve.marks import light_of, readings_of

        plan = _plan(text, folder, name)
        taken = readings_of(plan, json.loads(readings))
        light = light_of(irradiance)
        if not taken:
            return _part("meaning.html", blocks=(), urgent=False)
        found = diagnose(plan, taken, light)
        blocks = render_diagnosis(plan.record.title, found, light).split("\n\n")[1:-1]
        return _part("meaning.html", blocks=[_block(one) for one in blocks], urgent=is_urgent(found))

    return _or_problems("meaning", work)


def pairing(texts: tuple[str, ...]) -> str:
    """Whether the things in the boxes go together, and what to buy or to cut, as ``solarvent pair`` tells it."""

    def work() -> str:
        from solarvent.report.parts import pairing_text
        from solarvent.serve.boxes import Pool, pooled
        from solarvent.studies.pair import pair

        if not Pool(texts).ready:
            return _part("pairing.html", answer=None, blocks=(), first="")
        answer = pair(pooled(texts))
        first, *blocks = pairing_text(answer).split("\n\n")
        # How a purchase is written into a box file is not told: here a button puts it in.
        told = [_block(one) for one in blocks[1:] if not one.startswith("Once bought")]
        return _part("pairing.html", answer=answer, first=" ".join(first.split()), blocks=told)

    return _or_problems("pairing", work)


def joined(text: str, folder: str, name: str, system: str) -> str:
    """How the parts of the plan itself are joined: the picture, and what is wrong about it."""

    def work() -> str:
        from solarvent.report.drawing import wiring_drawing

        plan = _plan(text, folder, name)
        steps = _checklist(plan, system)
        return _part(
            "joined.html", wiring=wiring_drawing(steps.wiring), stops=steps.stops, light=f"{steps.bench.irradiance:.0f}"
        )

    return _or_problems("joined", work)


def _block(text: str) -> dict[str, Any]:
    """Take a block of text apart: its heading, and its paragraphs without the breaks of a narrow screen."""
    lines = text.split("\n")
    title = ""
    if len(lines) > 1 and set(lines[1]) == {"-"}:
        title, lines = lines[0], lines[2:]
    return {"title": title, "lines": list(_joined(lines))}


def _joined(lines: Iterable[str]) -> Iterable[str]:
    """Join the lines of each paragraph; what is set in goes on with the line before."""
    waiting = ""
    for line in lines:
        if waiting and (not line.startswith(" ") or _NUMBERED.match(line)):
            yield waiting
            waiting = line
        else:
            waiting = f"{waiting} {line.strip()}".strip()
    if waiting:
        yield waiting


def report(text: str, folder: str, name: str, system: str) -> str:
    """The one-file report, as ``solarvent report`` writes it; problems come as their own short page."""

    def work() -> str:
        from solarvent.report.page import render_page

        plan = _plan(text, folder, name)
        return render_page(_whole(plan, system), _checklist(plan, system), system)

    return _or_problems("report", work)
