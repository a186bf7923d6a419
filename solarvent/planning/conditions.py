"""From a plan's place and weather to the light and the heat at each panel, step by step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta, timezone, tzinfo
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import DomainError, PlanError, Problem
from solarvent.inputs.loading import LoadedPlan
from solarvent.inputs.parts import Panel
from solarvent.physics import panel as panel_kernel
from solarvent.physics import single_diode as diode
from solarvent.physics import sky, sun
from solarvent.planning.bands import TYPICAL, Band
from solarvent.planning.climate_year import climate_weather

if TYPE_CHECKING:
    import pandas as pd

#: Rise of the cell at 1000 W/m2 over a free-standing panel (common practice, no source). [K]
_MOUNTING = {"free": 0.0, "close": 5.0, "flush": 10.0}
#: A year without a leap day and without meaning, for weather that belongs to no year.
_ANY_YEAR = 2001


@dataclass(frozen=True)
class PanelLight:
    """What one panel sees, one value a step.

    Attributes
    ----------
    poa_global : array, shape (steps,)
        Light on its plane. [W/m2]
    effective_irradiance : array, shape (steps,)
        Light that its cells turn into current: after reflection, dirt, glazing and shadow. [W/m2]
    temp_cell : array, shape (steps,)
        [degC]
    """

    poa_global: np.ndarray
    effective_irradiance: np.ndarray
    temp_cell: np.ndarray


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
        By the panel's id.
    """

    times: pd.DatetimeIndex
    step: float
    weather: pd.DataFrame
    panels: dict[str, PanelLight]


def conditions(loaded: LoadedPlan, day: date | None = None, step: float | None = None) -> Conditions:
    """Work out light and heat at every panel of a plan.

    Parameters
    ----------
    loaded : LoadedPlan
        The plan.
    day : date, optional
        One day (by the plan's clock) in place of the whole year; its year does not matter.
    step : float, optional
        Length of a step within a chosen day, at least 60 and a whole part of the weather's own, which is the default.
        [s]

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
    place = loaded.plan.place
    clock = _clock(loaded)
    weather = _calendar_year(plan_weather(loaded), clock)
    seconds = float(weather.attrs["step"])
    if day is not None:
        chosen = _one_day(weather, day, clock)
        if step is not None:
            chosen = _finer(chosen, seconds, step, place.latitude, place.longitude, place.altitude)
            seconds = step
        weather = chosen
    index: Any = weather.index
    position = sun.solar_position(index, place.latitude, place.longitude, place.altitude)
    times = _starts(weather, clock, seconds)
    panels = {str(panel.id): _light(panel, loaded, weather, position) for panel in loaded.plan.panel}
    return Conditions(times, seconds, weather, panels)


def plan_weather(loaded: LoadedPlan) -> pd.DataFrame:
    """Read, or make, the year of weather that a plan asks for."""
    from solarvent.inputs import weather

    wanted = loaded.plan.weather
    if wanted.clear_sky:
        return _clear_year(loaded)
    if wanted.embedded is not None:
        return weather.embedded_weather()
    if climate := wanted.normals or (wanted.climate and loaded.climate(wanted.climate)):
        return climate_weather(climate, loaded.plan.place)
    folder = loaded.path.parent if loaded.path is not None else Path()
    return weather.read_weather(folder / str(wanted.file))


def _clear_year(loaded: LoadedPlan) -> pd.DataFrame:
    """Make an hourly year of clear sky, with one temperature and no wind."""
    import pandas as pd

    place = loaded.plan.place
    index = pd.date_range(f"{_ANY_YEAR}-01-01", periods=8760, freq="h", tz="UTC") + pd.Timedelta(minutes=30)
    clear = sky.clear_sky(index, place.latitude, place.longitude, place.altitude)
    table = pd.DataFrame(
        {
            "ghi": clear.ghi,
            "dni": clear.dni,
            "dhi": clear.dhi,
            "temp_air": loaded.plan.weather.temp_air,
            "wind_speed": 0.0,
            "wind_direction": 0.0,
            "opaque_cover": 0.0,
        },
        index=index,
    )
    table.attrs.update(title="a clear sky every day", source="Ineichen clear sky through pvlib", step=3600.0)
    return table


def _clock(loaded: LoadedPlan) -> tzinfo:
    """Give the clock of a plan: the one on the wall, or the sun's mean time."""
    place = loaded.plan.place
    if loaded.plan.clock == "solar":
        return timezone(timedelta(minutes=round(4 * place.longitude)))
    return place.zone


def _starts(weather: pd.DataFrame, clock: tzinfo, step: float | None = None) -> Any:
    """Start of each step, by the plan's clock."""
    import pandas as pd

    index: Any = weather.index
    return (index - pd.Timedelta(seconds=(step or weather.attrs["step"]) / 2)).tz_convert(clock)


