"""The chain: weather, sun, panels, circuits, fans, air, house. Only this module knows the order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.air.airflow import air_changes
from solarvent.air.network import FanState, Ventilation, flow_at_limit, ventilate, volume
from solarvent.base.columns import BATTERY_COLUMNS
from solarvent.base.errors import require_kind
from solarvent.electrical.circuit_parts import slow_words
from solarvent.electrical.panel_model import BANDS, Band
from solarvent.electrical.start_light import Thresholds, start_and_run_down
from solarvent.house.house_run import HouseRun, ThermostatSwitch, house_under, model_under, solve_switch
from solarvent.plan.plan import Plan
from solarvent.simulation.electrical_side import Electrical, operate_circuits, over_steps
from solarvent.weather.conditions import Conditions, conditions, outside_air
from solarvent.weather.sky import known_cover
from solarvent.weather.sky_states import SkyStates
from solarvent.weather.span import hours_of_need
from solarvent.wiring.circuit import Circuit, circuits
from solarvent.wiring.harness import Harness, build_harness

if TYPE_CHECKING:
    import pandas as pd

#: In a shorter span than this no reading is cut down. [s]
_CUT_FROM = 60 * 86400.0


@dataclass(frozen=True, eq=False)
class Simulation:
    """A simulated plan.

    Attributes
    ----------
    plan : Plan
        What was simulated.
    harness, circuits
        How it is wired.
    conditions : Conditions
        Weather and light.
    electrical : Electrical
        The typical reading of all plates, step by step.
    ventilation : Ventilation
        The air that goes with it.
    house : HouseRun
        What the house does, shut, with its openings, with its fans and with both; None if it was left out.
    hours : pandas.DataFrame
        One row a step; columns of :mod:`solarvent.base.columns`, those of a fan or panel as ``"voltage.fan-id"``.
    bands : dict of str to BandResult
        ``"typical"``, ``"low"``, never better than it, and ``"high"``, never worse.
    fans : FanState
        What the fans do at each substep, typically.
    thermostat_residual : float
        With a thermostat in the line of the fans: share of the steps in which they could turn whose state stayed in
        doubt. They count as standing in those. [-]
    cut_down : str
        Why the hours running and the air of the low and the high reading come from one day a week; empty if they are
        from every day. Where they start and stop is found in any case.
    """

    plan: Plan
    harness: Harness
    circuits: tuple[Circuit, ...]
    conditions: Conditions
    electrical: Electrical
    ventilation: Ventilation
    house: HouseRun | None
    hours: pd.DataFrame
    bands: dict[str, BandResult]
    fans: FanState
    thermostat_residual: float = 0.0
    cut_down: str = ""

    def circuit_of(self, fan: str) -> Circuit:
        """The circuit that feeds a fan."""
        return next(circuit for circuit in self.circuits if fan in circuit.fan_ids)

    def fans_by_step(self, steps: np.ndarray) -> FanState:
        """Fans in some steps, each taken as one state: a fan turns if it mostly does."""
        return FanState.by_step(self.electrical.fan_voltage[:, steps], self.electrical.running[:, steps] > 0.5)

    @cached_property
    def needed(self) -> np.ndarray:
        """Whether air is needed in each step; shape (steps,)."""
        return hours_of_need(self.plan, self.conditions.times)

    @cached_property
    def flow_at_limit(self) -> np.ndarray:
        """What the fans move in the steps in which air is needed, see :func:`solarvent.air.network.flow_at_limit`."""
        sun = self.conditions
        outside = outside_air(sun.weather, sun.position, sun.step, self.plan.record.place.altitude)
        return flow_at_limit(self.plan, outside, self.fans, self.needed)

    @property
    def whole_house(self) -> HouseRun:
        """The house, of a run that was made with it."""
        assert self.house is not None
        return self.house


@dataclass(frozen=True, eq=False)
class BandResult:
    """What changes between the low, typical and high reading.

    By fan the thresholds at 20 degC outside, and the hours running over the span [h]; and the mean flow [m3/s] and air
    changes [1/h] over the hours of need, NaN if the span has none.
    """

    thresholds: dict[str, Thresholds]
    hours_running: dict[str, float]
    target_flow: float
    target_air_changes: float


def simulate(
    plan: Plan,
    day: date | None = None,
    step: float | None = None,
    bands: tuple[Band, ...] = BANDS,
    house: bool = True,
) -> Simulation:
    """Simulate a plan over its year of weather, or over one day.

    Parameters
    ----------
    plan : Plan
        The plan. Of one that takes long, the hours and the air of all readings but the first are those of one day a
        week; see ``cut_down`` of the result.
    day : date, optional
        One day in place of the year.
    step : float, optional
        Length of a step within that day. [s]
    bands : tuple of Band
        Which readings of the plates to work out; the first gives the hours.
    house : bool
        Carry the house through time; without it, which takes a third of the time, temp_inside is NaN. With a thermostat
        in the plan the house is carried in any case, for the fans depend on it.

    Returns
    -------
    Simulation
        Everything that was worked out.

    Raises
    ------
    SolarventError
        Of the kind that fits: a mistake in the plan, its wiring, its parts or its weather.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> day = simulate(load_plan(), date(2001, 7, 15), house=False)
    >>> len(day.hours), "flow" in day.hours
    (24, True)
    """
    require_kind(plan, Plan)
    return simulate_under(plan, conditions(plan, day, step), bands, house)


def simulate_under(plan: Plan, sun: Conditions, bands: tuple[Band, ...] = BANDS, house: bool = True) -> Simulation:
    """Simulate a plan in light and weather that are known already; otherwise as :func:`simulate`.

    A thermostat in the line of the fans is settled with the first band; the others meet the line as that one left it.
    """
    harness = build_harness(plan)
    wired = circuits(harness, plan)
    sky_states = sun.sky_states
    outside = outside_air(sun.weather, sun.position, sun.step, plan.record.place.altitude)
    results: dict[str, BandResult] = {}
    line = _line(plan, wired, sun, bands[0])
    closed = None if line is None else line.closed[sky_states.step_of_substep]
    cut_down = _cut_down(plan, wired, sun) if len(bands) > 1 else ""
    days = _one_day_a_week(sun.times) if cut_down else None
    first, inside, typical_fans = None, None, None
    for band in bands:
        chosen: np.ndarray | None = None if first is None else days
        substeps = operate_circuits(plan, wired, sun, band, closed, chosen)
        electrical = over_steps(substeps, sky_states)
        fans = _fan_state(substeps, sky_states)
        if first is None and (house or line is not None):
            inside = house_under(plan, sun, fans)
        # Weak and strong fans meet the house as the typical ones leave it.
        temp_inside = None if inside is None else inside.case("both")
        air = ventilate(plan, outside, fans, band, temp_inside).over_steps(sky_states)
        results[band.name] = _band_result(plan, wired, sun, electrical, air, band, chosen)
        if first is None:
            first, typical_fans = (electrical, air, inside), fans
    assert first is not None
    assert typical_fans is not None
    hours = _hours_table(plan, sun, *first)
    residual = 0.0 if line is None else line.residual
    return Simulation(plan, harness, wired, sun, *first, hours, _in_order(results), typical_fans, residual, cut_down)


def _cut_down(plan: Plan, wired: tuple[Circuit, ...], sun: Conditions) -> str:
    """Say why the low and the high reading are cut down; empty if they are not. A battery is carried through all."""
    if plan.record.storage is not None or sun.step * len(sun.times) < _CUT_FROM:
        return ""
    return next(filter(None, map(slow_words, wired)), "")


def _one_day_a_week(times: pd.DatetimeIndex) -> np.ndarray:
    """Which steps lie in one chosen day of every seven."""
    days = times.normalize()
    return np.asarray((days - days[0]).round("D").days % 7 == 3)


def _in_order(results: dict[str, BandResult]) -> dict[str, BandResult]:
    """Hold the low reading to be no better than the typical one, and the high one no worse.

    Several fans on one panel may start in another order in another band, and then one gains by what others lose.
    """
    typical = results.get("typical")
    if typical is None:
        return results
    # A fan that never starts is the worst, which np.maximum keeps and np.fmin leaves.
    picks = {"low": (np.maximum, min), "high": (np.fmin, max)}

    def ordered(band: BandResult, light: Callable[[float, float], float], most: Callable[..., float]) -> BandResult:
        return BandResult(
            {
                name: Thresholds(
                    float(light(one.start_irradiance, typical.thresholds[name].start_irradiance)),
                    float(light(one.run_down_irradiance, typical.thresholds[name].run_down_irradiance)),
                )
                for name, one in band.thresholds.items()
            },
            {name: most(hours, typical.hours_running[name]) for name, hours in band.hours_running.items()},
            most(band.target_flow, typical.target_flow),
            most(band.target_air_changes, typical.target_air_changes),
        )

    return {name: ordered(band, *picks[name]) if name in picks else band for name, band in results.items()}


def _line(plan: Plan, wired: tuple[Circuit, ...], sun: Conditions, band: Band) -> ThermostatSwitch | None:
    """Settle the thermostat in the line of the fans; None if the plan has none."""
    if plan.record.thermostat is None:
        return None

    model = model_under(plan, sun)

    def house_with(closed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        substeps = operate_circuits(plan, wired, sun, band, closed[sun.sky_states.step_of_substep])
        house = house_under(plan, sun, _fan_state(substeps, sun.sky_states), ("both",), model)
        return over_steps(substeps, sun.sky_states).any_running, house.case("both")

    return solve_switch(plan.record.thermostat, sun.sky_states.steps, house_with)


def _fan_state(substeps: Electrical, sky_states: SkyStates) -> FanState:
    """Tell what the fans do at each moment to the air and to the house."""
    return FanState(substeps.fan_voltage, substeps.running, sky_states.step_of_substep, sky_states.moment_weight)


def _fan_ids(plan: Plan) -> list[str]:
    return [fan.id for fan in plan.record.fan]


def _band_result(
    plan: Plan,
    wired: tuple[Circuit, ...],
    sun: Conditions,
    electrical: Electrical,
    air: Ventilation,
    band: Band,
    chosen: np.ndarray | None,
) -> BandResult:
    """Sum up one reading of the plates; of chosen steps, as if the others were like them."""
    need, parts = hours_of_need(plan, sun.times), 1.0
    if chosen is not None:
        need, parts = need & chosen, len(chosen) / chosen.sum()
    flow = float(air.flow[need].mean()) if need.any() else float("nan")
    turning = parts * electrical.running.sum(axis=1) * sun.step / 3600.0
    return BandResult(
        thresholds=start_and_run_down(wired, band),
        hours_running=dict(zip(_fan_ids(plan), turning.tolist(), strict=True)),
        target_flow=flow,
        target_air_changes=float(air_changes(flow, volume(plan))),
    )


def _hours_table(
    plan: Plan, sun: Conditions, electrical: Electrical, air: Ventilation, house: HouseRun | None
) -> pd.DataFrame:
    """Put everything that changes from step to step into one table."""
    import pandas as pd

    lights = list(sun.panels.values())
    weather = sun.weather
    columns: dict[str, Any] = {
        "month": np.asarray(sun.times.month),
        "oktas": known_cover(weather),
        "poa_global": np.mean([light.poa_global for light in lights], axis=0),
        "effective_irradiance": np.mean([light.effective_irradiance for light in lights], axis=0),
        "temp_air": weather["temp_air"].to_numpy(),
        "temp_cell": np.mean([light.temp_cell for light in lights], axis=0),
        "wind_speed": weather["wind_speed"].to_numpy(),
        "panel_voltage": electrical.panel_voltage.mean(axis=0),
        "panel_current": electrical.panel_current.mean(axis=0),
        "panel_power": electrical.panel_power.sum(axis=0),
        "power_available": electrical.power_available.sum(axis=0),
        "fans_running": electrical.running.sum(axis=0),
        "flow": air.flow,
        "air_changes": air_changes(air.flow, volume(plan)),
        "temp_inside": np.full(len(weather), np.nan) if house is None else house.case("both"),
    }
    if (kept := electrical.battery) is not None:
        columns |= {name: getattr(kept, name) for name in BATTERY_COLUMNS}
    for row, name in enumerate(_fan_ids(plan)):
        columns[f"voltage.{name}"] = electrical.fan_voltage[row]
        columns[f"current.{name}"] = electrical.fan_current[row]
        columns[f"running.{name}"] = electrical.running[row]
        columns[f"flow.{name}"] = air.fan_flow[row]
    if len(lights) > 1:
        for row, name in enumerate(sun.panels):
            columns[f"panel_voltage.{name}"] = electrical.panel_voltage[row]
            columns[f"panel_current.{name}"] = electrical.panel_current[row]
    return pd.DataFrame(columns, index=pd.DatetimeIndex(sun.times, name="time"))
