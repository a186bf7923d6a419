"""A house through time: one node of air, and things that store heat beside it.

Over a step everything outside is constant and the air has one temperature, its mean. Each mass then moves towards its
own balance exactly as its exponential, and the air is where all flows of heat, averaged over the step, add up to
nothing. The scheme is stable for any step, exact for a mass in air of one temperature, exact in the steady state, and
of second order between; no heat is lost or made in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_HEAT_CAPACITY
from solarvent.base.errors import DomainError, Problem

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Masses:
    """Things that store heat, each as warm throughout. All of shape (masses, cases).

    Attributes
    ----------
    capacity : ndarray
        [J/K] Above zero.
    conductance : ndarray
        To the air of the house. [W/K] Above zero.
    far_conductance : ndarray
        To the ground or whatever else lies beyond. [W/K]
    """

    capacity: Array
    conductance: Array
    far_conductance: Array


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What works on the house in each step. Shapes (steps, cases), that of the masses' sun (steps, masses, cases), or
    broadcast to them.

    Attributes
    ----------
    conductance : ndarray
        Through the cover and with the air that changes. [W/K]
    drive : ndarray
        The sum of each conductance times the temperature at its other end. [W]
    sun_air : ndarray
        Sun's heat that warms the air. [W]
    sun_mass : ndarray
        Sun's heat that goes straight into each mass. [W]
    temp_far : ndarray
        Beyond the masses: the ground. [degC]
    """

    conductance: Array
    drive: Array
    sun_air: Array
    sun_mass: Array
    temp_far: Array


@dataclass(frozen=True, eq=False)
class March:
    """Temperatures and heat, step by step.

    Attributes
    ----------
    temp_air : ndarray, shape (steps, cases)
        Of the air in the house, the mean of each step. [degC]
    temp_mass : ndarray, shape (steps, masses, cases)
        Of each mass at the end of the step. [degC]
    heater : ndarray, shape (steps, cases)
        Heat of the heater, the mean of each step. [W]
    to_masses : ndarray, shape (steps, masses, cases)
        Heat from the air into each mass. [W]
    to_far : ndarray, shape (steps, cases)
        Heat from the masses to the ground. [W]
    """

    temp_air: Array
    temp_mass: Array
    heater: Array
    to_masses: Array
    to_far: Array


