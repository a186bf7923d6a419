"""Findings on inlets, louvres, ducts and fan curves, on the way of the air, and on whether it is enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from solarvent.air.network import (
    bare_hole,
    calm_flow,
    effective_area,
    highest_pressure,
    hole_area,
    inlet_area,
    wind_on_wall,
)
from solarvent.base.constants import AIR_DENSITY, ENOUGH, NEARLY_ALL
from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.house.air_need import Need, need, wanted_flow
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.year import hottest_moment


@dataclass(frozen=True)
class AirSupply:
    """Air in the hours of need: mean flow, typically [m3/s], and the share in which it is enough [-].

    Enough is what their own sun wants; the share is of those hours that want any. `sunny` is what a sunny hour of need
    wants, of which one in ten has more sun; `wanting` the share of the hours of need that want any [-]. NaN or None if
    the weather has no such hours.
    """

    flow: float
    share: float
    sunny: Need | None
    wanting: float

    @property
    def share_of_sunny_hour(self) -> float:
        """The mean air as a share of what a sunny hour wants; NaN if it wants none, or there is none. [-]"""
        wanted = self.sunny.wanted if self.sunny else 0.0
        return self.flow / wanted if wanted > 0 else float("nan")


def air_supply(run: Simulation) -> AirSupply:
    """Hold the air of a simulation against the need of each hour."""
    needed = run.needed
    weather = run.conditions.weather[needed]
    if weather.empty:
        return AirSupply(float("nan"), float("nan"), None, float("nan"))
    ghi, temp_air = weather["ghi"].to_numpy(), weather["temp_air"].to_numpy()
    wanted = wanted_flow(run.plan, ghi, temp_air)
    share = share_reached(run.flow_at_limit[needed], wanted)
    # The brightest hour of a year may stand alone: one hour in ten is what a person meets.
    sunny = float(np.percentile(ghi, 90))
    return AirSupply(
        run.bands["typical"].target_flow,
        share,
        need(run.plan, sunny, float(temp_air[ghi >= sunny].mean())),
        float((~(wanted <= 0)).mean()),
    )


def reaches(flow: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Tell where the air is what is wanted, or more, to rounding; nowhere where no air would do (NaN). [m3/s]"""
    return np.asarray(flow >= wanted * (1 - 1e-9))


def share_reached(flow: np.ndarray, wanted: np.ndarray) -> float:
    """Share of the steps that want air in which it is reached; NaN if none wants any. [m3/s] in, [-] out"""
    # Steps in which no air would do (NaN) want it too: they count as not reached.
    wanting = ~(wanted <= 0)
    return float(reaches(flow, wanted)[wanting].mean()) if wanting.any() else float("nan")


def is_enough(share: float, often: float = ENOUGH) -> bool:
    """Tell whether the wanted air is reached often enough: in that share of the hours that want any, if there are."""
    # Not "at least": a share of no hours (NaN) leaves nothing wanting.
    return not share < often


#: Inlet over the holes of the fans, both as bare holes: less is small, this much is good (common practice, no source).
INLET_SMALL, INLET_GOOD = 1.0, 1.5
#: Share of a fan's hours off its curve from which it is told (our choice). [-]
_CURVE_LEFT_SHARE = 0.05
#: Share of the air of a sunny hour from which a kit is said to cool (our own choice). [-]
_NEARLY = 0.7


def inlet_findings(plan: Plan, system: str) -> Iterator[Finding]:
    """Say whether the fans can draw air at all."""
    holes = bare_hole(sum(hole_area(fan) for fan in plan.record.fan))
    inlet = bare_hole(inlet_area(plan))
    good = show(INLET_GOOD * holes, "area", system)
    do = f"Open {good} with nothing in it, more behind blades or mesh, low down at the far end from the fans."
    if inlet == 0:
        text = "There is no inlet: the fans only suck the house shut, and move what leaks in."
        yield Finding("stop", "inlet-none", "", text, do, 0.0, INLET_GOOD * holes, "m2")
    elif inlet < INLET_SMALL * holes:
        text = (
            f"With the blades and mesh in them the inlets pass as much as a bare hole of {show(inlet, 'area', system)},"
            f" less than the fans' own holes ({show(holes, 'area', system)}): the fans are throttled."
        )
        yield Finding("warn", "inlet-small", "", text, do, inlet, INLET_SMALL * holes, "m2")


