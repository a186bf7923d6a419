"""A capacitor at a fan: charged by a panel that is too weak to start the rotor, it gives the push."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

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
