"""All findings on a simulated plan."""

from __future__ import annotations

from solarvent.base.findings import Finding, sort_findings
from solarvent.findings import (
    air_checks,
    battery_checks,
    converter_checks,
    electrical_checks,
    flow_checks,
    light_checks,
    place_checks,
    shade_checks,
    start_checks,
    thermostat_checks,
    use_checks,
)
from solarvent.findings.house_checks import flow_findings, house_findings
from solarvent.findings.weather_checks import weather_findings
from solarvent.findings.wiring_checks import wiring_findings
from solarvent.plan.connectors import read_families
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import worst_case

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
    """
    units = system or run.plan.record.units
    worst = worst_case(run.plan, run.circuits, float(run.conditions.weather["temp_air"].min()))
    mild = worst_case(run.plan, run.circuits, MILD, use_record=False)
    return sort_findings(
        [
            # Causes before what follows from them: joints and the light, then what the fans do, then the air.
            *wiring_findings(run.plan, read_families(run.plan.library), run.harness, every_joint=False),
            *battery_checks.controller_findings(run.plan, run.harness),
            *electrical_checks.panel_findings(run),
            *shade_checks.shade_findings(run),
            *light_checks.light_findings(run, units),
            *electrical_checks.voltage_findings(run, worst, units, mild),
            *electrical_checks.threshold_findings(run),
            *start_checks.start_findings(run, units),
            *start_checks.motor_findings(run),
            *converter_checks.heat_and_voltage_findings(run.harness, worst),
            *converter_checks.hunting_findings(run),
            *converter_checks.port_findings(run),
            *converter_checks.speed_findings(run),
            *thermostat_checks.thermostat_findings(run, units),
            *battery_checks.battery_findings(run),
            *electrical_checks.wire_findings(run),
            *air_checks.inlet_findings(run, units),
            *air_checks.fan_air_findings(run, units),
            *flow_checks.way_findings(run, units),
            *place_checks.place_findings(run, units),
            *use_checks.use_findings(run, units),
            *house_findings(run.plan, units),
            *flow_findings(run, units),
            *weather_findings(run),
            # Whether the air is enough follows from all of it.
            *air_checks.enough_findings(run, units),
        ]
    )
