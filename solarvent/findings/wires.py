"""Findings on what lies in the line, and on several panels or fans together: in series, unlike, without fuses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import log1p

from solarvent.base.findings import Finding, listed
from solarvent.electrical.panel_model import single_diode
from solarvent.plan.house_records import Battery
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.wiring.circuit import conductor_current_basis
from solarvent.wiring.harness import Harness
from solarvent.wiring.joints import Join, PolarityTrace, side_of

#: A barrel contact is allowed 0.1 ohm after its tests, and has 0.03 ohm new (makers' data sheets). [ohm]
WORN_CONTACT = 0.1
RENEW_CONTACTS = "Clean and grease the contacts, renew loose ones, and turn plugs to face down, under a hood."
#: A switch, fuse holder or splice in the line has less than this (common practice, no source). [ohm]
POOR_RESISTANCE = 0.5
#: Real over nominal resistance from which a wire is no longer what it is marked (common practice, no source). [-]
POOR_WIRE = 1.2


def line_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Report what costs voltage between panel and fan without need."""
    for name, part in harness.parts.items():
        if not isinstance(part, Lead | Splitter):
            continue
        if isinstance(part, Lead) and part.diode is not None:
            yield from _diode(plan, harness, name, part)
        if part.wire_quality >= POOR_WIRE and part.length > 0:
            text = (
                f"This lead has {part.wire_quality:.2g} times the resistance of honest {part.wire} copper: it is"
                " thinner than marked, or copper-clad aluminium."
            )
            do = "Measure the voltage at both of its ends in full sun; use a thicker lead if more than 5 % is lost."
            yield Finding("warn", "wire-poor", name, text, do, part.wire_quality, POOR_WIRE)
    worn = harness.contact_resistance
    if worn >= WORN_CONTACT:
        text = f"Each contact has {worn:.2g} ohm; a new one has about 0.03 ohm."
        yield Finding("warn", "contacts-worn", "", text, RENEW_CONTACTS, worn, WORN_CONTACT, "ohm")


def poor_joint(harness: Harness, fan: str) -> str:
    """Say what to renew on the way to a fan before anything is bought; empty if contacts and joints are sound."""
    if harness.contact_resistance >= WORN_CONTACT:
        return RENEW_CONTACTS
    for name in harness.upstream(fan):
        part = harness.parts[name]
        if isinstance(part, Lead) and part.resistance >= POOR_RESISTANCE:
            return f"Renew the switch, fuse holder or splice of {name}: it has {part.resistance:.2g} ohm."
    return ""


def _diode(plan: Plan, harness: Harness, name: str, lead: Lead) -> Iterator[Finding]:
    """Say what a diode takes from the fans behind it where nothing needs it, or that it is the wrong way round."""
    if lead.diode_reversed:
        text = "The ring of this diode looks to the panel: it lets nothing through, and the fans behind it stand."
        yield Finding("stop", "diode-reversed", name, text, "Turn it round: its ring looks to the fans.")
        return
    behind = [harness.parts[other] for other in dict.fromkeys(harness.downstream(name))]
    feeding = {
        other
        for fan in behind
        if isinstance(fan, Fan)
        for other in harness.upstream(fan.id)
        if isinstance(harness.parts[other], Panel)
    }
    # Beside other panels, or before a battery, it keeps their current from going backwards.
    if len(feeding) > 1 or plan.record.battery is not None:
        return
    law = plan.diode(str(lead.diode))
    current = sum(part.rated_current for part in behind if isinstance(part, Fan))
    # The diode's law turned round, V = slope ln(1 + I / saturation current), with all fans at their rated current.
    volts = law.slope_voltage * log1p(current / law.saturation_current)
    text = (
        f"The diode takes {volts:.2g} V of what the panel gives. One panel without a battery does not need it, unless"
        " to guard the fan against swapped poles."
    )
    yield Finding("warn", "diode-drop", name, text, "Leave it out once the poles have been metered.", volts, 0.0, "V")


#: A fuse carries its rating for ever, in a warm place three quarters of it (ISO 8820 and makers' sheets, from memory).
FUSE_WARMTH = 0.75


