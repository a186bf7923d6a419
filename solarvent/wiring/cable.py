"""Copper conductors: their resistance as warm as they are, and the current that they must bear."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: Rise of the resistance of annealed copper, of that at 20 degC (IEC 60028, from memory). [1/K]
_COPPER_COEFFICIENT = 0.00393
TABLE_TEMPERATURE = 20.0
"""At which tables of wires give their resistance. [degC]"""


def temperature_factor(temp_conductor: ArrayLike) -> Array | float:
    """Resistance of copper at its temperature over that at 20 degC: ``1 + 0.00393 (temp_conductor - 20)``.

    Parameters
    ----------
    temp_conductor : array_like
        [degC] The straight line serves from -40 to 105 degC; NaN outside.

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> round(float(temperature_factor(50.0)), 3)
    1.118

    References
    ----------
    IEC 60028 (from memory); IEC 60228 rounds the coefficient to 0.004.
    """
    temp = np.asarray(temp_conductor, dtype=float)
    known = np.where((temp >= -40.0) & (temp <= 105.0), temp, np.nan)
    return (1.0 + _COPPER_COEFFICIENT * (known - TABLE_TEMPERATURE))[()]


def loop_resistance(
    length: float, resistance_per_metre: float, quality: float = 1.0, temp_conductor: float = TABLE_TEMPERATURE
) -> float:
    """Resistance of both conductors of a cable, there and back.

    Parameters
    ----------
    length : float
        One way, from one end of the cable to the other. [m]
    resistance_per_metre : float
        Of one conductor at 20 degC. [ohm/m]
    quality : float, default 1.0
        Resistance over that of good copper: about 1.5-1.6 for copper-clad aluminium. [-]
    temp_conductor : float, default 20.0
        [degC] From -40 to 105.

    Returns
    -------
    float
        [ohm]

    Examples
    --------
    >>> round(loop_resistance(5.0, 0.0209), 3), round(loop_resistance(5.0, 0.0209, temp_conductor=45.0), 3)
    (0.209, 0.23)
    """
    return float(2.0 * length * resistance_per_metre * quality * temperature_factor(temp_conductor))


def conductor_current_basis(i_sc: ArrayLike) -> Array | float:
    """Current that a panel's conductor must bear: ``1.56 i_sc``, that is 1.25 for bright sky times 1.25 for hours.

    Parameters
    ----------
    i_sc : array_like
        Short-circuit current at standard conditions. [A] Of panels in parallel, the sum.

    Returns
    -------
    float or ndarray
        [A]

    Examples
    --------
    >>> round(float(conductor_current_basis(1.17)), 3)
    1.825

    References
    ----------
    NEC 690.8(A) and (B) (from memory).
    """
    return (1.56 * np.asarray(i_sc, dtype=float))[()]
