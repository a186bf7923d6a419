"""Diodes: the voltage that one in line takes, and the current that a bypass diode carries past a panel."""

from __future__ import annotations

from typing import Any

import numpy as np

Diodes = tuple[tuple[float, float], ...]
"""Diodes in line, each as (saturation current [A], slope voltage [V])."""

LARGEST_EXPONENT = 500.0
"""An exponential goes no further than this, so that it stays finite. [-]"""

_BLOCKING_RESISTANCE = 1e11  # ohm; a diode that blocks is no steeper than this, so that roots stay findable


def diode_drop(current: Any, diodes: Diodes) -> tuple[np.ndarray, np.ndarray]:
    """Voltage [V] across diodes in line and its derivative [ohm], by the exponential law turned round.

    ``V = slope_voltage ln(1 + I / saturation_current)``, the current [A] positive from source to load. A reverse
    current cannot pass the saturation current: close to it the drop goes on as a straight line of 1e11 ohm. Each diode
    is a saturation current [A] and a slope voltage [V].

    Examples
    --------
    >>> drop, derivative = diode_drop(0.5, ((1e-6, 0.0265),))
    >>> round(float(drop), 4), round(float(derivative), 4)
    (0.3477, 0.053)
    """
    current = np.asarray(current, dtype=float)
    drop, derivative = np.zeros_like(current), np.zeros_like(current)
    for saturation_current, slope_voltage in diodes:
        ratio = current / saturation_current
        flattest = min(slope_voltage / (saturation_current * _BLOCKING_RESISTANCE), 1.0)
        law = np.maximum(ratio, flattest - 1.0)
        steepness = slope_voltage / (1.0 + law)
        drop += slope_voltage * np.log1p(law) + (ratio - law) * steepness
        derivative += steepness / saturation_current
    return drop, derivative


def bypass_current(voltage: Any, diode: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Current [A] through a bypass diode, backwards across a panel, and its derivative by the panel's voltage [S].

    ``I = saturation_current (exp(-V / slope_voltage) - 1)`` where the panel is driven backwards, and nothing where it
    is not: the leakage of the blocked diode, its saturation current, is left out. The voltage across the panel [V] is
    positive as it works; the current is never negative, its derivative never positive. The diode is a saturation
    current [A] and a slope voltage [V].

    Examples
    --------
    >>> current, _ = bypass_current([20.0, -0.35], (2.35e-6, 0.027))
    >>> current.round(2).tolist()
    [0.0, 1.0]
    """
    saturation_current, slope_voltage = diode
    backwards = np.maximum(-np.asarray(voltage, dtype=float), 0.0) / slope_voltage
    grown = np.expm1(np.minimum(backwards, LARGEST_EXPONENT))
    conductance = np.where(backwards > 0, saturation_current / slope_voltage * (1.0 + grown), 0.0)
    return saturation_current * grown, -conductance
