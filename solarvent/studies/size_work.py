"""What each design does in the months of need and under the named skies, before it is judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.network import FanState, fan_speed, flow_at_limit
from solarvent.base.findings import Finding, sort_findings
from solarvent.electrical.battery import held_at
from solarvent.electrical.battery_circuit import BatteryCourse
from solarvent.electrical.start_light import Thresholds, start_and_run_down_by_size
from solarvent.findings.air import inlet_findings, reaches
from solarvent.findings.house import doubt_findings, house_findings
from solarvent.findings.joints import wiring_findings
from solarvent.findings.light import weather_findings
from solarvent.findings.starting import tells_of_the_year
from solarvent.findings.supply import (
    controller_findings,
    drop_findings,
    flat_findings,
    heat_and_voltage_findings,
    weak_light_findings,
)
from solarvent.findings.wires import thin_wire_findings
from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Converter, Fan
from solarvent.plan.plan import Plan
from solarvent.simulation.power_budget import ServedDays, served_days
from solarvent.simulation.worst_case import WorstCase, coldest_air, worst_cases
from solarvent.studies.size_designs import Design, plan_of
from solarvent.studies.size_fans import DesignLine, FanCourse, PlaceLight, SizedCircuits, StoredMoments
from solarvent.studies.size_option import SizedDesign, SizingTarget, fan_findings, usual
from solarvent.weather.span import hottest_month
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness

if TYPE_CHECKING:
    import pandas as pd

AT_ONCE = 150_000
"""Moments of all designs that are worked out together; with more, memory grows and hardly any time is won."""
_SIZES = 25  # of one wiring in a group: as many as go together in weather by the hour


@dataclass(frozen=True, eq=False)
class Evaluated:
    """A design and what it does, before it is held against a target.

    `line_open`, shape (moments,), says where a thermostat leaves the fans off; `flow`, shape (steps,), is fresh air in
    the hours of need, in the wind of the year, elsewhere 0 [m3/s]; `energy` goes into the turning fans in the
    needed hours [Wh]; `nights` is how long a battery lasts.
    """

    design: Design
    place: PlaceLight
    fans: FanCourse
    line_open: np.ndarray
    flow: np.ndarray
    energy: float
    worst: WorstCase
    thresholds: dict[str, Thresholds]
    findings: tuple[Finding, ...]
    nights: ServedDays | None = None


class Evaluator:
    """Works designs out; those that differ in the size of their panels only are carried through the year together.

    `light`, where it is given, is that on the panels of every one of them. `groups` are the designs that go together,
    by their numbers in `tried`, those of one place one after the other. It can be pickled.
    """

    def __init__(
        self, plan: Plan, weather: pd.DataFrame, tried: Sequence[Design], system: str, light: PlaceLight | None = None
    ) -> None:
        self.plan, self.weather, self.system, self._light = plan, weather, system, light
        self.month, self.tried = hottest_month(plan, weather), tried
        alike: dict[Any, list[int]] = {}
        for number, design in enumerate(tried):
            alike.setdefault(wired_as(design), []).append(number)
        by_place = sorted(alike.values(), key=lambda numbers: _where(tried[numbers[0]]))
        self.groups = [group[first : first + _SIZES] for group in by_place for first in range(0, len(group), _SIZES)]
        self._places: dict[Any, PlaceLight] = {}
        self._lines: dict[Any, DesignLine] = {}

    def place(self, design: Design) -> PlaceLight:
        """The light where a design stands, worked out once."""
        where = _where(design)
        if where not in self._places:
            planned = plan_of(design, self.plan)
            self._places[where] = self._light or PlaceLight(planned, self.weather, self.month)
        return self._places[where]

    def options(self, target: SizingTarget, group: Sequence[int]) -> list[SizedDesign]:
        """Work out the designs of a group, and hold them against a target."""
        alike = [self.tried[number] for number in group]
        most = max(AT_ONCE // max(self.place(alike[0]).substeps, 1), 1)
        parts = [self._evaluated(alike[first : first + most]) for first in range(0, len(alike), most)]
        return [option_of(one, target, self.month) for part in parts for one in part]

    def _evaluated(self, alike: Sequence[Design]) -> Iterator[Evaluated]:
        """Work designs out that differ in the size of their panels only."""
        plans = [plan_of(design, self.plan) for design in alike]
        sizes = [design.panel_watts / alike[0].panel_watts for design in alike]
        place, wired = self.place(alike[0]), SizedCircuits(plans[0])
        altitude = plans[0].record.place.altitude
        worst = worst_cases(wired.circuits, coldest_air(plans[0], self.weather), sizes, altitude)
        limits = start_and_run_down_by_size(wired.circuits, sizes)
        courses = self._courses(plans, sizes, _where(alike[0]), wired, worst)
        for design, planned, highest, starts, course in zip(alike, plans, worst, limits, courses, strict=True):
            yield _evaluated(design, planned, place, wired, highest, starts, *course, self.system)

    def _courses(
        self,
        plans: Sequence[Plan],
        sizes: Sequence[float],
        where: Any,
        wired: SizedCircuits,
        worst: Sequence[WorstCase],
    ) -> list[tuple[FanCourse, np.ndarray, float]]:
        """What the fans do, where a thermostat leaves them off, and the share of steps in which that is in doubt."""
        place = self._places[where]
        if self.plan.record.thermostat is None:
            off = np.zeros(place.substeps, dtype=bool)
            courses = wired.courses(place.panels, sizes, place.needed, worst, stored=place.stored)
            return [(course, off, 0.0) for course in courses]
        if where not in self._lines:
            self._lines[where] = DesignLine(self.plan, place)
        settled = []
        # What the fans of a design do to the house decides when they are fed: each has its own way through the year.
        for planned, size, highest in zip(plans, sizes, worst, strict=True):

            def fans(at: slice, line: np.ndarray, size: float = size) -> FanCourse:
                lights = {name: tuple(values[..., at] for values in both) for name, both in place.panels.items()}
                stored = None if place.stored is None else place.stored.part(at)
                every = np.ones(len(line), dtype=bool)
                return next(wired.courses(lights, [size], every, closed=line, stored=stored))

            closed, doubt = self._lines[where].closed(planned, fans)
            whole = next(wired.courses(place.panels, [size], place.needed, [highest], closed, place.stored))
            settled.append((whole, ~closed, doubt))
        return settled


def _where(design: Design) -> tuple[float, float, bool]:
    """Equal for designs on whose panels the same light falls."""
    return design.tilt, design.azimuth, design.own is None


def wired_as(design: Design) -> Any:
    """Equal for designs that differ in the size of their panels only."""
    place = (design.tilt, design.azimuth)
    return place, design.fans, design.fan.model_dump_json(), design.converter_part, design.wire, id(design.own)


def _evaluated(
    design: Design,
    planned: Plan,
    place: PlaceLight,
    wired: SizedCircuits,
    worst: WorstCase,
    limits: dict[str, Thresholds],
    fans: FanCourse,
    line_open: np.ndarray,
    doubt: float,
    system: str,
) -> Evaluated:
    """Sum up what a design does, and what is to be said of it."""
    needed = place.needed_hours(np.ones(place.substeps))
    names = [fan.id for fan in planned.record.fan]
    suffered = _brightest(wired, place, names, fans), dict(zip(names, fans.peak.tolist(), strict=True))
    # The panels of this design decide, not those of the harness that designs share.
    harness = build_harness(planned)
    findings = [*wiring_findings(planned, read_families(planned.library), harness, every_joint=False)]
    findings += controller_findings(planned, harness)
    stores = [(one.storage, one.fan_ids) for one in wired.circuits]
    batteries = {name: held_at(store) for store, ids in stores if store is not None for name in ids}
    findings += fan_findings(planned, worst, limits, harness, batteries, *suffered, system, design.own is not None)
    findings += [*heat_and_voltage_findings(harness, worst), *thin_wire_findings(planned, harness)]
    if design.own is not None:
        findings += [*inlet_findings(planned, system), *house_findings(planned, system)]
        findings += [*drop_findings(harness, circuits(harness, planned)), *weather_findings(planned, place.year)]
    for name, hunts in fans.hunting.items():
        part = harness.parts[name]
        assert isinstance(part, Converter)
        share = place.needed_hours(hunts.astype(float)) / needed if needed else 0.0
        findings += weak_light_findings(part, share, bool(hunts[: place.year_substeps].any()))
    findings += doubt_findings(doubt)
    nights = None
    if fans.battery is not None and place.stored is not None:
        nights = _served_days(fans.battery, place, place.stored)
        findings += flat_findings(planned, nights)
    power = sum(
        place.needed_hours(volts * wired.fans[name].running_current(volts))
        for name, volts in zip(names, fans.voltage, strict=True)
    )
    flow = _flow(planned, place, fans)
    return Evaluated(
        design, place, fans, line_open, flow, float(power), worst, limits, tuple(sort_findings(findings)), nights
    )


def _served_days(course: BatteryCourse, place: PlaceLight, moments: StoredMoments) -> ServedDays:
    """Count the days and nights of the months of need on which the battery of a design feeds its fans."""
    year = slice(0, place.year_substeps)
    step = place.step_of_substep
    wanted = course.wanted[year] * moments.hours[year]
    lacking = (course.wanted - course.feeds)[year] * moments.hours[year]
    return served_days(wanted, lacking, place.year.weather["ghi"].to_numpy()[step], place.year.times[step])


def option_of(done: Evaluated, target: SizingTarget, shown: int) -> SizedDesign:
    """Hold a design against a target; of the skies those of one month are shown."""
    place, design, fans = done.place, done.design, done.fans
    needed = place.needed_hours(np.ones(place.substeps))
    turning = np.asarray(fans.running.any(axis=0))
    tightest, volts = tightest_fan(design.every_fan, done.worst)
    # What never starts a fan is no number, and more than any.
    starts, stops = (
        max((getattr(limit, name) for limit in done.thresholds.values()), key=partial(np.nan_to_num, nan=np.inf))
        for name in ("start_irradiance", "run_down_irradiance")
    )
    return SizedDesign(
        design=design,
        **place.spans(turning, shown),
        hours_needed=needed,
        hours_wanting=place.hours_of_steps(~(target.flow <= 0)) if target.flow is not None else needed,
        hours_at_target=place.hours_of_steps(_met(done, target)),
        hours_at_speed=place.hours_of_steps(_met(done, usual())),
        hours_running=place.needed_hours(turning),
        hours_line_open=place.needed_hours(done.line_open),
        mean_flow=float(done.flow[place.need].mean()) if needed else float("nan"),
        energy_used=done.energy,
        fan_voltage_max=volts,
        fan_voltage_limit=tightest.maximum_voltage,
        fan_voltage_rated=tightest.rated_voltage,
        start_irradiance=starts,
        run_down_irradiance=stops,
        findings=done.findings,
        nights=done.nights,
    )


def tightest_fan(fans: Sequence[Fan], worst: WorstCase) -> tuple[Fan, float]:
    """Give the fan that comes nearest to its rated maximum, and its highest voltage in cold bright light. [V]"""
    by_id = {fan.id: fan for fan in fans}
    # Alike fans of a design share the id of the one that they are copies of.
    by_fan = [(by_id.get(name, fans[0]), volts) for name, volts in worst.turning.items()]
    return max(by_fan, key=lambda pair: pair[1] / pair[0].maximum_voltage)


def _brightest(wired: SizedCircuits, place: PlaceLight, names: Sequence[str], fans: FanCourse) -> dict[str, float]:
    """Most light of the year on the panels of every fan that never turns; none in a span too short to tell. [W/m2]"""
    if not tells_of_the_year(place.year):
        return {}
    still = {name for name, turns in zip(names, fans.running, strict=True) if not turns[: place.year_substeps].any()}
    brightest: dict[str, float] = {}
    for circuit in wired.circuits:
        brightest |= dict.fromkeys(
            still & set(circuit.fan_ids), float(place.year.brightest_on(circuit.panel_ids).max())
        )
    return brightest


def _flow(planned: Plan, place: PlaceLight, fans: FanCourse) -> np.ndarray:
    """Fresh air in the steps of the hours of need, shape (steps,). [m3/s]"""
    year = slice(place.year_substeps)
    state = FanState(np.asarray(fans.voltage)[:, year], fans.running[:, year], place.step_of_substep, place.weight)
    return flow_at_limit(planned, place.outside, state, place.need)


def _met(done: Evaluated, target: SizingTarget) -> np.ndarray:
    """Whether the target is met, at every step of the year that wants air: the mean of the step counts."""
    place, fans = done.place, done.fans
    if target.flow is None:
        speeds = [fan_speed(fan, volts) for fan, volts in zip(done.design.every_fan, fans.voltage, strict=True)]
        return np.all([reaches(place.by_step(one), np.array(target.speed)) for one in fans.running * speeds], axis=0)
    return reaches(done.flow, target.flow) & ~(target.flow <= 0)
