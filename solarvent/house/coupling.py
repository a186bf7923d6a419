"""Houses through time with air that answers to their temperature: openers, draught, leaks, fans, a thermostat."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_HEAT_CAPACITY
from solarvent.house.heat_balance import March, Masses, Surroundings, march
from solarvent.plan.house_records import Thermostat

#: Temperatures that agree this well are done; a tenth of a kelvin is more than the model knows. [K]
_AGREED = 0.01
_SWEEPS = 40

Flow = Callable[[np.ndarray, np.ndarray], np.ndarray]
Gain = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class Solution:
    """Temperatures and flows that agree.

    Attributes
    ----------
    march : March
        Temperatures and heat.
    surroundings : Surroundings
        With the air's share in them; the energy account closes with these.
    flow : array, shape (steps, cases)
        Fresh air at the temperatures of the last sweep but one. [m3/s]
    residual : float
        Largest change of a temperature in the last sweep: how far flows and temperatures disagree. [K]
    sweeps : int
        How many were needed.
    """

    march: March
    surroundings: Surroundings
    flow: np.ndarray
    residual: float
    sweeps: int


def solve_coupled(
    step: float,
    surroundings: Surroundings,
    masses: Masses,
    air_capacity: np.ndarray | float,
    temp_outside: np.ndarray,
    density: np.ndarray,
    flow: Flow,
    gain: Gain,
    temp_start: np.ndarray,
    temp_mass_start: np.ndarray,
    heater_power: np.ndarray | float = 0.0,
    thermostat: np.ndarray | float = -np.inf,
) -> Solution:
    """Find the temperatures at which flows and heat agree, for any number of houses.

    The surroundings are without the air that changes, of shape (steps, cases) or broadcast to it, like outside
    temperature [degC] and density [kg/m3]; masses and what follows them are as for
    :func:`solarvent.house.heat_balance.march`. `flow` takes the inside temperature and a mask, and gives the fresh air
    [m3/s] where the mask is set; it must not fall as the house gets further from the outside temperature. `gain` takes
    the same temperature and the air, and gives the heat [W] of dew less that of evaporation; it must not rise with the
    temperature. After 40 sweeps at the most; a residual of more than some hundredths of a kelvin says that they did not
    do.
    """
    cases = masses.capacity.shape[1]
    shape = np.broadcast_shapes(np.shape(surroundings.conductance), np.shape(temp_outside), (1, cases))
    outside = np.broadcast_to(temp_outside, shape)
    heat_of_flow = np.broadcast_to(density * AIR_HEAT_CAPACITY, shape)
    conductance = np.broadcast_to(surroundings.conductance, shape)
    drive = np.broadcast_to(surroundings.drive, shape)

    def carried(conduct: np.ndarray, extra: np.ndarray) -> tuple[March, Surroundings]:
        around = Surroundings(
            conductance + conduct, drive + extra, surroundings.sun_air, surroundings.sun_mass, surroundings.temp_far
        )
        return march(step, around, masses, air_capacity, temp_start, temp_mass_start, heater_power, thermostat), around

    temp = outside + np.maximum(surroundings.sun_air, 0.0) / (2 * conductance)
    changed = np.ones(shape, dtype=bool)
    through = np.zeros(shape)
    heat, slope = np.zeros(shape), np.zeros(shape)
    last_temp, last_heat = temp, heat
    residual, sweeps = np.inf, 0
    while residual >= _AGREED and sweeps < _SWEEPS:
        sweeps += 1
        through = np.where(changed, flow(temp, changed), through)
        conduct = heat_of_flow * through
        heat = conduct * (temp - outside) - gain(temp, through)
        # The heat that air and dew take never rises slower with the temperature than the flow alone would have it.
        moved = temp - last_temp
        secant = np.divide(heat - last_heat, moved, out=1.5 * conduct, where=np.abs(moved) > 1e-6)
        slope = np.where(changed, np.maximum(secant, conduct), slope)
        result, around = carried(slope, slope * temp - heat)
        last_temp, last_heat = temp, heat
        temp = result.temp_air
        gap = np.abs(temp - last_temp)
        residual = float(np.nanmax(gap, initial=0.0))
        changed = ~(gap < _AGREED / 4)
        # Openers lag: what they do in a step hangs on the temperature of the step before as well.
        changed[1:] |= changed[:-1]
    return Solution(result, around, through, residual, sweeps)


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
    cold = temp < opens_at
    closes = ~cold & (peak >= closes_at)
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