def fuse_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Hold each fuse against the fans that draw through it, and against the wire that it should guard."""
    record = plan.record
    fuses = [(name, part.fuse) for name, part in harness.parts.items() if isinstance(part, Lead) and part.fuse]
    if record.battery is not None and record.battery.fuse is not None:
        fuses.append(("battery", record.battery.fuse))
    for name, rating in fuses:
        behind = list(dict.fromkeys(harness.downstream(name))) if name in harness.parts else list(harness.parts)
        drawn = sum(part.rated_current for other in behind if isinstance(part := harness.parts[other], Fan))
        # Which wire it guards does not matter while it blows at work.
        if FUSE_WARMTH * rating < drawn:
            text = f"The fans behind it draw {drawn:.2g} A; a fuse of {rating:g} A carries {FUSE_WARMTH * rating:.2g} A"
            text += " for ever in the warm, and less while they start: it blows on a good day."
            do = f"Take a fuse of about {2 * drawn:.2g} A."
            yield Finding("stop", "fuse-too-small", name, text, do, rating, drawn / FUSE_WARMTH, "A")
            continue
        wires = [
            (plan.wire(part.wire).ampacity, other)
            for other in behind
            if isinstance(part := harness.parts[other], Lead | Splitter) and part.length > 0
        ]
        # The fuse of a battery is held against each wire behind it: that is wire-thin.
        if name in harness.parts and wires and rating > (least := min(wires))[0]:
            wire = harness.parts[least[1]]
            assert isinstance(wire, Lead | Splitter)
            text = (
                f"It blows above {rating:g} A; {least[1]} behind it is {wire.wire}, which may carry {least[0]:g} A: it"
                " does not guard that."
            )
            do = f"Take a fuse of {least[0]:g} A at the most and {2 * drawn:.2g} A at the least, or thicker wire."
            yield Finding("warn", "fuse-too-large", name, text, do, rating, least[0], "A")


def thin_wire_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Say which cables are too thin for what the panels, or a converter, can push through them."""
    for name, part in harness.parts.items():
        if not isinstance(part, Lead | Splitter) or part.length == 0:
            continue
        current = float(conductor_current_basis(_short_circuit(name, harness)))
        limit = plan.wire(part.wire).ampacity
        whence = f"the panels can push {current:.1f} A (1.56 x Isc)"
        do = "Use thicker wire. A fuse does not help: a short gives little more current than the sun already does."
        regulator = _regulator(name, harness)
        battery = plan.record.storage
        if battery is not None and regulator is not None and regulator.needs_battery:
            current = _from_battery(battery, regulator)
            whence = f"its battery drives up to {current:.3g} A into a short"
            do = (
                f"Use thicker wire, or a fuse of {limit:g} A or less at the + pole, if all that hangs on it takes less."
            )
        elif regulator is not None:
            # What burns the excess passes no more on than comes in; what steps down may.
            through = current if regulator.kind == "linear" else regulator.current_limit
            current = min(through, regulator.current_limit)
            whence = f"{regulator.id} gives up to {current:.1f} A into a short"
        if current > limit:
            text = f"{part.wire} may carry {limit:g} A; {whence} through it."
            yield Finding("stop", "wire-thin", name, text, do, current, limit, "A")


def _from_battery(battery: Battery, controller: Converter) -> float:
    """What a battery can drive through a lead before its fuse blows, or the load output gives up [A].

    Without a fuse nothing else matters, and that is told by itself.
    """
    limits = [] if battery.fuse is None else [battery.fuse]
    if battery.fans_at == "load-output":
        limits.append(controller.current_limit)
    return min(limits, default=0.0)


def _regulator(name: str, harness: Harness) -> Converter | None:
    """Find the converter behind which a part hangs, that limits what may flow; a clamp limits nothing."""
    before = (harness.parts[other] for other in harness.upstream(name))
    return next((part for part in before if isinstance(part, Converter) and part.kind != "clamp"), None)


def _short_circuit(name: str, harness: Harness) -> float:
    """Current that the panels before a part can push through it in full sun; in series the strongest one's. [A]"""
    part = harness.parts[name]
    if isinstance(part, Panel):
        # Isc = I_L / (1 + R_s / R_sh): the light current is larger by some parts in a thousand.
        return part.i_sc if part.i_sc is not None else single_diode(part).I_L_ref
    currents = [_short_circuit(previous, harness) for previous in harness.before(name)]
    in_series = isinstance(part, Splitter) and part.arrangement == "series"
    return max(currents) if in_series else sum(currents)


#: Spread of the working voltages of panels side by side (common practice, no source). [-]
UNLIKE_WARN, UNLIKE_STOP = 0.10, 0.20


def source_findings(trace: PolarityTrace, battery: bool = False) -> Iterator[Finding]:
    """Report panels in series, unlike panels side by side or three without fuses, and fans in series.

    `battery`: the panels charge one, which pushes back through the weaker of them.
    """
    for name, part in trace.parts.items():
        if not isinstance(part, Splitter):
            continue
        feeding = [join.source.part for join in trace.before(name)]
        if len(feeding) > 1:
            panels = [panel for panel in _upstream(trace, name) if isinstance(trace.parts[panel], Panel)]
            if part.arrangement == "series":
                yield from _in_series(trace, name, panels)
            else:
                yield from _unlike(trace, name, panels)
                yield from _unfused(trace, feeding)
                yield from _unblocked(trace, panels, battery)
        if len(trace.behind(name)) > 1 and part.arrangement == "series":
            text = "Fans in series do not share the voltage evenly: one hunts or takes too much while the other stalls."
            do = "Join fans side by side (parallel), or use one fan of twice the voltage."
            yield Finding("warn", "fans-in-series", name, text, do)


