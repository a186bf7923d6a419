"""Openings: the flow that a pressure drives through them, and wax cylinders that open a vent by themselves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import DomainError

Array = NDArray[np.float64]
_DUCT_FRICTION, _BEND_LOSS = 0.05, 0.5


def series_area(areas: Sequence[ArrayLike]) -> Array | float:
    """Effective area [m2] of openings, screens and louvres that the same air passes one after another.

    ``1 / A**2 = sum(1 / A_i**2)``; the smallest rules, and a shut one shuts the row. A screen's area is its own
    discharge coefficient times its whole face.

    Raises
    ------
    DomainError
        If there is no area, or one is below zero.

    Examples
    --------
    >>> round(float(series_area([0.02, 0.02])), 5)
    0.01414

    References
    ----------
    UFC 3-440-06N, Cooling Buildings by Natural Ventilation, appendix C, steps 14-18.
    """
    if not len(areas):
        raise DomainError.single("areas", "is empty", "give at least one area")
    stacked = np.stack(np.broadcast_arrays(*[np.asarray(area, dtype=float) for area in areas]))
    if (stacked < 0).any():
        raise DomainError.single("areas", "holds an area below zero", "write 0 for a shut opening")
    with np.errstate(divide="ignore"):
        return (np.sum(stacked**-2.0, axis=0) ** -0.5)[()]


def duct_area(diameter: ArrayLike, length: ArrayLike, bends: ArrayLike = 0) -> Array | float:
    """Effective area [m2] of a round duct, diameter and length in [m]: ``A / sqrt(f L / d + bends K)``.

    Friction factor f 0.05 (flexible duct, pulled tight; smooth pipe has half of it) and loss of a right-angled bend K
    0.5 (typical: a mitred one has 1.2, a wide one 0.2). The speed of the air that leaves is that of the outlet.
    Infinite without length and bends.

    Examples
    --------
    >>> round(float(duct_area(0.12, 2.4, 2)), 5)
    0.008

    References
    ----------
    Darcy and Weisbach; figures from memory of handbook tables.
    """
    diameter = np.asarray(diameter, dtype=float)
    loss = _DUCT_FRICTION * np.asarray(length, dtype=float) / diameter + _BEND_LOSS * np.asarray(bends, dtype=float)
    with np.errstate(divide="ignore"):
        return (np.pi / 4 * diameter**2 / np.sqrt(loss))[()]


def opened_share(temp_wax: ArrayLike, opens_at: ArrayLike, span: ArrayLike) -> Array | float:
    """Share of its stroke, 0 shut to 1 open, that a wax cylinder at a temperature [degC] has pushed out.

    Straight from where it begins to open, as set [degC], over the span to fully open [K].

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
    """Temperature [degC] of a thing that follows the air with a lag, the mean over each step, shape (steps, ...).

    Over a step [s] the air has one temperature, to which the thing goes exponentially; in the time of the lag [s] it
    makes up 63 % of a difference, with 0 it follows at once. It starts by default as the first air.

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
