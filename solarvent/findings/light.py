"""Findings on the light: place, weather, panels, and what keeps the sun from them in the hours of need."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Iterator
from math import inf, isnan
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.electrical.circuit_parts import THRESHOLD_AIR, circuit_fans
from solarvent.electrical.panel_model import check_plate, panel_parameters
from solarvent.electrical.start_light import thresholds
from solarvent.findings.starting import FULL_SUN, LATE_START
from solarvent.plan.parts import FLAT_TILT, Panel
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation
from solarvent.weather import sun
from solarvent.weather.conditions import CLEAR_DIFFUSE, Conditions, cell_temperature, over_sections, string_shade_factor
from solarvent.weather.planes import azimuths_of, light_on_planes
from solarvent.weather.sun import unshaded_fraction
from solarvent.wiring.circuit import Circuit, has_series

if TYPE_CHECKING:
    import pandas as pd


#: Nearer to the equator the sun stands on either side; flatter, it hardly matters; east and west are a choice. [deg]
_TROPIC, _SIDEWAYS = 23.5, 100.0


def place_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether clock and record low belong to another place."""
    for old, new in run.plan.older_keys:
        text = f"The plan says {old}; that key is {new} now."
        yield Finding("note", "older-key", "", text, f"Write {new} in its place.")
    place = run.plan.record.place
    if run.plan.record.clock == "local" and place.clock_is_far():
        text = f"The clock of {place.timezone} does not fit the longitude {place.longitude:g}: noon would be far off."
        do = "Write the time zone of the place, as Continent/City; west longitudes are negative."
        due = round(place.longitude / 15, 1)
        yield Finding("warn", "clock-far", "", text, do, place.clock_offset(), due, "h")
    coldest = float(run.conditions.weather["temp_air"].min())
    # Cold makes volts: a record that is too warm would hide an over-voltage.
    if place.record_low is not None and place.record_low > coldest:
        text = (
            f"The record low of the plan, {show(place.record_low, 'temperature', system)}, is warmer than the coldest"
            f" hour of its weather, {show(coldest, 'temperature', system)}."
        )
        do = "Correct record_low: the voltage limits are checked with it."
        yield Finding("warn", "record-low-warm", "", text, do, place.record_low, coldest, "degC")


#: Degrees of latitude or longitude beyond which a station's hours no longer fit the sun of the place.
FAR = 1.0
#: Degrees beyond which the answer has no meaning: noon is off by twenty minutes or more, or summer is another one.
WRONG = 5.0
#: Degrees of latitude, whichever the hemisphere, beyond which a kind of place is hardly the plan's.
FAR_CLIMATE = 15.0
#: Days below which a span of weather is no year; a single day is one that was asked for.
YEAR = 365.0


def weather_findings(plan: Plan, sky: Conditions) -> Iterator[Finding]:
    """Say whether the weather is that of another place, is no whole year, is made from normals, or lacks the wind."""
    weather, place = sky.weather, plan.record.place
    if {"latitude", "longitude"} <= weather.attrs.keys():
        apart = max(
            abs(weather.attrs["latitude"] - place.latitude),
            abs((weather.attrs["longitude"] - place.longitude + 180) % 360 - 180),
        )
        if apart > FAR:
            text = (
                f"The weather is that of latitude {weather.attrs['latitude']:g}, longitude"
                f" {weather.attrs['longitude']:g}, {apart:.1f} degrees from the plan's place: its hours do not fit the"
                " sun there."
            )
            do = (
                "Give a weather file of a station near you, choose the climate that is most like yours, or write the"
                " station's own place."
            )
            yield Finding("stop" if apart > WRONG else "warn", "weather-elsewhere", "", text, do, apart, FAR, "deg")
    days = len(sky.times) * sky.step / 86400
    # A day of daylight saving has 25 hours.
    if 1.5 < days < YEAR:
        absent = [month_name[month] for month in plan.record.months_of_need if month not in sky.times.month]
        lacks = f", and lacks {', '.join(absent)}, in which you need air" if absent else ""
        text = f"The weather is {days:.0f} days long{lacks}: totals and extremes are those of these days only."
        do = "Give a whole year; see whether the file is whole."
        yield Finding("warn", "weather-short", "", text, do, days, YEAR, "d")
    wanted = plan.record.weather
    if wanted.climate is not None or wanted.normals is not None:
        text = "The weather is made from monthly normals: no heat waves, no cold spells, one sky a day."
        do = "For the hottest afternoons take a real year: solarvent weather fetch."
        yield Finding("note", "weather-made", "", text, do)
    if wanted.climate is not None and (usual := plan.climate(wanted.climate).latitude) is not None:
        # The months of a climate are turned round for the other hemisphere, so north and south do not count.
        apart = abs(abs(usual) - abs(place.latitude))
        if apart > FAR_CLIMATE:
            text = (
                f"The climate {wanted.climate} belongs near latitude {abs(usual):g}, the plan's place is at"
                f" {abs(place.latitude):g}: its months do not go with the sun there."
            )
            do = "Choose another climate (solarvent parts climates), or give your own [weather.normals]."
            yield Finding("warn", "climate-elsewhere", "", text, do, apart, FAR_CLIMATE, "deg")
    unknown = float(weather[["wind_speed", "wind_direction"]].isna().any(axis=1).mean())
    if unknown > 0:
        text = f"In {unknown:.0%} of the hours the weather says nothing of the wind; they count as calm."
        do = "Wind against a fan's wall stops weak fans: put them on the lee side."
        yield Finding("note", "wind-unknown", "", text, do, unknown, 0.0)


