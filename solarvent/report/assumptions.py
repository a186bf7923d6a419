"""What an answer rests on: each model and assumption with the plan's own figures and its source."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from solarvent.base.quantities import show
from solarvent.simulation.simulate import Simulation

_PRACTICE = "common practice, no source"


class Assumption(NamedTuple):
    """One line: what it is about, what is assumed here, and where that comes from."""

    about: str
    here: str
    source: str


def assumptions(run: Simulation, system: str) -> list[Assumption]:
    """List what a run rests on.

    Parameters
    ----------
    run : Simulation
        A simulated plan.
    system : {"metric", "us"}
        Units.

    Returns
    -------
    list of Assumption
        In the order of the chain: weather, sky, sun, panel, wires, fans, air, house.
    """
    return [*_light(run), *_electrical(run, system), *_air(run, system)]


def _light(run: Simulation) -> Iterator[Assumption]:
    record, weather = run.plan.record, run.conditions.weather.attrs
    title, source = str(weather.get("title") or "hours"), str(weather.get("source") or "as the plan gives it")
    yield Assumption("weather", f"{title}: a typical year, no forecast", source)
    sky = record.sky
    if sky.as_measured:
        told, source = (
            "An hour of broken cloud is its brightest, middle and dullest third, which keep its mean light.",
            "one-minute data of Payerne, June 2016; mean light by cloud: Kasten & Czeplak 1980",
        )
    else:
        gap, shadow = sky.levels
        told, source = (
            f"An hour of broken cloud is spells of sun ({gap:.2f} of a clear sky) and of shadow ({shadow:.2f}) that"
            " keep its mean light.",
            "the plan; mean light by cloud: Kasten & Czeplak 1980",
        )
    yield Assumption("broken cloud", told, source)
    yield Assumption(
        "sun on the panel",
        "; ".join(f"{panel.id}: tilt {panel.tilt:g}°, facing {panel.azimuth:g}°" for panel in record.panel[:6]),
        "clear sky: Ineichen & Perez 2002; tilted plane: Hay & Davies 1980; direct and diffuse: Erbs, Klein & Duffie"
        " 1982",
    )
    clean = "; ".join(f"{panel.id}: {1 - panel.soiling_ratio:.0%} lost in dirt" for panel in record.panel[:6])
    yield Assumption("dirt on the panel", clean, _PRACTICE)


def _electrical(run: Simulation, system: str) -> Iterator[Assumption]:
    record = run.plan.record
    yield Assumption(
        "panel",
        "A single diode through the figures of the plate; a weak panel gives 0.80 of it, 0.65 where only watts are"
        " known.",
        "De Soto, Klein & Beckman 2006; the spread: common practice, no source",
    )
    heat = "; ".join(
        f"{panel.id}: {show(panel.noct, 'temperature', system)} in the maker's test light" for panel in record.panel[:6]
    )
    yield Assumption("warmth of the cells", heat, "Ross 1980")
    contact = show(record.wiring.contact_resistance, "resistance", system)
    yield Assumption("wires and joints", f"copper by gauge, both ways; {contact} a contact", _PRACTICE)
    spread = sorted({fan.tolerance for fan in record.fan})
    yield Assumption(
        "fans, electrical",
        f"Each starts at its start voltage against a locked rotor; fans stray by {_percent(spread)}.",
        "data sheets and common practice, no single source",
    )


def _percent(shares: list[float]) -> str:
    first, last = shares[0], shares[-1]
    return f"{first:.0%}" if first == last else f"{first:.0%} to {last:.0%}"


def _air(run: Simulation, system: str) -> Iterator[Assumption]:
    record = run.plan.record
    claimed = sorted({fan.delivered for fan in record.fan if not fan.curve})
    curve = (
        f"{_percent(claimed)} of the claimed flow, by the fan laws" if claimed else "measured curves, by the fan laws"
    )
    yield Assumption(
        "fans, air", f"Flow follows the voltage: {curve}.", "fan laws; the share: common practice, no source"
    )
    yield Assumption(
        "wind",
        f"{record.place.wind_share:.0%} of the wind of the weather station reaches the house.",
        "pressure on a wall: Swami & Chandra 1987 (coefficients from memory)",
    )
    house = record.house
    rise = show(record.target.rise, "temperature difference", system)
    asked = record.target.flow is not None or record.target.air_changes is not None
    yield Assumption(
        "enough air",
        "as the plan asks for" if asked else f"what keeps the house within {rise} of outside in a sunny hour",
        "ANSI/ASAE EP406.4 (form of the balance from memory)",
    )
    yield Assumption(
        "house",
        f"{house.shape}, cover {house.cover}, {house.tightness}, planting {house.planting}, floor {house.floor}; heat"
        " is stored in air, floor and the masses that the plan names",
        "balance of heat through time; figures of covers: see the parts library",
    )