def march(
    step: float,
    surroundings: Surroundings,
    masses: Masses,
    air_capacity: ArrayLike,
    temp_start: ArrayLike,
    temp_mass_start: ArrayLike,
    heater_power: ArrayLike = 0.0,
    thermostat: ArrayLike = -np.inf,
) -> March:
    """Carry a house, or many at once, through time.

    Parameters
    ----------
    step : float
        Length of a step. [s] Above zero.
    surroundings : Surroundings
        Of every step.
    masses : Masses
        At least one.
    air_capacity : array_like, shape (cases,)
        Of the air and all that is as warm as it. [J/K]
    temp_start : array_like, shape (cases,)
        Of the air before the first step. [degC]
    temp_mass_start : array_like, shape (masses, cases)
        [degC]
    heater_power : array_like, shape (cases,), default 0
        The most that the heater gives. [W]
    thermostat : array_like, shape (cases,)
        Air temperature that the heater holds. [degC]

    Returns
    -------
    March
        Where NaN stands in the surroundings, everything from that step on is NaN.

    Raises
    ------
    DomainError
        If the step, a capacity or a conductance of a mass is not above zero.

    Examples
    --------
    >>> one = np.array([[1.0]])
    >>> drum = Masses(8.7e5 * one, 13.5 * one, 0 * one)
    >>> nothing = np.zeros((12, 1))
    >>> night = Surroundings(nothing + 60.0, nothing - 180.0, nothing, nothing[:, None], nothing)
    >>> result = march(3600.0, night, drum, 2e4, [15.0], [[15.0]])
    >>> result.temp_air[[0, -1], 0].round(1).tolist(), result.temp_mass[-1].round(1).tolist()
    ([1.3, -1.0], [[7.5]])
    """
    capacity, inner, outer = np.broadcast_arrays(masses.capacity, masses.conductance, masses.far_conductance)
    _check(step, capacity, inner)
    plain = (surroundings.conductance, surroundings.drive, surroundings.sun_air, surroundings.temp_far)
    count = capacity.shape[0]
    steps, cases = np.broadcast_shapes(*(np.shape(values) for values in plain), (1, capacity.shape[1]))
    conductance, drive, sun_air, far = (np.broadcast_to(values, (steps, cases)) for values in plain)
    sun = np.broadcast_to(surroundings.sun_mass, (steps, count, cases))

    both = inner + outer
    decay = np.exp(-both * step / capacity)
    # Mean over the step of a difference that decays, over its start; to rounding also where hardly anything decays.
    lasting = -np.expm1(-both * step / capacity) * capacity / (both * step)
    # Of a mass at T at the start of the step, in air at A, the heat from the air is on average
    # taken A - given T - passed (sun + outer far), by putting its exponential in.
    taken = inner * (1 - (1 - lasting) * inner / both)
    given = inner * lasting
    passed = inner * (1 - lasting) / both
    gain = (1 - decay) / both
    # The air is one temperature a step, so what it stores is as a conductance to its own last one.
    storing = np.broadcast_to(np.asarray(air_capacity, dtype=float) / step, (cases,))
    # Heat that does not depend on the temperatures of the step, and all that holds the air back.
    base = sun_air + drive + (passed * sun).sum(axis=1) + far * (passed * outer).sum(axis=0)
    stiff = storing + conductance + taken.sum(axis=0)
    most, wanted = (np.broadcast_to(np.asarray(v, dtype=float), (cases,)) for v in (heater_power, thermostat))

    # Air and masses stand in one array, so that a step is a handful of operations whatever their number.
    start = np.concatenate(
        [np.broadcast_to(temp_start, (1, cases)), np.broadcast_to(temp_mass_start, (count, cases))]
    ).astype(float)
    weights = np.concatenate([np.broadcast_to(storing, (1, cases)), given])
    laws = _Laws(weights, decay, gain * inner)
    forces = _Forces(base, 1 / stiff, gain * (sun + outer * far[:, None]))
    if (most > 0).any():
        temps, heater = _one_by_one(start, laws, forces, stiff, most, wanted)
    else:
        temps, heater = _in_blocks(start, laws, forces), np.zeros((steps, cases))
    temp_air, temp_mass, before = temps[1:, 0], temps[1:, 1:], temps[:-1, 1:]
    # What a mass takes, less its sun and what it passes on, came from the air.
    balance = (inner * temp_air[:, None] + outer * far[:, None] + sun) / both
    mean = balance + (before - balance) * lasting
    to_masses = inner * (temp_air[:, None] - mean)
    return March(temp_air, temp_mass, heater, to_masses, (outer * (mean - far[:, None])).sum(axis=1))


@dataclass(frozen=True, eq=False)
class _Laws:
    """What is the same in every step: air and masses in rows."""

    weights: Array
    decay: Array
    from_air: Array


@dataclass(frozen=True, eq=False)
class _Forces:
    """What changes from step to step, along the first axis."""

    base: Array
    eased: Array
    into_mass: Array


#: Houses from which on one stretch of time is as quick as many.
_MANY = 40


