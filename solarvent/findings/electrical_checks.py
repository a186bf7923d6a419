"""Findings on panels, voltages, thresholds and wires."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

import numpy as np

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.operation import point
from solarvent.electrical.panel_model import panel_parameters, single_diode
from solarvent.electrical.plate import check_plate
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Splitter
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import WorstCase
from solarvent.weather.span import hours_of_need
from solarvent.wiring.cable import conductor_current_basis
from solarvent.wiring.circuit import has_series
from solarvent.wiring.harness import Harness

SAFE_VOLTAGE = 60.0
"""Limit of protective extra-low voltage for smooth direct current (IEC 60364-4-41, from memory). [V]"""
LATE_START = 700.0
#: A fan may well stand through one dull day; what it does in less says nothing of the year.
_DAYS_THAT_TELL = 28
DROP_WARN, DROP_STOP = 0.05, 0.10


def panel_findings(run: Simulation) -> Iterator[Finding]:
    """Say what is doubtful about the plates and the places of the panels."""
    for panel in run.plan.record.panel:
        name = panel.id
        yield from _plate_findings(panel, name)
        if panel.behind is not None:
            cover = run.plan.cover(panel.behind)
            lost = 1 - cover.transmittance
            text = f"The panel looks through {cover.name}, which takes {lost:.0%} of the light even when clean and dry."
            if cover.mesh:
                do = "Hang the panel clear of the mesh; the mesh belongs over the inlet."
                yield Finding("warn", "panel-behind-mesh", name, text, do, cover.transmittance, 1.0)
            else:
                do = "Put the panel outside, above the ridge, clear of frame bars."
                yield Finding("warn", "panel-behind-cover", name, text, do, cover.transmittance, 1.0)
        if panel.lit_share_of_worst_cell < 1:
            text = (
                f"A shadow covers {1 - panel.lit_share_of_worst_cell:.0%} of one cell. Cells are in series: the darkest"
            )
            if panel.clear_sections:
                text += (
                    f" one sets the current of its section, or a diode bridges the section: {panel.sections_in_shadow}"
                    f" of {panel.bypass_diodes} sections and their share of the voltage are lost in strong light."
                )
            else:
                text += " one sets the current of all of them."
            do = "Move the panel clear of leaf, bar and line from 10 to 17 h."
            yield Finding("warn", "cell-shaded", name, text, do, panel.lit_share_of_worst_cell, 1.0)
        if panel.tilt < 10:
            text = f"The panel lies at {panel.tilt:g} degrees: water and dirt stay on it, and low sun glances off."
            yield Finding("note", "panel-flat", name, text, "Tilt it 15 degrees or more.", panel.tilt, 10.0, "deg")


def _plate_findings(panel: Panel, name: str) -> Iterator[Finding]:
    """Hold the figures on a plate against each other."""
    if panel.v_oc is None or panel.i_sc is None or panel.v_mp is None or panel.i_mp is None:
        if panel.single_diode is None:
            text = f"Only the watts ({panel.watts:g} W) are known; the curve is scaled from a usual 36-cell panel."
            do = "Read Voc, Isc, Vmp and Imp off its plate, or measure Voc and Isc at noon, and write them in the plan."
            yield Finding("note", "watts-only", name, text, do, panel.watts, None, "W")
        return
    area = panel.width * panel.height if panel.width and panel.height else None
    check = check_plate(panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp, panel.watts, area)
    ask = "Ask the seller for Voc, Isc, Vmp and Imp; measure Voc and Isc at noon and write them in the plan."
    if not check.fill_factor_plausible:
        text = f"The plate's fill factor is {check.fill_factor:.2f}; real panels have 0.60 to 0.82."
        yield Finding("warn", "plate-implausible", name, text, ask, check.fill_factor, 0.82)
    if not check.watts_plausible:
        watts = panel.v_mp * panel.i_mp
        text = f"The plate says {panel.watts:g} W, but its Vmp x Imp is {watts:.3g} W."
        yield Finding("warn", "plate-implausible", name, text, ask, panel.watts, watts, "W")
    if not check.area_plausible:
        text = f"The plate promises {check.watts_per_area:.0f} W from each square metre; good cells give 240 at most."
        yield Finding("warn", "plate-inflated", name, text, ask, check.watts_per_area, 240.0, "W/m2")


def threshold_findings(run: Simulation) -> Iterator[Finding]:
    """Say which fans do not start, start late, or will not start again after a cloud."""
    for fan in run.plan.record.fan:
        name = fan.id
        typical, low = (run.bands[band].thresholds[name] for band in ("typical", "low"))
        start, stop = typical.start_irradiance, typical.run_down_irradiance
        bigger = more_panel(fan)
        if isnan(start):
            text = f"The fan never starts: no sun gives it {fan.start_voltage:g} V while its rotor stands still."
            do = _what_starves_it(run, name) or bigger
            yield Finding("stop", "never-starts", name, text, do, None, fan.start_voltage, "V")
            continue
        brightest = float(run.conditions.brightest_on(run.circuit_of(name).panel_ids).max())
        lasts = len(run.conditions.times) * run.conditions.step > _DAYS_THAT_TELL * 86400
        if lasts and brightest < start and not (run.hours[f"running.{name}"] > 0).any():
            text = (
                f"The fan never starts: it would in {start:.0f} W/m2 on the cells, and they never get more than"
                f" {brightest:.0f} W/m2."
            )
            do = f"See what keeps the sun away: tilt, azimuth, dirt, glass, shade. {bigger}"
            yield Finding("stop", "never-starts", name, text, do, brightest, start, "W/m2")
            continue
        if start > LATE_START:
            text = f"The fan starts only above {start:.0f} W/m2 on the cells: clear sky near noon."
            yield Finding("warn", "starts-late", name, text, bigger, start, LATE_START, "W/m2")
        elif isnan(low.start_irradiance):
            text = f"With a weak panel and a stiff fan it would never start; typically it does at {start:.0f} W/m2."
            do = f"{bigger} Or measure the panel's short-circuit current at noon: it decides."
            yield Finding("warn", "may-not-start", name, text, do, start, None, "W/m2")
        yield from _restart_finding(run, fan, start, stop)


def _may_be_24_volt(fan: Fan) -> bool:
    """Tell a 12 V fan, of which there is a 24 V twin; there is none of USB fans."""
    return 9.0 < fan.rated_voltage < 20.0


def more_panel(fan: Fan) -> str:
    """Say what helps a fan that its panel starts too late; all findings of that kind give this one advice.

    Parameters
    ----------
    fan : Fan
        As it is in the plan.

    Returns
    -------
    str
        One sentence.
    """
    if _may_be_24_volt(fan):
        return "A larger panel, an easier-starting fan, a 24 V fan on the 12 V panel, or fewer fans on it."
    return "A larger panel, an easier-starting fan, or fewer fans on it."


def _what_starves_it(run: Simulation, fan: str) -> str:
    """Name the joint or the part on the way that no larger panel would help against; empty if there is none."""
    for name in run.harness.upstream(fan):
        part = run.harness.parts[name]
        if isinstance(part, Splitter) and part.arrangement == "series" and len(run.harness.after(name)) > 1:
            return "It is in series with another fan, which takes the voltage: join them side by side."
        if isinstance(part, Converter):
            return f"See {name}, which feeds it: it gives {part.output_voltage:g} V and {part.current_limit:g} A."
    return ""


def _restart_finding(run: Simulation, fan: Fan, start: float, stop: float) -> Iterator[Finding]:
    """Say how often a fan turns in light that would not start it."""
    name, hours = fan.id, run.hours
    need = hours_of_need(run.plan, run.conditions.times)
    turning = (hours[f"running.{name}"].to_numpy() > 0) & need
    carried = turning & (run.conditions.brightest_on(run.circuit_of(name).panel_ids) < start)
    if turning.any() and (share := carried.sum() / turning.sum()) > 0.1:
        text = (
            f"In {share:.0%} of the hours in which you need it, the fan keeps turning but would not start again after"
            f" a cloud: it starts at {start:.0f} W/m2 and stops at {stop:.0f} W/m2."
        )
        yield Finding("warn", "will-not-restart", name, text, more_panel(fan), start, stop, "W/m2")


def voltage_findings(
    run: Simulation, worst: WorstCase, system: str, mild: WorstCase | None = None
) -> Iterator[Finding]:
    """Say which parts see more voltage than they stand; with `mild`, the same on a mild day, whether it is the cold."""
    how = "converter in [wiring]" if run.plan.record.wiring.layout else "a [[converter]] and its id in runs"
    clamp = f"Put a regulator or clamp between panel and fan ({how}), use a fan for more volts, or a smaller panel."
    for panel, volts in worst.open_circuit.items():
        if volts > SAFE_VOLTAGE:
            text = f"With nothing joined the circuit reaches {volts:.0f} V in the cold: more than is safe to touch."
            do = f"Stay below {SAFE_VOLTAGE:g} V: join panels in parallel, not in series."
            yield Finding("stop", "above-safe-voltage", panel, text, do, volts, SAFE_VOLTAGE, "V")
    for fan in run.plan.record.fan:
        name, limit = fan.id, fan.maximum_voltage
        volts = worst.turning[name]
        cold = f"In the brightest light (a cloud's edge) at {show(worst.temp_air, 'temperature', system)}"
        if volts > limit:
            text = f"{cold} the turning fan gets {volts:.1f} V; its limit is {limit:g} V."
            if mild is not None and mild.turning[name] <= limit:
                text += f" At {show(mild.temp_air, 'temperature', system)} it would be {mild.turning[name]:.1f} V."
                yield Finding("stop", "over-voltage-cold", name, text, clamp, volts, limit, "V")
            else:
                yield Finding("stop", "over-voltage", name, text, clamp, volts, limit, "V")
        elif worst.one_failed.get(name, 0.0) > limit:
            volts = worst.one_failed[name]
            text = f"If another fan fails, this one gets {volts:.1f} V in bright cold sun; its limit is {limit:g} V."
            yield Finding("warn", "over-voltage-one-failed", name, text, clamp, volts, limit, "V")
        yield from _standing_finding(run, worst, fan)


def _standing_finding(run: Simulation, worst: WorstCase, fan: Fan) -> Iterator[Finding]:
    """Say that a retrying fan sees nearly the open-circuit voltage between its attempts; a held one loads the panel."""
    if fan.standing != "retrying":
        return
    name, limit = fan.id, fan.maximum_voltage
    row = [other.id for other in run.plan.record.fan].index(name)
    peak = float(run.electrical.fan_voltage_peak[row].max(initial=0.0))
    highest = max(peak, worst.standing[name])
    if highest > limit:
        text = (
            f"Between its attempts to start, a standing fan is at the open-circuit voltage: up to {highest:.1f} V on a"
            f" cold morning; its limit is {limit:g} V."
        )
        do = "Choose a fan whose printed limit is above it, or add a clamp."
        yield Finding("warn", "open-circuit-voltage", name, text, do, highest, limit, "V")


def wire_findings(run: Simulation) -> Iterator[Finding]:
    """Say which cables lose too much voltage, or are too thin for the current that may flow."""
    harness, record = run.harness, run.plan.record
    for circuit in run.circuits:
        panels = [panel for panel in record.panel if panel.id in circuit.panel_ids]
        bright = {panel.id: panel_parameters(panel, np.array([1000.0]), np.array([50.0])) for panel in panels}
        fans = {fan.id: fan_electrical(fan) for fan in record.fan if fan.id in circuit.fan_ids}
        reading = point(circuit, bright, fans, dict.fromkeys(fans, "turning"))
        made = (reading.panel_voltage * reading.panel_current).sum()
        used = (reading.fan_voltage * reading.fan_current).sum() + reading.converter_power.sum()
        by_power = has_series(circuit) or bool(reading.converter_ids)
        word = "power" if by_power else "voltage"
        for name, volts in zip(reading.fan_ids, reading.fan_voltage[:, 0], strict=True):
            # In series the voltage is shared out, and a converter changes it; what is lost then shows in the power.
            share = used / made if by_power else volts / reading.panel_voltage[:, 0].max()
            if (lost := 1 - float(share)) > DROP_WARN:
                level = "stop" if lost > DROP_STOP else "warn"
                text = f"In full sun {lost:.0%} of the panel's {word} is lost on the way to the fan."
                do = "Use thicker wire, a shorter way, or fewer joints."
                if _may_be_24_volt(next(fan for fan in record.fan if fan.id == name)):
                    do = "Use thicker wire, a shorter way, fewer joints, or a 24 V fan, which needs half the current."
                yield Finding(level, "voltage-drop", name, text, do, lost, DROP_STOP if level == "stop" else DROP_WARN)
    yield from thin_wire_findings(run.plan, harness)


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
