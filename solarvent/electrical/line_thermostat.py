"""A bimetal thermostat in a supply line: it closes in warm air and opens again in cooler air."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


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
