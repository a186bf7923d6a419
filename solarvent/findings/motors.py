"""Findings on motors: worn brushes, a blocked rotor, a speed that is held."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from solarvent.base.findings import Finding
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operation import State, point
from solarvent.plan.parts import Fan
from solarvent.simulation.simulate import Simulation

#: Light and heat in which a blocked rotor is told: full sun on warm cells. [W/m2], [degC]
_FULL_SUN, _WARM = 1000.0, 50.0


def motor_findings(run: Simulation) -> Iterator[Finding]:
    """Say what a long run, or a blocked rotor, does to a motor."""
    for row, fan in enumerate(run.plan.record.fan):
        name = fan.id
        if fan.motor == "brushed":
            hours = float(run.electrical.running[row].sum()) * run.conditions.step / 3600.0
            text = (
                "A brushed motor draws five to ten times its current to start, and its brushes last some 1000 to 3000"
                f" hours; over this weather it turns {hours:.0f} h. Blowers for cars and boats are made for a quarter"
                " of an hour at a time."
            )
            do = "Use a brushless fan that is rated for continuous duty."
            yield Finding("warn", "motor-brushed", name, text, do, hours, 1000.0, "h")
        if fan.standing == "held":
            yield from _blocked(run, fan)


def _blocked(run: Simulation, fan: Fan) -> Iterator[Finding]:
    """Say what flows through a blocked rotor that nothing switches off, in full sun with the others turning."""
    name = fan.id
    circuit = run.circuit_of(name)
    panels, fans = circuit_panels(circuit, np.array([_FULL_SUN]), np.array([_WARM])), circuit_fans(circuit)
    states: dict[str, State] = {other: "held" if other == name else "turning" for other in fans}
    reading = point(circuit, panels, fans, states)
    amps = float(reading.fan_current[reading.fan_ids.index(name), 0])
    if amps > fan.rated_current:
        text = (
            f"Nothing switches this motor off when its rotor is blocked (a nest, a leaf, a dry bearing): {amps:.2g} A"
            f" would flow through it all day, {amps / fan.rated_current:.1f} times its rated current."
        )
        do = (
            "Choose a fan with automatic restart, or one marked impedance protected; else guard it with mesh and turn"
            " it by hand each month."
        )
        yield Finding("warn", "stalls-unprotected", name, text, do, amps, fan.rated_current, "A")


def speed_findings(run: Simulation) -> Iterator[Finding]:
    """Say what a fan that holds its own speed does on a panel."""
    for fan in run.plan.record.fan:
        if fan.speed_controlled:
            text = (
                "It holds its own speed, so it draws more as the voltage falls: in failing light it drops out at once"
                " where another fan would slow down."
            )
            do = "Prefer a 2- or 3-wire fan straight on a panel, or leave it the panel's full watts to spare."
            yield Finding("note", "fan-holds-speed", fan.id, text, do)
