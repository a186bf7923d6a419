"""Findings on what lies in the line: wire too thin or poor, worn contacts, a diode that is not needed."""

from __future__ import annotations

from collections.abc import Iterator
from math import log1p

from solarvent.base.findings import Finding
from solarvent.electrical.panel_model import single_diode
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan
from solarvent.wiring.cable import conductor_current_basis
from solarvent.wiring.harness import Harness

#: A barrel contact is allowed 0.1 ohm after its tests, and has 0.03 ohm new (makers' data sheets). [ohm]
WORN_CONTACT = 0.1
#: Real over nominal resistance from which a wire is no longer what it is marked (common practice, no source). [-]
POOR_WIRE = 1.2


def line_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Report what costs voltage between panel and fan without need."""
    for name, part in harness.parts.items():
        if not isinstance(part, Lead | Splitter):
            continue
        panels = {other for other in harness.upstream(name) if isinstance(harness.parts[other], Panel)}
        if isinstance(part, Lead) and part.diode is not None and len(panels) == 1 and plan.record.battery is None:
            yield _diode(plan, harness, name, part.diode)
        if part.wire_quality >= POOR_WIRE and part.length > 0:
            text = (
                f"This lead has {part.wire_quality:.2g} times the resistance of honest {part.wire} copper: it is"
                " thinner than marked, or copper-clad aluminium."
            )
            do = "Measure the voltage at both of its ends in full sun; use a thicker lead if more than 5 % is lost."
            yield Finding("warn", "wire-poor", name, text, do, part.wire_quality, POOR_WIRE)
    if harness.contact_resistance >= WORN_CONTACT:
        text = f"Each contact has {harness.contact_resistance:.2g} ohm; a new one has about 0.03 ohm."
        do = "Clean and grease the contacts, renew loose ones, and turn plugs to face down, under a hood."
        yield Finding("warn", "contacts-worn", "", text, do, harness.contact_resistance, WORN_CONTACT, "ohm")


def _diode(plan: Plan, harness: Harness, name: str, diode: str) -> Finding:
    """Say what a diode takes from the fans behind it, which a single panel without a battery does not need."""
    law = plan.diode(diode)
    behind = [harness.parts[other] for other in dict.fromkeys(harness.downstream(name))]
    current = sum(part.rated_current for part in behind if isinstance(part, Fan))
    volts = law.slope_voltage * log1p(current / law.saturation_current)
    text = (
        f"The diode takes {volts:.2g} V of what the panel gives. One panel without a battery does not need it, unless"
        " to guard the fan against swapped poles."
    )
    return Finding("warn", "diode-drop", name, text, "Leave it out once the poles have been metered.", volts, 0.0, "V")


def thin_wire_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Say which cables are too thin for what the panels, or a converter, can push through them."""
    for name, part in harness.parts.items():
        if not isinstance(part, Lead | Splitter) or part.length == 0:
            continue
        current = float(conductor_current_basis(_short_circuit(name, harness)))
        limit = plan.wire(part.wire).ampacity
        whence = f"the panels can push {current:.1f} A (1.56 x Isc)"
        if (regulator := _regulator(name, harness)) is not None:
            # What burns the excess passes no more on than comes in; what steps down may.
            through = current if regulator.kind == "linear" else regulator.current_limit
            current = min(through, regulator.current_limit)
            whence = f"{regulator.id} gives up to {current:.1f} A into a short"
        if current > limit:
            text = f"{part.wire} may carry {limit:g} A; {whence} through it."
            do = "Use thicker wire. A fuse does not help: a short gives little more current than the sun already does."
            yield Finding("stop", "wire-thin", name, text, do, current, limit, "A")


def _regulator(name: str, harness: Harness) -> Converter | None:
    """Find the converter behind which a part hangs, that limits what may flow; a clamp limits nothing."""
    before = (harness.parts[one] for one in harness.upstream(name))
    return next((part for part in before if isinstance(part, Converter) and part.kind != "clamp"), None)


def _short_circuit(name: str, harness: Harness) -> float:
    """Current that the panels before a part can push through it in full sun; in series the strongest one's. [A]"""
    part = harness.parts[name]
    if isinstance(part, Panel):
        return part.i_sc if part.i_sc is not None else single_diode(part).I_L_ref
    currents = [_short_circuit(previous, harness) for previous in harness.before(name)]
    in_series = isinstance(part, Splitter) and part.arrangement == "series"
    return max(currents) if in_series else sum(currents)
