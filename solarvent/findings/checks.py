"""All findings on a simulated plan."""

from __future__ import annotations

from solarvent.base.findings import Finding, sort_findings
from solarvent.findings import air, house, joints, light, starting, supply, voltages, wires
from solarvent.plan.connectors import read_families
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import coldest_air, worst_case

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
            *voltages.voltage_findings(run, worst, units, mild),
            *starting.threshold_findings(run),
            *starting.start_findings(run, units),
            *starting.motor_findings(run),
            *supply.heat_and_voltage_findings(run.harness, worst),
            *supply.hunting_findings(run),
            *supply.port_findings(run),
            *starting.speed_findings(run),
            *house.thermostat_findings(run, units),
            *supply.battery_findings(run),
            *voltages.drop_findings(run),
            *wires.thin_wire_findings(run.plan, run.harness),
            *air.inlet_findings(run, units),
            *air.fan_air_findings(run, units),
            *air.way_findings(run, units),
            *light.place_findings(run, units),
            *house.use_findings(run, units),
            *house.house_findings(run.plan, units),
            *air.crossing_findings(run, units),
            *light.weather_findings(run),
            # Whether the air is enough follows from all of it.
            *air.enough_findings(run, units),
        ]
    )
