"""What each design does in the months of need and under the named skies, before it is judged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.network import FanState, ventilate
from solarvent.air.ventilation import fan_speed
from solarvent.base.findings import Finding, sort_findings
from solarvent.electrical.operation import Thresholds
from solarvent.findings.air_supply import reaches
from solarvent.findings.batteries import controller_findings
from solarvent.findings.converters import heat_and_voltage_findings, weak_light_findings
from solarvent.findings.thermostat import doubt_findings
from solarvent.findings.wires import thin_wire_findings
from solarvent.plan.parts import Converter
from solarvent.plan.plan import Plan
from solarvent.simulation.worst_case import WorstCase
from solarvent.studies.size_designs import Design, plan_of
from solarvent.studies.size_light import PlaceLight
from solarvent.studies.size_line import DesignLine
from solarvent.studies.size_loads import FanCourse, Wired
from solarvent.studies.size_option import Option
from solarvent.studies.size_target import Target
from solarvent.studies.size_verdict import fan_findings
from solarvent.weather.span import hottest_month
from solarvent.wiring.harness import build_harness

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Worked:
    """A design and what it does, before it is held against a target.

    Attributes
    ----------
    design : Design
    place : PlaceLight
        Its moments.
    fans : FanCourse
        What the fans do in them.
    line_open : array of bool, shape (moments,)
        A thermostat leaves them off.
    flow : array, shape (year moments,)
        Fresh air in the hours of need, in the wind of the year; elsewhere 0. [m3/s]
    energy : float
        Into the turning fans in the needed hours. [Wh]
    worst : WorstCase
    thresholds : dict of str to Thresholds
        By fan.
    findings : tuple of Finding
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


class Workshop:
    """Works designs out; what several of them share is worked out once.

    Parameters
    ----------
    plan : Plan
        Place, weather, house, thermostat, hours of need.
    weather : pandas.DataFrame
        The plan's.
    """

    def __init__(self, plan: Plan, weather: pd.DataFrame) -> None:
        self.plan, self.weather = plan, weather
        self.month = hottest_month(plan, weather)
        self._places: dict[Any, PlaceLight] = {}
        self._lines: dict[Any, DesignLine] = {}
        self._wired: dict[Any, Wired] = {}

    def work(self, design: Design, system: str) -> Worked:
        """Work one design out."""
        planned = plan_of(design, self.plan)
        where = (design.tilt, design.azimuth, design.own is None)
        if where not in self._places:
            self._places[where] = PlaceLight(planned, self.weather, self.month)
        place = self._places[where]
        key = (where, design.fans, design.fan.model_dump_json(), design.converter_part, design.wire, id(design.own))
        if key not in self._wired:
            self._wired[key] = Wired(planned, place)
        wired = self._wired[key]
        fans, line_open, doubt = self._course(planned, where, wired)
        worst = wired.worst(planned, place, float(self.weather["temp_air"].min()))
        limits = wired.thresholds(planned, place)
        needed = place.needed_hours(np.ones(place.substeps))
        suffered = _brightest(wired, place, fans), dict(zip(wired.fans, fans.peak.tolist(), strict=True))
        findings = [*fan_findings(planned, worst, limits, *suffered, system, design.own is not None)]
        findings += [*heat_and_voltage_findings(wired.harness, worst), *controller_findings(planned, wired.harness)]
        # Wire is easily changed, and does not choose the panel: a warning here, and a stop where it is built so. The
        # panels of this design decide, not those of the harness that designs share.
        findings[:0] = [replace(one, level="warn") for one in thin_wire_findings(planned, build_harness(planned))]
        for name, hunts in fans.hunting.items():
            part = wired.harness.parts[name]
            assert isinstance(part, Converter)
            share = place.needed_hours(hunts.astype(float)) / needed if needed else 0.0
            findings += weak_light_findings(part, share, bool(hunts[: place.year_substeps].any()))
        findings += doubt_findings(doubt)
        power = sum(
            place.needed_hours(volts * wired.fans[name].running_current(volts))
            for name, volts in zip(wired.fans, fans.voltage, strict=True)
        )
        flow = _flow(planned, place, fans)
        return Worked(design, place, fans, line_open, flow, float(power), worst, limits, tuple(sort_findings(findings)))

    def _course(self, planned: Plan, where: Any, wired: Wired) -> tuple[FanCourse, np.ndarray, float]:
        """What the fans do with the thermostat that the plan has, where it is open, and the share of steps in doubt."""
        place, every = self._places[where], slice(0, self._places[where].substeps)
        if planned.record.thermostat is None:
            return wired.course(planned, place, every), np.zeros(place.substeps, dtype=bool), 0.0
        if where not in self._lines:
            self._lines[where] = DesignLine(self.plan, place)
        closed, doubt = self._lines[where].closed(planned, lambda at, line: wired.course(planned, place, at, line))
        return wired.course(planned, place, every, closed), ~closed, doubt