def panel_findings(run: Simulation) -> Iterator[Finding]:
    """Say what is doubtful about the plates and the places of the panels."""
    for panel in run.plan.record.panel:
        name = panel.id
        yield from _plate_findings(panel, name)
        if panel.behind is not None:
            cover = run.plan.cover(panel.behind)
            lost = 1 - cover.transmittance
            text = f"The panel looks through {cover.name}, which takes {lost:.0%} of the light even when clean and dry."
            if cover.mesh:
                do = "Hang the panel clear of the mesh; the mesh belongs over the inlet."
                yield Finding("warn", "panel-behind-mesh", name, text, do, cover.transmittance, 1.0)
            else:
                do = "Put the panel outside, above the ridge, clear of frame bars."
                yield Finding("warn", "panel-behind-cover", name, text, do, cover.transmittance, 1.0)
        if panel.lit_share_of_worst_cell < 1:
            text = (
                f"A shadow covers {1 - panel.lit_share_of_worst_cell:.0%} of one cell. Cells are in series: the darkest"
            )
            if panel.clear_sections:
                text += (
                    f" one sets the current of its section, or a diode bridges the section: {panel.sections_in_shadow}"
                    f" of {panel.bypass_diodes} sections and their share of the voltage are lost in strong light."
                )
            else:
                text += " one sets the current of all of them."
            do = "Move the panel clear of leaf, bar and line from 10 to 17 h."
            yield Finding("warn", "cell-shaded", name, text, do, panel.lit_share_of_worst_cell, 1.0)
        if panel.tilt < FLAT_TILT:
            text = f"The panel lies at {panel.tilt:g} degrees: water and dirt stay on it, and low sun glances off."
            do = f"Tilt it {FLAT_TILT:g} degrees or more."
            yield Finding("note", "panel-flat", name, text, do, panel.tilt, FLAT_TILT, "deg")


#: Voltages of the usual 36-cell panel that is meant where only watts are known. [V]
_USUAL_VOLTAGES = (22.0, 18.0)


def _plate_findings(panel: Panel, name: str) -> Iterator[Finding]:
    """Hold the figures on a plate against each other, and against what cells of its size can give."""
    v_oc, i_sc, v_mp, i_mp = panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp
    if v_oc is None or i_sc is None or v_mp is None or i_mp is None:
        if panel.single_diode is None:
            text = f"Only the watts ({panel.watts:g} W) are known; the curve is scaled from a usual 36-cell panel."
            do = "Read Voc, Isc, Vmp and Imp off its plate, or measure Voc and Isc at noon, and write them in the plan."
            yield Finding("note", "watts-only", name, text, do, panel.watts, None, "W")
        if panel.watts is None:
            return
        v_oc, v_mp = _USUAL_VOLTAGES
        i_mp = panel.watts / v_mp
        # Of usual plates Imp is nine tenths of Isc (typical).
        i_sc = 1.1 * i_mp
    if panel.usual_factor < 1 and panel.plate_factor is None:
        text = (
            f"Panels of this kind seldom give more than {panel.usual_factor:.0%} of the watts on their label; every"
            " command reads it so."
        )
        do = (
            "Measure the short-circuit current of its cells at noon; solarvent meter --write puts it into the plan."
            " Behind a USB socket nobody can: see in which light the fans start."
        )
        yield Finding("note", "plate-discounted", name, text, do, panel.usual_factor, 1.0)
    area = panel.width * panel.height if panel.width and panel.height else None
    check = check_plate(v_oc, i_sc, v_mp, i_mp, panel.watts, area)
    ask = "Ask the seller for Voc, Isc, Vmp and Imp; measure Voc and Isc at noon and write them in the plan."
    if not check.fill_factor_plausible:
        text = f"The plate's fill factor is {check.fill_factor:.2f}; real panels have 0.60 to 0.82."
        yield Finding("warn", "plate-implausible", name, text, ask, check.fill_factor, 0.82)
    if not check.watts_plausible:
        watts = v_mp * i_mp
        text = f"The plate says {panel.watts:g} W, but its Vmp x Imp is {watts:.3g} W."
        yield Finding("warn", "plate-implausible", name, text, ask, panel.watts, watts, "W")
    if not check.area_plausible:
        text = f"The plate promises {check.watts_per_area:.0f} W from each square metre; good cells give 240 at most."
        yield Finding("warn", "plate-inflated", name, text, ask, check.watts_per_area, 240.0, "W/m2")


