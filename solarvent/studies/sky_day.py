"""The air on a typical day of a month under a sky that is named: clear, broken or overcast."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.columns import BATTERY_COLUMNS
from solarvent.base.errors import PlanError
from solarvent.electrical.panel_model import BANDS, Band
from solarvent.house.air_need import need
from solarvent.plan.house_records import Sky
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate_under
from solarvent.simulation.year import HouseSummary, house_summary, house_totals
from solarvent.weather import sky, sky_states, sun
from solarvent.weather.conditions import Conditions, light_on_panels
from solarvent.weather.span import in_order_of_span, plan_clock, starts
from solarvent.weather.station_files import TMY_YEAR

if TYPE_CHECKING:
    import pandas as pd

    from solarvent.house.air_need import Need

SKIES = (0, 3, 5, 6, 7, 8)
"""Oktas of the table of all skies."""
MEAN_DAYS = (17, 16, 16, 15, 15, 11, 17, 16, 15, 15, 14, 10)
"""Day of each month whose sun is that of the month's mean (S. A. Klein, "Calculation of monthly average insolation on
tilted surfaces", Solar Energy 19, 1977, 325-329)."""
STEP = 600.0
"""Length of a step under a named sky. [s]"""


@dataclass(frozen=True, eq=False)
class SkyAnswer:
    """The air in a span of hours under one sky.

    Attributes
    ----------
    oktas : int
        0-9.
    run : Simulation
        Of the whole day; the span that was asked for is its time of need.
    factor : float
        Mean light as a share of that under a clear sky. [-]
    sunlit : float
        Share of the time in sunlight, in two states of given levels; NaN in thirds, or if the sky has one state. [-]
    gap_level, shadow_level : float
        Light in the brightest and in the dullest state as a share of that under a clear sky, over the span; NaN if the
        sky has one state. [-]
    rows : pandas.DataFrame
        As from :func:`span_rows`.
    running : float
        Share of the span in which a fan turns. [-]
    wanted : Need
        For the mean sun of the span.
    """

    oktas: int
    run: Simulation
    factor: float
    sunlit: float
    gap_level: float
    shadow_level: float
    rows: pd.DataFrame
    running: float
    wanted: Need

    @cached_property
    def house(self) -> HouseSummary:
        """How warm the house gets."""
        return house_summary(self.run)

    @cached_property
    def house_totals(self) -> dict[str, Any]:
        """The same as plain data."""
        return house_totals(self.run)


def for_span(plan: Plan, month: int, start: str, end: str) -> Plan:
    """Give the plan with other hours of need: those of a month from one clock time to another."""
    return plan.with_({"target.months": [month], "target.start": start, "target.end": end})


def under_sky(
    plan: Plan,
    weather: pd.DataFrame,
    month: int,
    oktas: int,
    full_cover: str | None = None,
    step: float = STEP,
    row: float = 3600.0,
    share: float | None = None,
    bands: tuple[Band, ...] = BANDS,
) -> SkyAnswer:
    """Simulate the mean day of a month under one sky.

    Light by the clear sky and the cloud factor of Kasten & Czeplak, split by Erbs, Klein & Duffie, and by the
    states of a broken sky from 1 to 7 oktas. Temperature is the month's mean course through the day; wind is the
    month's mean of its north and east parts, hour by hour: the prevailing one.

    Parameters
    ----------
    plan : Plan
        The plan, whose hours of need are the span that is asked for, see :func:`for_span`.
    weather : pandas.DataFrame
        The plan's weather.
    month : int
        1 to 12.
    oktas : int
        0 to 9.
    full_cover : str, optional
        The kind of cloud at 8 oktas; by default the plan's.
    step, row : float
        Length of a step, and of a row of the answer. [s]
    share : float, optional
        Sunlit share under a broken sky, in two states; by default the plan's, or else as it reads such a sky. [-]
    bands : tuple of Band
        Which readings of the plates to work out.

    Returns
    -------
    SkyAnswer
        The day.

    Raises
    ------
    PlanError
        If the weather has no hours in this month, or the gaps alone would give more light than the sky has.
    """
    reading = plan.record.sky
    factor = float(sky.cloud_factor(oktas, full_cover or reading.full_cover))
    broken = 0 < oktas < sky.OKTAS_FULL
    share = (reading.sunlit_share if share is None else share) if broken else None
    sunlit = _sunlit(reading, factor, oktas, share) if broken else float("nan")
    conditions = sky_conditions(plan, mean_course(plan, weather, month), month, oktas, factor, step, share)
    run = simulate_under(plan, conditions, bands)
    span = run.needed
    gap, shadow = _levels(run, factor, span)
    return SkyAnswer(
        oktas=oktas,
        run=run,
        factor=factor,
        sunlit=sunlit,
        gap_level=gap,
        shadow_level=shadow,
        rows=span_rows(run, row),
        running=float(run.electrical.any_running[span].mean()),
        wanted=need(plan, *(float(conditions.weather[name][span].mean()) for name in ("ghi", "temp_air"))),
    )


