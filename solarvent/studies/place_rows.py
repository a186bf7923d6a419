"""What a plan, or each of many designs, does at some places: one row each, by the chain of `run` or that of `size`."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite, log10, nan
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.constants import ENOUGH
from solarvent.base.errors import SolarventError
from solarvent.base.findings import Finding, first_remedy
from solarvent.findings.air import air_supply
from solarvent.findings.verdicts import find, verdict
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate_under
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.simulation.year import used_power
from solarvent.studies.places import DesignRow, PlaceRow
from solarvent.studies.size_designs import as_wired, plan_of, plate_watts
from solarvent.studies.size_fans import PlaceLight
from solarvent.studies.size_option import judge, read_target
from solarvent.studies.size_work import Evaluator, tightest_fan
from solarvent.studies.sizing import as_it_runs
from solarvent.weather.conditions import conditions, plan_weather, weather_path
from solarvent.weather.span import hottest_month

if TYPE_CHECKING:
    import pandas as pd

#: Columns of a row that are text, and those that are numbers; whole numbers begin.
TEXTS = ("id", "design", "weather", "weather_by", "clock", "verdict", "reason", "cause", "do", "findings")
NUMBERS = (
    "latitude", "longitude", "weather_distance", "panel_watts", "start_irradiance", "mean_flow", "share_at_target",
    "hours_needed", "hours_at_target", "hours_running", "energy_used", "fan_voltage_max", "temp_inside_max",
)  # fmt: skip
ORDER = (
    "row", "id", "latitude", "longitude", "design", "panel_watts", "verdict", "reason", "cause", "do", "findings",
    "share_at_target", "mean_flow", "start_irradiance", "hours_needed", "hours_at_target", "hours_running",
    "energy_used", "fan_voltage_max", "temp_inside_max", "weather", "weather_by", "weather_distance", "clock",
)  # fmt: skip
FAILED = "failed"
"""In place of a verdict, where a row could not be worked out."""
_DIGITS = 9
#: What of a panel its light does not depend on.
_PLATE = {"part", "name", "source", "price", "watts", "v_oc", "i_sc", "v_mp", "i_mp", "single_diode", "width", "height"}


@dataclass(frozen=True, eq=False)
class ManyStudy:
    """What is asked at every place: a plan, the designs (none: the plan as it is), and the chain.

    `whole` carries each row through the whole of `run`, house and all findings; else a row is that of `size`.
    """

    plan: Plan
    designs: tuple[DesignRow, ...]
    whole: bool

    @property
    def rows_of_a_place(self) -> int:
        """How many rows each place has."""
        return max(len(self.designs), 1)


def work_out(study: ManyStudy, places: Sequence[PlaceRow]) -> list[dict[str, Any]]:
    """Work out the rows of some places, in order; nothing but the weather files is read, and nothing is written."""
    return [_rounded(row) for place in places for row in _rows_of(study, place)]


def _rows_of(study: ManyStudy, place: PlaceRow) -> list[dict[str, Any]]:
    """The rows of one place: weather, and light on panels that hang alike, are worked out once."""
    designs = study.designs or (DesignRow(""),)
    if place.problems:
        return [_failed(place, design, "; ".join(map(str, place.problems)), "table") for design in designs]
    rows: dict[int, dict[str, Any]] = {}
    light = _SharedLight()
    for numbers in _alike(designs):
        try:
            plan = study.plan.with_({**place.changes, **designs[numbers[0]].changes})
            watts = [designs[number].watts for number in numbers]
            work = _by_run if study.whole else _by_size
            answers = list(work(plan, watts, light))
        except SolarventError as error:
            answers = [_reason(str(error).replace("\n", "; "), "input")] * len(numbers)
        # Want of memory is no matter of this place: its chunk is lost, and done anew with the next command.
        except MemoryError:
            raise
        except Exception as error:
            # One place of a million must not end the others; what it is stands in its row.
            answers = [_reason(f"this could not be worked out ({type(error).__name__}: {error})", "program")] * len(
                numbers
            )
        for number, figures in zip(numbers, answers, strict=True):
            rows[number] = {**_heading(place, designs[number]), **figures}
    return [rows[number] for number in range(len(designs))]


def _alike(designs: Sequence[DesignRow]) -> Iterator[list[int]]:
    """Designs that differ in the size of their panels only, together."""
    groups: dict[str, list[int]] = {}
    for number, design in enumerate(designs):
        groups.setdefault(repr(sorted(design.changes.items())), []).append(number)
    yield from groups.values()


class _SharedLight:
    """Weather of a place, and the light on its panels, each worked out once for all designs whose panels hang alike."""

    def __init__(self) -> None:
        self._weather: dict[str, pd.DataFrame] = {}
        self._known: dict[Any, Any] = {}

    def weather(self, plan: Plan) -> pd.DataFrame:
        """The weather of a plan."""
        key = plan.record.weather.model_dump_json() + plan.record.place.model_dump_json()
        if key not in self._weather:
            self._weather[key] = _read(plan)
        return self._weather[key]

    def of(self, plan: Plan, work: Any) -> Any:
        """What `work` gives, a function of the plan and its weather that looks at the light alone."""
        key = (work.__name__, *_hung(plan))
        if key not in self._known:
            self._known[key] = work(plan, self.weather(plan))
        return self._known[key]


def _hung(plan: Plan) -> tuple[str, ...]:
    """Equal for plans with the same light on their panels and the same hours of need."""
    record = plan.record
    sections = [record.place, record.weather, record.sky, record.target, *record.obstacle]
    panels = [panel.model_dump_json(exclude=_PLATE) for panel in record.panel]
    words = [record.clock, str(record.house.length), repr(record.thermostat)]
    return (*(section.model_dump_json() for section in sections), *panels, *words)


def _read(plan: Plan) -> pd.DataFrame:
    """The weather of a plan; a file that the last places had too is not read again."""
    if (path := weather_path(plan)) is None:
        return plan_weather(plan)
    try:
        state = path.stat()
    except OSError:
        return plan_weather(plan)
    return _read_once(os.fspath(path), state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=4)
def _read_once(path: str, changed: int, size: int) -> pd.DataFrame:
    """Read a weather file in the state in which it is."""
    from solarvent.weather.reading import read_weather

    return read_weather(path)


def _sun(plan: Plan, weather: pd.DataFrame) -> Any:
    return conditions(plan, year=weather)


def _need_light(plan: Plan, weather: pd.DataFrame) -> PlaceLight:
    return PlaceLight(plan, weather, hottest_month(plan, weather), {})


def _by_run(plan: Plan, watts: Sequence[float | None], light: _SharedLight) -> Iterator[dict[str, Any]]:
    """What `run` says of a plan, with each size of its panels."""
    for size in watts:
        planned = plan if size is None else plan_of(as_wired(plan, size), plan)
        run = simulate_under(planned, light.of(planned, _sun))
        findings = find(run)
        judged = verdict(run, findings)
        supply = air_supply(run)
        need = run.needed
        length = run.conditions.step / 3600.0
        hours = float(need.sum()) * length
        worst = worst_case(run.circuits, coldest_air(planned, run.conditions.weather), planned.record.place.altitude)
        yield {
            "verdict": judged.level,
            "reason": judged.sentence,
            "cause": "" if judged.level == "fits" or judged.first is None else judged.first.codes[0],
            **_told(findings),
            "panel_watts": _all_watts(planned),
            "share_at_target": supply.share,
            "mean_flow": supply.flow,
            "start_irradiance": judged.figures[0].value,
            "hours_needed": hours,
            "hours_at_target": supply.share * supply.wanting * hours if supply.wanting > 0 else 0.0,
            "hours_running": float(run.electrical.any_running[need].sum()) * length,
            "energy_used": float(used_power(run)[need].sum()) * length,
            "fan_voltage_max": tightest_fan(planned.record.fan, worst)[1],
            "temp_inside_max": _hottest(run, need),
        }


def _by_size(plan: Plan, watts: Sequence[float | None], light: _SharedLight) -> Iterator[dict[str, Any]]:
    """What `size` says of a plan's own fans and wiring on panels of each size, held against the plan's own target."""
    system = plan.record.units
    tried = [as_wired(plan, size) for size in watts]
    evaluator = Evaluator(plan, light.weather(plan), tried, system, light.of(plan, _need_light))
    asked = read_target(None, plan, evaluator.place(tried[0]).year.weather, system)
    for design, option in zip(tried, evaluator.options(asked, range(len(tried))), strict=True):
        if design.as_planned:
            run = simulate_under(plan, light.of(plan, _sun))
            option = as_it_runs(option, run, find(run, system), True)
        level, reason, limit = judge(option, ENOUGH)
        stop = next((finding.code for finding in option.findings if finding.level == "stop"), limit)
        yield {
            "verdict": level,
            "reason": reason,
            "cause": {"fits": "", "short": limit, "stop": stop}[level],
            **_told(option.findings),
            "panel_watts": sum(design.every_watts),
            "share_at_target": option.share_at_target,
            "mean_flow": option.mean_flow,
            "start_irradiance": option.start_irradiance,
            "hours_needed": option.hours_needed,
            "hours_at_target": option.hours_at_target,
            "hours_running": option.hours_running,
            "energy_used": option.energy_used,
            "fan_voltage_max": option.fan_voltage_max,
        }


def _told(findings: Sequence[Finding]) -> dict[str, str]:
    """What to do first, and the codes of stops and warnings, each once."""
    first = first_remedy(findings)
    codes = dict.fromkeys(finding.code for finding in findings if finding.level != "note")
    return {"do": first.do if first else "", "findings": " ".join(codes)}


def _all_watts(plan: Plan) -> float:
    """Watts of all panels; NaN where a plate does not tell. [W]"""
    try:
        return sum(plate_watts(panel) for panel in plan.record.panel)
    except SolarventError:
        return nan


def _hottest(run: Simulation, need: np.ndarray) -> float:
    """The hottest hour of need inside, openings and fans as planned; NaN without such hours. [degC]"""
    return float(run.whole_house.case("both")[need].max()) if need.any() else nan


def _heading(place: PlaceRow, design: DesignRow) -> dict[str, Any]:
    names = ("id", "latitude", "longitude", "weather", "weather_by", "weather_distance", "clock")
    blank = {**dict.fromkeys(TEXTS, ""), **dict.fromkeys(NUMBERS, nan)}
    return {**blank, "row": place.line, **{name: getattr(place, name) for name in names}, "design": design.id}


def _reason(words: str, cause: str) -> dict[str, Any]:
    return {"verdict": FAILED, "reason": words, "cause": cause}


def _failed(place: PlaceRow, design: DesignRow, words: str, cause: str) -> dict[str, Any]:
    return {**_heading(place, design), **_reason(words, cause)}


def _rounded(row: dict[str, Any]) -> dict[str, Any]:
    """Cut numbers to nine figures: the last ones differ from one processor to another."""
    figures = {name: _cut(float(row[name])) for name in NUMBERS}
    return {name: figures.get(name, row[name]) for name in ORDER}


def _cut(value: float) -> float:
    if not isfinite(value) or value == 0:
        return value if isfinite(value) else nan
    return round(value, _DIGITS - 1 - int(np.floor(log10(abs(value)))))
