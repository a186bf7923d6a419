"""Houses through time with air that answers to their temperature: openers, draught, leaks and fans.

The warmer the house, the more air moves through it, and the air cools it. Both are solved for the whole span at once:
from temperatures follow flows, from flows with their slope follow temperatures by one march through time, until they
agree. What is left of the disagreement is reported.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from solarvent.base.constants import AIR_HEAT_CAPACITY
from solarvent.house.heat_balance import March, Masses, Surroundings, march

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

    Parameters
    ----------
    step : float
        [s]
    surroundings : Surroundings
        Without the air that changes. Shape (steps, cases) or broadcast to it.
    masses, air_capacity, temp_start, temp_mass_start, heater_power, thermostat
        As for :func:`solarvent.house.heat_balance.march`.
    temp_outside, density : array, shape (steps, cases) or (steps, 1)
        Of the outside air. [degC], [kg/m3]
    flow : callable
        From the inside temperature (steps, cases) and a mask of the same shape: the fresh air in m3/s where the mask is
        set, anything elsewhere. It must not fall as the house gets further from the outside temperature.
    gain : callable
        From inside temperature and fresh air the heat in W that they bring about beside: that of dew, less that of
        evaporation. It must not rise with the temperature.

    Returns
    -------
    Solution
        After 40 sweeps at the most; a residual of more than some hundredths of a kelvin says that they did not do.
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
