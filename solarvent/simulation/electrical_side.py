"""The circuits of a plan through time: what panels and fans do, averaged over the states of a broken sky."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from solarvent.electrical.battery_circuit import BatteryCourse, operate_on_battery
from solarvent.electrical.circuit_parts import circuit_bypass, circuit_fans
from solarvent.electrical.operation import operate
from solarvent.electrical.panel_model import Band, maximum_power, open_circuit_voltage, panel_parameters
from solarvent.plan.plan import Plan
from solarvent.weather.conditions import Conditions
from solarvent.weather.sky_states import SkyStates
from solarvent.weather.span import hours_switched_on
from solarvent.wiring.circuit import Circuit, converters

#: A span shorter than this is taken as one of many alike. [h]
_LONG_SPAN = 20 * 24.0
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
        Heat in cables, contacts, diodes, converters and charge controllers. [W]
    battery : BatteryCourse, optional
        The battery of the plan, if it has one with a capacity.
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
    battery: BatteryCourse | None = None


def over_steps(substeps: Electrical, sky_states: SkyStates) -> Electrical:
    """Average what happens at each moment over the steps."""
    if sky_states.whole:
        shares = {name: getattr(substeps, name).astype(float) for name in _SHARES}
        return replace(substeps, **shares)
    means = {name: sky_states.mean(values) for name, values in vars(substeps).items() if isinstance(values, np.ndarray)}
    # The parts of a whole step sum to 1 but for the last bits, on either side.
    for name in _SHARES:
        means[name] = np.where(means[name] > 1 - 1e-12, 1.0, means[name])
    running = means["running"]
    for name in ("fan_voltage", "fan_current"):
        # While it turns: weighted by the share in which it does.
        turning = sky_states.mean(getattr(substeps, name) * substeps.running)
        means[name] = np.divide(turning, running, out=means[name], where=running > 0)
    means["fan_voltage_peak"] = sky_states.most(substeps.fan_voltage_peak)
    return Electrical(**means, battery=_battery_over_steps(substeps.battery, sky_states))


def _battery_over_steps(course: BatteryCourse | None, sky_states: SkyStates) -> BatteryCourse | None:
    """Average the battery over the steps; its state of charge is that at their end."""
    if course is None:
        return None
    means = {name: sky_states.mean(values) for name, values in vars(course).items()}
    return BatteryCourse(**means | {"state_of_charge": course.state_of_charge[sky_states.last_moment]})


def operate_circuits(
    plan: Plan,
    wired: tuple[Circuit, ...],
    sun: Conditions,
    band: Band,
    closed: np.ndarray | None = None,
    chosen: np.ndarray | None = None,
) -> Electrical:
    """Operate every circuit through all moments: the lit ones and the dark one after each; the rest stays zero.

    To the fans a line that is not closed is as the dark, and nothing is drawn from the panels. If only some steps are
    chosen, whole days, the others stay zero as well; without a battery.
    """
    record, order = plan.record, sun.sky_states.order
    lit = np.any([light.effective_irradiance[order] > 0 for light in sun.panel_states.values()], axis=0)
    # The dark step after dusk is kept, for it is the one that stops the fans for the night.
    asked = lit | np.concatenate([[True], lit[:-1]])
    if chosen is not None:
        asked &= chosen[sun.sky_states.step_of_substep]
    at = np.flatnonzero(asked)
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
    available = np.zeros((len(parameters), lit.size))
    for row, (name, values) in enumerate(parameters.items()):
        available[row, at] = maximum_power(values, bypass.get(name))
    if any(circuit.storage is not None for circuit in wired):
        return _with_battery(plan, wired, sun, band, parameters, at, available, closed)
    fed = parameters
    if closed is not None:
        fed = {name: (values[0] * closed[at], *values[1:]) for name, values in parameters.items()}
    operations = [
        operate(circuit, {name: fed[name] for name in circuit.panel_ids}, circuit_fans(circuit, band))
        for circuit in wired
    ]
    joined = _joined(plan, wired, operations, at, available)
    if closed is not None:
        # The panels of an open line stand at their open-circuit voltage, though no current tells of it.
        apart = ~closed[at]
        for row, (name, values) in enumerate(parameters.items()):
            joined.panel_voltage[row, at[apart]] = open_circuit_voltage(values, bypass.get(name))[apart]
    return joined


def _with_battery(
    plan: Plan,
    wired: tuple[Circuit, ...],
    sun: Conditions,
    band: Band,
    panels: dict[str, tuple],
    lit: np.ndarray,
    available: np.ndarray,
    closed: np.ndarray | None,
) -> Electrical:
    """Operate circuits that share a battery through all moments, the dark ones too; the panels are given for the lit.

    A battery that is full at first is told where the span is long; of a single day it has what such a day leaves.
    """
    steps = sun.sky_states.step_of_substep
    wanted = hours_switched_on(plan, sun.times)[steps]
    if closed is not None:
        wanted = wanted & closed
    hours = sun.sky_states.moment_weight * sun.step / 3600.0
    fans = {name: fan for circuit in wired for name, fan in circuit_fans(circuit, band).items()}
    operations, course = operate_on_battery(
        wired, panels, fans, lit, wanted, hours, repeats=float(hours.sum()) < _LONG_SPAN
    )
    joined = _joined(plan, wired, operations, slice(None), available)
    return replace(
        joined,
        # Between its attempts a standing fan is at the voltage of the battery.
        fan_voltage_peak=np.where(joined.running, joined.fan_voltage, course.battery_voltage * course.feeds),
        loss=course.standby + joined.loss,
        battery=course,
    )


def _joined(
    plan: Plan, wired: tuple[Circuit, ...], operations: Sequence[Any], at: Any, available: np.ndarray
) -> Electrical:
    """Join what the circuits do at some of all the moments, in the order of the plan; at the others stand zeros."""
    steps = available.shape[1]

    def rows(ids: list[str], kind: str, field: str, dtype: type = float) -> np.ndarray:
        table: np.ndarray = np.zeros((len(ids), steps), dtype=dtype)
        # Circuits on a battery know nothing of hunting: the bus holds its voltage.
        for operation in (each for each in operations if hasattr(each, field)):
            for name, values in zip(getattr(operation, f"{kind}_ids"), getattr(operation, field), strict=True):
                table[ids.index(name), at] = values
        return table

    panel_ids, fan_ids = [panel.id for panel in plan.record.panel], [fan.id for fan in plan.record.fan]
    panel_voltage, panel_current, panel_power = (
        rows(panel_ids, "panel", f"panel_{what}") for what in ("voltage", "current", "power")
    )
    fan_voltage, fan_current = (rows(fan_ids, "fan", f"fan_{what}") for what in ("voltage", "current"))
    running = rows(fan_ids, "fan", "running", bool)
    regulators = [part.id for circuit in wired for part in converters(circuit.load)]
    loss = np.zeros(steps)
    loss[at] = sum(operation.loss for operation in operations)
    return Electrical(
        panel_voltage,
        panel_current,
        panel_power,
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
