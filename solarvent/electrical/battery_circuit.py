"""Circuits with a battery: panels that charge it through a controller, and fans that run from it day and night.

The battery holds the voltage at the bus, so what the fans do follows from that voltage alone: it is worked out once for
a row of voltages, and carried through time with the state of charge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from solarvent.electrical.battery import BatteryLaw, Carried, StoredLoad, carry, law_of
from solarvent.electrical.branches import FanElectrical, LoadSide, load_side, losses
from solarvent.electrical.operating_point import OperatingPoint, Ports, ports
from solarvent.electrical.running_states import RunningStates
from solarvent.electrical.source_side import (
    POLES,
    Charging,
    SourceSide,
    StoredSide,
    best_point,
    charging_of,
    charging_panels,
)
from solarvent.plan.parts import Converter
from solarvent.wiring.circuit import Circuit

#: Voltages at which a circuit is worked out, as shares of the battery's absorption voltage, and how many.
_LOWEST, _HIGHEST, _CLASSES = 0.6, 1.05, 97
#: So many alike spans at the most are gone through until one leaves what the one before left. [-]
_SPANS, _SAME_STATE = 12, 0.01
#: Of these every sixth is one at which the charging current is worked out, which hardly bends.
_KNOTS = 6


class StoredFans:
    """The fans of a circuit on a battery, at a row of its voltages: which turn, and what they draw."""

    def __init__(self, load: LoadSide, panels: SourceSide, controller: Converter, classes: np.ndarray) -> None:
        self.load, self._classes = load, classes
        self._side = side = StoredSide(panels.at(np.zeros(len(classes), dtype=np.intp)), controller, classes)
        self.states = RunningStates(side, load)
        sets = range(len(self.states.sets))
        self._ports = [ports(side.source, load, self.states.standing(number), side.steps) for number in sets]
        current = np.array([OperatingPoint(side, load, found).bus_current for found in self._ports])
        self.stored_load = StoredLoad(current, self.states.transitions)

    def at(self, voltage: np.ndarray, sets: np.ndarray, feeds: np.ndarray) -> OperatingPoint:
        """What is found at voltages [V] of the battery, its fans in one of the running sets, by step.

        Where it does not feed them all is zero.
        """
        spacing = self._classes[1] - self._classes[0]
        place = np.clip((voltage - self._classes[0]) / spacing, 0.0, len(self._classes) - 1.001)
        low = place.astype(np.intp)
        share = place - low
        fans, laws, steps = len(self.load.ids), len(self.load.converters), len(voltage)
        volts, terminals, inout = np.zeros(steps), np.zeros((fans, 2, steps)), np.zeros((laws, 2, 2, steps))
        for number, table in enumerate(self._ports):
            here = np.flatnonzero(feeds & (sets == number))
            for part, weight in ((low[here], 1.0 - share[here]), (low[here] + 1, share[here])):
                found = table.at(part)
                volts[here] += weight * found.voltage
                terminals[..., here] += weight * found.terminals
                inout[..., here] += weight * found.converters
        found = Ports(volts, terminals, inout, np.zeros((laws, steps), dtype=bool))
        return OperatingPoint(self._side, self.load, found)


def voltage_classes(law: BatteryLaw) -> np.ndarray:
    """Voltages of a battery at which its circuits are worked out. [V]"""
    return np.linspace(_LOWEST * law.absorption, _HIGHEST * law.absorption, _CLASSES)


@dataclass(frozen=True, eq=False)
class BatteryOperation:
    """What one circuit on a battery does through time.

    Attributes
    ----------
    panel_ids, fan_ids : tuple of str
        Order of the rows.
    running : array (fans, steps) of bool
    fan_voltage, fan_current : array (fans, steps)
        At the fans' terminals. [V], [A]
    panel_voltage, panel_current, panel_power : array (panels, steps)
        Means of the panels: the controller takes what they give for a share of the time, and holds them off, at the
        open circuit, for the rest. [V], [A], [W]
    loss : array (steps,)
        Heat in cables, contacts, diodes, converters and the controller. [W]
    """

    panel_ids: tuple[str, ...]
    fan_ids: tuple[str, ...]
    running: np.ndarray
    fan_voltage: np.ndarray
    fan_current: np.ndarray
    panel_voltage: np.ndarray
    panel_current: np.ndarray
    panel_power: np.ndarray
    loss: np.ndarray


@dataclass(frozen=True, eq=False)
class BatteryCourse:
    """A battery through time, shape (steps,).

    Attributes
    ----------
    state_of_charge : array
        At the end of each step, 0-1. [-]
    battery_voltage, battery_current : array
        At its poles; the current into it, negative out of it. [V], [A]
    charging : array
        Power that the controller passes on, to the battery and to the load. [W]
    refused : array
        Power that it would have passed on, had the battery not been full. [W]
    heat : array
        In the battery: of its resistance, and of charge that it does not give back. [W]
    wanted, feeds : array
        Share of the step in which the fans are switched on, and in which the controller feeds them. [-]
    standby : array
        What the controllers draw for themselves. [W]
    """

    state_of_charge: np.ndarray
    battery_voltage: np.ndarray
    battery_current: np.ndarray
    charging: np.ndarray
    refused: np.ndarray
    heat: np.ndarray
    wanted: np.ndarray
    feeds: np.ndarray
    standby: np.ndarray


def operate_on_battery(
    wired: Sequence[Circuit],
    panels: Mapping[str, tuple],
    fans: Mapping[str, FanElectrical],
    lit: np.ndarray,
    wanted: np.ndarray,
    hours: np.ndarray,
    repeats: bool = False,
    size: float = 1.0,
    full: Sequence[int] | np.ndarray = (0,),
) -> tuple[list[BatteryOperation], BatteryCourse]:
    """Carry the circuits of a plan through time that share its battery.

    Parameters
    ----------
    wired : sequence of Circuit
        Each with a controller of its own.
    panels, fans
        Of all circuits, as for :func:`solarvent.electrical.operation.operate`; the panels in the lit steps only.
    lit : array of int
        The index of those steps.
    wanted : array (steps,) of bool
        Whether the fans are switched on.
    hours : array (steps,)
        Length of each step. [h]
    repeats : bool
        The span is followed by one like it, so that its night begins with what its day has left; by default the battery
        is full at first.
    size : float
        The panels give so many times the currents of those that are given. [-]
    full : sequence of int
        Steps at which the battery is full, whatever came before.

    Returns
    -------
    list of BatteryOperation, BatteryCourse
        In the order of the circuits.
    """
    storages = [circuit.storage for circuit in wired if circuit.storage is not None]
    controllers = [storage.controller for storage in storages]
    law = law_of(storages[0].battery)
    classes = voltage_classes(law)
    knots = classes[::_KNOTS]
    sides = [
        SourceSide(circuit.source, {name: panels[name] for name in circuit.panel_ids}, (size,)) for circuit in wired
    ]
    stored, offered = [], np.zeros((len(knots), len(wanted)))
    for circuit, side, controller in zip(wired, sides, controllers, strict=True):
        offered[:, lit] += _offered(side, controller, knots)
        load = load_side(circuit.load, fans, float(classes[-1]))
        stored.append(StoredFans(load, side, controller, classes))
    loads = [one.stored_load for one in stored]
    own = sum(controller.quiescent_current for controller in controllers)
    carried = partial(carry, law, offered, knots, wanted, hours, loads, classes, own)
    kept, start = carried({int(step): 1.0 for step in full}), 1.0
    for _ in range(_SPANS if repeats else 0):
        start, before = float(kept.state_of_charge[-1]), start
        if abs(start - before) < _SAME_STATE:
            break
        kept = carried({0: start})
    charging = [
        charging_of(side.generator, controller, kept.voltage[lit])
        for side, controller in zip(sides, controllers, strict=True)
    ]
    could, share = np.zeros(len(wanted)), np.zeros(len(wanted))
    could[lit] = sum(one.current for one in charging)
    np.divide(kept.charged, could, out=share, where=could > 0)
    done, drawn = [], np.zeros(len(wanted))
    for side, taken, fed, sets in zip(sides, charging, stored, kept.sets, strict=True):
        operation, current = _operation(side, taken, fed, kept, sets, share, lit)
        done.append(operation)
        drawn += current
    return done, BatteryCourse(
        kept.state_of_charge,
        kept.voltage,
        kept.current,
        kept.charged * kept.voltage,
        np.maximum(could - kept.charged, 0.0) * kept.voltage,
        _heat(law, kept, hours),
        wanted.astype(float),
        kept.feeds.astype(float),
        (kept.drawn - drawn) * kept.voltage,
    )


def _heat(law: BatteryLaw, kept: Carried, hours: np.ndarray) -> np.ndarray:
    """Power at the poles less what changes the charge, at the rest voltage in the middle of each step. [W]"""
    stored = np.where(kept.current > 0, law.charge_efficiency, 1.0) * kept.current
    middle = kept.state_of_charge - 0.5 * stored * hours / law.capacity
    return np.asarray(kept.voltage * kept.current - law.open_circuit(middle) * stored)


def _offered(side: SourceSide, controller: Converter, voltages: np.ndarray) -> np.ndarray:
    """Current into a battery at some voltages of it [V], shape (voltages, steps). [A]

    Negative where the panels are below it: what lies between a voltage above and one below then is not too much.
    """
    best = best_point(side.generator, side.steps) if controller.tracks else None
    every = (np.full(side.steps, volts) for volts in voltages)
    return np.array([charging_of(side.generator, controller, volts, best, backwards=True).current for volts in every])


def _operation(
    side: SourceSide,
    charging: Charging,
    fed: StoredFans,
    kept: Carried,
    sets: np.ndarray,
    share: np.ndarray,
    lit: np.ndarray,
) -> tuple[BatteryOperation, np.ndarray]:
    """What one circuit does, with the voltage of the battery known, and the current that its load draws. [A]"""
    battery, taken = kept.voltage[lit], share[lit]
    volts, amps = charging_panels(side, charging)
    open_circuit = np.nan_to_num(side.generator.voltage_at(np.zeros(side.steps))[0])
    resting, _ = side.terminals(open_circuit, np.zeros(side.steps))
    found = fed.at(kept.voltage, sets, kept.feeds)
    drawn = found.bus_current
    on_the_way = losses(side.branch, dict(zip(side.ids, amps, strict=True)))
    loss = found.load_loss + POLES * drawn**2
    loss[lit] += taken * (
        on_the_way[1] + on_the_way[2] + charging.bus_voltage * charging.bus_current - battery * charging.current
    )
    voltage, current, power = np.zeros((3, len(side.ids), len(sets)))
    voltage[:, lit], current[:, lit] = taken * volts + (1.0 - taken) * resting, taken * amps
    power[:, lit] = taken * volts * amps
    running = fed.states.by_fan(fed.states.sets[sets].T, turning=True) & kept.feeds
    return (
        BatteryOperation(
            panel_ids=side.ids,
            fan_ids=fed.load.ids,
            running=running,
            fan_voltage=found.fan_voltage,
            fan_current=found.fan_current,
            panel_voltage=voltage,
            panel_current=current,
            panel_power=power,
            loss=loss,
        ),
        drawn,
    )
