"""The cold bright morning: the highest voltages that the parts of a plan may see."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from solarvent.electrical.battery import law_of
from solarvent.electrical.branches import LoadSide, State
from solarvent.electrical.circuit_parts import circuit_fans
from solarvent.electrical.operating_point import OperatingPoint, ports
from solarvent.electrical.operation import sides_of
from solarvent.electrical.panel_model import HIGH, panel_parameters
from solarvent.electrical.source_side import SourceSide
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import cell_temperature
from solarvent.weather.sky import CLOUD_EDGE, height_factor
from solarvent.wiring.circuit import Circuit

if TYPE_CHECKING:
    import pandas as pd

#: Light of a clear sky on a panel that faces the sun, at the sea. [W/m2]
CLEAR = 1000.0
#: Light in a dark shadow as a share of that: the darkest tenth of the shadow minutes among broken cloud has 0.24 to
#: 0.28 (Payerne, June 2016). [-]
SHADOW = 0.30
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


#: Light on the cells, and the light that has warmed them, as shares of a clear sky's: sunrise, a bright sky for long,
#: and the edge of a cloud for a minute, with cells as cool as its shadow left them.
SUNS = ((CLOUD_EDGE[0], 0.0), (CLOUD_EDGE[0], CLOUD_EDGE[0]), (CLOUD_EDGE[1], SHADOW))


def coldest_air(plan: Plan, weather: pd.DataFrame) -> float:
    """Air of the coldest bright hour: the record low of the plan, or else the coldest hour with a margin. [degC]"""
    lowest = plan.record.place.record_low
    return float(weather["temp_air"].min()) - RECORD_MARGIN if lowest is None else lowest


def worst_case(wired: Iterable[Circuit], temp_air: float, altitude: float = 0.0) -> WorstCase:
    """Find the highest voltages of circuits.

    A battery is at the voltage at which its controller charges the last of it, whatever the sun.
    For the open circuit the cells are as cold as the air, as they are at sunrise. For turning fans there are two cases,
    and the higher voltage counts: a bright sky, with cells as warm as it makes them; and the edge of a cloud, brighter
    for a minute, with cells that are still as cool as its shadow left them.

    Parameters
    ----------
    wired : iterable of Circuit
        The circuits of a plan.
    temp_air : float
        Outside, see :func:`coldest_air`. [degC]
    altitude : float
        Above sea level: higher up the sun is brighter. [m]

    Returns
    -------
    WorstCase
        By panel and fan.
    """
    return worst_cases(wired, temp_air, (1.0,), altitude)[0]


def worst_cases(
    wired: Iterable[Circuit], temp_air: float, sizes: Sequence[float], altitude: float = 0.0
) -> list[WorstCase]:
    """Give :func:`worst_case` for panels of many sizes: so many times the currents of those in the circuits."""
    found = [WorstCase(temp_air, {}, {}, {}, {}, {}) for _ in sizes]
    irradiance, warmed_by = CLEAR * height_factor(altitude) * np.array(SUNS).T
    for circuit in map(_at_most, wired):
        panels = {
            panel.id: panel_parameters(panel, irradiance, cell_temperature(warmed_by, temp_air, panel.noct), HIGH)
            for panel in circuit.panels
        }
        source, load = sides_of(circuit, panels, circuit_fans(circuit, HIGH), sizes)
        every: dict[str, State] = dict.fromkeys(load.ids, "turning")
        none: dict[str, State] = dict.fromkeys(load.ids, "open")
        on, off = (_point(source, load, states) for states in (every, none))
        open_circuit = _by_size(off.open_circuit_voltage, sizes)
        turning, standing = (_by_size(reading.fan_voltage, sizes) for reading in (on, off))
        heat = np.maximum(*(_by_size(reading.converter_power, sizes) for reading in (on, off)))
        failed = {
            name: np.max(
                [volts[name] for volts in _with_one_failed(source, load, every, sizes) if name in volts], axis=0
            )
            for name in (load.ids if len(load.ids) > 1 else ())
        }
        for number, worst in enumerate(found):
            worst.open_circuit[circuit.panel_ids[0]] = float(open_circuit[number, 0])
            for row, name in enumerate(load.ids):
                # At sunrise, the first sun, nothing turns yet.
                worst.turning[name] = float(turning[row, number, 1:].max())
                worst.standing[name] = float(standing[row, number, 0])
            worst.one_failed.update({name: float(volts[number]) for name, volts in failed.items()})
            for row, name in enumerate(load.converters):
                # Heat counts where it lasts: under a bright sky.
                worst.converter_heat[name] = float(heat[row, number, 1])
    return found


def _at_most(circuit: Circuit) -> Circuit:
    """A circuit with its battery, if it has one, at the voltage at which the last is charged."""
    if circuit.storage is None:
        return circuit
    return replace(circuit, storage=replace(circuit.storage, voltage=law_of(circuit.storage.battery).absorption))


def _with_one_failed(
    source: SourceSide, load: LoadSide, every: Mapping[str, State], sizes: Sequence[float]
) -> Iterable[dict[str, np.ndarray]]:
    """Highest voltage of the fans that turn on (sizes,), for each kind of fan of which one fails. [V]"""
    for group in load.groups():
        reading = _by_size(_point(source, load, {**every, group[-1]: "open"}).fan_voltage, sizes)
        volts = dict(zip(load.ids, reading[..., 1:].max(axis=-1), strict=True))
        # Of alike fans any one may fail: what it leaves the others, another one leaves it.
        volts[group[-1]] = volts[group[0]]
        yield {name: values for name, values in volts.items() if name != group[-1] or len(group) > 1}


def _point(source: SourceSide, load: LoadSide, states: Mapping[str, State]) -> OperatingPoint:
    return OperatingPoint(source, load, ports(source.source, load, states, source.steps))


def _by_size(values: np.ndarray, sizes: Sequence[float]) -> np.ndarray:
    """Values (..., steps) by size and sun."""
    return values.reshape(*values.shape[:-1], len(sizes), len(SUNS))
