"""Copper conductors: size, resistance, warmth, and the voltage that a cable's two conductors lose."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# Annealed copper at 20 degC, 100 % IACS. [ohm m]
COPPER_RESISTIVITY = 1.7241e-8
# Of the resistance of annealed copper at 20 degC. [1/K]
COPPER_COEFFICIENT = 0.00393


def awg_diameter(gauge: ArrayLike) -> Array | float:
    """Diameter of a solid wire of an American wire gauge: ``0.127 mm * 92 ** ((36 - gauge) / 39)``.

    Parameters
    ----------
    gauge : array_like
        [-] 0 for 1/0, -1 for 2/0, -2 for 3/0, -3 for 4/0. Defined from -3 to 40; NaN outside.

    Returns
    -------
    float or ndarray
        [m]

    Examples
    --------
    >>> round(float(awg_diameter(18)) * 1000, 3)
    1.024

    References
    ----------
    ASTM B258 (formula from memory).
    """
    gauge = np.asarray(gauge, dtype=float)
    known = np.where((gauge >= -3) & (gauge <= 40), gauge, np.nan)
    return (0.127e-3 * 92.0 ** ((36.0 - known) / 39.0))[()]


def awg_area(gauge: ArrayLike) -> Array | float:
    """Copper area of an American wire gauge, solid or nominal stranded: ``pi / 4 diameter ** 2``.

    Parameters
    ----------
    gauge : array_like
        As for `awg_diameter`. [-]

    Returns
    -------
    float or ndarray
        [m2]

    Examples
    --------
    >>> round(float(awg_area(18)) * 1e6, 3)
    0.823
    """
    return np.pi / 4.0 * awg_diameter(gauge) ** 2


def conductor_resistance(area: ArrayLike, resistivity: float = COPPER_RESISTIVITY) -> Array | float:
    """Resistance of one metre of a solid conductor at 20 degC, from its geometry: ``resistivity / area``.

    Only for solid wire. Stranded wire lies about 2 % above it and flexible cord of IEC 60228 class 5
    13-16 %, for the strands are longer and thinner than their nominal area says: take those from a table.

    Parameters
    ----------
    area : array_like
        Of the copper. [m2] At or below zero: NaN.
    resistivity : float, default 1.7241e-8
        At 20 degC. [ohm m]

    Returns
    -------
    float or ndarray
        [ohm/m]

    Examples
    --------
    >>> round(float(conductor_resistance(awg_area(18))) * 1000, 2)
    20.95

    References
    ----------
    International Annealed Copper Standard, IEC 60028.
    """
    area = np.asarray(area, dtype=float)
    return np.divide(resistivity, area, out=np.full(area.shape, np.nan), where=area > 0)[()]


def temperature_factor(
    temp_conductor: ArrayLike, temp_reference: float = 20.0, coefficient: float = COPPER_COEFFICIENT
) -> Array | float:
    """Resistance at a conductor's temperature over that at the reference temperature.

    ``1 + coefficient (temp_conductor - temp_reference)``

    Parameters
    ----------
    temp_conductor : array_like
        [degC] The straight line serves from -40 to 105 degC; NaN outside.
    temp_reference : float, default 20.0
        That of the table which the resistance comes from. [degC]
    coefficient : float, default 0.00393
        At the reference temperature. [1/K] IEC 60228 rounds it to 0.004; from 75 degC it is 0.00323.

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
    IEC 60028 for 0.00393, note to NEC chapter 9 table 8 for 0.00323 (both from memory); IEC 60228 for 0.004.
    """
    temp = np.asarray(temp_conductor, dtype=float)
    known = np.where((temp >= -40.0) & (temp <= 105.0), temp, np.nan)
    return (1.0 + coefficient * (known - temp_reference))[()]


def loop_resistance(
    length_one_way: ArrayLike, resistance_per_metre: ArrayLike, quality: ArrayLike = 1.0
) -> Array | float:
    """Resistance of both conductors of a cable, there and back: ``2 length resistance_per_metre quality``.

    Parameters
    ----------
    length_one_way : array_like
        From one end of the cable to the other. [m] Zero or more; NaN below.
    resistance_per_metre : array_like
        Of one conductor, at its temperature. [ohm/m]
    quality : array_like, default 1.0
        Resistance over that of good copper: about 1.5-1.6 for copper-clad aluminium. [-]

    Returns
    -------
    float or ndarray
        [ohm]

    Examples
    --------
    >>> round(float(loop_resistance(5.0, 0.0209)), 3)
    0.209
    """
    length = np.asarray(length_one_way, dtype=float)
    known = np.where(length >= 0, length, np.nan)
    return (2.0 * known * np.asarray(resistance_per_metre) * np.asarray(quality))[()]


def voltage_drop(current: ArrayLike, resistance: ArrayLike) -> Array | float:
    """Voltage lost in a cable: ``current * resistance``.

    With a fan, whose current falls with its voltage, the drop at the rated current is the most there can be.

    Parameters
    ----------
    current : array_like
        [A]
    resistance : array_like
        Of the loop, from `loop_resistance`. [ohm]

    Returns
    -------
    float or ndarray
        [V]

    Examples
    --------
    >>> round(float(voltage_drop(0.5, loop_resistance(5.0, 0.0209))), 3)
    0.104
    """
    return (np.asarray(current, dtype=float) * np.asarray(resistance, dtype=float))[()]


def drop_fraction(current: ArrayLike, resistance: ArrayLike, supply_voltage: ArrayLike) -> Array | float:
    """Voltage lost in a cable as a share of the voltage at its source.

    Good practice keeps it under 0.03-0.05; marine rules allow 0.10 for loads that are not critical.

    Parameters
    ----------
    current : array_like
        [A]
    resistance : array_like
        Of the loop, from `loop_resistance`. [ohm]
    supply_voltage : array_like
        [V] At or below zero: NaN.

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> round(float(drop_fraction(0.5, loop_resistance(5.0, 0.0209), 12.0)), 4)
    0.0087

    References
    ----------
    ABYC E-11 for 3 % and 10 %.
    """
    drop, supply = np.broadcast_arrays(voltage_drop(current, resistance), np.asarray(supply_voltage, dtype=float))
    return np.divide(drop, supply, out=np.full(drop.shape, np.nan), where=supply > 0)[()]


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
