"""Openings that the same air passes one after another, and ducts.

An *effective area* is discharge coefficient times free area.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import DomainError

Array = NDArray[np.float64]
_DUCT_FRICTION, _BEND_LOSS = 0.05, 0.5


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
