"""Tilts and azimuths as text: the light by hour and tilt, and the best way to face for the hours of need."""

from __future__ import annotations

from math import isnan

import numpy as np

from solarvent.base.quantities import show
from solarvent.plan.parts import FLAT_TILT
from solarvent.report.layout import CAUTIONS, heading, paragraph, table
from solarvent.studies.airflow import Facing
from solarvent.studies.orientation import Orientations, Turned

#: Gain of air that is within what the model knows. [-]
_LITTLE = 0.03
_COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def compass(azimuth: float) -> str:
    """Name a direction: ``"225 SW"``; only the eight main ones have a name."""
    name = _COMPASS[round(azimuth / 45) % 8] if azimuth % 45 == 0 else ""
    return f"{azimuth:g} {name}".strip()


def render_orientation(answer: Facing, system: str, note: str = "") -> str:
    """Write which way the panels should face.

    Parameters
    ----------
    answer : Facing
        From :func:`solarvent.studies.airflow.best_facing`.
    system : {"metric", "us"}
        Units.
    note : str
        Said under the title.

    Returns
    -------
    str
        Text of at most 80 columns.
    """
    plan, panel, found = answer.plan, answer.panel, answer.light
    target = plan.record.target
    now, best, year = answer.tried
    span = f"{target.start} to {target.end} in the months of need"
    short = paragraph(
        f"For the light from {span}: tilt {best.tilt:g} facing {compass(best.azimuth)} is best; for the year's energy"
        f" tilt {year.tilt:g} facing {compass(year.azimuth)}. What it does to the air:"
    )
    rows = [
        (words, _way(one), f"{light:.0f}", f"{one.air_changes:.1f}", show(one.flow, "flow", system))
        for words, one, light in (
            ("as planned", now, found.own_light),
            ("best for the need", best, found.need_light.max()),
            ("best for the year", year, found.need_light.flat[np.argmax(found.year_light)]),
        )
    ]
    air = table(rows, ("", "tilt, facing", "light then [W/m2]", "changes [1/h]", "air"))
    gain = best.flow / now.flow - 1 if now.flow > 0 else float("inf")
    verdict = "Turning the panel is not worth the trouble." if gain < _LITTLE else _gain(gain)
    blocks = [
        "\n".join([paragraph(plan.record.title[:200]), *([paragraph(note)] if note else [])]),
        f"{short}\n\n{air}\n{verdict}",
        heading("Light on the cells in the hours of need [W/m2]") + "\n" + _grid(found, found.need_light, ".0f"),
    ]
    if not isnan(found.start_light):
        title = f"Share of that time above {found.start_light:.0f} W/m2, where the last fan starts"
        blocks.append(heading(title) + "\n" + _grid(found, found.above_start, ".0%"))
    hourly = [
        (f"{hour:02d}:00", *(f"{value:.0f}" for value in row))
        for hour, row in zip(found.hours, found.by_hour, strict=True)
    ]
    title = heading(f"By hour and tilt in the months of need, facing {compass(panel.azimuth)} [W/m2]")
    blocks.append(f"{title}\n{table(hourly, ('from', *(f'{tilt:g}' for tilt in found.tilts)))}")
    text = (
        f"Light is that of the plan's weather on the panel called {panel.id}, after reflection, dirt and what stands in"
        " the way, without shadow on single cells. Once the fans get all they can use, more light moves no more air:"
        " the table at the top decides. A panel under"
        f" {FLAT_TILT:g} degrees keeps water and dirt."
    )
    blocks.append(paragraph(text))
    blocks.append(heading("Cautions") + "\n" + "\n".join(paragraph(text) for text in CAUTIONS))
    return "\n\n".join(blocks)


def _gain(gain: float) -> str:
    return (
        f"Turned to the best for the need it moves {gain:.0%} more air." if gain < 9 else "As planned it moves no air."
    )


def _way(one: Turned) -> str:
    return "each its own" if isnan(one.tilt) else f"{one.tilt:g}, {compass(one.azimuth)}"


def _grid(found: Orientations, values: np.ndarray, form: str) -> str:
    rows = [
        (compass(azimuth), *(format(value, form) for value in row))
        for azimuth, row in zip(found.azimuths, values, strict=True)
    ]
    return table(rows, ("facing \\ tilt", *(f"{tilt:g}" for tilt in found.tilts)))
