"""Findings on voltages, and on what stands between panels and fans: converters, clamps, batteries, controllers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import ceil

from solarvent.base.errors import PartError
from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.battery import held_at, law_of
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.findings.joints import unfused_battery
from solarvent.findings.starting import in_full_sun, may_be_24_volt
from solarvent.findings.wires import poor_joint
from solarvent.plan.parts import Converter, Fan, Splitter
from solarvent.plan.plan import Plan
from solarvent.simulation.power_budget import ServedDays, battery_budget
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import WorstCase
from solarvent.wiring.circuit import Circuit, converters, has_series
from solarvent.wiring.harness import Harness

#: Limit of protective extra-low voltage for smooth direct current (IEC 60364-4-41, from memory). [V]
SAFE_VOLTAGE = 60.0
#: Share of the voltage that may be lost on the way to a fan (common practice, no source: 3 to 5 %). [-]
DROP_WARN, DROP_STOP = 0.05, 0.10


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
    # Where one of several fans fails, the panel is less loaded and its voltage rises.
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
        # A tenth under its rating a fan still does its work; what latches or wants a load leaves it standing.
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
        reading = in_full_sun(circuit)
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


#: Share of the hours of need in which a converter may hunt (our choice). [-]
HUNTING_SHARE = 0.1


def heat_and_voltage_findings(harness: Harness, worst: WorstCase) -> Iterator[Finding]:
    """Say which converters get more voltage, or more heat, than they stand."""
    for name, part in harness.parts.items():
        if not isinstance(part, Converter):
            continue
        heat = worst.converter_heat.get(name, 0.0)
        source, volts = _highest_input(harness, name, worst)
        # A clamp pulls the panel down to its own voltage, and has no input that could break.
        if part.kind != "clamp" and volts > part.maximum_input:
            text = f"On a cold morning {source} gives {volts:.1f} V; the converter stands {part.maximum_input:g} V."
            in_series = source == "the panel" and any(
                isinstance(before := harness.parts[other], Splitter) and before.arrangement == "series"
                for other in harness.upstream(name)
            )
            do = "Join the panels side by side, or choose" if in_series else "Choose"
            do += f" a converter that stands {ceil(volts)} V or more."
            yield Finding("stop", "converter-over-voltage", name, text, do, volts, part.maximum_input, "V")
        if part.kind in ("clamp", "linear") and heat > part.rating:
            text = f"In bright sun {heat:.0f} W turn into heat in it; it can shed {part.rating:g} W."
            do = "Use a smaller panel, a clamp on a larger heat sink, a step-down converter, or 24 V fans."
            yield Finding("stop", "converter-overheats", name, text, do, heat, part.rating, "W")


def _highest_input(harness: Harness, name: str, worst: WorstCase) -> tuple[str, float]:
    """Tell what feeds a converter, and the most that it gives: the one before it holds its output. [V]"""
    _, *before = harness.upstream(name)
    for other in before:
        part = harness.parts[other]
        if isinstance(part, Converter) and part.kind != "clamp":
            return other, part.output_voltage
    return "the panel", max(volts for panel, volts in worst.open_circuit.items() if panel in before)


def hunting_findings(run: Simulation) -> Iterator[Finding]:
    """Say which converters come on and fall off again in weak light, and which then stay off."""
    need = run.needed
    # In the order in which the run counts its converters.
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


#: Share of the days on which a battery may run short (our choice). [-]
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


def flat_findings(plan: Plan, days: ServedDays) -> Iterator[Finding]:
    """Say on how many of the days on which its fans are wanted a battery runs short, and how many in a row at most."""
    share = days.flat_days / days.wanted_days if days.wanted_days else 0.0
    if share > FLAT_SHARE:
        text = (
            f"It goes flat on {days.flat_days} of {days.wanted_days} days on which the fans are wanted, up to"
            f" {days.longest_flat} in a row."
        )
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
    # Dark weather is no fault of the panels.
    if budget.charged + budget.refused <= 0 and run.electrical.power_available.any():
        charging = law_of(battery).absorption
        text = f"The panels never reach the voltage of the battery, {charging:.1f} V at the last: nothing charges it."
        do = f"Use a panel for a {battery.voltage:g} V battery, of half as many volts again, or panels in series."
        yield Finding("stop", "battery-not-charged", "battery", text, do, 0.0, charging, "V")
    else:
        yield from flat_findings(run.plan, budget.served_days)
    if budget.autonomy < battery.days:
        text = f"Full, it lasts {budget.autonomy:.1f} days without sun; {battery.days:g} are wanted."
        # Only a share of what a label says can be used.
        label = battery.days * budget.a_day * (battery.capacity or 0.0) / battery.usable
        do = f"Use one of about {label:.0f} Wh by its label."
        yield Finding("warn", "battery-small", "battery", text, do, budget.autonomy, battery.days)
