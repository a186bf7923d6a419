"""The models: equation, source, range, known error; and what one answer rests on."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import groupby
from typing import NamedTuple

from solarvent.base.errors import SolarventError
from solarvent.base.quantities import show
from solarvent.plan.library import influences, profiles, read_toml
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph, table
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.year import NIGHT_BAND, PEAK_BAND

_COMMON_PRACTICE = "common practice, no source"


class Assumption(NamedTuple):
    """One line: what it is about, what is assumed here, and where that comes from."""

    about: str
    here: str
    source: str


def assumptions(run: Simulation, system: str) -> list[Assumption]:
    """List what a run rests on, in the order of the chain: weather, sky, sun, panel, wires, fans, air, house."""
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
    yield Assumption("dirt on the panel", clean, _COMMON_PRACTICE)


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
    yield Assumption("wires and joints", f"copper by gauge, both ways; {contact} a contact", _COMMON_PRACTICE)
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
    found = house.measured
    if found is not None:
        names = ("leakage", "light", "cover", "storage")
        given = [f"{name} {getattr(found, f'{name}_factor'):g}" for name in names if getattr(found, f"{name}_factor")]
        if found.ground_shift is not None:
            given.append(f"ground {show(found.ground_shift, 'temperature difference', system)}")
        told = f"Measured in this house, over what the tables say: {', '.join(given) or 'nothing yet'}."
        yield Assumption("your own readings", told, found.source or "the plan")


_MOST = 5


class Model(NamedTuple):
    """One model, in words."""

    topic: str
    name: str
    equation: str
    source: str
    valid: str
    known_error: str
    modules: tuple[str, ...] = ()


@cache
def models() -> tuple[Model, ...]:
    """All models, in the order of the calculation."""
    entries = read_toml(profiles() / "models.toml", SolarventError)["models"]
    return tuple(Model(**entry) for entry in entries)


_PRACTICE = (
    "Held against common practice (no source) with one set of inputs, chosen before the first run and not changed"
    " since: a hobby house of 7 m2 with openers and two small fans in full sun at 21 degC comes to 32 degC (practice"
    " 28-37); nights with 830 L of water lie 5 K over outside after sun (3-6).",
    "What it misses: shut in full sun 42 degC (54-60); on boards, tight and in still air it has 59. Its vents just"
    " cracked under cloud, 5.4 K over outside (3-5); with leaky walls 4.8. With the water after a sunny winter day: 4.6"
    " degC in the evening and 1.2 at dawn (6.7 and 2.8); tight, on a dry slab 5.7 and 2.1; with a quarter more light"
    " 6.4 and 2.5; by day it had 17 degC where practice had 29, so its water began the night colder. In a long dull"
    " spell 1.4 K are left, of the day just gone (nothing).",
)


def render_models() -> str:
    """Write all models and the table of what moves their answers, as text of at most 80 columns."""
    blocks = []
    for topic, members in groupby(models(), key=lambda model: model.topic):
        blocks.append(heading(topic.capitalize()))
        blocks += [_model_text(model) for model in members]
    for title, moved in (
        ("What moves the hottest hour most (embedded example)", {line.what: line.peak for line in influences()}),
        ("What moves the coldest hour most", {line.what: line.night for line in influences()}),
    ):
        most = sorted(moved.items(), key=lambda pair: -pair[1])[:_MOST]
        rows = [(what, f"{kelvins:.1f}") for what, kelvins in most]
        blocks.append(f"{heading(title)}\n{table(rows, ('if this is wrong by', 'inside [K]'))}")
    blocks.append(
        paragraph(
            f"Together, as the root of the sum of squares, the hottest hour is good to {PEAK_BAND:.0f} K and the"
            f" coldest to {NIGHT_BAND:.0f} K, more or less. Do not trust a tenth of a degree."
        )
    )
    blocks += [paragraph(text) for text in _PRACTICE]
    return "\n\n".join(blocks)


def _model_text(model: Model) -> str:
    """One model, a paragraph for each thing that is said of it."""
    rows = (
        ("", model.equation),
        ("source: ", model.source),
        ("valid: ", model.valid),
        ("known error: ", model.known_error),
    )
    return "\n".join([model.name, *(paragraph(label + words, "    ", "  ") for label, words in rows)])


def models_json() -> str:
    """Write the same as JSON, schema ``solarvent.models/2``."""
    return to_json(
        {
            "schema": "solarvent.models/2",
            "models": [model._asdict() for model in models()],
            "sensitivity": [line._asdict() for line in influences()],
            "peak_band": PEAK_BAND,
            "night_band": NIGHT_BAND,
        }
    )