def _calendar_year(weather: pd.DataFrame, clock: tzinfo) -> pd.DataFrame:
    """Carry the hours that a year of weather has beyond New Year on the plan's clock to the year's other end.

    Without this the clock of another zone would cut 1 January, or 31 December, in two halves a year apart.
    """
    import pandas as pd

    if len(weather) * weather.attrs["step"] != 365 * 86400:
        return weather
    year = _starts(weather, clock).year
    own = year[len(year) // 2]
    if (year == own).all():
        return weather
    whole = weather.copy()
    whole.index = weather.index + pd.to_timedelta(365 * np.sign(own - year), unit="D")
    whole = whole.sort_index()
    whole.attrs = dict(weather.attrs)
    return whole


def _one_day(weather: pd.DataFrame, day: date, clock: tzinfo) -> pd.DataFrame:
    """Cut one day out of the year, by the plan's clock."""
    local = _starts(weather, clock)
    chosen = weather[(local.month == day.month) & (local.day == day.day)]
    if chosen.empty:
        raise PlanError.single("day", f"the weather has no {day:%d %B}", "choose another day")
    chosen.attrs = weather.attrs
    return chosen


def _finer(
    weather: pd.DataFrame, seconds: float, step: float, latitude: float, longitude: float, altitude: float
) -> pd.DataFrame:
    """Divide hours into shorter steps: the hour's share of the clear sky is kept, the sun moves within it."""
    import pandas as pd

    if not 60 <= step <= seconds or seconds % step:
        what = f"{step / 60:g} min is not a whole part of {seconds / 60:g} min, the step of the weather"
        raise PlanError.single("step", what, "like 10 min or 15 min; not below 1 min")
    count = int(seconds // step)
    shift = pd.to_timedelta(np.tile((np.arange(count) + 0.5) * step - seconds / 2, len(weather)), unit="s")
    fine = weather.loc[weather.index.repeat(count)]
    fine.index = fine.index + shift
    clear = sky.clear_sky(fine.index, latitude, longitude, altitude)
    for name in ("ghi", "dni", "dhi"):
        fine_clear = np.asarray(getattr(clear, name)).reshape(len(weather), count)
        # An hour keeps its own mean: what matters of the clear sky is its shape within the hour.
        mean = fine_clear.mean(axis=1, keepdims=True)
        shape = np.divide(fine_clear, mean, out=np.ones_like(fine_clear), where=mean > 1.0)
        fine[name] = (shape * weather[name].to_numpy()[:, None]).ravel()
    fine["temp_air"] = np.interp(fine.index.asi8, weather.index.asi8, weather["temp_air"].to_numpy())
    return fine


def _light(panel: Panel, loaded: LoadedPlan, weather: pd.DataFrame, position: sun.SolarPosition) -> PanelLight:
    """Carry the weather on to one panel's cells."""
    plane = sun.plane_of_array(
        position,
        panel.tilt,
        panel.azimuth,
        ghi=weather["ghi"].to_numpy(),
        dni=weather["dni"].to_numpy(),
        dhi=weather["dhi"].to_numpy(),
        albedo=loaded.plan.place.albedo,
    )
    passed = plane.effective_beam + plane.effective_diffuse
    diffuse_share = np.divide(plane.effective_diffuse, passed, out=np.ones_like(passed), where=passed > 0)
    shade = panel_kernel.string_shade_factor(panel.lit_share_of_worst_cell, np.clip(diffuse_share, 0, 1))
    glazing = 1.0 if panel.behind is None else loaded.cover(panel.behind).transmittance
    effective = panel_kernel.effective_irradiance(passed, panel.soiling, glazing, shade)
    temp_cell = panel_kernel.cell_temperature(
        plane.poa_global * glazing, weather["temp_air"].to_numpy(), panel.noct, _MOUNTING[panel.mounting]
    )
    return PanelLight(plane.poa_global, effective, temp_cell)


def single_diode(panel: Panel) -> diode.SingleDiode:
    """Find the single-diode parameters of a panel from what its plate gives.

    Raises
    ------
    PlanError
        If no diode curve passes through the plate's figures; the panel is named.
    """
    given = panel.single_diode
    if given is not None:
        alpha_sc = panel.alpha_sc * given.I_L_ref
        return diode.SingleDiode(given.I_L_ref, given.I_o_ref, given.R_s, given.R_sh_ref, given.a_ref, alpha_sc)
    try:
        if panel.v_oc is None or panel.i_sc is None or panel.v_mp is None or panel.i_mp is None:
            return diode.from_watts(panel.watts)
        alpha_sc, beta_voc = panel.alpha_sc * panel.i_sc, panel.beta_voc * panel.v_oc
        return _fitted(panel.v_oc, panel.i_sc, panel.v_mp, panel.i_mp, alpha_sc, beta_voc)
    except DomainError as error:
        places = (Problem(f'panel "{panel.id}" {item.where}', item.what, item.write) for item in error.problems)
        raise PlanError(places) from None


@lru_cache(maxsize=64)
def _fitted(*plate: float) -> diode.SingleDiode:
    """Fit a plate once, for every band and every check asks for it again."""
    return diode.fit_nameplate(*plate)


def panel_parameters(
    panel: Panel, effective_irradiance: Any, temp_cell: Any, band: Band = TYPICAL
) -> tuple[np.ndarray, ...]:
    """Give a panel's single-diode parameters in a given light and heat, in pvlib's order.

    Parameters
    ----------
    panel : Panel
        The plate.
    effective_irradiance, temp_cell : float or array
        [W/m2], [degC]
    band : Band
        How far the plate is believed.

    Returns
    -------
    tuple of array
        photocurrent, saturation_current, resistance_series, resistance_shunt, nNsVth. [A, A, ohm, ohm, V]
    """
    believed = diode.scale_plate(single_diode(panel), band.plate_factor(panel))
    return diode.operating_parameters(believed, effective_irradiance, temp_cell)
