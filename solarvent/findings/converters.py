"""Findings on converters, clamps, and fans that hold their own speed."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.plan.parts import Converter
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import WorstCase
from solarvent.weather.span import hours_of_need
from solarvent.wiring.circuit import converters
from solarvent.wiring.harness import Harness

HUNTING_SHARE = 0.1


def heat_and_voltage_findings(harness: Harness, worst: WorstCase) -> Iterator[Finding]:
    """Say which converters get more voltage, or more heat, than they stand."""
    for name, part in harness.parts.items():
        if not isinstance(part, Converter):
            continue
        heat = worst.converter_heat.get(name, 0.0)
        volts = max(worst.open_circuit[panel] for panel in worst.open_circuit if panel in set(harness.upstream(name)))
        if part.kind != "clamp" and volts > part.maximum_input:
            text = f"On a cold morning the panel gives {volts:.1f} V; the converter stands {part.maximum_input:g} V."
            do = "Choose a converter with a higher input limit, or join the panels in parallel."
            yield Finding("stop", "converter-over-voltage", name, text, do, volts, part.maximum_input, "V")
        if part.kind in ("clamp", "linear") and heat > part.rating:
            text = f"In bright sun {heat:.0f} W turn into heat in it; it can shed {part.rating:g} W."
            do = "Use a smaller panel, a clamp on a larger heat sink, a step-down converter, or 24 V fans."
            yield Finding("stop", "converter-overheats", name, text, do, heat, part.rating, "W")


def hunting_findings(run: Simulation) -> Iterator[Finding]:
    """Say which converters come on and fall off again in weak light, and which then stay off."""
    need = hours_of_need(run.plan, run.conditions.times)
    parts = (part for circuit in run.circuits for part in converters(circuit.load))
    for part, hunts in zip(parts, run.electrical.converter_hunting, strict=True):
        yield from weak_light_findings(part, float(hunts[need].mean()) if need.any() else 0.0, bool(hunts.any()))


def weak_light_findings(part: Converter, share: float, ever: bool) -> Iterator[Finding]:
    """Say what a converter does in light that lets it come on but not feed its fans.

    Parameters
    ----------
    part : Converter
        As it is wired.
    share : float
        Of the needed hours, in which it hunts. [-]
    ever : bool
        It does so at some time.
    """
    name = part.id
    if part.latches and ever:
        text = (
            "At dawn it comes on before the panel can feed the fans, fails, and then stays off until somebody unplugs"
            " it; the hours count it as off until dark."
        )
        do = "Use a converter that tries again by itself, or wire the fans straight or with a clamp."
        yield Finding("stop", "converter-latches", name, text, do)
    elif share > HUNTING_SHARE:
        text = (
            f"In {share:.0%} of the needed hours the light is too weak for it: it comes on, drags the panel down, falls"
            f" off and tries again after {part.retry:g} s. Fans behind it twitch at most, and count as standing."
        )
        do = "A larger panel, fewer fans behind it, or 24 V fans straight on the panel."
        yield Finding("warn", "converter-hunts", name, text, do, share, HUNTING_SHARE)


def port_findings(run: Simulation) -> Iterator[Finding]:
    """Say which converters and USB ports are asked for more current than they give."""
    fans = {fan.id: fan_electrical(fan) for fan in run.plan.record.fan}
    for name, part in run.harness.parts.items():
        behind = [fans[other] for other in dict.fromkeys(run.harness.downstream(name)) if other in fans]
        if not isinstance(part, Converter) or part.kind == "clamp" or not behind:
            continue
        volts = part.output_voltage
        running = [float(fan.running_current(volts)) for fan in behind]
        # The last one to start meets all the others turning.
        surges = [fan.start_voltage / fan.locked_rotor_resistance for fan in behind]
        most = sum(running) + max(0.0, *(surge - amps for surge, amps in zip(surges, running, strict=True)))
        if most > part.current_limit:
            text = (
                f"Its fans take {sum(running):.2g} A at {volts:g} V, {most:.2g} A while the last one starts; it gives"
                f" {part.current_limit:g} A, then its voltage falls away."
            )
            do = "Spread the fans over several ports, take one off, or put fans on the panel's own voltage."
            yield Finding("warn", "port-overloaded", name, text, do, most, part.current_limit, "A")
