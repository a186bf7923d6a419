"""Findings on what stands in the house: heaters, drums, openers."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.air.ventilation import leakage_area
from solarvent.base.constants import GRAVITY, WATER_DENSITY
from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.plan.house_records import Heater, Mass
from solarvent.plan.plan import Plan

#: Free area for the air of a burner: 1 in2 for each 2500 Btu/h, Michigan State University Extension, Malfunctioning
#: greenhouse unit heaters. Fuel-gas codes ask for 1 in2 for each 1000 to 2000. [m2/W]
COMBUSTION_AREA = 0.0254**2 / (2500 * 1055.05585262 / 3600)
#: What a usual deck or floor of boards bears: 40 lb/ft2, the live load of dwellings in building codes (memory). [Pa]
DECK_LOAD = 1915.0
_DRUM_SIDE = 0.1  # from this volume on it is a drum that may have held anything [m3]


def house_findings(plan: Plan, system: str = "metric") -> Iterator[Finding]:
    """Hold the things that stand in a plan's house against what is safe.

    Parameters
    ----------
    plan : Plan
        The plan.
    system : {"metric", "us"}
        Units in the texts.

    Yields
    ------
    Finding
        On heater, openers and masses.
    """
    record = plan.record
    if record.heater is not None:
        yield from heater_findings(plan, record.heater)
    yield from opener_findings(plan, system)
    for number, mass in enumerate(record.mass, 1):
        yield from mass_findings(mass, mass.id or f"mass {number}", system)


def heater_findings(plan: Plan, heater: Heater) -> Iterator[Finding]:
    """Say what a heater may do to people and plants."""
    if heater.fuel != "electric":
        if not heater.flue:
            text = (
                f"A {heater.fuel} heater without a flue in a shut house: carbon monoxide can kill whoever goes in, and"
                " ethylene from 0.01 ppm on harms plants (tomatoes show it within a day); it also makes the house drip."
            )
            do = "Do not burn anything in there without a flue. Use a listed electric heater, or more insulation."
            yield Finding("stop", "heater-fumes", "heater", text, do)
        wanted, cracks = COMBUSTION_AREA * heater.power, leakage_area(plan)
        if cracks < wanted:
            text = (
                f"A burner of {heater.power:.0f} W wants {wanted * 1e4:.0f} cm2 for its air; the cracks of the house"
                f" are {cracks * 1e4:.0f} cm2, and fans that draw can pull its fumes back down the flue."
            )
            do = "Give it an air inlet of its own that cannot be shut, and a carbon monoxide alarm."
            yield Finding("warn", "heater-starved", "heater", text, do, cracks, wanted, "m2")
    elif heater.cable == "extension":
        text = (
            f"An electric heater of {heater.power:.0f} W on an extension lead: thin or coiled leads glow, and plugs in"
            " the wet are deadly."
        )
        do = (
            "Feed it from an outlet of its own behind a residual-current switch (30 mA, in the US a GFCI); that outlet"
            " is a licensed electrician's work."
        )
        yield Finding("stop", "heater-extension", "heater", text, do)


def _floor_load(pressure: float, system: str) -> str:
    """Write the load of a floor as builders do."""
    return f"{pressure / 47.88:.0f} lb/ft2" if system == "us" else f"{pressure / 1000:.1f} kPa"


def mass_findings(mass: Mass, name: str, system: str) -> Iterator[Finding]:
    """Say whether what a mass stands on bears it, and whether it is clean."""
    weight = mass.weight or mass.volume * WATER_DENSITY
    if mass.stands_on in ("deck", "bench") and mass.footprint > 0:
        load = weight * GRAVITY / mass.footprint
        if load > DECK_LOAD:
            text = (
                f"It weighs {show(weight, 'mass', system, 0)} on {show(mass.footprint, 'area', system, 2)}:"
                f" {_floor_load(load, system)} on a {mass.stands_on}, where a usual deck is made for"
                f" {_floor_load(DECK_LOAD, system)}."
            )
            do = "Stand it on the ground or a slab, level and chocked; never on staging, never one on another."
            yield Finding("stop", "mass-load", name, text, do, load, DECK_LOAD, "Pa")
    if mass.history == "chemicals":
        text = "A drum that held chemicals or fuel gives off vapours, or bursts when it is cut or warmed."
        yield Finding("stop", "drum-history", name, text, "Use a food-grade drum; take this one to the waste depot.")
    elif mass.history == "unknown" and mass.freezes and mass.volume >= _DRUM_SIDE:
        text = "Nobody knows what this drum held."
        yield Finding("warn", "drum-history", name, text, "Use only drums that held food, and label the water.")


def opener_findings(plan: Plan, system: str) -> Iterator[Finding]:
    """Say whether the wax openers lift their vents."""
    for number, one in enumerate(plan.record.opening, 1):
        if one.opener is None or one.vent_weight is None:
            continue
        lift = plan.opener(one.opener).lift
        if one.vent_weight > lift:
            text = (
                f"The vent weighs {show(one.vent_weight, 'mass', system, 1)} and the opener lifts"
                f" {show(lift, 'mass', system, 1)}: it counts as shut."
            )
            do = "Take a stronger opener, or two, or balance the vent; forcing it by hand ruins the seal."
            name = one.id or f"opening {number}"
            yield Finding("warn", "opener-weak", name, text, do, one.vent_weight, lift, "kg")