def _in_series(trace: PolarityTrace, name: str, panels: list[str]) -> Iterator[Finding]:
    """Hold the sum of the open-circuit voltages against the weakest part that is fed."""
    sides = (side_of(trace.parts[panel], None, trace.families) for panel in panels)
    volts = sum(side.open for side in sides if side is not None)
    fed = {part: limit for part in _downstream(trace, name) if (limit := _limit(trace, part)) is not None}
    if not fed or volts <= min(fed.values()):
        return
    weakest = min(fed, key=lambda part: fed[part])
    text = (
        f"{listed(panels)} are in series here: their voltages add up to {volts:.0f} V with nothing running, and"
        f" the rated maximum of {weakest} is {fed[weakest]:g} V."
    )
    do = "Join them side by side, with a parallel splitter."
    yield Finding("stop", "panels-in-series", name, text, do, volts, fed[weakest], "V")


def _unlike(trace: PolarityTrace, name: str, panels: list[str]) -> Iterator[Finding]:
    """Compare the working voltages of panels that are side by side."""
    volts = _working_voltages(trace, panels)
    if len(volts) < 2:
        return
    low, high = min(volts, key=lambda panel: volts[panel]), max(volts, key=lambda panel: volts[panel])
    spread = 1 - volts[low] / volts[high]
    if spread > UNLIKE_WARN:
        text = (
            f"{high} works best at {volts[high]:.3g} V and {low} at {volts[low]:.3g} V ({spread:.0%} less): side by"
            " side they cannot both do so, and the lower one holds the other one down."
        )
        do = "Join alike panels only, or give each fan a panel of its own."
        level, limit = ("stop", UNLIKE_STOP) if spread > UNLIKE_STOP else ("warn", UNLIKE_WARN)
        yield Finding(level, "panels-unlike", name, text, do, spread, limit)


def _unfused(trace: PolarityTrace, feeding: list[str]) -> Iterator[Finding]:
    """Count the panels that could feed a fault in another one."""
    bare = [panel for panel in feeding if not _protected(trace, panel)]
    # Of two, the other one pushes back no more than a panel bears (NEC 690.9, from memory).
    if len(feeding) >= 3 and bare:
        text = f"{len(feeding)} panels side by side: if one fails, the others push their current backwards through it."
        do = "Put a fuse, or a blocking diode, in the line of each panel."
        yield Finding("warn", "panels-without-fuse", bare[0], text, do)


def _unblocked(trace: PolarityTrace, panels: list[str], battery: bool) -> Iterator[Finding]:
    """Say where panels that differ charge a battery side by side without a diode each."""
    volts = _working_voltages(trace, panels).values()
    bare = [panel for panel in panels if not has_diode(trace.parts, trace.joins, panel)]
    # Side by side without a battery half of that spread does no harm; a battery pushes back all night.
    if battery and bare and volts and 1 - min(volts) / max(volts) > UNLIKE_WARN / 2:
        text = (
            f"{listed(panels)} differ and charge one battery: the stronger one, and at night the battery, push current"
            " back through the weaker one."
        )
        do = "Put a blocking diode in the line of each panel, its ring to the battery."
        yield Finding("warn", "no-blocking-diode", bare[0], text, do)


def has_diode(parts: Mapping[str, Part], joins: Sequence[Join], panel: str) -> bool:
    """Tell whether a diode lies behind a panel, before it meets another one."""
    part, name = parts[panel], panel
    while not (isinstance(part, Splitter) and sum(join.sink.part == name for join in joins) > 1):
        if isinstance(part, Lead) and part.diode is not None:
            return True
        onward = [join.sink.part for join in joins if join.source.part == name]
        if len(onward) != 1:
            return False
        name = onward[0]
        part = parts[name]
    return False


def _working_voltages(trace: PolarityTrace, panels: list[str]) -> dict[str, float]:
    """Voltages at which panels work best, by panel; those of which nothing says it are left out. [V]"""
    sides = {panel: side_of(trace.parts[panel], None, trace.families) for panel in panels}
    return {panel: side.working for panel, side in sides.items() if side is not None}


def _limit(trace: PolarityTrace, name: str) -> float | None:
    """Give the voltage that a part stands; None if it is not a matter of it. [V]"""
    part = trace.parts[name]
    if isinstance(part, Fan):
        return part.maximum_voltage
    return part.maximum_input if isinstance(part, Converter) else None


def _protected(trace: PolarityTrace, name: str) -> bool:
    """Tell whether a fuse or a diode lies between a panel and a part."""
    part = trace.parts[name]
    own = isinstance(part, Lead) and (part.fuse is not None or part.diode is not None)
    before: Iterable[str] = (join.source.part for join in trace.before(name))
    return own or any(_protected(trace, other) for other in before)


def _upstream(trace: PolarityTrace, name: str) -> list[str]:
    """Name everything before a part, once each."""
    names = dict.fromkeys(
        part for join in trace.before(name) for part in (join.source.part, *_upstream(trace, join.source.part))
    )
    return list(names)


def _downstream(trace: PolarityTrace, name: str) -> list[str]:
    """Name everything behind a part, up to the next converter."""
    names: list[str] = []
    for join in trace.behind(name):
        names.append(join.sink.part)
        part = trace.parts[join.sink.part]
        if not isinstance(part, Converter) or part.kind == "clamp":
            names += _downstream(trace, join.sink.part)
    return list(dict.fromkeys(names))
