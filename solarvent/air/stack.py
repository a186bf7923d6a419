"""Air that moves by itself: draught of warm air, wind through openings, leaks, and how they add up.

The pressures here are laid on the openings of a flow network as outside pressures; the rest are the handbooks' rules,
with which the network is checked and by which a closed house breathes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

GRAVITY = 9.80665
"""[m/s2]"""


def stack_pressure(
    height: ArrayLike, temp_inside: ArrayLike, temp_outside: ArrayLike, density: ArrayLike = 1.2
) -> Array | float:
    """Pressure inside over that outside at a height, where both are equal at the ground.

    ``density g height (ti - to) / ti`` with ti in kelvin: the weight that warm air lacks.

    Parameters
    ----------
    height : array_like
        Above the ground. [m]
    temp_inside, temp_outside : array_like
        [degC]
    density : array_like, default 1.2
        Of the outside air. [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

    Examples
    --------
    >>> round(float(stack_pressure(8.0, 20.0, -10.0, 353 / 263)), 1)
    10.8

    References
    ----------
    ASHRAE Handbook, Fundamentals 1997, chapter 25, equation 37 (its pressure form).
    """
    inside = np.asarray(temp_inside, dtype=float) + 273.15
    warmer = inside - 273.15 - np.asarray(temp_outside, dtype=float)
    return (np.asarray(density) * GRAVITY * np.asarray(height, dtype=float) * warmer / inside)[()]


def stack_flow(
    area: ArrayLike,
    height_to_neutral: ArrayLike,
    temp_inside: ArrayLike,
    temp_outside: ArrayLike,
    discharge_coefficient: ArrayLike = 0.65,
) -> Array | float:
    """Flow by warm air alone: ``Q = Cd A sqrt(2 g h |ti - to| / ti)`` with ti in kelvin.

    Parameters
    ----------
    area : array_like
        Of the inlet. [m2]
    height_to_neutral : array_like
        From the middle of the lower opening to the level where inside and outside pressure are equal: half the height
        between two equal openings, not all of it. [m]
    temp_inside, temp_outside : array_like
        [degC]
    discharge_coefficient : array_like, default 0.65
        For air that goes one way. [-]

    Returns
    -------
    float or ndarray
        [m3/s]

    Examples
    --------
    >>> float(stack_flow(1.0, 2.0, 30.0, 20.0).round(3))
    0.739

    References
    ----------
    ASHRAE Handbook, Fundamentals 1997, chapter 25, equation 37.
    """
    inside = np.asarray(temp_inside, dtype=float) + 273.15
    warmer = np.abs(inside - 273.15 - np.asarray(temp_outside, dtype=float))
    velocity = np.sqrt(2 * GRAVITY * np.asarray(height_to_neutral, dtype=float) * warmer / inside)
    return (np.asarray(discharge_coefficient) * np.asarray(area, dtype=float) * velocity)[()]


def two_way_coefficient(temp_difference: ArrayLike) -> Array | float:
    """Discharge coefficient of one opening through which air goes both ways: ``0.40 + 0.0045 |ti - to|``.

    Parameters
    ----------
    temp_difference : array_like
        [K]

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> float(two_way_coefficient(10.0))
    0.445

    References
    ----------
    ASHRAE Handbook, Fundamentals 1997, chapter 25, equation 38.
    """
    return (0.40 + 0.0045 * np.abs(np.asarray(temp_difference, dtype=float)))[()]


def wind_flow(area: ArrayLike, wind_speed: ArrayLike, effectiveness: ArrayLike = 0.55) -> Array | float:
    """Flow by wind through an inlet with as large an outlet: ``Q = Cv A v``.

    Parameters
    ----------
    area : array_like
        Of the inlet. [m2]
    wind_speed : array_like
        [m/s]
    effectiveness : array_like, default 0.55
        0.5-0.6 for wind head-on, 0.25-0.35 for wind at a slant. [-]

    Returns
    -------
    float or ndarray
        [m3/s]

    Examples
    --------
    >>> round(float(wind_flow(0.1, 2.0)), 2)
    0.11

    References
    ----------
    ASHRAE Handbook, Fundamentals 1997, chapter 25 (from memory).
    """
    return (np.asarray(effectiveness) * np.asarray(area) * np.asarray(wind_speed, dtype=float))[()]


def combined_flow(*flows: ArrayLike) -> Array | float:
    """Flow by several causes at once: the root of the sum of their squares, for their pressures add up.

    Some older texts let the greater cause rule, so that two equal ones give a tenth more than either; here it is 41 %.

    Parameters
    ----------
    *flows : array_like
        Each as if the others were not. [m3/s]

    Returns
    -------
    float or ndarray
        [m3/s]

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
    """Air that a closed house exchanges through its cracks, by Sherman & Grimsrud.

    ``Q = A sqrt(0.000145 |ti - to| + 0.000104 v**2)`` with Q in L/s, A in cm2: one storey, sheltered.

    Parameters
    ----------
    leakage_area : array_like
        Effective area of all cracks at 4 Pa. [m2]
    temp_difference : array_like
        Inside over outside. [K]
    wind_speed : array_like
        At the weather station. [m/s]

    Returns
    -------
    float or ndarray
        [m3/s]

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