def _sunlit(reading: Sky, factor: float, oktas: int, share: float | None) -> float:
    """Share of the time in sunlight under a broken sky of two states; NaN if it counts in thirds. [-]"""
    gap, shadow = reading.levels
    if share is None:
        return float("nan") if reading.as_measured else float(sky_states.sunlit_share(factor, gap, shadow))
    if np.isnan(sky_states.shadow_level(factor, share, gap)):
        most = np.floor(factor / gap * 100) / 100
        what = f"{share:g} of the time in sunlight gives more light than a sky of {oktas} oktas has"
        raise PlanError.single("sky.sunlit_share", what, f"at most {most:g} goes with {oktas} oktas")
    return share


def _levels(run: Simulation, factor: float, span: np.ndarray) -> tuple[float, float]:
    """Light in the brightest and in the dullest state as a share of that under a clear sky, NaN with one state. [-]"""
    sky_states = run.conditions.sky_states
    light = run.conditions.weather["ghi"].to_numpy()[span]
    if sky_states.whole or not light.any():
        return float("nan"), float("nan")
    brightest, dullest = sky_states.brightest(sky_states.ground), -sky_states.brightest(-sky_states.ground)
    gap, shadow = (float(factor * (level[span] @ light) / light.sum()) for level in (brightest, dullest))
    return gap, shadow


def span_rows(run: Simulation, row: float) -> pd.DataFrame:
    """Sum up the hours of need of a day in rows of some length [s].

    Indexed by the start of each row: poa_global, gap and shadow [W/m2] (the same in the brightest and the dullest
    state), temp_air, temp_inside [degC], running (share in which a fan turns), fans_running, flow_running, flow [m3/s],
    air_changes [1/h], restarts (the least number of fans that the brightest state would start from standing); with a
    battery its columns too. Of a span over midnight the early hours come last.
    """
    import pandas as pd

    span = run.needed
    sky_states = run.conditions.sky_states
    lights = np.array([light.poa_global for light in run.conditions.panel_states.values()]).mean(axis=0)
    names = ["poa_global", "temp_air", "temp_inside", "fans_running", "flow", "air_changes"]
    table = run.hours[[*names, *(name for name in BATTERY_COLUMNS if name in run.hours)]].assign(
        gap=sky_states.brightest(lights),
        shadow=-sky_states.brightest(-lights),
        running=run.electrical.any_running,
        restarts=restarting_fans(run),
    )[span]
    target = run.plan.record.target
    table.index = in_order_of_span(table.index, target.start, target.end)
    table = table.sort_index()
    index: Any = table.index
    number = ((index - index[0]) / pd.Timedelta(seconds=row)).astype(int)
    rows = table.groupby(number).mean()
    rows["restarts"] = table["restarts"].groupby(number).min()
    turning = rows["running"] > 0
    rows["flow_running"] = (rows["flow"] / rows["running"].where(turning)).fillna(0.0)
    rows.index = pd.DatetimeIndex(index[~number.duplicated()], name="time")
    return rows


