"""Findings on the house and its use: heaters, drums, openers, cold nights, thermostat, damp, fuel and animals."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from solarvent.air.network import leakage_area
from solarvent.base.constants import GRAVITY, WATER_DENSITY
from solarvent.base.findings import Finding, sort_findings
from solarvent.base.quantities import show
from solarvent.house.model import crop_of
from solarvent.plan.house_records import Heater, Mass
from solarvent.plan.plan import Plan
from solarvent.simulation.cold_night import Night
from solarvent.simulation.simulate import Simulation

#: Free area for the air of a burner: 1 in2 for each 2500 Btu/h, Michigan State University Extension, Malfunctioning
#: greenhouse unit heaters. Fuel-gas codes ask for 1 in2 for each 1000 to 2000. [m2/W]
COMBUSTION_AREA = 0.0254**2 / (2500 * 1055.05585262 / 3600)
#: What a usual deck or floor of boards bears: 40 lb/ft2, the live load of dwellings in building codes (memory). [Pa]
DECK_LOAD = 1915.0
#: A pound-force on a square foot. [Pa]
_POUND_PER_FOOT = 47.88
#: An opener takes so much to open all the way (typical of wax cylinders). [K]
_OPENS_BEFORE = 10.0
#: From this volume on it is a drum that may have held anything (our choice). [m3]
_DRUM = 0.1


def house_findings(plan: Plan, system: str = "metric") -> Iterator[Finding]:
    """Hold heater, openers and masses in a plan's house against what is safe."""
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
        # Only the cracks are there whenever it burns: vents are shut on cold nights.
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
    """Write the load of a floor as builders do. [Pa]"""
    return f"{pressure / _POUND_PER_FOOT:.0f} lb/ft2" if system == "us" else f"{pressure / 1000:.1f} kPa"


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
    if mass.freezes and not mass.sunlit and mass.volume >= _DRUM:
        text = "It stands in the shade: it is only as warm as the air of the day, and gives little back at night."
        do = "Stand it where the sun falls on it, painted dark, at the side away from the equator."
        yield Finding("note", "drum-in-shade", name, text, do)
    if mass.history == "chemicals":
        text = "A drum that held chemicals or fuel gives off vapours, or bursts when it is cut or warmed."
        yield Finding("stop", "drum-history", name, text, "Use a food-grade drum; take this one to the waste depot.")
    elif mass.history == "unknown" and mass.freezes and mass.volume >= _DRUM:
        text = "Nobody knows what this drum held."
        yield Finding("warn", "drum-history", name, text, "Use only drums that held food, and label the water.")


def opener_findings(plan: Plan, system: str) -> Iterator[Finding]:
    """Say whether the wax openers lift their vents."""
    most = crop_of(plan).most
    for number, vent in enumerate(plan.record.opening, 1):
        if vent.opener is None:
            continue
        name, opener = vent.id or f"opening {number}", plan.opener(vent.opener)
        begins = opener.opens_at if vent.opens_at is None else vent.opens_at
        if begins >= most:
            text = (
                f"The opener begins to lift at {show(begins, 'temperature', system)}; {crop_of(plan).name} are harmed"
                f" above {show(most, 'temperature', system)}."
            )
            do = f"Set it to begin at least {show(_OPENS_BEFORE, 'temperature difference', system)} below that."
            yield Finding("warn", "opener-late", name, text, do, begins, most, "degC")
        if vent.vent_weight is not None and vent.vent_weight > opener.lift:
            text = (
                f"The vent weighs {show(vent.vent_weight, 'mass', system, 1)} and the opener lifts"
                f" {show(opener.lift, 'mass', system, 1)}: it counts as shut."
            )
            do = "Take a stronger opener, or two, or balance the vent; forcing it by hand ruins the seal."
            yield Finding("warn", "opener-weak", name, text, do, vent.vent_weight, opener.lift, "kg")


