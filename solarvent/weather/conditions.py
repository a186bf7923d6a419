"""From a plan's place and weather to light and heat at each panel, and to the air outside, step by step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.weather import moist_air, sun
from solarvent.weather.climate_year import climate_weather
from solarvent.weather.planes import light_on_planes
from solarvent.weather.sky_states import SkyStates, find_sky_states
from solarvent.weather.span import calendar_year, clear_year, finer, one_day, plan_clock, starts
from solarvent.weather.sun import unshaded_fraction

if TYPE_CHECKING:
    import pandas as pd


REFERENCE_IRRADIANCE = 1000.0
"""Irradiance of the standard test conditions. [W/m2]"""


def cell_temperature(poa_global: ArrayLike, temp_air: ArrayLike, noct: float, mounting_offset: float = 0.0) -> Any:
    """Cell temperature [degC] by the nominal operating cell temperature (Ross 1980), plus a term for poor cooling.

    ``temp_air + (noct - 20) poa_global / 800 + mounting_offset poa_global / 1000`` from the light on the panel [W/m2],
    the air [degC] and the cell's temperature in open air at 800 W/m2, 20 degC, 1 m/s (IEC 61215) [degC]. The offset is
    the further rise at 1000 W/m2: about 10 K flush on a hot roof, 0 with air behind (common practice). Wind is not in
    this model.

    Examples
    --------
    >>> float(cell_temperature(1000.0, 20.0, 40.0))
    45.0

    References
    ----------
    R. G. Ross, "Flat-plate photovoltaic array design optimization", 14th IEEE PVSC, 1980, 1126-1132.
    """
    irradiance = np.asarray(poa_global, dtype=float)
    free = np.asarray(temp_air, dtype=float) + (noct - 20.0) / 800.0 * irradiance
    return free + mounting_offset * irradiance / REFERENCE_IRRADIANCE


def string_shade_factor(lit_fraction_worst_cell: ArrayLike, diffuse_share: ArrayLike = 0.0) -> Any:
    """Share of the panel's current that is left when a shadow lies on cells in series. [-]

    The current of the string is that of its worst-lit cell, at least: driven backwards by the others, that cell
    leaks or breaks down. Sky light still reaches a cell in shadow: ``lit_fraction + (1 - lit_fraction)
    diffuse_share``, from the lit share of the area of the cell that the shadow covers most and the diffuse share of the
    light on the panel; NaN outside 0-1. In a panel with bypass diodes the string is the section that one diode bridges.

    Examples
    --------
    >>> round(float(string_shade_factor(0.5, 0.2)), 3)
    0.6
    """
    lit, share = _unit_interval(lit_fraction_worst_cell), _unit_interval(diffuse_share)
    return lit + (1 - lit) * share


def effective_irradiance(
    poa: ArrayLike, soiling_ratio: ArrayLike = 1.0, glazing: ArrayLike = 1.0, shade: ArrayLike = 1.0
) -> Any:
    """Light that the cells turn into current: that on the panel times what dirt, glass and shadow leave. [W/m2]

    The light is that after the reflection loss of the panel's own front; the shares that pass dirt, a cover in front of
    the panel and a shadow (`string_shade_factor`) are each 0-1 [-], NaN outside.

    Examples
    --------
    >>> float(effective_irradiance(800.0, soiling_ratio=0.95, glazing=0.85))
    646.0
    """
    passed = _unit_interval(soiling_ratio) * _unit_interval(glazing) * _unit_interval(shade)
    return np.asarray(poa, dtype=float) * passed


def _unit_interval(share: ArrayLike) -> np.ndarray:
    """The share as an array, NaN outside 0-1."""
    values = np.asarray(share, dtype=float)
    return np.where((values >= 0) & (values <= 1), values, np.nan)


#: Diffuse share of the light on a panel in clear sun (typical): so much reaches a cell in shadow. [-]
CLEAR_DIFFUSE = 0.2
#: Rise of the cell at 1000 W/m2 over a free-standing panel (common practice, no source). [K]
_MOUNTING = {"free": 0.0, "close": 5.0, "flush": 10.0}


@dataclass(frozen=True)
class PanelLight:
    """What one panel sees, one value a step.

    Attributes
    ----------
    poa_global : array, shape (steps,)
        Light on its plane. [W/m2]
    effective_irradiance : array, shape (steps,)
        Light that its cells turn into current: after reflection, dirt, glazing and, as the worst-lit cell has it,
        shadow. Where bypass diodes bridge the shadow, that of the sections beside it. [W/m2]
    temp_cell : array, shape (steps,)
        [degC]
    section_irradiance : array, shape (steps,) or (sections, steps)
        The same on each of the sections that a bypass diode bridges; one row where they are lit alike, and for a panel
        without bypass diodes. [W/m2]
    """

    poa_global: np.ndarray
    effective_irradiance: np.ndarray
    temp_cell: np.ndarray
    section_irradiance: np.ndarray


@dataclass(frozen=True)
class Conditions:
    """Weather and light over a span of time.

    Attributes
    ----------
    times : pandas.DatetimeIndex, shape (steps,)
        Start of each step, on the clock that the plan asks for.
    step : float
        Length of a step. [s]
    weather : pandas.DataFrame
        ghi, dni, dhi, temp_air, wind_speed, wind_direction and opaque_cover, indexed by the middle of each step.
    panels : dict of str to PanelLight
        By the panel's id: the mean of each step.
    sky_states : SkyStates
        The states of the sky in the steps of broken cloud.
    panel_states : dict of str to PanelLight
        By the panel's id: each state of the sky, shape (states,).
    position : SolarPosition
        Of the sun, in the middle of each step.
    """

    times: pd.DatetimeIndex
    step: float
    weather: pd.DataFrame
    panels: dict[str, PanelLight]
    sky_states: SkyStates
    panel_states: dict[str, PanelLight]
    position: sun.SolarPosition

    def light_on(self, panels: Iterable[str]) -> np.ndarray:
        """Light on the cells of some panels, on average, the mean of each step. [W/m2]"""
        return _average(self.panels, panels)

    def brightest_on(self, panels: Iterable[str]) -> np.ndarray:
        """Light on the cells of some panels, on average; under broken cloud that of the gaps. [W/m2]"""
        return self.sky_states.brightest(_average(self.panel_states, panels))


def _average(lights: Mapping[str, PanelLight], panels: Iterable[str]) -> np.ndarray:
    """Effective irradiance on some panels, on average. [W/m2]"""
    return np.asarray(np.mean([lights[name].effective_irradiance for name in panels], axis=0))


def conditions(
    plan: Plan, day: date | None = None, step: float | None = None, year: pd.DataFrame | None = None
) -> Conditions:
    """Work out light and heat at every panel of a plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    day : date, optional
        One day (by the plan's clock) in place of the whole year; its year does not matter.
    step : float, optional
        Length of a step within a chosen day, at least 60 and a whole part of the weather's own, which is the default.
        [s]
    year : pandas.DataFrame, optional
        The weather that the plan asks for, where it is known already, as from :func:`plan_weather`.

    Returns
    -------
    Conditions
        One value a step.

    Raises
    ------
    WeatherError
        If the weather file cannot be used.
    PlanError
        If the day is not in the weather, or the step does not divide the weather's own.
    """
    place = plan.record.place
    clock = plan_clock(plan)
    weather = calendar_year(plan_weather(plan) if year is None else year, clock)
    seconds = resolution = float(weather.attrs["step"])
    if day is not None:
        chosen = one_day(weather, day, clock)
        if step is not None:
            chosen = finer(chosen, seconds, step, place.latitude, place.longitude, place.altitude)
            seconds = step
        weather = chosen
    return light_on_panels(plan, weather, seconds, resolution)


def light_on_panels(
    plan: Plan,
    weather: pd.DataFrame,
    step: float,
    resolution: float,
    share: float | None = None,
    position: sun.SolarPosition | None = None,
) -> Conditions:
    """Carry a span of weather, indexed by the middle of each step, on to the cells of every panel of a plan.

    Steps, and those in which the cloud is known (`resolution`, see
    :func:`solarvent.weather.sky_states.find_sky_states`), have their length in seconds. `share` may set the sunlit
    share of the steps of broken cloud [-]; where the sun stands is given if it is known already.
    """
    place = plan.record.place
    if position is None:
        index: Any = weather.index
        position = sun.solar_position(index, place.latitude, place.longitude, place.altitude, step)
    times = starts(weather, plan_clock(plan), step)
    sky_states = find_sky_states(plan, weather, position, resolution, share)
    return on_panels(plan, Conditions(times, step, weather, {}, sky_states, {}, position))


def on_panels(plan: Plan, known: Conditions) -> Conditions:
    """Carry weather and sky that are known already on to the panels of a plan at their place, whatever these are."""
    weather, position, sky_states = known.weather, known.position, known.sky_states
    by_state = {panel.id: panel_light(panel, plan, weather, position, sky_states) for panel in plan.record.panel}
    means = by_state if sky_states.whole else {name: _averaged(light, sky_states) for name, light in by_state.items()}
    return replace(known, panels=means, panel_states=by_state)


def weather_path(plan: Plan) -> Path | None:
    """The weather file of a plan, beside it or by its full path; None if its weather comes from elsewhere."""
    file = plan.record.weather.file
    return None if file is None else (plan.path.parent if plan.path is not None else Path()) / file


def plan_weather(plan: Plan) -> pd.DataFrame:
    """Read, or make, the year of weather that a plan asks for."""
    from solarvent.weather import reading as weather

    wanted = plan.record.weather
    if wanted.clear_sky:
        return clear_year(plan)
    if wanted.embedded is not None:
        return weather.embedded_weather()
    if climate := wanted.normals or (wanted.climate and plan.climate(wanted.climate)):
        return climate_weather(climate, plan.record.place)
    path = weather_path(plan)
    assert path is not None
    return weather.read_weather(path)


def panel_light(
    panel: Panel,
    plan: Plan,
    weather: pd.DataFrame,
    position: sun.SolarPosition,
    sky_states: SkyStates | None = None,
) -> PanelLight:
    """Carry the weather on to one panel's cells; with `sky_states`, one value a state of the sky."""
    plane = light_on_planes(plan, weather, position, panel.tilt, panel.azimuth)
    months = starts(weather, plan_clock(plan), 0.0).month.to_numpy()
    tilts, azimuths = np.array([panel.tilt]), np.array([panel.azimuth])
    beam_left, sky_left = unshaded_fraction(plan, tilts, azimuths, position, months)
    # Light close to the sun goes with the beam: hidden with it, and split over the states of the sky with it.
    plane = replace(
        plane,
        beam=plane.beam * beam_left,
        circumsolar=plane.circumsolar * beam_left,
        sky=np.ravel(plane.sky * sky_left),
    )
    temp_air = weather["temp_air"].to_numpy()
    if sky_states is not None and not sky_states.whole:
        at = sky_states.step_of
        temp_air = temp_air[at]
        plane = replace(
            plane,
            cos_aoi=plane.cos_aoi[at],
            entering=plane.entering[at],
            beam=plane.beam[at] * sky_states.beam,
            circumsolar=plane.circumsolar[at] * sky_states.beam,
            sky=plane.sky[at] * sky_states.sky,
            ground=plane.ground[at] * sky_states.ground,
        )
    poa_global, passed = plane.poa_global, plane.effective_global
    effective_diffuse = passed - plane.entering * plane.beam
    # What is not straight from the sun, that close to it included, reaches a cell in shadow.
    diffuse_share = np.divide(effective_diffuse, passed, out=np.ones_like(passed), where=passed > 0)
    shade = string_shade_factor(panel.lit_share_of_worst_cell, np.clip(diffuse_share, 0, 1))
    glazing = 1.0 if panel.behind is None else plan.cover(panel.behind).transmittance
    clear = effective_irradiance(passed, panel.soiling_ratio, glazing)
    shaded = effective_irradiance(passed, panel.soiling_ratio, glazing, shade)
    effective = clear if panel.clear_sections else shaded
    sections = over_sections(panel, clear, shaded)
    # Only light that passes the cover in front warms the cells.
    temp_cell = cell_temperature(poa_global * glazing, temp_air, panel.noct, _MOUNTING[panel.mounting])
    return PanelLight(poa_global, effective, temp_cell, sections)


def over_sections(panel: Panel, clear: np.ndarray, shaded: np.ndarray) -> np.ndarray:
    """Lay the light of the plan's shadow over the sections of a panel, shape (steps,) or (sections, steps). [W/m2]"""
    if not panel.clear_sections:
        return shaded
    return np.stack([clear] * panel.clear_sections + [shaded] * panel.sections_in_shadow)


def sections_in_sun(panel: Panel, irradiance: np.ndarray) -> np.ndarray:
    """Light on the sections of a panel under a clear sky, from that on its effective ones, shaped alike. [W/m2]"""
    left = string_shade_factor(panel.lit_share_of_worst_cell, CLEAR_DIFFUSE)
    return over_sections(panel, irradiance, left * irradiance) if panel.clear_sections else irradiance


#: Relative humidity where the weather does not tell it (common practice, no source). [%]
_HUMIDITY = 70.0


@dataclass(frozen=True, eq=False)
class OutsideAir:
    """Outside air, one value a step.

    Attributes
    ----------
    step : float
        Length of a step. [s]
    temp_air : array, shape (steps,)
        [degC]
    density : array, shape (steps,)
        [kg/m3]
    wind_speed, wind_direction : array, shape (steps,)
        At the weather station, and where it comes from. [m/s], [deg] Where either is unknown it counts as calm.
    dark : array of bool, shape (steps,)
        The sun is down.
    """

    step: float
    temp_air: np.ndarray
    density: np.ndarray
    wind_speed: np.ndarray
    wind_direction: np.ndarray
    dark: np.ndarray


def outside_air(weather: pd.DataFrame, position: sun.SolarPosition, step: float, altitude: float) -> OutsideAir:
    """Take the outside air from a span of weather in steps [s], at an altitude [m]."""
    air = weather["temp_air"].to_numpy(dtype=float)
    return OutsideAir(
        step=step,
        temp_air=air,
        density=_density(air, relative_humidity(weather), altitude),
        wind_speed=known(weather, "wind_speed", 0.0),
        wind_direction=known(weather, "wind_direction", np.nan),
        dark=np.asarray(position.apparent_zenith) >= 90.0,
    )


def known(weather: pd.DataFrame, name: str, otherwise: float) -> np.ndarray:
    """One column of the weather, with a value where it says nothing."""
    if name not in weather:
        return np.full(len(weather), otherwise)
    values = weather[name].to_numpy(dtype=float)
    return np.where(np.isnan(values), otherwise, values)


def relative_humidity(weather: pd.DataFrame) -> np.ndarray:
    """Relative humidity of the weather, 70 % where it does not tell it. [%]"""
    return np.clip(known(weather, "relative_humidity", _HUMIDITY), 1.0, 100.0)


def _density(temp_air: np.ndarray, relative_humidity: np.ndarray, altitude: float) -> np.ndarray:
    """Density of the air at an altitude [m], by its temperature [degC] and relative humidity [%]. [kg/m3]"""
    pressure = moist_air.standard_pressure(altitude)
    vapour = relative_humidity / 100.0 * np.asarray(moist_air.saturation_pressure(temp_air))
    return np.asarray(moist_air.air_density(temp_air, moist_air.humidity_ratio(vapour, pressure), pressure))


def _averaged(light: PanelLight, sky_states: SkyStates) -> PanelLight:
    """Average the states of the sky over each step."""
    return PanelLight(*(sky_states.of_states(getattr(light, field.name)) for field in fields(light)))
