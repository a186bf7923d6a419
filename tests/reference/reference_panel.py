"""The panel of the worked figures, and helpers to read a panel's curve with the package alone.

20 W, 36 cells: Isc 1.17 A, Vmp 18.76 V, Voc 22.70 V, Rs 1.05 ohm, Rsh 406 ohm, ideality 1.004: published fit,
doi 10.1186/s40807-018-0049-0, table 1.
"""

from __future__ import annotations

import math

import numpy as np

from solarvent.electrical.panel_source import PanelSource
from solarvent.electrical.single_diode import SingleDiode, operating_parameters, scale_plate

SOURCE = "panel of doi 10.1186/s40807-018-0049-0, table 1"

SLOPE = 1.004 * 36 * 1.380649e-23 * 298.15 / 1.602176634e-19
_SATURATION = (1.17 * (1 + 1.05 / 406) - 22.70 / 406) / (math.expm1(22.70 / SLOPE) - math.expm1(1.17 * 1.05 / SLOPE))
TWENTY_WATTS = SingleDiode(
    _SATURATION * math.expm1(22.70 / SLOPE) + 22.70 / 406, _SATURATION, 1.05, 406.0, SLOPE, 0.0005 * 1.17
)


def panel(watts, irradiance, temp_cell=None):
    """The panel scaled to some watts; its cells at 25 degC + 0.025 K for each W/m2, 50 degC in full sun."""
    light = np.atleast_1d(np.asarray(irradiance, dtype=float))
    heat = 25.0 + 0.025 * light if temp_cell is None else temp_cell
    return operating_parameters(scale_plate(TWENTY_WATTS, watts / 20.0), light, heat)


def best_point(parameters):
    """Voltage and current where a panel gives most, found on the package's curve."""
    from scipy.optimize import minimize_scalar

    source = PanelSource(*(float(np.atleast_1d(value)[0]) for value in parameters))
    open_voltage = float(source.voltage_at(0.0)[0])
    found = minimize_scalar(
        lambda voltage: -voltage * float(source.current_at(voltage)[0]),
        bounds=(0.5 * open_voltage, open_voltage), method="bounded", options={"xatol": 1e-7},
    )  # fmt: skip
    return found.x, float(source.current_at(found.x)[0])


def open_circuit(parameters):
    """Voltage of a panel from which nothing is drawn."""
    return float(np.atleast_1d(PanelSource(*parameters).voltage_at(0.0)[0])[0])


def short_circuit(parameters):
    """Current of a shorted panel."""
    return float(np.atleast_1d(PanelSource(*parameters).current_at(0.0)[0])[0])
