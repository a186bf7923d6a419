"""Findings on what stands in the house: heaters, drums, openers."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.air.ventilation import leakage_area
from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.plan.house_records import Heater, Mass
from solarvent.plan.plan import Plan
from solarvent.simulation.house_flows import hottest_moment
from solarvent.simulation.simulate import Simulation

#: Free area for the air of a burner: 1 in2 for each 2500 Btu/h, Michigan State University Extension, Malfunctioning
#: greenhouse unit heaters. Fuel-gas codes ask for 1 in2 for each 1000 to 2000. [m2/W]
COMBUSTION_AREA = 0.0254**2 / (2500 * 1055.05585262 / 3600)
#: What a usual deck or floor of boards bears: 40 lb/ft2, the live load of dwellings in building codes (memory). [Pa]
DECK_LOAD = 1915.0
#: Share of the fresh air that may enter beside a fan (common practice, no source).
SHORT_CIRCUIT = 0.5
_WATER_DENSITY, _GRAVITY = 998.2, 9.80665
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
    weight = mass.weight or mass.volume * _WATER_DENSITY
    if mass.stands_on in ("deck", "bench") and mass.footprint > 0:
        load = weight * _GRAVITY / mass.footprint
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


def flow_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether the air crosses the house, or goes from a vent beside the fan, perhaps a waxed one, out again."""
    moment = hottest_moment(run)
    if moment is None or moment.short_circuit <= SHORT_CIRCUIT:
        return
    beside = [path for path in moment.paths if path.beside_fan and path.inward > 0]
    names = ", ".join(path.name for path in beside)
    fans = sum(path.outward for path in moment.paths if path.kind == "fan")
    text = (
        f"In the hottest hour {moment.short_circuit:.0%} of the fresh air enters beside the fans, through {names}, and"
        f" leaves by them ({show(fans, 'flow', system)}) without crossing the house."
    )
    opened = {one.id or one.name for one in run.plan.record.opening if one.opener is not None}
    if sum(path.inward for path in beside if path.name in opened) > 0.5 * sum(path.inward for path in beside):
        text += " The wax opens that vent just when the fans run hardest: they work against each other."
        do = (
            "Put the fans into the opposite gable with a low inlet at the far end, or let them blow in and the vent let"
            " out; or take its opener off."
        )
        yield Finding("warn", "opener-feeds-fan", names, text, do, moment.short_circuit, SHORT_CIRCUIT)
        return
    do = "Put the fans at the far end from the vents, open a larger inlet low down there, or shut those vents."
    yield Finding("warn", "air-short-circuit", names, text, do, moment.short_circuit, SHORT_CIRCUIT)


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
