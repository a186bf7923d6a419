"""What a panel gives by itself: at its best point, at open circuit, and at a voltage that is held."""

from __future__ import annotations

import numpy as np

from solarvent.electrical.best_point import greatest_power
from solarvent.electrical.panel_source import Source
from solarvent.electrical.source_side import SourceSide
from solarvent.wiring.circuit import DiodeLaw, Leaf


def maximum_power(
    parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None = None, highest: float = np.inf
) -> np.ndarray:
    """Power of a panel at its best point, at a voltage no higher than a limit [W]; 0 in the dark.

    Of a panel whose sections are not lit alike, the parameters are of shape (sections, steps).
    """
    from pvlib.pvsystem import i_from_v, max_power_point

    if parameters[0].ndim > 1:
        return greatest_power(_one_panel(parameters, bypass).voltage_at, parameters[0], highest)
    lit = parameters[0] > 1e-6
    power = np.zeros(lit.shape)
    if not lit.any():
        return power
    shining = [np.broadcast_to(values, lit.shape)[lit] for values in parameters]
    best = max_power_point(*shining, method="newton")
    power[lit] = best["p_mp"]
    above = best["v_mp"] > highest
    if above.any():
        # Only there: far above the open circuit the current overflows.
        power[np.flatnonzero(lit)[above]] = highest * i_from_v(highest, *(values[above] for values in shining))
    return power


def open_circuit_voltage(parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None = None) -> np.ndarray:
    """Voltage of a panel from which nothing is drawn [V]; 0 in the dark."""
    from pvlib.pvsystem import v_from_i

    if parameters[0].ndim > 1:
        return _one_panel(parameters, bypass).voltage_at(np.zeros(parameters[0].shape[-1]))[0]
    lit = parameters[0] > 1e-6
    voltage = np.zeros(lit.shape)
    if lit.any():
        voltage[lit] = v_from_i(0.0, *(np.broadcast_to(values, lit.shape)[lit] for values in parameters))
    return voltage


def current_held(parameters: tuple[np.ndarray, ...], voltage: float, bypass: DiodeLaw | None = None) -> np.ndarray:
    """Current of a panel at a voltage [V], none below 0 [A]."""
    volts = np.full(parameters[0].shape[-1], voltage)
    return np.maximum(_one_panel(parameters, bypass).current_at(volts)[0], 0.0)


def _one_panel(parameters: tuple[np.ndarray, ...], bypass: DiodeLaw | None) -> Source:
    """A panel by itself as a source."""
    return SourceSide(Leaf("panel", bypass), {"panel": parameters}).source
