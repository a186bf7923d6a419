"""The fans and the panels of a circuit as the operating points take them: in a band, in a light."""

from __future__ import annotations

from math import prod

import numpy as np

from solarvent.base.findings import called
from solarvent.electrical.branches import FanElectrical, LoadSide
from solarvent.electrical.panel_model import TYPICAL, Band, panel_parameters
from solarvent.plan.parts import Fan
from solarvent.weather.conditions import cell_temperature, sections_in_sun
from solarvent.wiring.circuit import Circuit, DiodeLaw, converters, ends

#: Air at which start and run-down irradiance are given: a mild day. [degC]
THRESHOLD_AIR = 20.0
#: From so many combinations of turning fans on, several panels make themselves felt under fans that hold their speed;
#: panels of which sections are in shade, and several converters, from fewer on.
_SLOW_SETS, _SLOW_IN_SHADE = 64, 16


def fan_electrical(fan: Fan, band: Band = TYPICAL) -> FanElectrical:
    """Give the electrical side of a fan in a band; measured running points are not stretched."""
    start, current = band.start_factor(fan), band.current_factor(fan)
    return FanElectrical(
        id=fan.id,
        rated_voltage=fan.rated_voltage,
        rated_current=fan.rated_current * current,
        current_exponent=fan.current_exponent,
        start_voltage=fan.start_voltage * start,
        stop_voltage=fan.stop_voltage * start,
        locked_rotor_ratio=fan.locked_rotor_ratio,
        retrying=fan.standing == "retrying",
        points=tuple((volts, amps) for volts, amps in fan.readings),
        constant_power=fan.speed_controlled,
        start_capacitor=fan.start_capacitor or 0.0,
        mounting=fan.model_dump_json(exclude={"id"}),
    )


def circuit_fans(circuit: Circuit, band: Band = TYPICAL) -> dict[str, FanElectrical]:
    """Give the electrical side of each fan of a circuit in a band, by id."""
    return {fan.id: fan_electrical(fan, band) for fan in circuit.fans}


def circuit_panels(
    circuit: Circuit,
    irradiance: np.ndarray,
    temp_cell: float | np.ndarray | None = None,
    band: Band = TYPICAL,
    temp_air: float = THRESHOLD_AIR,
) -> dict[str, tuple[np.ndarray, ...]]:
    """Give the single diode of each panel of a circuit under a clear sky, all in the same light, by id.

    The irradiance is on the cells [W/m2], shape (steps,); sections in shadow that diodes bridge have less. The cells
    are by default as warm as that light makes them in the outside air [degC].
    """

    def warmth(noct: float) -> float | np.ndarray:
        return cell_temperature(irradiance, temp_air, noct) if temp_cell is None else temp_cell

    return {
        panel.id: panel_parameters(panel, sections_in_sun(panel, irradiance), warmth(panel.noct), band)
        for panel in circuit.panels
    }


def circuit_bypass(circuit: Circuit) -> dict[str, DiodeLaw | None]:
    """Give the bypass diodes of each panel of a circuit, by id."""
    return {leaf.part: leaf.bypass for leaf in ends(circuit.source)}


def slow_words(circuit: Circuit) -> str:
    """Say why a year of a circuit takes more than some seconds to work out; empty if it does not.

    Panels that are not in one light have no common diode, and each combination of turning fans asks them anew. Where
    it is so, the low and the high reading of the year are cut down; see :func:`solarvent.simulation.simulate.simulate`.
    """
    sets = prod(len(group) + 1 for group in LoadSide(circuit.load, circuit_fans(circuit), 1.0).groups())
    several = len(circuit.panels) > 1
    in_shade = sum(panel.lit_share_of_worst_cell < 1 and panel.bypass_diodes > 1 for panel in circuit.panels)
    falling = any(fan.speed_controlled for fan in circuit.fans)
    if (
        (several and in_shade > 1)
        or (several and in_shade and sets >= _SLOW_IN_SHADE)
        or (several and falling and sets >= _SLOW_SETS)
        or (sum(part.cut_in > 0 for part in converters(circuit.load)) > 1 and sets >= _SLOW_IN_SHADE)
    ):
        return (
            f"There are {sets} combinations in which {called('fan', circuit.fan_ids)} can turn, on panels that may not"
            " be in one light or behind several converters. That takes long to work out, so the low and the high hours"
            " and air of the year are those of one day a week."
        )
    return ""
