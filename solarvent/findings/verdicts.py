"""All findings on a simulated plan, and the verdict: whether to build it, and whether the air is enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from solarvent.base.constants import ENOUGH, NEARLY_ALL
from solarvent.base.errors import require_kind
from solarvent.base.findings import Finding, KeyFigure, Verdict, first_remedy, sort_findings
from solarvent.base.quantities import show
from solarvent.electrical.battery import held_at
from solarvent.electrical.start_light import start_and_run_down
from solarvent.findings import air, house, joints, light, starting, supply, wires
from solarvent.findings.air import air_supply, is_enough
from solarvent.plan.connectors import read_families
from solarvent.plan.plan import Plan
from solarvent.simulation.cold_night import Night
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.wiring.circuit import Circuit
from solarvent.wiring.harness import Harness

#: A mild day, against which the record low is held. [degC]
MILD = 20.0


def find(run: Simulation, system: str | None = None) -> list[Finding]:
    """Hold a simulated plan against the limits of its parts and the practice of the trade.

    Parameters
    ----------
    run : Simulation
        Over a year; over less, the findings speak of that span only.
    system : {"metric", "us"}, optional
        Units in the texts; by default the plan's.

    Returns
    -------
    list of Finding
        Worst first.

    Examples
    --------
    >>> from datetime import date
    >>> from solarvent import load_plan, simulate
    >>> find(simulate(load_plan("faulty"), date(2001, 7, 15)))[0].level
    'stop'
    """
    require_kind(run, Simulation)
    units = system or run.plan.record.units
    altitude = run.plan.record.place.altitude
    worst = worst_case(run.circuits, coldest_air(run.plan, run.conditions.weather), altitude)
    mild = worst_case(run.circuits, MILD, altitude)
    return sort_findings(
        [
            # Causes before what follows from them: joints and the light, then what the fans do, then the air.
            *joints.wiring_findings(run.plan, read_families(run.plan.library), run.harness, every_joint=False),
            *supply.controller_findings(run.plan, run.harness),
            *light.panel_findings(run),
            *light.shade_findings(run),
            *light.light_findings(run, units),
            *supply.voltage_findings(run.plan, worst, units, mild, _peaks(run)),
            *starting.threshold_findings(run),
            *starting.spread_finding(run),
            *starting.start_findings(run, units),
            *starting.motor_findings(run),
            *supply.heat_and_voltage_findings(run.harness, worst),
            *supply.hunting_findings(run),
            *supply.port_findings(run.plan, run.harness),
            *starting.speed_findings(run),
            *house.thermostat_findings(run, units),
            *supply.battery_findings(run),
            *supply.drop_findings(run.harness, run.circuits),
            *wires.thin_wire_findings(run.plan, run.harness),
            *air.inlet_findings(run.plan, units),
            *air.fan_air_findings(run, units),
            *air.way_findings(run, units),
            *light.place_findings(run, units),
            *house.use_findings(run, units),
            *house.house_findings(run.plan, units),
            *air.crossing_findings(run, units),
            *light.weather_findings(run.plan, run.conditions),
            # Whether the air is enough follows from all of it.
            *air.enough_findings(run, units),
        ]
    )


def _peaks(run: Simulation) -> dict[str, float]:
    """Highest voltage at each fan between its attempts to start. [V]"""
    peaks = run.electrical.fan_voltage_peak.max(axis=1, initial=0.0)
    return {fan.id: float(peak) for fan, peak in zip(run.plan.record.fan, peaks, strict=True)}


def find_in_wiring(
    plan: Plan, harness: Harness, wired: Iterable[Circuit], temp_air: float, system: str | None = None
) -> list[Finding]:
    """Hold volts and amperes of circuits against the limits of their parts: what needs neither weather nor house.

    Of the `plan` the parts and wires count, `harness` and `wired` are how it is wired, `temp_air` is that of the
    coldest bright morning [degC]. Worst first; each is also found by :func:`find`.
    """
    wired, units, altitude = tuple(wired), system or plan.record.units, plan.record.place.altitude
    worst, mild = (worst_case(wired, temp, altitude) for temp in (temp_air, MILD))
    limits, battery = start_and_run_down(wired), plan.record.storage
    storages = ((circuit.storage, circuit.fans) for circuit in wired)
    held = {fan.id: held_at(storage) for storage, fans in storages if storage is not None for fan in fans}
    starts = (
        starting.start_finding(
            fan,
            limits[fan.id].start_irradiance,
            starved_by=starting.starved_by(harness, fan.id),
            battery=held.get(fan.id),
        )
        for fan in plan.record.fan
    )
    return sort_findings(
        [
            *supply.controller_findings(plan, harness),
            *supply.voltage_findings(plan, worst, units, mild, {}),
            *(finding for finding in starts if finding is not None),
            *supply.heat_and_voltage_findings(harness, worst),
            *supply.port_findings(plan, harness),
            *([joints.unfused_battery("battery")] if battery is not None and battery.fuse is None else []),
            *supply.drop_findings(harness, wired),
            *wires.thin_wire_findings(plan, harness),
        ]
    )


STOPPED = "Do not build it like this."
_SENTENCES = {
    "stop": STOPPED,
    "short": "It works, but the air is not enough for full sun.",
    "fits": "It works, and the air is enough.",
}


def verdict(run: Simulation, findings: Sequence[Finding]) -> Verdict:
    """Give the verdict on a simulated plan, from its run and what :func:`solarvent.findings.verdicts.find` says of it.

    Examples
    --------
    >>> from datetime import date
    >>> from solarvent import find, load_plan, simulate
    >>> faulty = simulate(load_plan("faulty"), date(2001, 7, 15))
    >>> verdict(faulty, find(faulty)).sentence
    'Do not build it like this.'
    """
    require_kind(run, Simulation)
    starts = [limits.start_irradiance for limits in run.bands["typical"].thresholds.values()]
    supply = air_supply(run)
    # The maximum is NaN if one fan never starts.
    return verdict_of(findings, float(np.max(starts)), supply.flow, supply.share)


def verdict_of(
    findings: Iterable[Finding], start_irradiance: float, flow: float, share: float, often: float = ENOUGH
) -> Verdict:
    """Give the verdict that findings and air come to; of one level, causes stand before what follows from them.

    `start_irradiance` is the light on the cells that starts the last fan, NaN if it never starts [W/m2]; `flow` the
    mean air in the hours of need [m3/s]; `share` that of these hours in which it is enough, NaN if there are none [-];
    `often` the share that counts as often enough [-].
    """
    findings = list(findings)
    level = verdict_level(findings, share, often)
    sentence = _SENTENCES[level]
    if level == "short" and flow == 0:
        sentence = "The fans stand in the hours in which air is needed."
    elif level == "fits" and np.isnan(share):
        sentence = "It works."
    elif level == "fits" and share < NEARLY_ALL:
        sentence = "It works, and the air is enough but for the fullest sun."
    figures = (
        KeyFigure("light that starts the last fan", start_irradiance, "irradiance"),
        KeyFigure("air in the hours of need", flow, "flow"),
        KeyFigure("share of the hours that want air in which it is enough", share),
    )
    return Verdict(level, sentence, first_remedy(findings), figures)


def night_verdict(night: Night, findings: Iterable[Finding], system: str = "metric") -> Verdict:
    """Give the verdict on a cold night: whether the house stays as warm as is wanted, and what to do about it."""

    def degrees(value: float) -> str:
        return show(value, "temperature", system)

    held = night.minimum_inside >= night.wanted
    sentence = (
        f"{'It holds' if held else 'It does not hold'} {degrees(night.wanted)} on the coldest night:"
        f" {degrees(night.minimum_inside)} inside."
    )
    figures = (
        KeyFigure("lowest inside", night.minimum_inside, "temperature"),
        KeyFigure("lowest outside", float(night.temp_air.min()), "temperature"),
        KeyFigure("heater that would hold it", night.heater_watts, "power"),
    )
    findings = list(findings)
    # A night is one case: it holds in all of it, or not.
    level = verdict_level(findings, 1.0 if held else 0.0)
    if level == "stop":
        sentence = f"{STOPPED} {sentence}"
    return Verdict(level, sentence, first_remedy(findings), figures)


def verdict_level(findings: Iterable[Finding], share: float, often: float = ENOUGH) -> str:
    """Decide whether it fits: nothing says stop, and the wanted air is reached often enough; parameters as above."""
    if any(finding.level == "stop" for finding in findings):
        return "stop"
    return "fits" if is_enough(share, often) else "short"
