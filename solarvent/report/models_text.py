"""The models: equation, source, range, known error, and what moves the answers of the house."""

from __future__ import annotations

from functools import cache
from itertools import groupby
from typing import NamedTuple

from solarvent.base.errors import SolarventError
from solarvent.plan.library import profiles, read_toml
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph, table
from solarvent.simulation.house_summary import NIGHT_BAND, PEAK_BAND

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


class Influence(NamedTuple):
    """What a figure that may be wrong by so much does to the hottest and the coldest hour. [K]"""

    what: str
    peak: float
    night: float


@cache
def influences() -> tuple[Influence, ...]:
    """What moves the answers of the house, as tests/helpers/sensitivity.py works it out."""
    entries = read_toml(profiles() / "models.toml", SolarventError)["sensitivity"]
    return tuple(Influence(**entry) for entry in entries)


_PRACTICE = (
    "Held against common practice (no source) with one set of inputs, chosen before the first run and not changed"
    " since: a hobby house of 7 m2 with openers and two small fans in full sun at 21 degC comes to 32 degC (practice"
    " 28-37); its vents just cracked under cloud, 5 K over outside (3-5); nights 4 K over outside after sun (3-6), 1 K"
    " in a long dull spell (nothing).",
    "Two it misses, both on the cold side. Shut in full sun: 42 degC (54-60). On a dry floor of boards, without plants"
    " and wind, it would be 49; for the rest the model has no cause to show, and a thermometer in the sun under the"
    " ridge is the likely one. With 830 L of water after a sunny winter day: 4.6 degC in the evening and 0.9 at dawn"
    " (6.7 and 2.8); by day it had 19 degC where practice had 29, so its water began the night colder.",
)


def render_models() -> str:
    """Write all models and the table of what moves their answers, as text of at most 80 columns."""
    blocks = []
    for topic, members in groupby(models(), key=lambda model: model.topic):
        blocks.append(heading(topic.capitalize()))
        blocks += [_model_text(model) for model in members]
    by_peak = sorted(influences(), key=lambda line: -line.peak)[:_MOST]
    by_night = sorted(influences(), key=lambda line: -line.night)[:_MOST]
    blocks.append(
        heading("What moves the hottest hour most (embedded example)")
        + "\n"
        + table([(line.what, f"{line.peak:.1f}") for line in by_peak], ("if this is wrong by", "inside [K]"))
    )
    blocks.append(
        heading("What moves the coldest hour most")
        + "\n"
        + table([(line.what, f"{line.night:.1f}") for line in by_night], ("if this is wrong by", "inside [K]"))
    )
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