def night_findings(night: Night, system: str | None = None) -> list[Finding]:
    """Say what stands in the house, and what the coldest night does to plants, water and a battery, worst first."""
    plan = night.run.plan
    units = system or plan.record.units
    return sort_findings([*house_findings(plan, units), *_frost(plan, night, units)])


def _frost(plan: Plan, night: Night, units: str) -> Iterator[Finding]:
    """Say what frost does."""
    crop = crop_of(plan)
    lowest = night.minimum_inside
    if lowest < crop.least:
        text = (
            f"On the coldest night it falls to {show(lowest, 'temperature', units)} inside; {crop.name} are harmed"
            f" below {show(crop.least, 'temperature', units)}."
        )
        do = "Move them in, wrap them, or hold the house by water and a heater as told below."
        yield Finding("warn", "night-cold", "", text, do, lowest, crop.least, "degC")
    heater = plan.record.heater
    if heater is not None and heater.power < night.heater_watts:
        text = (
            f"It gives {heater.power:.0f} W; to hold {show(night.wanted, 'temperature', units)} on the coldest night"
            f" takes {night.heater_watts:.0f} W, or {night.heater_shut:.0f} W with everything shut."
        )
        do = "Shut vents at night and add a screen, then a heater of the watts that are left, or more water."
        yield Finding("warn", "heater-small", "heater", text, do, heater.power, night.heater_watts, "W")
    water = [mass for mass in plan.record.mass if mass.freezes]
    if water and float(night.temp_mass.min()) < 0:
        drum = "55 gal" if units == "us" else "208 L"
        text = (
            f"The water begins to freeze on that night. Each drum of {drum} would give another 19 kWh in doing so, not"
            " counted here; a full shut drum bursts."
        )
        do = "Leave a hand's breadth of air in each drum, and the bungs loose."
        yield Finding("warn", "water-freezes", "", text, do, float(night.temp_mass.min()), 0.0, "degC")
    battery = plan.record.battery
    if battery is not None:
        # Acid is nearly water when the battery is flat (common practice, no source). [degC]
        frost, flat, full = (show(value, "temperature", units, 0) for value in (0.0, -7.0, -50.0))
        if battery.kind == "lithium":
            limit, harm = 0.0, f"must not be charged below {frost}"
        else:
            limit, harm = -7.0, f"freezes from {flat} on when it is discharged (at {full} when full)"
        if lowest < limit:
            coldest = show(lowest, "temperature", units, 1)
            text = f"A {battery.kind} battery in the house {harm}; it gets {coldest} there."
            do = "Take it in for the winter, or insulate and hold it charged; fuse it at the post."
            yield Finding("warn", "battery-frost", "battery", text, do, lowest, limit, "degC")


#: A greenhouse cooler than this wants no fan, and so many hours in a year are worth a thermostat (common practice, no
#: source). [degC], [h]
COOL_INSIDE, COLD_HOURS = 15.0, 100.0
#: Share of the steps in doubt from which it is told. [-]
HUNTING_SHARE = 0.02


