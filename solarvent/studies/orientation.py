"""Which way the panel should face: light in the hours in which air is needed, not over the year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import PlanError
from solarvent.electrical.panel_model import TYPICAL
from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.weather import sun
from solarvent.weather.conditions import plan_weather
from solarvent.weather.planes import azimuths_of, light_on_planes
from solarvent.weather.sky_states import find_sky_states
from solarvent.weather.span import calendar_year, hours_of_need, plan_clock, starts
from solarvent.weather.sun import unshaded_fraction

if TYPE_CHECKING:
    import pandas as pd

TILTS = (0, 15, 30, 45, 60, 75, 90)


@dataclass(frozen=True, eq=False)
class Orientations:
    """Light on the cells of one panel for many tilts and azimuths.

    Attributes
    ----------
    tilts, azimuths : array
        [deg]
    need_light : array, shape (azimuths, tilts)
        Mean over the hours of need. [W/m2]
    own_light : float
        The same for the panel as it hangs. [W/m2]
    year_light : array, shape (azimuths, tilts)
        Sum over the weather's whole span. [kWh/m2]
    start_light : float
        Light from which the last fan of the panel starts; NaN if one never does. [W/m2]
    above_start : array, shape (azimuths, tilts)
        Share of the time of need with more light than that, gaps and shadows told apart. [-]
    hours : array
        Hours of the clock with light in the months of need.
    by_hour : array, shape (hours, tilts)
        Mean by hour in the months of need, facing as the panel does. [W/m2]
    """

    tilts: np.ndarray
    azimuths: np.ndarray
    need_light: np.ndarray
    own_light: float
    year_light: np.ndarray
    start_light: float
    above_start: np.ndarray
    hours: np.ndarray
    by_hour: np.ndarray

    def best(self, light: np.ndarray) -> tuple[float, float]:
        """Tilt and azimuth with the most of it. [deg]"""
        row, column = np.unravel_index(int(np.argmax(light)), light.shape)
        return float(self.tilts[column]), float(self.azimuths[row])


def orientations(plan: Plan, panel: Panel, start_light: float = float("nan")) -> Orientations:
    """Turn one panel of a plan through seven tilts and nine azimuths, with the sun worked out once.

    A shadow on single cells is left out: it would fall otherwise on a panel that hangs otherwise. `start_light` is that
    from which the fans start [W/m2]. Raises PlanError if the sun is down in all hours of need, and WeatherError if the
    weather file cannot be used.
    """
    place = plan.record.place
    weather = calendar_year(plan_weather(plan), plan_clock(plan))
    step = float(weather.attrs["step"])
    weather = weather[weather["ghi"].to_numpy() > 0]
    times = starts(weather, plan_clock(plan), step)
    position = sun.solar_position(weather.index, place.latitude, place.longitude, place.altitude, step)
    tilts, azimuths = np.array(TILTS, dtype=float), azimuths_of(place.latitude)
    # The last plane is the panel as it hangs.
    facing = np.append(np.repeat(azimuths, len(tilts)), panel.azimuth)
    tilted = np.append(np.tile(tilts, len(azimuths)), panel.tilt)
    direct, rest = _light(plan, panel, weather, position, times, facing, tilted)
    shape = (len(azimuths), len(tilts))
    total = direct + rest
    need = hours_of_need(plan, times)
    if not need.any():
        raise PlanError.single("target", "the weather has no light in the hours of need", "choose others")
    need_light = total[:, need].mean(axis=1)
    above = _above(plan, weather, position, step, need, direct, rest, start_light)
    months = times.month.isin(plan.record.months_of_need)
    hours, by_hour = _by_hour(plan, panel, weather, position, times, months)
    return Orientations(
        tilts,
        azimuths,
        need_light[:-1].reshape(shape),
        float(need_light[-1]),
        (total[:-1].sum(axis=1) * step / 3.6e6).reshape(shape),
        start_light,
        above[:-1].reshape(shape),
        hours,
        by_hour,
    )


def _light(
    plan: Plan,
    panel: Panel,
    weather: pd.DataFrame,
    position: sun.SolarPosition,
    times: pd.DatetimeIndex,
    azimuths: np.ndarray,
    tilts: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Light on the cells straight from the sun, and all other, shape (planes, steps). [W/m2]"""
    light = light_on_planes(plan, weather, position, tilts, azimuths)
    beam_left, sky_left = unshaded_fraction(plan, tilts, azimuths, position, times.month.to_numpy())
    glazing = 1.0 if panel.behind is None else plan.cover(panel.behind).transmittance
    kept = panel.soiling_ratio * glazing
    rest = light.effective_sky * sky_left + light.effective_ground
    return light.effective_direct * (beam_left * kept), rest * kept