def restarting_fans(run: Simulation) -> np.ndarray:
    """Count the fans that the brightest light of each step would start from standing, by their thresholds."""

    thresholds = run.bands["typical"].thresholds
    count = np.zeros(len(run.hours), dtype=int)
    for circuit in run.circuits:
        brightest = run.conditions.brightest_on(circuit.panel_ids)
        for name in circuit.fan_ids:
            # A fan that never starts has no threshold, and nothing is above it.
            count += brightest >= np.nan_to_num(thresholds[name].start_irradiance, nan=np.inf)
    return count


def mean_course(plan: Plan, weather: pd.DataFrame, month: int) -> pd.DataFrame:
    """Average temperature and wind of a month by hour of the clock."""
    times = starts(weather, plan_clock(plan))
    chosen = times.month == month
    if not chosen.any():
        months = ", ".join(str(number) for number in sorted(set(times.month)))
        raise PlanError.single("month", f"the weather has no hours in month {month}", f"choose one of {months}")
    hours = weather[chosen]
    # Averaged as north and east parts: winds from two sides cancel, and a mean of degrees would be a third side.
    toward = np.radians(hours["wind_direction"])
    parts = hours[["temp_air"]].assign(
        north=hours["wind_speed"] * np.cos(toward), east=hours["wind_speed"] * np.sin(toward)
    )
    return parts.groupby(times[chosen].hour).mean().reindex(range(24)).interpolate(limit_direction="both")


@dataclass(frozen=True, eq=False)
class _MeanDay:
    """The day of a month whose sun is that of its mean: start of each step by the clock, its middle, and its sun.

    `zenith` is that at the middle of each step [deg]; `position` that of its sunlit part.
    """

    times: pd.DatetimeIndex
    index: pd.DatetimeIndex
    clear: sky.ClearSky
    zenith: np.ndarray
    position: sun.SolarPosition


@lru_cache(maxsize=12)
def _mean_day(where: tuple[float, float, float], clock: tzinfo, month: int, step: float) -> _MeanDay:
    """Work out the sun and the clear sky of a month's mean day once for all the skies under which it is looked at."""
    import pandas as pd

    day = date(TMY_YEAR, month, MEAN_DAYS[month - 1])
    midnight = (pd.Timestamp(day, tz=clock), pd.Timestamp(day + timedelta(days=1), tz=clock))
    times = pd.date_range(*midnight, freq=pd.Timedelta(seconds=step), inclusive="left")
    index = (times + pd.Timedelta(seconds=step / 2)).tz_convert("UTC")
    zenith = sun.solar_position(index, *where).zenith
    return _MeanDay(times, index, sky.clear_sky(index, *where), zenith, sun.solar_position(index, *where, step))


def sky_conditions(
    plan: Plan, course: pd.DataFrame, month: int, oktas: int, factor: float, step: float, share: float | None
) -> Conditions:
    """Light and air of the month's mean day by step [s], under a sky that lets `factor` of the clear light through."""
    import pandas as pd

    place = plan.record.place
    day = _mean_day((place.latitude, place.longitude, place.altitude), plan_clock(plan), month, step)
    clear, times = day.clear, day.times
    split: Any = clear
    if oktas:
        split = sky.split_global(factor * clear.ghi, day.zenith, day.position.day_of_year)
    # The middle of each step, between the middles of the hours of the course.
    hour = times.hour + times.minute / 60 + step / 7200
    north, east, temp_air = (
        np.interp(hour, course.index + 0.5, course[name], period=24) for name in ("north", "east", "temp_air")
    )
    weather = pd.DataFrame(
        {
            "ghi": factor * clear.ghi,
            "dni": split.dni,
            "dhi": split.dhi,
            "temp_air": temp_air,
            "wind_speed": np.hypot(north, east),
            "wind_direction": np.degrees(np.arctan2(east, north)) % 360,
            "opaque_cover": float(oktas),
        },
        index=day.index,
    )
    weather.attrs.update(title="a named sky", source="Ineichen clear sky through pvlib", step=step)
    return light_on_panels(plan, weather, step, 3600.0, share, day.position)
