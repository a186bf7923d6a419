"""Openings of all kinds: the flow that a pressure drives through them, screens, and openings one after another.

An *effective area* is discharge coefficient times free area.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import DomainError

Array = NDArray[np.float64]
_DUCT_FRICTION, _BEND_LOSS = 0.05, 0.5


def orifice_flow(
    pressure: ArrayLike, area: ArrayLike, discharge_coefficient: ArrayLike = 0.6, density: ArrayLike = 1.2
) -> Array | float:
    """Flow through a sharp-edged opening: ``Q = Cd A sqrt(2 |p| / density)`` with the sign of the pressure.

    Parameters
    ----------
    pressure : array_like
        Across the opening. [Pa]
    area : array_like
        Free area. [m2]
    discharge_coefficient : array_like, default 0.6
        [-] 0.60-0.65 for a bare sharp opening.
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [m3/s]

    Examples
    --------
    >>> round(float(orifice_flow(5.4, 0.01)), 4)
    0.018

    References
    ----------
    ASHRAE Handbook, Fundamentals, chapter Ventilation and Infiltration (from memory): Cd 0.65.
    """
    pressure = np.asarray(pressure, dtype=float)
    velocity = np.sqrt(2.0 * np.abs(pressure) / np.asarray(density, dtype=float))
    return (np.asarray(discharge_coefficient) * np.asarray(area) * np.sign(pressure) * velocity)[()]


def orifice_pressure(
    flow: ArrayLike, area: ArrayLike, discharge_coefficient: ArrayLike = 0.6, density: ArrayLike = 1.2
) -> Array | float:
    """Pressure that drives a flow through a sharp-edged opening; the inverse of `orifice_flow`.

    ``p = density / 2 (Q / (Cd A)) ** 2`` with the sign of the flow; in air of 1.2 kg/m3 the factor is 0.6.

    Parameters
    ----------
    flow : array_like
        [m3/s]
    area : array_like
        Free area. [m2] Through no area nothing flows: NaN.
    discharge_coefficient : array_like, default 0.6
        [-]
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

    Examples
    --------
    >>> round(float(orifice_pressure(0.018, 0.01)), 2)
    5.4
    """
    flow = np.asarray(flow, dtype=float)
    through = np.asarray(discharge_coefficient, dtype=float) * np.asarray(area, dtype=float)
    velocity = np.divide(flow, through, out=np.full(np.broadcast(flow, through).shape, np.nan), where=through > 0)
    return (0.5 * np.asarray(density) * velocity * np.abs(velocity))[()]


def series_area(areas: Sequence[ArrayLike]) -> Array | float:
    """Effective area of openings, screens and louvres that the same air passes one after another.

    ``1 / A**2 = sum(1 / A_i**2)``; the smallest rules, and a shut one shuts the row.

    Parameters
    ----------
    areas : sequence of array_like
        Effective areas. [m2] A screen's is its own discharge coefficient times its whole face.

    Returns
    -------
    float or ndarray
        [m2]

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
    """Effective area of a round duct: ``A / sqrt(f L / d + bends K)``.

    Friction factor f 0.05 (flexible duct, pulled tight; smooth pipe has half of it) and loss of a right-angled bend
    K 0.5 (typical: a mitred one has 1.2, a wide one 0.2). The speed of the air that leaves is that of the outlet.

    Parameters
    ----------
    diameter, length : array_like
        [m] Above zero; from zero up.
    bends : array_like, default 0
        Right-angled ones. [-]

    Returns
    -------
    float or ndarray
        [m2] Infinite without length and bends.

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


def screen_pressure(velocity: ArrayLike, discharge_coefficient: ArrayLike, density: ArrayLike = 1.2) -> Array | float:
    """Pressure loss of an insect screen: ``p = density / 2 (v / Cd) ** 2``.

    Parameters
    ----------
    velocity : array_like
        Of the air before the screen, over its whole face. [m/s]
    discharge_coefficient : array_like
        Of the screen over its whole face, measured near that velocity: it falls as the air slows. [-]
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

    Examples
    --------
    >>> round(float(screen_pressure(0.25, 0.207)), 3)
    0.875

    References
    ----------
    López, Molina-Aiz, Valera, Peña 2016, Sensors 16(5):690, doi 10.3390/s16050690.
    """
    return orifice_pressure(velocity, 1.0, discharge_coefficient, density)
