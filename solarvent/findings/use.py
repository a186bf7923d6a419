"""Findings on what the house is used for: damp and dust on motors, fuel, and animals that need the air."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.simulation.simulate import Simulation
from solarvent.weather.span import hours_of_need

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
    need = hours_of_need(run.plan, run.conditions.times)
    if run.house is None or not need.any():
        return
    inside, outside = run.house.case("openings")[need], run.conditions.weather["temp_air"].to_numpy()[need]
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
