"""The house of a plan through its span of weather, in four ways of running it; a thermostat in the line of its fans."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.air.network import AirNetwork, FanState, leakage_area
from solarvent.air.opening import combined_flow, leakage_flow
from solarvent.electrical.panel_model import TYPICAL, Band
from solarvent.house.envelope import FLOOR_NODES
from solarvent.house.heat_balance import Solution, Surroundings, solve_coupled
from solarvent.house.model import HouseModel, house_model
from solarvent.house.moisture import MoistureBalance
from solarvent.plan.house_records import Thermostat
from solarvent.plan.plan import Plan
from solarvent.weather import moist_air

if TYPE_CHECKING:
    from solarvent.weather.conditions import Conditions

CASES = ("closed", "openings", "fans", "both")
"""Everything shut; openings and openers at work while the fans stand; fans turning and of the openings only those
without an opener; both."""
_DAY = 50.0  # somebody who shuts a house for the night opens it when there is some sun [W/m2]
_LONG, _SETTLED = 20 * 86_400.0, 5 * 86_400.0  # [s]


@dataclass(frozen=True, eq=False)
class HouseRun:
    """A house through a span of time. Arrays of shape (steps, cases), in the order of `cases`.

    Attributes
    ----------
    model : HouseModel
        Its figures.
    cases : tuple of str
        Ways of running it: "closed", "openings", "fans", "both".
    temp_inside : array
        Of the air, the mean of each step. [degC]
    temp_mass : array, shape (steps, masses, cases)
        At the end of each step; first the masses that together stand for the floor. [degC]
    flow : array
        Fresh air from openings, fans and leaks. [m3/s]
    heater : array
        [W]
    dew : array
        Water that settles on the cover. [kg/s]
    dew_point_inside : array
        [degC]
    solution : Solution
        With the residual and the energy account.
    """

    model: HouseModel
    cases: tuple[str, ...]
    temp_inside: np.ndarray
    temp_mass: np.ndarray
    flow: np.ndarray
    heater: np.ndarray
    dew: np.ndarray
    dew_point_inside: np.ndarray
    solution: Solution

    def last(self, steps: int) -> HouseRun:
        """Keep the last steps; the solution stays whole."""
        span = slice(len(self.temp_inside) - steps, None)
        cut: dict[str, Any] = {name: value[span] for name, value in vars(self).items() if isinstance(value, np.ndarray)}
        return replace(self, model=self.model.part(span), **cut)

    @property
    def temp_floor(self) -> np.ndarray:
        """Of the top of the floor at the end of each step, shape (steps, cases). [degC]"""
        return np.einsum("tmc,m->tc", self.temp_mass[:, :FLOOR_NODES], self.model.floor_weight)

    @property
    def temp_things(self) -> np.ndarray:
        """Of the plan's masses at the end of each step, shape (steps, masses, cases). [degC]"""
        return self.temp_mass[:, FLOOR_NODES:]

    def case(self, name: str) -> np.ndarray:
        """Inside temperature of one way of running. [degC]"""
        return self.temp_inside[:, self.cases.index(name)]


