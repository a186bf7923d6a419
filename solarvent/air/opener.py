"""Wax cylinders that open a vent by themselves: warm wax swells and pushes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def opened_share(temp_wax: ArrayLike, opens_at: ArrayLike, span: ArrayLike) -> Array | float:
    """Share of its stroke that a wax cylinder has pushed out: straight from the start over the span.

    Parameters
    ----------
    temp_wax : array_like
        [degC]
    opens_at : array_like
        Temperature at which it begins to open, as set. [degC]
    span : array_like
        From there to fully open. [K] Above zero.

    Returns
    -------
    float or ndarray
        0 shut to 1 open. [-]

    Examples
    --------
    >>> opened_share([15.0, 22.0, 35.0], 18.0, 10.0).tolist()
    [0.0, 0.4, 1.0]

    References
    ----------
    Common practice, no source: starts at 15-25 degC as set, fully open 7-12 K above.
    """
    warm = np.asarray(temp_wax, dtype=float) - np.asarray(opens_at, dtype=float)
    return np.clip(warm / np.asarray(span, dtype=float), 0.0, 1.0)[()]


def lagged_temperature(temp_air: ArrayLike, step: float, lag: float, temp_start: ArrayLike | None = None) -> Array:
    """Temperature of a thing that follows the air with a lag, the mean over each step.

    Over a step the air has one temperature, to which the thing goes exponentially.

    Parameters
    ----------
    temp_air : array_like, shape (steps, ...)
        [degC]
    step : float
        Length of a step. [s] Above zero.
    lag : float
        Time in which it makes up 63 % of a difference. [s] 0: it follows at once.
    temp_start : array_like, optional
        Before the first step; by default as the first air. [degC]

    Returns
    -------
    ndarray, shape (steps, ...)
        [degC]

    Examples
    --------
    >>> lagged_temperature([10.0, 20.0, 20.0], 1200.0, 1200.0).round(2).tolist()
    [10.0, 13.68, 17.67]
    """
    import pandas as pd

    air = np.asarray(temp_air, dtype=float)
    if lag <= 0 or not len(air):
        return air
    start = air[0] if temp_start is None else np.broadcast_to(np.asarray(temp_start, dtype=float), air.shape[1:])
    decay = np.exp(-step / lag)
    chain = np.concatenate([np.asarray(start)[None], air[:-1]]).reshape(len(air), -1)
    before = pd.DataFrame(chain).ewm(alpha=1 - decay, adjust=False).mean().to_numpy().reshape(air.shape)
    return air + (before - air) * (1 - decay) * lag / step
