"""Findings on what keeps light from a panel in the hours of need, or heats it: its direction, trees, dirt, no air."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Iterator
from math import inf, isnan
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.circuit_parts import THRESHOLD_AIR, circuit_fans
from solarvent.electrical.panel_model import panel_parameters
from solarvent.electrical.start_light import thresholds
from solarvent.findings.starting import LATE_START
from solarvent.plan.parts import Panel
from solarvent.simulation.simulate import Simulation
from solarvent.weather import sun
from solarvent.weather.conditions import CLEAR_DIFFUSE, over_sections
from solarvent.weather.obstruction import unshaded_fraction
from solarvent.weather.panel_light import cell_temperature, string_shade_factor
from solarvent.weather.plane_light import azimuths_of, light_on_planes
from solarvent.weather.span import hours_of_need
from solarvent.wiring.circuit import Circuit, has_series

if TYPE_CHECKING:
    import pandas as pd


#: Shares of the light in the hours of need from which it is told (our choice).
TURNED_AWAY, OVERSHADOWED = 0.15, 0.15
#: A panel in use is seldom cleaner than 0.97; this is one that nobody washes (common practice, no source).
DIRTY = 0.90
#: Heat costs silicon so much of its power (typical of plates: 0.35 to 0.45 % a kelvin). [1/K]
_PER_KELVIN = 0.004
#: Light on a panel that hardly any hour passes; fans that need more stand. [W/m2]
FULL_SUN = 1000.0
#: A start at so much more light is worth a warning (common practice, no source). [-]
MUCH_LATER = 1.5


def light_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say which panels face away from the hours of need, stand behind trees, are dirty, or run hot."""
    need = hours_of_need(run.plan, run.conditions.times)
    place = run.plan.record.place
    weather = run.conditions.weather[need]
    position = (
        sun.solar_position(weather.index, place.latitude, place.longitude, place.altitude) if need.any() else None
    )
    for panel in run.plan.record.panel:
        if position is not None:
            yield from _direction(run, panel, weather, position)
            yield from _trees(run, panel, weather, position, run.conditions.times[need].month.to_numpy())
        yield from _dirt(run, panel)
        yield from _heat(run, panel, system)


def _direction(run: Simulation, panel: Panel, weather: pd.DataFrame, position: sun.SolarPosition) -> Iterator[Finding]:
    """Hold the panel against the same one turned: sun in the hours of need counts, not that of the year."""
    facing = np.append(azimuths_of(run.plan.record.place.latitude), panel.azimuth)
    light = light_on_planes(run.plan, weather, position, np.full(len(facing), panel.tilt), facing)
    mean = light.effective_global.mean(axis=1)
    best = int(mean[:-1].argmax())
    lost = 1 - mean[-1] / mean[best] if mean[best] > 0 else 0.0
    if lost > TURNED_AWAY:
        target = run.plan.record.target
        text = (
            f"Facing {panel.azimuth:g} degrees the panel gets {lost:.0%} less light from {target.start} to"
            f" {target.end}, when you need the air, than it would facing {facing[best]:g} degrees."
        )
        do = f"Turn it towards {facing[best]:g} degrees by the compass; solarvent airflow --orient compares directions."
        yield Finding("warn", "panel-turned-away", panel.id, text, do, float(lost), TURNED_AWAY)


def _trees(
    run: Simulation, panel: Panel, weather: pd.DataFrame, position: sun.SolarPosition, months: np.ndarray
) -> Iterator[Finding]:
    """Say how much trees, walls and hills take from the hours of need, and in which month most."""
    record = run.plan.record
    if not record.obstacle and not record.place.skyline:
        return
    tilts, azimuths = np.array([panel.tilt]), np.array([panel.azimuth])
    light = light_on_planes(run.plan, weather, position, tilts, azimuths)
    beam_left, sky_left = unshaded_fraction(run.plan, tilts, azimuths, position, months)
    open_light = light.effective_global[0]
    left = (light.effective_direct * beam_left + light.effective_sky * sky_left + light.effective_ground)[0]
    taken = {int(m): 1 - left[months == m].sum() / max(open_light[months == m].sum(), 1e-9) for m in np.unique(months)}
    lost = float(1 - left.sum() / max(open_light.sum(), 1e-9))
    if lost > OVERSHADOWED:
        worst = max(taken, key=lambda month: taken[month])
        passes = [item.passes_by_month(record.place.latitude >= 0) for item in record.obstacle]
        in_leaf = any(each[worst - 1] < max(each) for each in passes)
        text = (
            f"What stands around takes {lost:.0%} of the light in the hours in which you need it, most in"
            f" {month_name[worst]} ({taken[worst]:.0%})"
            + (": a tree has leaves by then, and lets the sun through without them." if in_leaf else ".")
        )
        do = "Trim it, or hang the panel in the open, away from the fan if need be: a longer lead costs little."
        yield Finding("warn", "panel-overshadowed", panel.id, text, do, lost, OVERSHADOWED)


