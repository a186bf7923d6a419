"""Openings, wax cylinders that open a vent, and the pressures that move air by themselves: draught, wind, cracks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_DENSITY, GRAVITY, ZERO_CELSIUS
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
    # What the thing has at the start of a step is the exponential mean of all air before it.
    chain = np.concatenate([np.asarray(start)[None], air[:-1]]).reshape(len(air), -1)
    before = pd.DataFrame(chain).ewm(alpha=1 - decay, adjust=False).mean().to_numpy().reshape(air.shape)
    # The mean over the step of a difference that fades.
    return air + (before - air) * (1 - decay) * lag / step


def wind_pressure(
    wind_speed: ArrayLike, pressure_coefficient: ArrayLike, density: ArrayLike = AIR_DENSITY
) -> Array | float:
    """Pressure [Pa] of the wind [m/s], at the height of the opening, on a wall: ``p = Cp density / 2 v ** 2``.

    Cp is above zero on the windward wall, below it on the others; the density is in [kg/m3].

    Examples
    --------
    >>> round(float(wind_pressure(3.0, 1.0)), 2)
    5.4
    """
    return (0.5 * np.asarray(density) * np.asarray(pressure_coefficient) * np.asarray(wind_speed, dtype=float) ** 2)[()]


def wall_pressure_coefficient(angle: ArrayLike, side_ratio: float = 1.0) -> Array | float:
    """Wind pressure coefficient, averaged over one wall of a low rectangular house.

    The coefficient of the wall is its share of the one in head-on wind, which is taken as 0.6::

        Cp = 0.6 ln(1.248 - 0.703 sin(a/2) - 1.175 sin(a)^2 + 0.131 sin(2 a G)^3
                    + 0.769 cos(a/2) + 0.07 G^2 sin(a/2)^2 + 0.717 cos(a/2)^2),   G = ln(side_ratio)

    For a house that stands free; hedges and neighbours lower it. The angle [deg] is that between the wind's origin and
    the outward normal of the wall, either way round; the side ratio is the length of this wall over that of the wall
    beside it, published for 0.25-4, NaN outside.

    Examples
    --------
    >>> [round(float(wall_pressure_coefficient(angle)), 2) for angle in (0, 90, 180)]
    [0.6, -0.44, -0.36]

    References
    ----------
    Swami, Chandra 1987, Procedures for Calculating Natural Ventilation Airflow Rates in Buildings,
    FSEC-CR-163-86 (coefficients from memory).
    """
    folded = np.radians(180.0 - np.abs(np.asarray(angle, dtype=float) % 360.0 - 180.0))
    log_ratio = np.log(side_ratio) if 0.25 <= side_ratio <= 4.0 else np.nan
    sine, cosine = np.sin(folded / 2), np.cos(folded / 2)
    normalised = np.log(
        1.248
        - 0.703 * sine
        - 1.175 * np.sin(folded) ** 2
        + 0.131 * np.sin(2 * folded * log_ratio) ** 3
        + 0.769 * cosine
        + 0.07 * log_ratio**2 * sine**2
        + 0.717 * cosine**2
    )
    return (0.6 * normalised)[()]


def stack_pressure(
    height: ArrayLike, temp_inside: ArrayLike, temp_outside: ArrayLike, density: ArrayLike = AIR_DENSITY
) -> Array | float:
    """Pressure [Pa] inside over that outside at a height above the ground [m]; at the ground both are equal.

    ``density g height (ti - to) / ti`` with ti in kelvin: the weight that warm air lacks. Temperatures are given in
    [degC], the density [kg/m3] is that of the outside air.

    Examples
    --------
    >>> round(float(stack_pressure(8.0, 20.0, -10.0, 353 / 263)), 1)
    10.8

    References
    ----------
    ASHRAE Handbook, Fundamentals 1997, chapter 25, equation 37 (its pressure form).
    """
    inside = np.asarray(temp_inside, dtype=float) + ZERO_CELSIUS
    warmer = inside - ZERO_CELSIUS - np.asarray(temp_outside, dtype=float)
    return (np.asarray(density) * GRAVITY * np.asarray(height, dtype=float) * warmer / inside)[()]


def combined_flow(*flows: ArrayLike) -> Array | float:
    """Flow [m3/s] by several causes at once: the root of the sum of their squares, for their pressures add up.

    Some older texts let the greater cause rule, so that two equal ones give a tenth more than either; here it is 41 %.
    Each flow is as if the others were not.

    Examples
    --------
    >>> float(combined_flow(0.3, 0.4))
    0.5

    References
    ----------
    ASHRAE Handbook, Fundamentals 2009, chapter 16 (from memory).
    """
    return np.sqrt(sum(np.asarray(flow, dtype=float) ** 2 for flow in flows))[()]


def leakage_flow(leakage_area: ArrayLike, temp_difference: ArrayLike, wind_speed: ArrayLike) -> Array | float:
    """Air [m3/s] that a closed house exchanges through its cracks, by Sherman & Grimsrud.

    ``Q = A sqrt(0.000145 |ti - to| + 0.000104 v**2)`` with Q in L/s, A in cm2: one storey, sheltered. Here the
    effective area of all cracks at 4 Pa is in [m2], inside over outside in [K], and the wind that of the weather
    station [m/s].

    Examples
    --------
    >>> round(float(leakage_flow(0.01, 10.0, 2.0)) * 3600, 1)
    15.6

    References
    ----------
    M. H. Sherman, D. T. Grimsrud 1980; coefficients of the ASHRAE Handbook, Fundamentals, basic model, one storey,
    shelter class 4 (heavy: urban or garden), from memory.
    """
    drive = 0.000145 * np.abs(np.asarray(temp_difference, dtype=float)) + 0.000104 * np.square(
        np.asarray(wind_speed, dtype=float)
    )
    # cm2 and L/s to m2 and m3/s: 1e4 and 1e-3.
    return (10.0 * np.asarray(leakage_area, dtype=float) * np.sqrt(drive))[()]