def pressure_words(value: float, system: str) -> str:
    """Write a pressure to the nearest pascal or thousandth of an inch."""
    return show(value, "pressure", system, 3 if system == "us" else 0)


def fan_air_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether louvres open and whether the fans stay on their curves."""
    volts = _usual_voltages(run)
    for row, fan in enumerate(run.plan.record.fan):
        if fan.id in volts:
            yield from _heavy_blades(run.plan, fan, volts[fan.id], system)
            yield from _off_its_curve(run, row, fan)
            if fan.free_air_flow is not None and not fan.curve:
                yield _typical_curve(run, row, fan, fan.free_air_flow, system)


def _heavy_blades(plan: Plan, fan: Fan, volts: float, system: str) -> Iterator[Finding]:
    """Say whether a fan at its usual voltage [V] lifts the blades behind it."""
    opening = plan.opening(fan.outlet_opening)
    pressure = float(highest_pressure(fan, np.array(volts)))
    if pressure < opening.opening_pressure:
        text = (
            f"The blades ({opening.name}) want {pressure_words(opening.opening_pressure, system)} to lift; at its usual"
            f" {volts:.1f} V the fan makes {pressure_words(pressure, system)} at the most, so they stay shut."
        )
        do = "Leave the shutter out (hood and mesh instead), prop or lighten its blades."
        yield Finding("stop", "louvre-heavy", fan.id, text, do, pressure, opening.opening_pressure, "Pa")


def _off_its_curve(run: Simulation, row: int, fan: Fan) -> Iterator[Finding]:
    """Say how often air comes back through a turning fan, or goes through it faster than its curve reaches."""
    hours = float(run.electrical.running[row].sum())
    pushed_back, drawn_past = (
        float(share[row].sum()) / hours for share in (run.ventilation.pushed_back, run.ventilation.drawn_past)
    )
    if pushed_back > _CURVE_LEFT_SHARE:
        text = f"In {pushed_back:.0%} of its hours wind, shutter or the other fans press air back through this fan."
        do = "Put it on the lee side or under a hood; open a larger inlet."
        yield Finding("warn", "fan-curve-left", fan.id, text, do, pushed_back, _CURVE_LEFT_SHARE)
    if drawn_past > _CURVE_LEFT_SHARE:
        text = (
            f"In {drawn_past:.0%} of its hours wind or the other fans draw the air through this fan faster than its"
            " curve reaches; what it moves then is an estimate."
        )
        do = "Count on less from it on calm days. Nothing is wrong with it."
        yield Finding("note", "fan-drawn-past", fan.id, text, do, drawn_past, _CURVE_LEFT_SHARE)


def _typical_curve(run: Simulation, row: int, fan: Fan, promised: float, system: str) -> Finding:
    """Hold what a fan without a measured curve moves against the free air of its label. [m3/s]"""
    mean = float(run.ventilation.fan_flow[row].sum() / run.electrical.running[row].sum())
    moved = f"it moves {show(mean, 'flow', system)}"
    if mean < 0:
        moved = f"{show(-mean, 'flow', system)} come back in through it"
    text = f"Its label promises {show(promised, 'flow', system)}; here, while it turns, {moved}."
    do = (
        "The label is for full voltage with nothing in the way; what it moves here follows a typical curve through free"
        " air and highest pressure. If you have measured points, write them as curve = [[m3/h, Pa], ...]."
    )
    return Finding("note", "curve-typical", fan.id, text, do)


def enough_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether the kit cools in full sun, in all but full sun, or only purges."""
    supply = air_supply(run)
    wanted = supply.sunny
    if wanted is None or wanted.wanted <= 0 or is_enough(supply.share, NEARLY_ALL):
        return
    cools = is_enough(supply.share) or supply.share_of_sunny_hour >= _NEARLY
    text = (
        f"This kit {'cools, if not in the fullest sun' if cools else 'purges rather than cools'}: in"
        f" {supply.share:.0%} of the hours that want air it moves what their own sun wants. On average it moves"
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


#: Share of the flow that a duct may take, and that each of several fans should still give (our choice).
DUCT_LOSS, SHARED = 0.10, 0.80
#: Share of a fan's highest pressure that the wind may take, and of the hours in which it may (our choice).
WIND_PRESSURE, WIND_HOURS = 0.5, 0.10
#: A screen has a lower discharge coefficient than this; dust leaves so much of it (common practice, no source).
SCREEN, CLOGGED = 0.4, 0.7
#: Share of the fresh air that may enter beside a fan (common practice, no source).
SHORT_CIRCUIT = 0.5
#: Discharge coefficient of a plain hole, as in the library. [-]
_BARE = 0.6


def way_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say what hinders the air on its way in and out."""
    volts = _usual_voltages(run)
    if not volts:
        return
    yield from _inlet_blades(run, volts, system)
    yield from _screens(run.plan, system)
    yield from _ducts(run.plan, volts, system)
    yield from _shared(run.plan, volts, system)
    yield from _against_the_wind(run)


def _usual_voltages(run: Simulation) -> dict[str, float]:
    """Median voltage of each fan that turns at all. [V]"""
    medians = {}
    for row, fan in enumerate(run.plan.record.fan):
        turning = run.electrical.running[row] > 0
        if turning.any():
            medians[fan.id] = float(np.median(run.electrical.fan_voltage[row][turning]))
    return medians


def _inlet_blades(run: Simulation, volts: dict[str, float], system: str) -> Iterator[Finding]:
    """Say which blades in an inlet the suction holds shut, or cannot open."""
    suction = max(
        float(highest_pressure(fan, np.array(volts[fan.id]))) for fan in run.plan.record.fan if fan.id in volts
    )
    for number, opening in enumerate(run.plan.record.opening, 1):
        name = opening.id or opening.name or f"opening {number}"
        if opening.blades_open == "outward":
            text = "The blades of this inlet open outward: the fans suck them shut, and the air comes through cracks."
            do = "Hang the louvre the other way round, so that air coming in lifts the blades; or take the blades out."
            yield Finding("stop", "inlet-held-shut", name, text, do)
        elif opening.opening_pressure > suction:
            wanted, given = (pressure_words(value, system) for value in (opening.opening_pressure, suction))
            text = f"The blades of this inlet want {wanted} to open; all that the fans can suck is {given}."
            do = "Take the spring or the blades out, prop them open, or use mesh and a hood."
            yield Finding("stop", "inlet-held-shut", name, text, do, suction, opening.opening_pressure, "Pa")


def _screens(plan: Plan, system: str) -> Iterator[Finding]:
    """Say whether screens, with their dust, leave the fans too small an inlet."""
    screens = [opening for opening in plan.record.opening if opening.discharge_coefficient < SCREEN and opening.area]
    if not screens:
        return
    good = INLET_GOOD * bare_hole(sum(hole_area(fan) for fan in plan.record.fan))
    lost = sum(effective_area(screen) * (1 - CLOGGED) for screen in screens)
    bare = inlet_area(plan) + sum(
        effective_area(screen) * (_BARE / screen.discharge_coefficient - 1) for screen in screens
    )
    # Where even the bare holes are too small, inlet-small tells it, and a box of screen would not help.
    left = bare_hole(inlet_area(plan) - lost)
    if left < good <= bare_hole(bare):
        name = screens[0].id or screens[0].name or "opening"
        text = (
            "Without a screen the inlets would do; with it, and the dust that it gathers, they pass as much as a bare"
            f" hole of {show(left, 'area', system)}, where {show(good, 'area', system)} are wanted."
        )
        do = f"Stretch the screen over a box of {good / left:.1f} times this area in front of the hole, and brush it."
        yield Finding("warn", "screen-chokes-inlet", name, text, do, left, good, "m2")


def _ducts(plan: Plan, volts: dict[str, float], system: str) -> Iterator[Finding]:
    """Say what the duct behind a fan takes from its air."""
    for fan in plan.record.fan:
        if fan.id not in volts or not (fan.duct_length or fan.duct_bends):
            continue
        # The records are checked already; a copy is not checked again.
        straight = fan.model_copy(update={"duct_length": 0.0, "duct_bends": 0})
        now, without = (calm_flow(plan, volts, [ducted]) for ducted in (fan, straight))
        lost = 1 - now / without if without > 0 else 0.0
        if lost > DUCT_LOSS:
            bends = f" and {fan.duct_bends} bend{'s' if fan.duct_bends > 1 else ''}" if fan.duct_bends else ""
            text = (
                f"{show(fan.duct_length, 'length', system)} of duct{bends} take {lost:.0%} of the air: it moves"
                f" {show(now, 'flow', system)} in place of {show(without, 'flow', system)}."
            )
            do = "Set the fan into the wall; or use a wider, smooth, straight duct, pulled tight."
            yield Finding("warn", "duct-loss", fan.id, text, do, lost, DUCT_LOSS)


def _shared(plan: Plan, volts: dict[str, float], system: str) -> Iterator[Finding]:
    """Say whether several fans move much less together than each of them alone."""
    fans = [fan for fan in plan.record.fan if fan.id in volts]
    if len(fans) < 2:
        return
    # In calm air and at their usual volts, so that only the shared inlets differ.
    alone = [calm_flow(plan, volts, [fan]) for fan in fans]
    together = calm_flow(plan, volts, fans)
    share = together / sum(alone) if sum(alone) > 0 else 1.0
    if share < SHARED:
        text = (
            f"Alone the fans would move {show(sum(alone), 'flow', system)} in all; together they move"
            f" {show(together, 'flow', system)}, {share:.0%} of it, for they share the inlets. And one that stands is a"
            " hole through which the others draw."
        )
        do = "Open a larger inlet; give each fan a shutter, or use one larger fan."
        yield Finding("warn", "fans-share-inlet", str(fans[-1].id), text, do, share, SHARED)


def _against_the_wind(run: Simulation) -> Iterator[Finding]:
    """Say how often the wind on its wall takes half of a fan's pressure."""
    record, need = run.plan.record, run.needed
    weather = run.conditions.weather
    speed = np.nan_to_num(weather["wind_speed"].to_numpy(dtype=float)) * record.place.wind_share
    direction = np.nan_to_num(weather["wind_direction"].to_numpy(dtype=float))
    for row, fan in enumerate(record.fan):
        turning = need & (run.electrical.running[row] > 0)
        if fan.wall_azimuth is None or not turning.any():
            continue
        # A fan that blows in has the wind on its wall behind it.
        wind = wind_on_wall(speed, direction, fan.wall_azimuth, AIR_DENSITY)[turning] * (-1 if fan.blows_in else 1)
        against = wind > WIND_PRESSURE * highest_pressure(fan, run.electrical.fan_voltage[row][turning])
        share = float(against.mean())
        if share > WIND_HOURS:
            text = (
                f"In {share:.0%} of its hours of need the wind stands on the fan's wall and takes more than half of the"
                " pressure that it can make."
            )
            do = "Put it on the side away from the usual wind, or under a deep hood; or take a fan of more pressure."
            yield Finding("warn", "fan-against-wind", fan.id, text, do, share, WIND_HOURS)


def crossing_findings(run: Simulation, system: str) -> Iterator[Finding]:
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
    opened = {vent.id or vent.name for vent in run.plan.record.opening if vent.opener is not None}
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