def _by_hour(
    plan: Plan,
    panel: Panel,
    weather: pd.DataFrame,
    position: sun.SolarPosition,
    times: pd.DatetimeIndex,
    months: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Mean light by hour of the clock in the months of need, for each tilt, facing as the panel does."""
    tilts = np.array(TILTS, dtype=float)
    facing = np.full(len(tilts), float(panel.azimuth))
    direct, rest = _light(plan, panel, weather[months], position.part(months), times[months], facing, tilts)
    hour = times[months].hour.to_numpy()
    hours = np.unique(hour)
    member = hour == hours[:, None]
    days = len(np.unique(times[months].date))
    steps_an_hour = 3600.0 / float(weather.attrs["step"])
    # Over all days: an hour after sunset counts as dark, not as missing.
    return hours, member @ (direct + rest).T / (days * steps_an_hour) if days else np.empty((0, len(tilts)))


def _above(
    plan: Plan,
    weather: pd.DataFrame,
    position: sun.SolarPosition,
    step: float,
    need: np.ndarray,
    direct: np.ndarray,
    rest: np.ndarray,
    start_light: float,
) -> np.ndarray:
    """Share of the time of need with light above that which starts the fans, by plane."""
    if np.isnan(start_light):
        return np.full(len(direct), np.nan)
    sky_states = find_sky_states(plan, weather[need], position.part(need), step)
    at = sky_states.step_of
    bright = direct[:, need][:, at] * sky_states.beam + rest[:, need][:, at] * sky_states.sky
    return (bright >= start_light) @ sky_states.weight / sky_states.steps


@dataclass(frozen=True)
class Turned:
    """Mean flow [m3/s] and air changes [1/h] over the hours of need with the panels turned, typical reading.

    Tilt and azimuth [deg] are those of every panel; NaN for the plan as it is, if its panels differ.
    """

    tilt: float
    azimuth: float
    flow: float
    air_changes: float


def turned(plan: Plan, tilt: float | None = None, azimuth: float | None = None) -> tuple[Turned, Simulation]:
    """Simulate the plan's year with all of its panels turned; as they are if nothing is given."""
    if tilt is not None and azimuth is not None:
        plan = plan.with_({"panel.tilt": tilt, "panel.azimuth": azimuth})
    ways = {(panel.tilt, panel.azimuth) for panel in plan.record.panel}
    way = ways.pop() if len(ways) == 1 else (float("nan"), float("nan"))
    run = simulate(plan, bands=(TYPICAL,))
    band = run.bands["typical"]
    return Turned(*way, band.target_flow, band.target_air_changes), run


def last_start(run: Simulation, panel: Panel) -> float:
    """Light from which the last of a panel's fans starts; NaN if one never does. [W/m2]"""
    thresholds = run.bands["typical"].thresholds
    starts = [
        thresholds[name].start_irradiance
        for circuit in run.circuits
        if panel.id in circuit.panel_ids
        for name in circuit.fan_ids
    ]
    return float(np.max(starts)) if starts else float("nan")