def _dirt(run: Simulation, panel: Panel) -> Iterator[Finding]:
    """Say how much later the fans start behind dirt."""
    if panel.soiling_ratio >= DIRTY:
        return
    thresholds = run.bands["typical"].thresholds
    fed = [name for one in run.circuits if panel.id in one.panel_ids for name in one.fan_ids]
    starts = [thresholds[name].start_irradiance for name in fed]
    first = min((start for start in starts if not isnan(start)), default=None)
    text = f"Dust, pollen and droppings take {1 - panel.soiling_ratio:.0%} of the light."
    if first is not None and panel.soiling_ratio > 0:
        text += f" The first fan then waits for {first / panel.soiling_ratio:.0f} W/m2 of sun in place of {first:.0f}."
    do = (
        "Rinse it each month in pollen and dust, early, while it is cool, with a soft cloth; then write"
        " soiling_ratio = 0.97."
    )
    yield Finding("warn", "panel-dirty", panel.id, text, do, panel.soiling_ratio, DIRTY)


def _heat(run: Simulation, panel: Panel, system: str) -> Iterator[Finding]:
    """Say what it costs that no air passes behind a panel."""
    if panel.mounting == "free":
        return
    light = run.conditions.panels[panel.id]
    hottest = int(light.temp_cell.argmax())
    through = 1.0 if panel.behind is None else run.plan.cover(panel.behind).transmittance
    temp_air = float(run.conditions.weather["temp_air"].iloc[hottest])
    aired = cell_temperature(float(light.poa_global[hottest]) * through, temp_air, panel.noct)
    more = float(light.temp_cell[hottest] - aired)
    where = "flush on its roof" if panel.mounting == "flush" else "close to its roof"
    text = (
        f"Lying {where}, its cells reach {show(float(light.temp_cell[hottest]), 'temperature', system)},"
        f" {show(more, 'temperature difference', system)} more than with air behind them: {_PER_KELVIN * more:.0%} of"
        " its power, and nearly as much of its voltage, of which 24 V fans have none to spare."
    )
    gap = "an inch" if system == "us" else "25 mm"
    do = f"Put it on battens: {gap} of air behind it, open at the top and at the bottom."
    yield Finding("note", "panel-hot", panel.id, text, do, more, 0.0, "K")


def shade_findings(run: Simulation) -> Iterator[Finding]:
    """Say from which sun the fans start with a shadow on a string of panels, and what the bypass diodes make of it."""
    for circuit in run.circuits:
        shaded = [panel for panel in circuit.panels if panel.lit_share_of_worst_cell < 1]
        if not shaded or not has_series(circuit.source):
            continue
        clear, start = (_last_start(circuit, shadow) for shadow in (False, True))
        if clear == inf:
            continue
        bridged = all(panel.bypass_diodes for panel in shaded)
        how = (
            "its bypass diodes let the current of the others pass"
            if bridged
            else "without bypass diodes no more current passes than its darkest cell lets through"
        )
        text = f"A shadow lies on {shaded[0].id}, which is in series with others, and {how}. With it "
        if start == inf:
            text += f"no sun starts all fans; without it {clear:.0f} W/m2 on the cells would."
        else:
            text += f"all fans start from {start:.0f} W/m2 on the cells in the sun; without it from {clear:.0f} W/m2."
        do = "Move it into the light"
        do += "." if bridged else ", take panels with bypass diodes, or join the panels side by side."
        late = start > MUCH_LATER * clear or start > LATE_START >= clear
        level = "stop" if start > FULL_SUN else "warn" if late else "note"
        yield Finding(level, "string-shaded", shaded[0].id, text, do, None if start == inf else start, clear, "W/m2")


def _last_start(circuit: Circuit, shadow: bool) -> float:
    """Light on the cells in the sun from which all fans of a circuit start; endless if they never do. [W/m2]"""

    def panels_at(irradiance: np.ndarray) -> dict[str, tuple[np.ndarray, ...]]:
        parameters = {}
        for panel in circuit.panels:
            left = string_shade_factor(panel.lit_share_of_worst_cell if shadow else 1.0, CLEAR_DIFFUSE)
            light = over_sections(panel, irradiance, left * irradiance)
            parameters[panel.id] = panel_parameters(
                panel, light, cell_temperature(irradiance, THRESHOLD_AIR, panel.noct)
            )
        return parameters

    limits = thresholds(circuit, panels_at, circuit_fans(circuit), resolution=5.0)
    starts = [limit.start_irradiance for limit in limits.values()]
    return inf if any(isnan(start) for start in starts) else max(starts)
