"""Findings on inlets, louvres, fan curves, and on whether the air is enough."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from solarvent.air.ventilation import highest_pressure, hole_area, inlet_area
from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.findings.air_supply import NEARLY_ALL, air_supply, is_enough
from solarvent.simulation.simulate import Simulation

#: Inlet area over the area of the fans' holes: less is small, this much is good (common practice, no source).
INLET_SMALL, INLET_GOOD = 1.0, 1.5
_CURVE_LEFT_SHARE = 0.05
#: Share of the air of a sunny hour from which a kit is said to cool (our own choice). [-]
_NEARLY = 0.7


def inlet_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether the fans can draw air at all."""
    holes = sum(hole_area(fan) for fan in run.plan.record.fan)
    inlet = inlet_area(run.plan)
    good = show(INLET_GOOD * holes, "area", system)
    do = f"Open {good}, what blades and mesh take not counted, low down at the far end from the fans."
    if inlet == 0:
        text = "There is no inlet: the fans only suck the house shut, and move what leaks in."
        yield Finding("stop", "inlet-none", "", text, do, 0.0, INLET_GOOD * holes, "m2")
    elif inlet < INLET_SMALL * holes:
        text = (
            f"After blades and mesh the inlets count for {show(inlet, 'area', system)}, less than the fans' own holes"
            f" ({show(holes, 'area', system)}): the fans are throttled."
        )
        yield Finding("warn", "inlet-small", "", text, do, inlet, INLET_SMALL * holes, "m2")


def pressure_words(value: float, system: str) -> str:
    """Write a pressure to the nearest pascal or thousandth of an inch."""
    return show(value, "pressure", system, 3 if system == "us" else 0)


def fan_air_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether louvres open and whether the fans stay on their curves."""
    for row, fan in enumerate(run.plan.record.fan):
        name = fan.id
        turning = run.electrical.running[row] > 0
        if not turning.any():
            continue
        opening = run.plan.opening(fan.outlet_opening)
        if opening.opening_pressure:
            volts = float(np.median(run.electrical.fan_voltage[row][turning]))
            pressure = float(highest_pressure(fan, np.array(volts)))
            if pressure < opening.opening_pressure:
                text = (
                    f"The blades ({opening.name}) want {pressure_words(opening.opening_pressure, system)} to lift; at"
                    f" its usual {volts:.1f} V the fan makes {pressure_words(pressure, system)} at the most,"
                    " so they stay shut."
                )
                do = "Leave the shutter out (hood and mesh instead), prop or lighten its blades."
                yield Finding("stop", "louvre-heavy", name, text, do, pressure, opening.opening_pressure, "Pa")
        hours = float(run.electrical.running[row].sum())
        pushed_back, drawn_past = (
            float(share[row].sum()) / hours for share in (run.ventilation.pushed_back, run.ventilation.drawn_past)
        )
        if pushed_back > _CURVE_LEFT_SHARE:
            text = f"In {pushed_back:.0%} of its hours wind, shutter or the other fans press air back through this fan."
            do = "Put it on the lee side or under a hood; open a larger inlet."
            yield Finding("warn", "fan-curve-left", name, text, do, pushed_back, _CURVE_LEFT_SHARE)
        if drawn_past > _CURVE_LEFT_SHARE:
            text = (
                f"In {drawn_past:.0%} of its hours wind or the other fans draw the air through this fan faster than its"
                " curve reaches; what it moves then is an estimate."
            )
            do = "Count on less from it on calm days. Nothing is wrong with it."
            yield Finding("note", "fan-drawn-past", name, text, do, drawn_past, _CURVE_LEFT_SHARE)
        if not fan.curve:
            text = "Its curve is not measured."
            if fan.free_air_flow is not None:
                mean = float(run.ventilation.fan_flow[row].sum() / run.electrical.running[row].sum())
                moved = f"it moves {show(mean, 'flow', system)}"
                if mean < 0:
                    moved = f"{show(-mean, 'flow', system)} come back in through it"
                text = f"Its label promises {show(fan.free_air_flow, 'flow', system)}; here, while it turns, {moved}."
            do = (
                "The label is for full voltage with nothing in the way; what it moves here follows a typical curve"
                " through free air and highest pressure. If you have measured points, write them as"
                " curve = [[m3/h, Pa], ...]."
            )
            yield Finding("note", "curve-typical", name, text, do)


def enough_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether the kit cools in full sun, in all but full sun, or only purges."""
    supply = air_supply(run)
    wanted = supply.sunny
    if wanted is None or wanted.wanted <= 0 or is_enough(supply.share, NEARLY_ALL):
        return
    cools = is_enough(supply.share) or supply.share_of_sunny_hour >= _NEARLY
    text = (
        f"This kit {'cools, if not in the fullest sun' if cools else 'purges rather than cools'}: in"
        f" {supply.share:.0%} of the hours of need it moves what their own sun wants. On average it moves"
        f" {show(supply.flow, 'flow', system)}, {supply.share_of_sunny_hour:.0%} of the"
        f" {show(wanted.wanted, 'flow', system)} that a sunny hour wants (the trade's one volume a minute would be"
        f" {show(wanted.by_volume, 'flow', system)})."
    )
    if supply.flow == 0:
        text = (
            "In the hours of need the fans stand, and move none of the"
            f" {show(wanted.wanted, 'flow', system)} that a sunny hour wants."
        )
    do = (
        "Count on open vents, door and shade cloth for the heat; more fans need more panel. No air cools below outside."
    )
    if cools:
        yield Finding("note", "not-in-full-sun", "", text, do, supply.flow, wanted.wanted, "m3/s")
    else:
        yield Finding("warn", "purge-only", "", text, do, supply.flow, wanted.wanted, "m3/s")
