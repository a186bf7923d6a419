"""Wind at a house: its speed at the height of an opening, and its pressure on the walls."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import AIR_DENSITY

Array = NDArray[np.float64]


def wind_pressure(
    wind_speed: ArrayLike, pressure_coefficient: ArrayLike, density: ArrayLike = AIR_DENSITY
) -> Array | float:
    """Pressure of the wind on a wall: ``p = Cp density / 2 v ** 2``.

    Parameters
    ----------
    wind_speed : array_like
        At the height of the opening. [m/s]
    pressure_coefficient : array_like
        [-] Above zero on the windward wall, below it on the others.
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

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

    For a house that stands free; hedges and neighbours lower it.

    Parameters
    ----------
    angle : array_like
        Between the wind's origin and the outward normal of the wall, either way round. [deg] 0: head-on.
    side_ratio : float, default 1.0
        Length of this wall over that of the wall beside it. [-] Published for 0.25-4; NaN outside.

    Returns
    -------
    float or ndarray
        [-]

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
