"""Two plans side by side: what they say and what comes of it, differences first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isclose, isnan
from typing import Any

import numpy as np

from solarvent.base.findings import LEVELS
from solarvent.findings.verdicts import find, verdict
from solarvent.plan.plan import Plan
from solarvent.simulation.power_budget import KEYS, battery_budget, hourly_budget
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.simulation.year import house_cases

#: What the row with both verdicts is called.
VERDICT = "verdict"
_SAME = 1e-6  # relative; a smaller difference is rounding
_ENERGY_WORDS = ("could make", "usable by the fans", "used by the fans", "lost on the way", "spilled", "missing")


#: The row that tells how long the weather of each plan is.
DAYS = "days of weather"


@dataclass(frozen=True)
class Row:
    """One thing in both plans: SI numbers or text, None where it does not occur.

    `what` is words, or of the plan itself the place in its file, like ``"panel[1].watts"``; `dimension` the kind of
    quantity, empty for a plain number, of which some are shares; `group` is ``"result"``, ``"finding"`` or ``"plan"``.
    """

    what: str
    left: Any
    right: Any
    dimension: str = ""
    group: str = "result"
    is_share: bool = False

    @property
    def differs(self) -> bool:
        """Left is not right, by more than rounding."""
        left, right = self.left, self.right
        if isinstance(left, float) and isinstance(right, float):
            return not (isclose(left, right, rel_tol=_SAME, abs_tol=1e-9) or (isnan(left) and isnan(right)))
        return left != right


def compare(left: Plan, right: Plan, runs: Sequence[Simulation] | None = None) -> list[Row]:
    """Simulate two plans, each with its own place and weather, and set them side by side.

    Differences come first, of those the results before the findings before the entries of the plans; then the results
    that are the same. `runs` are their simulations, where they are known already.
    """
    runs = [simulate(plan) for plan in (left, right)] if runs is None else runs
    findings = [find(run) for run in runs]
    rows = [
        *_results(runs, findings),
        *_findings(findings),
        *_entries(left, right),
    ]
    order = {"result": 0, "finding": 1, "plan": 2}
    return sorted(rows, key=lambda row: (not row.differs, order[row.group]))


def _row(what: str, both: Iterable[Any], dimension: str = "", group: str = "result", is_share: bool = False) -> Row:
    left, right = both
    return Row(what, left, right, dimension, group, is_share)


def _results(runs: Sequence[Simulation], findings: list[list[Any]]) -> Iterator[Row]:
    """What comes of the plans."""
    yield from _verdicts(runs, findings)
    yield from _house(runs)
    yield from _hours(runs)
    yield from _voltages(runs)
    yield from _batteries(runs)
    budgets = [hourly_budget(run) for run in runs]
    for key, words in zip(KEYS, _ENERGY_WORDS, strict=True):
        yield _row(f"energy of the year: {words}", (float(budget[key].sum()) for budget in budgets), "energy")
    for words, count in (
        ("panels", lambda run: len(run.plan.record.panel)),
        ("fans", lambda run: len(run.plan.record.fan)),
        ("fans on the fullest circuit", lambda run: max(len(circuit.fans) for circuit in run.circuits)),
    ):
        yield _row(words, (count(run) for run in runs))
    yield _row("price of the parts that have one", (_price(run.plan) for run in runs))


def _verdicts(runs: Sequence[Simulation], findings: list[list[Any]]) -> Iterator[Row]:
    """The verdicts, how much was found, and the air that carries them."""
    verdicts = [verdict(run, found) for run, found in zip(runs, findings, strict=True)]
    yield _row(VERDICT, (one.sentence for one in verdicts))
    for level in LEVELS:
        counts = [sum(finding.level == level for finding in found) for found in findings]
        yield _row(f'findings that say "{level}"', counts)
    for figures in zip(*(one.figures[1:] for one in verdicts), strict=True):
        what, dimension = figures[0].what, figures[0].dimension
        yield _row(what, (figure.value for figure in figures), dimension, is_share=not dimension)


def _house(runs: Sequence[Simulation]) -> Iterator[Row]:
    """How warm and how cold the houses get as planned, and for how long too hot."""
    planned = [next(case for case in house_cases(run) if case.case == "both") for run in runs]
    yield _row("hottest inside", (case.maximum for case in planned), "temperature")
    yield _row("coldest inside", (case.minimum for case in planned), "temperature")
    yield _row("hours too hot inside", (case.hours_above for case in planned))


def _batteries(runs: Sequence[Simulation]) -> Iterator[Row]:
    """How long the batteries last, where one of the plans has one."""
    budgets = [battery_budget(run) for run in runs]
    if any(budget is not None for budget in budgets):
        nights = (None if budget is None else budget.served_days.lasted_nights for budget in budgets)
        yield _row("nights that the battery lasts", nights)
        yield _row(
            "days that it lasts without sun", (None if budget is None else budget.autonomy for budget in budgets)
        )
        lowest = (None if budget is None else budget.lowest for budget in budgets)
        yield _row("lowest charge of the battery", lowest, is_share=True)


def _hours(runs: Sequence[Simulation]) -> Iterator[Row]:
    """How long the fans turn, and from which light."""
    needs = [run.needed for run in runs]
    yield _row(DAYS, (len(run.conditions.times) * run.conditions.step / 86400 for run in runs))
    yield _row(
        "hours of need",
        (float(need.sum() * run.conditions.step / 3600) for run, need in zip(runs, needs, strict=True)),
    )
    bands = [run.bands["typical"] for run in runs]
    yield _row("air changes in the hours of need [1/h]", (band.target_air_changes for band in bands))
    yield _row(
        "share of the hours of need with a fan turning",
        (
            float((run.electrical.running[:, need] > 0).any(axis=0).mean()) if need.any() else float("nan")
            for run, need in zip(runs, needs, strict=True)
        ),
        is_share=True,
    )
    yield _row("hours turning, all fans together", (sum(band.hours_running.values()) for band in bands))
    for words, pick in (("first", min), ("last", max)):
        yield _row(
            f"light that starts the {words} fan",
            (
                float(pick(np.nan_to_num(limits.start_irradiance, nan=np.inf) for limits in band.thresholds.values()))
                for band in bands
            ),
            "irradiance",
        )


def _voltages(runs: Sequence[Simulation]) -> Iterator[Row]:
    """The highest voltages in cold bright light."""
    worst = [
        worst_case(run.circuits, coldest_air(run.plan, run.conditions.weather), run.plan.record.place.altitude)
        for run in runs
    ]
    yield _row("highest voltage at a turning fan", (max(case.turning.values()) for case in worst), "voltage")
    spare = [
        min(fan.maximum_voltage - case.turning[fan.id] for fan in run.plan.record.fan)
        for run, case in zip(runs, worst, strict=True)
    ]
    yield _row("least voltage to spare at a fan", spare, "voltage")
    yield _row("highest voltage with nothing joined", (max(case.open_circuit.values()) for case in worst), "voltage")


def _price(plan: Plan) -> float | None:
    prices = [part.price for _, part in plan.record.parts() if part.price is not None]
    return float(sum(prices)) if prices else None


def _findings(findings: list[list[Any]]) -> Iterator[Row]:
    """The findings of either plan, by code: its level, or nothing."""
    levels = [{(finding.code, finding.part): finding.level for finding in found} for found in findings]
    for code, part in dict.fromkeys(key for level in levels for key in level):
        yield _row(
            f"{code}" + (f" ({part})" if part else ""), (level.get((code, part)) for level in levels), "", "finding"
        )


def _entries(left: Plan, right: Plan) -> Iterator[Row]:
    """The entries in which the plans differ, each by its place in the file."""
    flat = [dict(_flat(plan.record.model_dump())) for plan in (left, right)]
    for place in dict.fromkeys(key for one in flat for key in one):
        row = _row(place, (one.get(place) for one in flat), "", "plan")
        if row.differs:
            yield row


def _flat(value: Any, place: str = "") -> Iterator[tuple[str, Any]]:
    """Leaves of nested tables and lists, by place."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _flat(item, f"{place}.{key}" if place else key)
    elif isinstance(value, list | tuple) and value and not isinstance(value[0], int | float | str):
        for number, item in enumerate(value, start=1):
            yield from _flat(item, f"{place}[{number}]")
    elif value is not None:
        yield place, list(value) if isinstance(value, tuple) else value
