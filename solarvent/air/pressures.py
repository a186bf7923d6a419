"""Pressures that move air by themselves: draught of warm air, wind on walls and roof, and cracks."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_DENSITY, GRAVITY, ZERO_CELSIUS

Array = NDArray[np.float64]


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
