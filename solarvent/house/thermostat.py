"""A thermostat in the supply line of the fans: line, fans and house brought to agree."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from solarvent.electrical.line_thermostat import line_closed
from solarvent.plan.house_records import Thermostat

_FREE, _SWEEPS = 4, 8


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
    Line
        After eight sweeps at the most; what had not settled then is in doubt too. With steps of some minutes each
        sweep settles about one switching of a house that heats up quickly, so frequent switching stays in doubt.
    """
    closed = np.ones(steps, dtype=bool)
    doubt = np.zeros(steps, dtype=bool)
    standing = np.full(steps, -np.inf)
    turning, temp = house_with(closed)
    could_turn = turning > 0
    for sweep in range(_SWEEPS):
        standing[~closed] = temp[~closed]
        wanted = line_closed(temp, thermostat.closes_at, thermostat.opens_at, np.maximum(temp, standing))
        following = wanted
        if sweep >= _FREE:
            doubt |= wanted != closed
            following = wanted & closed
        if (following == closed).all():
            break
        if sweep < _SWEEPS - 1:
            closed = following
            _, temp = house_with(closed)
    doubt &= could_turn
    return ThermostatSwitch(closed, float(doubt.sum() / max(could_turn.sum(), 1)))