#: Shares of the light in the hours of need from which it is told (our choice).
TURNED_AWAY, OVERSHADOWED = 0.15, 0.15
#: A panel in use is seldom cleaner than 0.97; this is one that nobody washes (common practice, no source).
DIRTY = 0.90
#: Heat costs silicon so much of its power (typical of plates: 0.35 to 0.45 % a kelvin). [1/K]
_PER_KELVIN = 0.004
#: A start at so much more light is worth a warning (common practice, no source). [-]
MUCH_LATER = 1.5


def light_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say which panels face away from the hours of need, stand behind trees, are dirty, or run hot."""
    need = run.needed
    place = run.plan.record.place
    weather = run.conditions.weather[need]
    position = (
        sun.solar_position(weather.index, place.latitude, place.longitude, place.altitude) if need.any() else None
    )
    for panel in run.plan.record.panel:
        best, lost = _best_direction(run, panel, weather, position) if position is not None else (None, 0.0)
        yield from _direction(run, panel, best, lost)
        if position is not None:
            yield from _trees(run, panel, weather, position, run.conditions.times[need].month.to_numpy())
        yield from _dirt(run, panel)
        yield from _heat(run, panel, system)


def _best_direction(
    run: Simulation, panel: Panel, weather: pd.DataFrame, position: sun.SolarPosition
) -> tuple[float, float]:
    """The direction in which the panel would get most light in the hours of need [deg], and what it lacks of it [-]."""
    # Its own direction comes last: it is held against the best of the others.
    facing = np.append(azimuths_of(run.plan.record.place.latitude), panel.azimuth)
    light = light_on_planes(run.plan, weather, position, np.full(len(facing), panel.tilt), facing)
    mean = light.effective_global.mean(axis=1)
    best = int(mean[:-1].argmax())
    return float(facing[best]), float(1 - mean[-1] / mean[best]) if mean[best] > 0 else 0.0


def _direction(run: Simulation, panel: Panel, best: float | None, lost: float) -> Iterator[Finding]:
    """Hold the panel against the same one turned: sun in the hours of need counts, not that of the year.

    One that faces away from the noon sun is told of that, and gets the same one direction to turn to.
    """
    record, place = run.plan.record, run.plan.record.place
    noon, side = (180.0, "south") if place.latitude > 0 else (0.0, "north")
    away = abs((panel.azimuth - noon + 180) % 360 - 180)
    to = noon if best is None else best
    do = f"Turn it towards {to:g} degrees by the compass; solarvent airflow --orient compares directions."
    if abs(place.latitude) > _TROPIC and panel.tilt >= FLAT_TILT and away > _SIDEWAYS:
        text = (
            f"The panel faces {panel.azimuth:g} degrees, away from the noon sun, which stands in the {side} at latitude"
            f" {place.latitude:g}."
        )
        if lost > TURNED_AWAY:
            hours = f"from {record.target.start} to {record.target.end}"
            text += f" When you need the air, {hours}, it costs {lost:.0%} of the light."
        yield Finding("warn", "panel-faces-pole", panel.id, text, do, away, _SIDEWAYS, "deg")
    elif lost > TURNED_AWAY:
        text = (
            f"Facing {panel.azimuth:g} degrees the panel gets {lost:.0%} less light from {record.target.start} to"
            f" {record.target.end}, when you need the air, than it would facing {best:g} degrees."
        )
        yield Finding("warn", "panel-turned-away", panel.id, text, do, lost, TURNED_AWAY)


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
    # In some months of high latitudes no hour of need has light.
    taken = {int(m): 1 - left[months == m].sum() / max(open_light[months == m].sum(), 1e-9) for m in np.unique(months)}
    lost = float(1 - left.sum() / max(open_light.sum(), 1e-9))
    if lost > OVERSHADOWED:
        worst = max(taken, key=lambda month: taken[month])
        passes = [item.passes_by_month(record.place.latitude >= 0) for item in record.obstacle]
        # In leaf it lets less through than in some other month.
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
    fed = [name for circuit in run.circuits if panel.id in circuit.panel_ids for name in circuit.fan_ids]
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
    # The same panel with air behind it, in the same hour.
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
        # Told as a warning where the shadow is to blame: much later, or late only because of it.
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

    # To 5 W/m2: it is only compared.
    limits = thresholds(circuit, panels_at, circuit_fans(circuit), resolution=5.0)
    starts = [limit.start_irradiance for limit in limits.values()]
    return inf if any(isnan(start) for start in starts) else max(starts)
