"""The motor of a small DC fan, turning, held, or pushed by a capacitor: the current that it draws."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import require_positive


def running_current(
    voltage: ArrayLike, rated_voltage: float, rated_current: float, current_exponent: float = 1.0
) -> NDArray[np.float64] | float:
    """Current of a turning fan at a voltage, by a power law through its rated point.

    ``I = rated_current (voltage / rated_voltage) ** current_exponent``. The voltage tables of data sheets
    give exponents of 0.76-1.07 for brushless fans, and a hand meter once 1.43; electrical current never
    follows the shaft's similarity laws.

    Parameters
    ----------
    voltage : array_like
        At the fan's terminals. [V] At or below zero the fan draws nothing. Meant from the stop voltage
        to the fan's highest allowed voltage; the law itself has no end.
    rated_voltage : float
        [V] Above zero.
    rated_current : float
        [A] Above zero.
    current_exponent : float, default 1.0
        [-] Above zero.

    Returns
    -------
    float or ndarray
        Current, in the shape of `voltage`. [A]

    Raises
    ------
    DomainError
        If a rated value or the exponent is not above zero.

    Examples
    --------
    >>> round(float(running_current(6.0, 12.0, 0.25)), 4)
    0.125

    References
    ----------
    Data sheets of 12 V brushless axial fans with currents at three voltages; default exponent: common
    practice, no source.
    """
    require_positive(rated_voltage=rated_voltage, rated_current=rated_current, current_exponent=current_exponent)
    ratio = np.maximum(np.asarray(voltage, dtype=float), 0.0) / rated_voltage
    return (rated_current * ratio**current_exponent)[()]


def locked_rotor_resistance(
    rated_voltage: float,
    rated_current: float,
    start_voltage: float,
    locked_rotor_ratio: float,
    current_exponent: float = 1.0,
) -> float:
    """Resistance of the line on which a fan with a still rotor draws current.

    At the start voltage the held rotor draws `locked_rotor_ratio` times the current that the turning fan
    draws at that voltage; below and above it the current is proportional to the voltage (no back-EMF).

    Parameters
    ----------
    rated_voltage : float
        [V] Above zero.
    rated_current : float
        [A] Above zero.
    start_voltage : float
        [V] Above zero.
    locked_rotor_ratio : float
        [-] Above zero; data sheets give 1.1-6.5.
    current_exponent : float, default 1.0
        Of `running_current`. [-] Above zero.

    Returns
    -------
    float
        [ohm]

    Raises
    ------
    DomainError
        If a value is not above zero.

    Examples
    --------
    >>> round(float(locked_rotor_resistance(12.0, 0.3, 6.5, 2.8)), 2)
    14.29

    References
    ----------
    Data sheets of 12 V fans (locked-rotor and starting currents); the straight line is Ohm's law.
    """
    require_positive(start_voltage=start_voltage, locked_rotor_ratio=locked_rotor_ratio)
    running = running_current(start_voltage, rated_voltage, rated_current, current_exponent)
    return start_voltage / (locked_rotor_ratio * float(running))


ROTOR_ENERGY = 0.6
"""Energy of the turning rotor of a small axial fan at its start voltage (common practice, no source). [J]"""


def capacitor_start_voltage(
    start_voltage: ArrayLike, capacitance: ArrayLike, rotor_energy: ArrayLike = ROTOR_ENERGY
) -> Any:
    """Voltage [V] to which a capacitor [F] must be charged to start a fan; infinite for no capacitor.

    Down to the start voltage [V] it must give the energy of the rotor [J]: ``V^2 = start_voltage^2 + 2 rotor_energy /
    C``. Friction and the loss in the windings are not counted, so it is the least.

    Examples
    --------
    >>> round(float(capacitor_start_voltage(6.5, 4700e-6)))
    17
    """
    capacity = np.asarray(capacitance, dtype=float)
    with np.errstate(divide="ignore"):
        return np.sqrt(np.square(start_voltage) + 2.0 * np.asarray(rotor_energy) / capacity)[()]
