"""Volts and amperes: single diode, curves, motors, converters, batteries, operating points and states in time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from solarvent.base import lazy

if TYPE_CHECKING:
    from solarvent.electrical.branches import FanElectrical
    from solarvent.electrical.operating_point import OperatingPoint
    from solarvent.electrical.operation import Operation, operate, point
    from solarvent.electrical.panel_model import Band
    from solarvent.electrical.single_diode import SingleDiode, fit_nameplate
    from solarvent.electrical.start_light import Thresholds, start_and_run_down

__all__ = [
    "Band",
    "FanElectrical",
    "OperatingPoint",
    "Operation",
    "SingleDiode",
    "Thresholds",
    "fit_nameplate",
    "operate",
    "point",
    "start_and_run_down",
]

__getattr__ = lazy(
    __name__,
    {
        "Band": "panel_model",
        "FanElectrical": "branches",
        "OperatingPoint": "operating_point",
        "Operation": "operation",
        "SingleDiode": "single_diode",
        "Thresholds": "start_light",
        "fit_nameplate": "single_diode",
        "operate": "operation",
        "point": "operation",
        "start_and_run_down": "start_light",
    },
)