def _one_by_one(
    start: Array, laws: _Laws, forces: _Forces, stiff: Array, most: Array, wanted: Array
) -> tuple[Array, Array]:
    """Carry a house with a heater step by step: the thermostat makes each step depend on the last in its own way."""
    temps = np.empty((len(forces.base) + 1, *start.shape))
    temps[0] = start
    heater = np.zeros(forces.base.shape)
    for n, (base, eased, into_mass) in enumerate(zip(forces.base, forces.eased, forces.into_mass, strict=True)):
        # What the air would be without the heater tells how much of it is wanted.
        air = (np.add.reduce(laws.weights * temps[n]) + base) * eased
        heater[n] = np.minimum(np.maximum((wanted - air) * stiff[n], 0.0), most)
        air = air + heater[n] * eased
        temps[n + 1, 0] = air
        temps[n + 1, 1:] = laws.decay * temps[n, 1:] + laws.from_air * air + into_mass
    return temps, heater


def _in_blocks(start: Array, laws: _Laws, forces: _Forces) -> Array:
    """Carry a house without a heater through many stretches of time at once.

    Such a house is linear: what a stretch makes of its start follows from what it makes of a start of nothing and of
    one degree in each row. The stretches are carried side by side, first for that, then from their true starts.
    """
    (steps, cases), rows = forces.base.shape, len(start)
    # With many houses the arrays are long anyway, and the probing would only cost.
    blocks = max(1, int(np.sqrt(steps))) if cases < _MANY else 1
    # Rounded up; the last stretch is filled with steps that are cut off again.
    length = -(-steps // blocks)

    def cut(values: Array) -> Array:
        padded = np.concatenate([values, np.repeat(values[-1:], blocks * length - steps, axis=0)])
        return np.ascontiguousarray(np.moveaxis(padded.reshape(blocks, length, *values.shape[1:]), 0, -2))

    # The air keeps nothing of its own; what it comes to is put in by a share of 1.
    whole = (
        laws.weights,
        np.concatenate([np.zeros((1, cases)), laws.decay]),
        np.concatenate([np.ones((1, cases)), laws.from_air]),
    )

    def step(now: Array, columns: list[Array], at: Any, base: Array, eased: Array, into_mass: Array) -> Array:
        weights, decay, from_air = columns
        air = np.add.reduce(weights * now)
        air[at] += base
        after = decay * now
        after += from_air * (air * eased)
        after[1:, at] += into_mass
        return after

    base, eased, into_mass = cut(forces.base), cut(forces.eased), cut(forces.into_mass)
    # One degree in each row without any force, then nothing with the forces.
    columns: list[Array] = [law.reshape(rows, 1, 1, -1) for law in whole]
    probe = np.zeros((rows, rows + 1, blocks, cases))
    probe[np.arange(rows), np.arange(rows)] = 1.0
    for n in range(length if blocks > 1 else 0):
        probe = step(probe, columns, -1, base[n], eased[n], into_mass[n])
    starts = np.empty((rows, blocks, cases))
    starts[:, 0] = start
    for block in range(1, blocks):
        own, added = probe[:, :-1, block - 1], probe[:, -1, block - 1]
        starts[:, block] = (own * starts[None, :, block - 1]).sum(axis=1) + added
    flat: list[Array] = [law.reshape(rows, 1, -1) for law in whole]
    temps = np.empty((length, *starts.shape))
    now = starts
    for n in range(length):
        temps[n] = now = step(now, flat, slice(None), base[n], eased[n], into_mass[n])
    in_order = np.moveaxis(temps, 2, 0).reshape(blocks * length, *start.shape)[:steps]
    return np.concatenate([start[None], in_order])


def _check(step: float, capacity: Array, conductance: Array) -> None:
    """Refuse what has no meaning, all at once."""
    problems = []
    if not step > 0:
        problems.append(Problem("step", f"is {step} s", "give a length of time above zero"))
    for name, values in (("capacity", capacity), ("conductance", conductance)):
        if not (values > 0).all():
            problems.append(Problem(f"masses.{name}", "is not above zero", "leave out a mass that stores nothing"))
    if problems:
        raise DomainError(problems)


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
    `march`. `flow` takes the inside temperature and a mask, and gives the fresh air
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

    # A first guess: half as warm as the sun would make it with nothing but its cover.
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