def thermostat_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether fans of a greenhouse turn in cold sun, or a thermostat switches faster than the steps show."""
    record = run.plan.record
    if record.thermostat is not None and record.thermostat.contact == "ac":
        text = (
            "The contact of the thermostat is rated for alternating current: direct current does not go out by itself"
            " where it opens, so that it arcs and welds shut."
        )
        do = 'Get one that is rated for this direct current, and write contact = "dc" in [thermostat].'
        yield Finding("stop", "thermostat-ac", "thermostat", text, do)
    if record.thermostat is not None:
        yield from doubt_findings(run.thermostat_residual)
    elif run.house is not None and record.house.use == "greenhouse" and record.storage is None:
        # As it is with vents and fans at work, for the fans themselves cool it.
        cool = run.house.case("both") < COOL_INSIDE
        hours = float(run.electrical.any_running[cool].sum()) * run.conditions.step / 3600.0
        if hours > COLD_HOURS:
            text = (
                f"For {hours:.0f} h the fans turn while it is under {show(COOL_INSIDE, 'temperature', system)} inside:"
                " straight on a panel they know light, not heat, and blow out warmth that plants could use."
            )
            do = (
                "A switch, or a bimetal thermostat in series that is rated for direct current at the panel's"
                " open-circuit voltage; try it with [thermostat] in the plan."
            )
            yield Finding("note", "runs-in-cold-sun", "", text, do, hours, COLD_HOURS, "h")


def doubt_findings(share: float) -> Iterator[Finding]:
    """Say that a thermostat switches faster than the steps show, in that share of those in which fans could turn."""
    if share > HUNTING_SHARE:
        text = (
            f"In {share:.0%} of the hours in which the fans could turn they cool the house so far that the thermostat"
            " opens, and it closes again within the hour; such hours count as standing, so the air is more than is"
            " shown."
        )
        do = "Set closes_at and opens_at further apart."
        yield Finding("note", "thermostat-hunts", "thermostat", text, do, share, HUNTING_SHARE)


#: Figures of the IP code (IEC 60529): 5, dust-protected; 4, splashing water.
DUST, SPLASH = 5, 4


def use_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Hold the fans against damp, dust and vapours of the house, and its vents against the needs of animals."""
    house = run.plan.record.house
    if house.stores_fuel:
        text = (
            "Fuel, solvents or gas bottles are kept in there: a fan sparks, and stands whenever the sun does not shine."
        )
        do = "Move them out. A store of fuel needs vents that are always open, low and high, and no such fan."
        yield Finding("stop", "fuel-vapours", "", text, do)
    if house.use == "coop":
        yield from _animals(run, system)
    for fan in run.plan.record.fan:
        dust, water = ip_figures(fan.ip_code)
        if house.use == "greenhouse" and water is not None and water < SPLASH:
            text = (
                f"{fan.ip_code} does not keep splashing water out. In the damp of a greenhouse bearings and windings"
                " corrode: count on one or two seasons."
            )
            do = "Take one of IP54 or better, or hang it where no drop reaches it, wires down, and keep a spare."
            yield Finding("warn", "fan-damp", fan.id, text, do, float(water), float(SPLASH))
        if house.use == "coop" and (dust is None or dust < DUST):
            known = f"{fan.ip_code} lets dust in" if dust is not None else "Nothing says that its motor is sealed"
            text = f"{known}: feather dust packs an open motor until it overheats, and it burns."
            do = 'Use a fan with a sealed motor (ip_code = "IP54" or better on its label), guard it, brush it weekly.'
            yield Finding("warn", "fan-dust", fan.id, text, do, None if dust is None else float(dust), float(DUST))


def ip_figures(code: str | None) -> tuple[int | None, int | None]:
    """Read dust and water off an IP code; None where it does not say.

    Examples
    --------
    >>> ip_figures("IP54"), ip_figures("IPX4"), ip_figures(None)
    ((5, 4), (None, 4), (None, None))
    """
    if code is None:
        return None, None
    dust, water = list(code[2:4])
    return int(dust) if dust.isdigit() else None, int(water) if water.isdigit() else None


def _animals(run: Simulation, system: str) -> Iterator[Finding]:
    """Say how warm it gets for the animals with the fans still."""
    need = run.needed
    if run.house is None or not need.any():
        return
    inside, outside = run.house.case("openings")[need], run.conditions.weather["temp_air"].to_numpy()[need]
    # Without the fans: hens do not survive an afternoon on which they stand.
    rise, allowed = float(np.max(inside - outside)), run.plan.record.target.rise
    if rise > allowed:
        warmer, wanted = (show(value, "temperature difference", system, 0) for value in (rise, allowed))
        text = (
            f"With the fans still (no sun, a dead fan) it gets up to {warmer} warmer than outside through its vents"
            f" alone; {wanted} is what the plan wants. In a heat wave that kills birds; fans on a panel are no life"
            " support."
        )
        do = "Open more that works without a fan, low and high, until the birds are safe; the fan is on top of that."
        yield Finding("warn", "animals-need-vents", "", text, do, rise, allowed, "K")