def option_of(done: Worked, target: Target, shown: int) -> Option:
    """Hold a design against a target; of the skies those of one month are shown."""
    place, design, fans = done.place, done.design, done.fans
    needed = place.needed_hours(np.ones(place.substeps))
    turning = np.asarray(fans.running.any(axis=0))
    by_fan = list(zip(design.every_fan, done.worst.turning.values(), strict=True))
    tightest, volts = max(by_fan, key=lambda pair: pair[1] / pair[0].maximum_voltage)
    starts, stops = (
        max((getattr(limit, name) for limit in done.thresholds.values()), key=_never_last)
        for name in ("start_irradiance", "run_down_irradiance")
    )
    return Option(
        design=design,
        **place.spans(turning, shown),
        hours_needed=needed,
        hours_at_target=place.needed_hours(_met(done, target)),
        hours_running=place.needed_hours(turning),
        hours_line_open=place.needed_hours(done.line_open),
        mean_flow=place.needed_hours(done.flow) / needed if needed else float("nan"),
        energy_used=done.energy,
        fan_voltage_max=volts,
        fan_voltage_limit=tightest.maximum_voltage,
        fan_voltage_rated=tightest.rated_voltage,
        start_irradiance=starts,
        run_down_irradiance=stops,
        findings=done.findings,
    )


def _never_last(light: float) -> float:
    """Light for the sake of order: never comes after all of it."""
    return np.inf if np.isnan(light) else light


def _brightest(wired: Wired, place: PlaceLight, fans: FanCourse) -> dict[str, float]:
    """Most light of the year on the panels of every fan that never turns. [W/m2]"""
    still = {
        name for name, turns in zip(wired.fans, fans.running, strict=True) if not turns[: place.year_substeps].any()
    }
    found: dict[str, float] = {}
    for circuit in wired.circuits:
        found |= dict.fromkeys(still & set(circuit.fan_ids), float(place.year.brightest_on(circuit.panel_ids).max()))
    return found


def _flow(planned: Plan, place: PlaceLight, fans: FanCourse) -> np.ndarray:
    """Fresh air at the moments of the hours of need. [m3/s]"""
    flow = np.zeros(place.year_substeps)
    at = np.flatnonzero(place.need[place.step_of_substep])
    state = FanState(np.asarray(fans.voltage)[:, at], fans.running[:, at], place.step_of_substep[at], np.ones(at.size))
    flow[at] = ventilate(planned, place.outside, state).flow
    return flow


def _met(done: Worked, target: Target) -> np.ndarray:
    """Whether the target is met, at every moment of the year."""
    place, fans = done.place, done.fans
    if target.flow is None:
        speeds = [fan_speed(fan, volts) for fan, volts in zip(done.design.every_fan, fans.voltage, strict=True)]
        return np.all(fans.running & (np.array(speeds) >= target.speed), axis=0)
    return reaches(done.flow, target.flow[place.step_of_substep])
