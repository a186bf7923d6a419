"""The cold bright morning: the highest voltages that the parts of a plan may see."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from solarvent.electrical.bands import HIGH
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.operation import point
from solarvent.electrical.panel_model import panel_parameters
from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.weather.broken_sky import SHADOW_LEVEL
from solarvent.weather.panel_light import cell_temperature
from solarvent.weather.sky import CLOUD_EDGE
from solarvent.wiring.circuit import Circuit

#: Light of a clear sky on a panel that faces the sun. [W/m2]
CLEAR = 1000.0
#: Light of a clear sky with bright clouds around the sun, for hours and for minutes. [W/m2]
BRIGHT, EDGE = (share * CLEAR for share in CLOUD_EDGE)
#: If a plan names no record low, its coldest hour less this. [K]
RECORD_MARGIN = 5.0


@dataclass(frozen=True)
class WorstCase:
    """Voltages in the coldest bright hour, with plates that keep their promise.

    Attributes
    ----------
    temp_air : float
        The cold that was assumed. [degC]
    open_circuit : dict of str to float
        Voltage of the circuit with nothing joined and cells as cold as the air, by its first panel. [V]
    turning : dict of str to float
        Terminal voltage by fan with all fans turning. [V]
    one_failed : dict of str to float
        Terminal voltage by fan with whichever other fan failed that leaves it the most; absent for a lone fan. [V]
    standing : dict of str to float
        Terminal voltage by fan with no fan drawing anything and cells as cold as the air. [V]
    converter_heat : dict of str to float
        Power that stays in a converter, at the most. [W]
    """

    temp_air: float
    open_circuit: dict[str, float]
    turning: dict[str, float]
    one_failed: dict[str, float]
    standing: dict[str, float]
    converter_heat: dict[str, float]


def worst_case(plan: Plan, wired: tuple[Circuit, ...], coldest_hour: float, use_record: bool = True) -> WorstCase:
    """Find the highest voltages of a plan.

    For the open circuit the cells are as cold as the air, as they are at sunrise. For turning fans there are two cases,
    and the higher voltage counts: a bright sky, with cells as warm as it makes them; and the edge of a cloud, brighter
    for minutes, with cells that are still as cool as its shadow left them.

    Parameters
    ----------
    plan, wired
        The plan and its circuits.
    coldest_hour : float
        Lowest air temperature of the weather year, used if the plan gives no record low. [degC]
    use_record : bool
        False asks what it would be at that temperature itself, whatever the record.

    Returns
    -------
    WorstCase
        By panel and fan.
    """
    lowest = plan.record.place.record_low
    cold = lowest if lowest is not None else coldest_hour - RECORD_MARGIN
    if not use_record:
        cold = coldest_hour
    fans = {fan.id: fan_electrical(fan, HIGH) for fan in plan.record.fan}
    by_id = {panel.id: panel for panel in plan.record.panel}

    def parameters(panel: Panel, irradiance: float, warmed_by: float) -> tuple[np.ndarray, ...]:
        temp_cell = cell_temperature(np.array([warmed_by]), cold, panel.noct)
        return panel_parameters(panel, np.array([irradiance]), temp_cell, HIGH)

    open_circuit: dict[str, float] = {}
    turning: dict[str, float] = {}
    failed: dict[str, float] = {}
    standing: dict[str, float] = {}
    heat: dict[str, float] = {}
    for circuit in wired:
        panels = [by_id[name] for name in circuit.panel_ids]
        names = list(circuit.fan_ids)
        own = {name: fans[name] for name in names}
        frozen = {panel.id: parameters(panel, BRIGHT, 0.0) for panel in panels}
        suns = [
            {panel.id: parameters(panel, light, warmed_by) for panel in panels}
            for light, warmed_by in ((BRIGHT, BRIGHT), (EDGE, SHADOW_LEVEL * CLEAR))
        ]
        all_on: dict[str, Any] = dict.fromkeys(names, "turning")
        all_off: dict[str, Any] = dict.fromkeys(names, "open")
        bare = point(circuit, frozen, own, all_off)
        open_circuit[panels[0].id] = float(bare.open_circuit_voltage[0])
        standing |= _highest([bare])
        turning |= _highest(point(circuit, sun, own, all_on) for sun in suns)
        for states in (all_on, all_off) if bare.converter_ids else ():
            reading = point(circuit, suns[0], own, states)
            for name, power in zip(reading.converter_ids, reading.converter_power[:, 0].tolist(), strict=True):
                heat[name] = max(heat.get(name, 0.0), power)
        for lost in names if len(names) > 1 else []:
            left = _highest(point(circuit, sun, own, all_on | {lost: "open"}) for sun in suns)
            for name in names:
                if name != lost:
                    failed[name] = max(failed.get(name, 0.0), left[name])
    return WorstCase(cold, open_circuit, turning, failed, standing, heat)


def _highest(readings: Iterable[Any]) -> dict[str, float]:
    """Highest terminal voltage by fan at the first step of several points."""
    highest: dict[str, float] = {}
    for reading in readings:
        for name, volts in zip(reading.fan_ids, reading.fan_voltage[:, 0].tolist(), strict=True):
            highest[name] = max(highest.get(name, 0.0), volts)
    return highest
