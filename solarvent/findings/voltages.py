"""Findings on voltages: more than a part stands, and more lost on the way than is sound."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from solarvent.base.errors import PartError
from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.battery import held_at, law_of
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operation import point
from solarvent.findings.starting import may_be_24_volt
from solarvent.findings.wires import poor_joint
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.simulation.worst_case import WorstCase
from solarvent.wiring.circuit import Circuit, has_series
from solarvent.wiring.harness import Harness

SAFE_VOLTAGE = 60.0
"""Limit of protective extra-low voltage for smooth direct current (IEC 60364-4-41, from memory). [V]"""
DROP_WARN, DROP_STOP = 0.05, 0.10
#: Light and heat in which the loss of wires is told: full sun on warm cells. [W/m2], [degC]
_FULL_SUN, _WARM = 1000.0, 50.0


def voltage_findings(
    plan: Plan, worst: WorstCase, system: str, mild: WorstCase | None, peaks: Mapping[str, float]
) -> Iterator[Finding]:
    """Say which parts see more voltage than they stand; with `mild`, the same on a mild day, whether it is the cold.

    `peaks` are the highest voltages between the attempts to start in the hours that were simulated, by fan. [V]
    """
    for panel, volts in worst.open_circuit.items():
        if volts > SAFE_VOLTAGE:
            text = f"With nothing joined the circuit reaches {volts:.0f} V in the cold: more than is safe to touch."
            several = len(plan.record.panel) > 1
            do = f"Stay below {SAFE_VOLTAGE:g} V: " + (
                "join panels side by side." if several else "take another panel."
            )
            yield Finding("stop", "above-safe-voltage", panel, text, do, volts, SAFE_VOLTAGE, "V")
    for fan in plan.record.fan:
        yield from fan_voltage_findings(plan, fan, worst, peaks.get(fan.id, 0.0), system, mild)


def fan_voltage_findings(
    plan: Plan, fan: Fan, worst: WorstCase, peak: float, system: str, mild: WorstCase | None = None
) -> Iterator[Finding]:
    """Say when a fan gets more voltage than it stands.

    `peak` is the highest voltage between its attempts to start in the hours that were simulated [V]; `mild`, the worst
    case on a mild day, tells whether it is the cold.
    """
    name, limit, volts = fan.id, fan.maximum_voltage, worst.turning[fan.id]
    if plan.record.storage is not None:
        yield from _charging_voltage(plan, fan, volts)
        return
    failed = worst.one_failed.get(name, 0.0)
    clamp = _less_voltage(plan, fan) if max(volts, failed) > limit else ""
    if volts > limit:
        cold = f"In the brightest light (a cloud's edge) at {show(worst.temp_air, 'temperature', system)}"
        text = f"{cold} the turning fan gets {volts:.1f} V; its limit is {limit:g} V."
        if mild is not None and mild.turning[name] <= limit:
            text += f" At {show(mild.temp_air, 'temperature', system)} it would be {mild.turning[name]:.1f} V."
            yield Finding("stop", "over-voltage-cold", name, text, clamp, volts, limit, "V")
        else:
            yield Finding("stop", "over-voltage", name, text, clamp, volts, limit, "V")
    elif failed > limit:
        text = f"If another fan fails, this one gets {failed:.1f} V in bright cold sun; its limit is {limit:g} V."
        yield Finding("warn", "over-voltage-one-failed", name, text, clamp, failed, limit, "V")
    # A retrying fan sees nearly the open-circuit voltage between its attempts; a held one loads the panel.
    standing = max(peak, worst.standing[name])
    if fan.standing == "retrying" and standing > limit:
        text = (
            f"Between its attempts to start, a standing fan is at the open-circuit voltage: up to {standing:.1f} V on a"
            f" cold morning; its limit is {limit:g} V."
        )
        do = "Choose a fan whose printed limit is above it, or add a clamp."
        yield Finding("warn", "open-circuit-voltage", name, text, do, standing, limit, "V")


#: A fan for 12 V is made for what a battery of 12 V has while it is charged; so far above its printed limit it is told
#: as a warning (common practice, no source). [-]
_CHARGED_ABOVE = 1.05


def _charging_voltage(plan: Plan, fan: Fan, volts: float) -> Iterator[Finding]:
    """Say when a fan on a battery gets more than it stands while the last of it is charged.

    `volts` are those at its terminals then. [V]
    """
    if volts <= fan.maximum_voltage:
        return
    battery = plan.record.storage
    assert battery is not None
    held = law_of(battery).absorption
    text = (
        f"While the last of the battery is charged the controller holds it at {held:.1f} V, and the turning fan gets"
        f" {volts:.1f} V; its printed limit is {fan.maximum_voltage:g} V."
    )
    do = f"Use a fan that stands {held:.1f} V or more."
    if volts > _CHARGED_ABOVE * fan.maximum_voltage:
        yield Finding("stop", "over-voltage", fan.id, text, do, volts, fan.maximum_voltage, "V")
        return
    text += " A little above it wears the fan sooner; it does not destroy it at once."
    do = f"{do[:-1]}, or set the controller to charge at less, if it can be set (charging_voltage in [battery])."
    yield Finding("warn", "over-voltage-charging", fan.id, text, do, volts, fan.maximum_voltage, "V")


def _less_voltage(plan: Plan, fan: Fan) -> str:
    """Say what helps against too much voltage: a converter of the library by name, and where it goes."""
    fitting = "a clamp"
    for name in plan.library.entries("converters"):
        try:
            part = plan.converter(name)
        except PartError:
            # A broken entry of own parts is told where it is used.
            continue
        if (
            part.kind == "buck"
            and not (part.built_in or part.latches or part.least_load)
            and 0.9 * fan.rated_voltage <= part.output_voltage <= fan.maximum_voltage
        ):
            fitting = f"a converter ({name})"
            break
    where = "behind the panel, in each run" if plan.record.wiring.runs else "as converter in [wiring]"
    return f"Put {fitting} between panel and fan, {where}; or use a fan for more volts, or a smaller panel."


def drop_findings(harness: Harness, wired: Iterable[Circuit]) -> Iterator[Finding]:
    """Say on which way to a fan too much voltage is lost in full sun."""
    for circuit in wired:
        fans = circuit_fans(circuit)
        bright = circuit_panels(circuit, np.array([_FULL_SUN]), np.array([_WARM]))
        reading = point(circuit, bright, fans, dict.fromkeys(fans, "turning"))
        made = (reading.panel_voltage * reading.panel_current).sum()
        used = (reading.fan_voltage * reading.fan_current).sum() + reading.converter_power.sum()
        source, reference = "panel", reading.panel_voltage[:, 0].max()
        if circuit.storage is not None:
            source, reference = "battery", held_at(circuit.storage)
            made = reference * reading.bus_current.sum()
        by_power = has_series(circuit) or bool(reading.converter_ids)
        word = "power" if by_power else "voltage"
        when = "In full sun" if source == "panel" else "With all fans turning"
        for fan in circuit.fans:
            # In series the voltage is shared out, and a converter changes it; what is lost then shows in the power.
            volts = reading.fan_voltage[reading.fan_ids.index(fan.id), 0]
            share = used / made if by_power else volts / reference
            if (lost := 1 - float(share)) > DROP_WARN:
                level, limit = ("stop", DROP_STOP) if lost > DROP_STOP else ("warn", DROP_WARN)
                text = f"{when} {lost:.0%} of the {source}'s {word} is lost on the way to the fan."
                do = "Use thicker wire, a shorter way, or fewer joints."
                if may_be_24_volt(fan) and circuit.storage is None:
                    do = "Use thicker wire, a shorter way, fewer joints, or a 24 V fan, which needs half the current."
                do = poor_joint(harness, fan.id) or do
                yield Finding(level, "voltage-drop", fan.id, text, do, lost, limit)