class FreshAir:
    """Fresh air of a plan's house at its inside temperature, in some ways of running it; see `house_run`."""

    def __init__(
        self,
        plan: Plan,
        model: HouseModel,
        fans: FanState,
        cases: tuple[str, ...] = CASES,
        band: Band = TYPICAL,
        open_share: float | None = None,
        shut_at_night: bool = False,
    ) -> None:
        self._model, self._fans, self._cases = model, fans, cases
        self._network = AirNetwork(plan, model.outside, band, open_share)
        self._leakage_area = leakage_area(plan, band)
        self._may_be_open = model.ghi > _DAY if shut_at_night else np.ones(len(model.dark), dtype=bool)

    def __call__(self, temp: np.ndarray, wanted: np.ndarray) -> np.ndarray:
        """Give the fresh air at inside temperatures (steps, cases) where it is wanted; leaks included. [m3/s]"""
        model = self._model
        leak = np.asarray(leakage_flow(self._leakage_area, temp - model.temp_air[:, None], model.wind_speed[:, None]))
        total = np.array(leak)
        for column, case in enumerate(self._cases):
            at = np.flatnonzero(wanted[:, column] & self._may_be_open)
            # The network has one pressure outside all cracks: what wind and draught press through them comes on top.
            if case != "closed" and at.size:
                total[at, column] = combined_flow(self._moved(case, temp[:, column], at), leak[at, column])
        return total

    def _moved(self, case: str, temp: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Fresh air through openings and fans in some steps, the mean of each. [m3/s]"""
        if case == "openings":
            return self._network.flows(temp, at).inflow
        fans = self._fans
        substeps = np.flatnonzero(np.isin(fans.step_of, at)) if len(at) < len(temp) else np.arange(len(fans.step_of))
        step_of = fans.step_of[substeps]
        voltage, running = fans.voltage[:, substeps], fans.running[:, substeps]
        inflow = self._network.flows(temp, step_of, voltage, running, openers_shut=case == "fans").inflow
        # Every step that is wanted has one substep or more, in order.
        return np.add.reduceat(inflow * fans.weight[substeps], np.searchsorted(step_of, at))


def surroundings_of(model: HouseModel, sun: float = 1.0) -> Surroundings:
    """What works on a house beside the air that changes, as columns for one case."""
    loss = model.u_value * model.cover_area
    return Surroundings(
        loss[:, None],
        (loss * model.temp_sol_air)[:, None],
        sun * model.sun_air[:, None],
        sun * model.sun_mass[:, :, None],
        model.temp_ground[:, None],
    )


def house_run(
    plan: Plan,
    model: HouseModel,
    fans: FanState,
    cases: tuple[str, ...] = CASES,
    band: Band = TYPICAL,
    heater: tuple[float, float] | None = None,
    open_share: float | None = None,
    mass_start: np.ndarray | None = None,
    shut_at_night: bool = False,
) -> HouseRun:
    """Carry a plan's house through a span of weather.

    Parameters
    ----------
    plan : Plan
        The plan.
    model : HouseModel
        Its house under the weather.
    fans : FanState
        What the fans do.
    cases : tuple of str
        Ways of running it.
    band : Band
        How strong the fans and how wide the cracks are.
    heater : tuple of float, optional
        Power and thermostat; by default the plan's, if it has one. [W], [degC]
    open_share : float, optional
        Holds all vents with an opener open by this share. [-]
    mass_start : array, shape (masses,), optional
        Temperature of the masses at the start; by default the mean outside air of the first five days, and for masses
        of the plan that say so their own. [degC]
    shut_at_night : bool
        Somebody shuts everything at dusk.

    Returns
    -------
    HouseRun
        One value a step and case.
    """
    if heater is None and plan.record.heater is not None:
        heater = (plan.record.heater.power, plan.record.heater.thermostat)
    power, thermostat = heater or (0.0, -np.inf)
    # Ways of running that come to the same are carried once.
    distinct = _distinct(plan, cases)
    count = len(distinct)
    masses = type(model.masses)(*(np.repeat(values, count, axis=1) for values in vars(model.masses).values()))
    if mass_start is None:
        mass_start = mass_temperatures(plan, model)
    moisture = MoistureBalance(model, float(moist_air.standard_pressure(plan.record.place.altitude)))
    first = float(model.temp_air[0])
    solution = solve_coupled(
        model.step,
        surroundings_of(model),
        masses,
        model.air_capacity,
        model.temp_air[:, None],
        model.density[:, None],
        FreshAir(plan, model, fans, distinct, band, open_share, shut_at_night),
        moisture.heat,
        np.full(count, first),
        np.repeat(np.asarray(mass_start, dtype=float)[:, None], count, axis=1),
        power,
        thermostat,
    )
    columns = [distinct.index(_same_as(plan, case)) for case in cases]
    result = solution.march
    vapour = moisture.balance(result.temp_air, solution.flow)
    dew_point = np.asarray(moist_air.dew_point(moist_air.vapour_pressure(vapour.humidity_ratio, moisture.pressure)))
    return HouseRun(
        model,
        cases,
        result.temp_air[:, columns],
        result.temp_mass[:, :, columns],
        solution.flow[:, columns],
        result.heater[:, columns],
        vapour.dew[:, columns],
        dew_point[:, columns],
        solution,
    )


def house_under(
    plan: Plan,
    sun: Conditions,
    fans: FanState,
    cases: tuple[str, ...] = CASES,
    model: HouseModel | None = None,
) -> HouseRun:
    """Carry a plan's house through the light, the weather and the fans of a simulation, typical reading of all plates.

    A span of less than twenty days says nothing of what went before: it is laid before itself until five days are full,
    so that floor and masses have settled to such days. `fans` are those of each substep, `model` the house under this
    weather, if it has been worked out already.
    """
    model = model or model_under(plan, sun)
    steps = len(sun.weather)
    # Whole laps, so that hour follows hour.
    lead = 0 if steps * sun.step >= _LONG else -int(-_SETTLED // (steps * sun.step))
    laps = np.arange(lead + 1)
    at = np.tile(np.arange(steps), lead + 1)
    fans = FanState(
        np.tile(fans.voltage, lead + 1),
        np.tile(fans.running, lead + 1),
        (fans.step_of + steps * laps[:, None]).ravel(),
        np.tile(fans.weight, lead + 1),
    )
    return house_run(plan, model.part(at), fans, cases).last(steps)


def model_under(plan: Plan, sun: Conditions) -> HouseModel:
    """Figures of a plan's house under the weather of a simulation."""
    return house_model(plan, sun.weather, sun.position, np.asarray(sun.times.month), sun.step)


def mass_temperatures(plan: Plan, model: HouseModel) -> np.ndarray:
    """Temperature of floor and masses at the start: the ground's; the mean outside air, or as the plan says. [degC]"""
    days = round(5 * 86_400 / model.step)
    mean = float(model.temp_air[:days].mean())
    floor = [float(model.temp_ground[0])] * FLOOR_NODES
    return np.array([*floor, *(mean if mass.start is None else mass.start for mass in plan.record.mass)])


def _same_as(plan: Plan, case: str) -> str:
    """Without openers, fans alone are the same as fans with all openings."""
    return "both" if case == "fans" and all(one.opener is None for one in plan.record.opening) else case


def _distinct(plan: Plan, cases: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(_same_as(plan, case) for case in cases))


#: Turns of thermostat and house in all, and those after which a step may only leave the line.
_FREE_TURNS, _TURNS = 4, 8


def line_closed(
    temp_air: ArrayLike, closes_at: float, opens_at: float, warmest: ArrayLike | None = None
) -> NDArray[np.bool_]:
    """Whether the line is closed in each step, the state being carried from step to step; open at first.

    A step of at least `closes_at` [degC] is closed, one under the lower `opens_at` [degC] is open, one between them is
    as the step before. `temp_air` is the mean of each step at the thermostat [degC], shape (steps,); NaN counts as
    between. `warmest` is what the air reaches, or would reach with the line open, in the course of the step, by default
    `temp_air`: a step in which this comes to `closes_at` closes, and stays closed while `temp_air` is at least
    `opens_at`.

    Examples
    --------
    >>> line_closed([20.0, 26.0, 29.0, 26.0, 23.0, 26.0], 28.0, 24.0).tolist()
    [False, False, True, True, False, False]

    References
    ----------
    Common practice, no source: bimetal snap discs close and open some kelvin apart.
    """
    temp = np.asarray(temp_air, dtype=float)
    peak = temp if warmest is None else np.asarray(warmest, dtype=float)
    # Cold beats warm: a step whose mean is too cold stays open, whatever its peak.
    cold = temp < opens_at
    closes = ~cold & (peak >= closes_at)
    # The last step that closed or opened it decides, and before any the line is open.
    last = np.maximum.accumulate(np.where(cold | closes, np.arange(1, temp.size + 1), 0))
    return np.concatenate([[False], closes])[last]


@dataclass(frozen=True, eq=False)
class ThermostatSwitch:
    """The switch of a thermostat in the supply line, through a span of time.

    Attributes
    ----------
    closed : array of bool, shape (steps,)
        Whether the fans are fed.
    residual : float
        Share of the steps in which the fans could turn whose state stayed in doubt. [-]
    """

    closed: np.ndarray
    residual: float


def solve_switch(
    thermostat: Thermostat, steps: int, house_with: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
) -> ThermostatSwitch:
    """Find in which steps the line is closed, so that it fits the inside air that its fans leave.

    Fans with the line closed everywhere give the first temperatures of the house with openings and fans; from them
    follows the line, from it the fans, and so on. In a step that is too warm with standing fans and too cool with
    turning ones the thermostat switches several times, which a state for the whole step cannot show. From the fifth
    sweep on the line therefore only opens: such a step counts as open, its fans as standing, and as in doubt. Fans that
    switch so run longer than is shown; the residual says in what share of their steps.

    Parameters
    ----------
    thermostat : Thermostat
        In air that is as warm as the mean of the house.
    steps : int
        How many.
    house_with : callable
        From the state of the line (steps,): the share of each step in which any fan turns, and how warm the house with
        openings and fans is [degC], both (steps,).

    Returns
    -------
    ThermostatSwitch
        After eight sweeps at the most; what had not settled then is in doubt too. With steps of some minutes each
        sweep settles about one switching of a house that heats up quickly, so frequent switching stays in doubt.
    """
    closed = np.ones(steps, dtype=bool)
    doubt = np.zeros(steps, dtype=bool)
    standing = np.full(steps, -np.inf)
    turning, temp = house_with(closed)
    could_turn = turning > 0
    for sweep in range(_TURNS):
        standing[~closed] = temp[~closed]
        wanted = line_closed(temp, thermostat.closes_at, thermostat.opens_at, np.maximum(temp, standing))
        following = wanted
        if sweep >= _FREE_TURNS:
            doubt |= wanted != closed
            following = wanted & closed
        if (following == closed).all():
            break
        if sweep < _TURNS - 1:
            closed = following
            _, temp = house_with(closed)
    doubt &= could_turn
    return ThermostatSwitch(closed, float(doubt.sum() / max(could_turn.sum(), 1)))
