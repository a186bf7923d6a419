"""The circuits of a plan through time: what panels and fans do, averaged over the states of a broken sky."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from solarvent.electrical.circuit_parts import circuit_bypass, circuit_fans
from solarvent.electrical.operation import operate
from solarvent.electrical.panel_model import Band, maximum_power, open_circuit_voltage, panel_parameters
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import Conditions
from solarvent.weather.sky_states import SkyStates
from solarvent.wiring.circuit import Circuit, converters

_SHARES = ("running", "hunting", "converter_hunting", "any_running")


@dataclass(frozen=True, eq=False)
class Electrical:
    """All circuits of a plan in one band, with one row a panel or fan, in the order of the plan.

    Over a step of broken cloud they are means, weighted by the length of its spells.

    Attributes
    ----------
    panel_voltage, panel_current, panel_power : array, shape (panels, steps)
        At the terminals. [V], [A], [W]
    power_available : array, shape (panels, steps)
        At the maximum power point. [W]
    fan_voltage, fan_current : array, shape (fans, steps)
        While the fan turns; where it turns in no part of the step, over the whole of it. [V], [A]
    fan_power : array, shape (fans, steps)
        Into the turning fan; nothing counts while it stands. [W]
    fan_voltage_peak : array, shape (fans, steps)
        The largest voltage, reached between two attempts of a standing fan. [V]
    running, hunting : array, shape (fans, steps)
        Share of the step in which the fan turns, and in which it tries to start and falls back, 0-1. [-]
    converter_hunting : array, shape (converters, steps)
        Share of the step in which a converter comes on and falls off again, 0-1; in the order of the circuits. [-]
    any_running : array, shape (steps,)
        Share of the step in which at least one fan turns, 0-1. [-]
    loss : array, shape (steps,)
        Heat in cables, contacts, diodes and converters. [W]
    """

    panel_voltage: np.ndarray
    panel_current: np.ndarray
    panel_power: np.ndarray
    power_available: np.ndarray
    fan_voltage: np.ndarray
    fan_current: np.ndarray
    fan_power: np.ndarray
    fan_voltage_peak: np.ndarray
    running: np.ndarray
    hunting: np.ndarray
    converter_hunting: np.ndarray
    any_running: np.ndarray
    loss: np.ndarray


def over_steps(substeps: Electrical, sky_states: SkyStates) -> Electrical:
    """Average what happens at each moment over the steps."""
    if sky_states.whole:
        shares = {name: getattr(substeps, name).astype(float) for name in _SHARES}
        return replace(substeps, **shares)
    means = {field.name: sky_states.mean(getattr(substeps, field.name)) for field in fields(substeps)}
    # The parts of a whole step sum to 1 but for the last bits, on either side.
    for name in _SHARES:
        means[name] = np.where(means[name] > 1 - 1e-12, 1.0, means[name])
    running = means["running"]
    for name in ("fan_voltage", "fan_current"):
        turning = sky_states.mean(getattr(substeps, name) * substeps.running)
        means[name] = np.divide(turning, running, out=means[name], where=running > 0)
    means["fan_voltage_peak"] = sky_states.most(substeps.fan_voltage_peak)
    return Electrical(**means)


def operate_circuits(
    plan: Plan, wired: tuple[Circuit, ...], sun: Conditions, band: Band, closed: np.ndarray | None = None
) -> Electrical:
    """Operate every circuit through all moments: the lit ones and the dark one after each; the rest stays zero.

    To the fans a line that is not closed is as the dark, and nothing is drawn from the panels.
    """
    record, order = plan.record, sun.sky_states.order
    lit = np.any([light.effective_irradiance[order] > 0 for light in sun.panel_states.values()], axis=0)
    # The dark step after dusk is kept, for it is the one that stops the fans for the night.
    at = np.flatnonzero(lit | np.concatenate([[True], lit[:-1]]))
    parameters = {
        panel.id: panel_parameters(
            panel,
            sun.panel_states[panel.id].section_irradiance[..., order[at]],
            sun.panel_states[panel.id].temp_cell[order[at]],
            band,
        )
        for panel in record.panel
    }
    bypass = {name: law for circuit in wired for name, law in circuit_bypass(circuit).items()}
    fed = parameters
    if closed is not None:
        fed = {name: (values[0] * closed[at], *values[1:]) for name, values in parameters.items()}
    operations = [
        operate(circuit, {name: fed[name] for name in circuit.panel_ids}, circuit_fans(circuit, band))
        for circuit in wired
    ]

    def rows(ids: list[str], kind: str, field: str, dtype: type = float) -> np.ndarray:
        found = np.zeros((len(ids), lit.size), dtype=dtype)
        for operation in operations:
            for name, values in zip(getattr(operation, f"{kind}_ids"), getattr(operation, field), strict=True):
                found[ids.index(name), at] = values
        return found

    panel_ids, fan_ids = list(parameters), [fan.id for fan in record.fan]
    available = np.zeros((len(panel_ids), lit.size))
    for row, name in enumerate(panel_ids):
        available[row, at] = maximum_power(parameters[name], bypass.get(name))
    loss = np.zeros(lit.size)
    loss[at] = sum(operation.cable_loss + operation.diode_loss + operation.converter_loss for operation in operations)
    panel_voltage, panel_current = (rows(panel_ids, "panel", f"panel_{what}") for what in ("voltage", "current"))
    fan_voltage, fan_current = (rows(fan_ids, "fan", f"fan_{what}") for what in ("voltage", "current"))
    running = rows(fan_ids, "fan", "running", bool)
    regulators = [part.id for circuit in wired for part in converters(circuit.load)]
    if closed is not None:
        apart = ~closed[at]
        for row, name in enumerate(panel_ids):
            panel_voltage[row, at[apart]] = open_circuit_voltage(parameters[name], bypass.get(name))[apart]
    return Electrical(
        panel_voltage,
        panel_current,
        panel_voltage * panel_current,
        available,
        fan_voltage,
        fan_current,
        fan_voltage * fan_current * running,
        rows(fan_ids, "fan", "fan_voltage_peak"),
        running,
        rows(fan_ids, "fan", "hunting", bool),
        rows(regulators, "converter", "converter_hunting", bool),
        np.asarray(running.any(axis=0)),
        loss,
    )
