"""The models of the house: equation, source, range, known error, and what moves their answers."""

from __future__ import annotations

from typing import NamedTuple

from solarvent.planning.house_summary import NIGHT_BAND, PEAK_BAND
from solarvent.planning.sensitivity import EMBEDDED
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph, table

_MOST = 5


class Model(NamedTuple):
    """One model, in words."""

    name: str
    equation: str
    source: str
    validity: str
    known_error: str


MODELS = (
    Model(
        "house through time",
        "C_air dT/dt = sun + heater + dew - U A (T - T_solair) - rho c Q (T - T_out) - sum K_i (T - M_i); each mass"
        " C_i dM_i/dt = K_i (T - M_i) + F_i (T_ground - M_i) + sun_i, exact over a step in which T stands still",
        "lumped heat balance; steady state as ANSI/ASAE EP406 (from memory)",
        "one temperature for all air; steps from a minute to an hour",
        "no layers of warm air under the roof, and no sun on the thermometer: one that hangs in the sun under the ridge"
        " reads 5-15 K more (common practice, no source)",
    ),
    Model(
        "light into the house",
        "floor area x light on the level x transmittance x glancing loss (Fresnel, by sheets), 0.9 for bars, 0.8 for"
        " what soil and leaves swallow; of the light that crosses to the other side, things catch a share",
        "Duffie & Beckman, sections 5.1 and 5.4; EP406 for the floor (from memory); shares typical",
        "clear covers, isotropic sky",
        "20 %: trees, dirt and staging are not known",
    ),
    Model(
        "vapour",
        "leaves turn 0 / 0.25 / 0.5 of the light into vapour (empty, half, full); it leaves with the air, or settles as"
        " dew on the cover and gives 1 - U/hi of its heat back",
        "EP406 (from memory); Lewis relation; Willits 2003 measured 0.5 to 1.75",
        "steady from step to step; the vapour in the air is not stored",
        "0.15 of the light; in a cold shut house leaves give less than this",
    ),
    Model(
        "cover and sky",
        "1/U = 1/U_rated - 1/34 + 1/(2.8 + 3 v + h_r);"
        " T_solair = T_out + (sun absorbed - h_r F (T_out - T_sky)) / h_out",
        "Watmuff, Charters & Proctor 1977; Berdahl & Martin 1984; Walton 1983 for F (all from memory)",
        "dew points of -13 to 24 degC; wind to 7 m/s",
        "the sky of a very cold dry night is extrapolated; a house under trees sees less of it",
    ),
    Model(
        "air through openings",
        "orifices at their heights with draught rho g h dT/T, wind Cp rho v2/2 and fan curves, one inside pressure that"
        " balances them; cracks by Sherman & Grimsrud, added as squares",
        "ASHRAE Fundamentals 1997 and 2009; Swami & Chandra 1987 (partly from memory)",
        "one zone; roof Cp -0.4 all round",
        "wind at a hobby house is known to 50 %",
    ),
    Model(
        "floor and ground",
        "one layer of 0.15 m; its edge loses 1.26 W/(m K) to ground as warm as the last month's outside air",
        "ASHRAE 90.1, table A6.3 (from memory)",
        "small houses",
        "the edge loss is known to 50 %",
    ),
    Model(
        "water",
        "stirs itself, 8.3 W/(m2 K) at its surface (draught and radiation)",
        "Churchill & Chu 1975 with emittance 0.9; ASHRAE surface conductance 8.3",
        "drums and canisters; freezing is not counted",
        "30 % on the film",
    ),
)

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
    blocks = [heading("Models of the house")]
    for model in MODELS:
        rows = (
            ("", model.equation),
            ("source: ", model.source),
            ("valid: ", model.validity),
            ("known error: ", model.known_error),
        )
        text = "\n".join(paragraph(label + words, "    ", "  ") for label, words in rows)
        blocks.append(f"{model.name}\n{text}")
    by_peak = sorted(EMBEDDED, key=lambda line: -line.peak)[:_MOST]
    by_night = sorted(EMBEDDED, key=lambda line: -line.night)[:_MOST]
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


def models_json() -> str:
    """Write the same as JSON, schema ``solarvent.models/1``."""
    return to_json(
        {
            "schema": "solarvent.models/1",
            "models": [model._asdict() for model in MODELS],
            "sensitivity": [line._asdict() for line in EMBEDDED],
            "peak_band": PEAK_BAND,
            "night_band": NIGHT_BAND,
        }
    )
