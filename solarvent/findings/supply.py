"""Findings on what stands between panels and fans: converters, clamps, batteries and controllers."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.electrical.battery import law_of
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.findings.joints import unfused_battery
from solarvent.plan.parts import Converter, Fan, Splitter
from solarvent.plan.plan import Plan
from solarvent.simulation.power_budget import battery_budget
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
        source, volts = _highest_input(harness, name, worst)
        if part.kind != "clamp" and volts > part.maximum_input:
            text = f"On a cold morning {source} gives {volts:.1f} V; the converter stands {part.maximum_input:g} V."
            in_series = source == "the panel" and any(
                isinstance(other := harness.parts[one], Splitter) and other.arrangement == "series"
                for one in harness.upstream(name)
            )
            do = "Join the panels side by side, or choose" if in_series else "Choose"
            do += f" a converter that stands {volts:.0f} V or more."
            yield Finding("stop", "converter-over-voltage", name, text, do, volts, part.maximum_input, "V")
        if part.kind in ("clamp", "linear") and heat > part.rating:
            text = f"In bright sun {heat:.0f} W turn into heat in it; it can shed {part.rating:g} W."
            do = "Use a smaller panel, a clamp on a larger heat sink, a step-down converter, or 24 V fans."
            yield Finding("stop", "converter-overheats", name, text, do, heat, part.rating, "W")


def _highest_input(harness: Harness, name: str, worst: WorstCase) -> tuple[str, float]:
    """Tell what feeds a converter, and the most that it gives: the one before it holds its output. [V]"""
    before = set(harness.upstream(name)) - {name}
    for other in harness.upstream(name):
        part = harness.parts[other]
        if other in before and isinstance(part, Converter) and part.kind != "clamp":
            return other, part.output_voltage
    return "the panel", max(volts for panel, volts in worst.open_circuit.items() if panel in before)


def hunting_findings(run: Simulation) -> Iterator[Finding]:
    """Say which converters come on and fall off again in weak light, and which then stay off."""
    need = hours_of_need(run.plan, run.conditions.times)
    parts = (part for circuit in run.circuits for part in converters(circuit.load))
    for part, hunts in zip(parts, run.electrical.converter_hunting, strict=True):
        yield from weak_light_findings(part, float(hunts[need].mean()) if need.any() else 0.0, bool(hunts.any()))


def weak_light_findings(part: Converter, share: float, ever: bool) -> Iterator[Finding]:
    """Say what a converter does in light that lets it come on but not feed its fans.

    `share` is that of the needed hours in which it hunts [-]; `ever`: it does so at some time.
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


def port_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Say which converters and USB ports are asked for more current than they give."""
    fans = {fan.id: fan_electrical(fan) for fan in plan.record.fan}
    for name, part in harness.parts.items():
        behind = [fans[other] for other in dict.fromkeys(harness.downstream(name)) if other in fans]
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


FLAT_SHARE = 0.1


def controller_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Say which controllers lack their battery, and which power banks switch themselves off."""
    for name, part in harness.parts.items():
        if not isinstance(part, Converter):
            continue
        if part.needs_battery and plan.record.storage is None:
            text = "A charge controller takes its supply from the battery: without one its load terminals give nothing."
            do = (
                'Take it out; or add a battery with a fuse, [battery] capacity = "84 Wh", fuse = "5 A", which in a plan'
                " brings its own controller."
            )
            yield Finding("stop", "controller-without-battery", name, text, do)
        drawn = sum(
            float(fan_electrical(fan).running_current(part.output_voltage))
            for other in harness.downstream(name)
            if isinstance(fan := harness.parts[other], Fan)
        )
        if 0 < drawn < part.least_load:
            text = (
                f"The fans draw {drawn * 1000:.0f} mA; under {part.least_load * 1000:.0f} mA it takes them for a full"
                " telephone and switches itself off."
            )
            do = "Use one with an always-on mode, a larger fan, or a converter without a battery."
            yield Finding("stop", "power-bank-switches-off", name, text, do, drawn, part.least_load, "A")


def flat_findings(plan: Plan, flat: int, wanted: int, longest: int) -> Iterator[Finding]:
    """Say on how many of the days on which its fans are wanted a battery runs short, and how many in a row at most."""
    share = flat / wanted if wanted else 0.0
    if share > FLAT_SHARE:
        text = f"It goes flat on {flat} of {wanted} days on which the fans are wanted, up to {longest} in a row."
        do = "A larger panel, fewer hours, fewer fans, or, if it lasts too short a time, a larger battery."
        battery = plan.record.storage
        if battery is not None and battery.fed == "always" and plan.record.thermostat is None:
            do = "A thermostat or a timer in the line of the fans, which now run day and night; or a larger panel."
        yield Finding("warn", "battery-runs-flat", "battery", text, do, share, FLAT_SHARE)


def battery_findings(run: Simulation) -> Iterator[Finding]:
    """Say what the battery lacks: a fuse, a cut-off, capacity."""
    battery, budget = run.plan.record.battery, battery_budget(run)
    if battery is None or budget is None:
        return
    if battery.fuse is None:
        yield unfused_battery("battery")
    if not battery.cuts_off:
        text = "Nothing takes the fans off before the battery is flat; once or twice like that ruins it."
        do = "Use a controller with a low-voltage cut-off."
        if battery.fans_at == "battery":
            do = "Join the fans to the load output of the controller, which takes them off in time."
        yield Finding("warn", "battery-no-cut-off", "battery", text, do)
    if budget.charged + budget.refused <= 0 and run.electrical.power_available.any():
        charging = law_of(battery).absorption
        text = f"The panels never reach the voltage of the battery, {charging:.1f} V at the last: nothing charges it."
        do = f"Use a panel for a {battery.voltage:g} V battery, of half as many volts again, or panels in series."
        yield Finding("stop", "battery-not-charged", "battery", text, do, 0.0, charging, "V")
    else:
        yield from flat_findings(run.plan, budget.flat_days, budget.wanted_days, budget.longest_flat)
    if budget.autonomy < battery.days:
        text = f"Full, it lasts {budget.autonomy:.1f} days without sun; {battery.days:g} are wanted."
        label = battery.days * budget.a_day * (battery.capacity or 0.0) / battery.usable
        do = f"Use one of about {label:.0f} Wh by its label."
        yield Finding("warn", "battery-small", "battery", text, do, budget.autonomy, battery.days)
