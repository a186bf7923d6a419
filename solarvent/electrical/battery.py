"""A battery: its volts by state of charge, and how a charge controller carries it and its load through time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError
from solarvent.plan.house_records import Battery
from solarvent.wiring.circuit import Storage

#: State of charge of a battery at rest of which nothing is said. [-]
_USUAL_STATE = 0.75


@dataclass(frozen=True)
class BatteryLaw:
    """The figures of a battery with its controller; or of one cell of 1 Ah, of which a battery of its kind is made.

    Attributes
    ----------
    capacity : float
        By its label. [Ah]
    states, rest : tuple of float
        State of charge [-] and the open-circuit voltage at it [V], straight between.
    absorption, float_voltage : float
        Held by the controller while the last is charged, and when the battery is full. [V]
    cut_off, reconnect : float
        Under which the load is taken off, and at which it is joined again. [V]
    discharging, charging : float
        Resistance, by the way of the current. [ohm]
    charge_efficiency : float
        Charge given back over charge put in. [-]
    """

    capacity: float
    states: tuple[float, ...]
    rest: tuple[float, ...]
    absorption: float
    float_voltage: float
    cut_off: float
    reconnect: float
    discharging: float
    charging: float
    charge_efficiency: float

    def open_circuit(self, state_of_charge: ArrayLike) -> np.ndarray:
        """Voltage at rest at a state of charge. [V]"""
        return np.asarray(np.interp(np.asarray(state_of_charge, dtype=float), self.states, self.rest))


#: Rest volts of lead-acid: 12.73 V full, 12.10 V half, 11.36 V flat (charts of the trade agree within 0.1 V; from
#: memory). Its resistance while charged stands for the gassing too: 13.3 V at a fifth of the capacity, half full.
#: LiFePO4: 13.6 V full, 13.05 V half, 12.0 V at a tenth (charts of the trade; typical). Absorption, float, cut-off and
#: reconnection as small controllers are set at works (common practice, no source).
CELLS = {
    "lead-acid": BatteryLaw(
        capacity=1.0,
        states=(0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0),
        rest=tuple(
            volts / 6 for volts in (11.36, 11.51, 11.66, 11.81, 11.96, 12.10, 12.24, 12.37, 12.50, 12.62, 12.73)
        ),
        absorption=2.4,
        float_voltage=13.6 / 6,
        cut_off=2.0,
        reconnect=2.1,
        discharging=1.0 / 6,
        charging=1.0,
        charge_efficiency=0.87,
    ),
    "lithium": BatteryLaw(
        capacity=1.0,
        states=(0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.99, 1.0),
        rest=tuple(
            volts / 4 for volts in (10.0, 12.0, 12.8, 12.9, 13.0, 13.05, 13.1, 13.2, 13.3, 13.35, 13.4, 13.6)
        ),
        absorption=3.6,
        float_voltage=3.4,
        cut_off=3.0,
        reconnect=3.2,
        discharging=0.5 / 4,
        charging=0.5 / 4,
        charge_efficiency=0.99,
    ),
}  # fmt: skip
#: Volts of a cell by which the cells of a battery are counted.
_NOMINAL = {"lead-acid": 2.0, "lithium": 3.2}


def battery_law(
    kind: str,
    voltage: float,
    capacity: float,
    cuts_off: bool = True,
    cut_off: float | None = None,
    reconnect: float | None = None,
    absorption: float | None = None,
) -> BatteryLaw:
    """Give the figures of a battery from its label.

    Parameters
    ----------
    kind : {"lead-acid", "lithium"}
        Lithium is LiFePO4.
    voltage : float
        By its label. [V]
    capacity : float
        By its label. [Wh]
    cuts_off : bool
        A controller takes the load off before the battery is flat; without, the load stops when it is.
    cut_off, reconnect, absorption : float, optional
        As the controller is set; by default what is usual for the kind. [V]

    Returns
    -------
    BatteryLaw

    Examples
    --------
    >>> law = battery_law("lead-acid", 12.0, 84.0)
    >>> law.capacity, law.absorption, float(law.open_circuit(0.5).round(2))
    (7.0, 14.4, 12.1)
    """
    cell = CELLS[kind]
    count = max(round(voltage / _NOMINAL[kind]), 1)
    amp_hours = capacity / voltage
    rest = tuple(count * volts for volts in cell.rest)
    if cuts_off:
        off = count * cell.cut_off if cut_off is None else cut_off
        # A reconnection under the cut-off would switch for ever.
        on = max(count * cell.reconnect if reconnect is None else reconnect, off)
    else:
        off, on = rest[0], rest[1]
    highest = round(count * cell.absorption, 9) if absorption is None else absorption
    return BatteryLaw(
        capacity=amp_hours,
        states=cell.states,
        rest=rest,
        absorption=highest,
        float_voltage=min(round(count * cell.float_voltage, 9), highest),
        cut_off=off,
        reconnect=on,
        discharging=count * cell.discharging / amp_hours,
        charging=count * cell.charging / amp_hours,
        charge_efficiency=cell.charge_efficiency,
    )


def law_of(battery: Battery) -> BatteryLaw:
    """Give the figures of a plan's battery, which has a capacity."""
    assert battery.capacity is not None
    return battery_law(
        battery.kind,
        battery.voltage,
        battery.capacity,
        battery.cuts_off,
        battery.cut_off_voltage,
        battery.reconnect_voltage,
        battery.charging_voltage,
    )


def held_at(storage: Storage) -> float:
    """Voltage at which a question about one moment finds the battery: as it was asked, or three quarters full. [V]"""
    if storage.voltage is not None:
        return storage.voltage
    return float(law_of(storage.battery).open_circuit(_USUAL_STATE))


class StoredLoad(NamedTuple):
    """A load on a battery in each set of turning fans: `current`, shape (sets, classes) [A], at the voltages of the
    classes; `following`, shape (classes, sets), is the set that each set becomes."""

    current: np.ndarray
    following: np.ndarray


@dataclass(frozen=True, eq=False)
class Carried:
    """A battery step by step; arrays of shape (steps,).

    Attributes
    ----------
    voltage : array
        At its poles, in the middle of the step. [V]
    state_of_charge : array
        At the end of the step, 0-1. [-]
    charged : array
        Current that the controller takes from the panels, at the voltage of the battery. [A]
    drawn : array
        Current of the load and of the controller itself. [A]
    feeds : array of bool
        The load is wanted, and the controller has not cut it off.
    sets : array of int, shape (loads, steps)
        Which fans of each load turn.
    """

    voltage: np.ndarray
    state_of_charge: np.ndarray
    charged: np.ndarray
    drawn: np.ndarray
    feeds: np.ndarray
    sets: np.ndarray

    @property
    def current(self) -> np.ndarray:
        """Into the battery, negative out of it. [A]"""
        return self.charged - self.drawn


_FULL = 1.0 - 1e-9
_FINE = 512  # parts of the state of charge at which the rest volts are looked up
_CLOSE, _ROUNDS = 2e-3, 8  # volts that agree with the currents so closely, or after so many trials, are taken [V]


def carry(
    law: BatteryLaw,
    offered: np.ndarray,
    knots: np.ndarray,
    wanted: np.ndarray,
    hours: np.ndarray,
    loads: Sequence[StoredLoad],
    classes: np.ndarray,
    own: float = 0.0,
    given_states: Mapping[int, float] | None = None,
) -> Carried:
    """Carry a battery with its controller through time.

    In every step the current of the panels less that of the load goes into the battery, times the charge efficiency, or
    what lacks comes out of it: ``capacity x change of state = efficiency x in - out``. The controller takes no more
    than holds the battery at its absorption voltage, and nothing beyond full, where it holds the float voltage. Under
    the cut-off voltage the load is off until the battery comes to the reconnection voltage. Volts are those in the
    middle of the step.

    Parameters
    ----------
    law : BatteryLaw
        The battery.
    offered : array (knots, steps)
        Current that the panels would give at each of the knots, straight between them; none flows backwards. [A]
    knots : array (knots,)
        Evenly spaced voltages. [V]
    wanted : array (steps,) of bool
        Whether the load is switched on.
    hours : array (steps,)
        Length of each step. [h]
    loads : sequence of StoredLoad
        Each with its own fans.
    classes : array (classes,)
        Evenly spaced voltages. [V]
    own : float
        Current that the controller draws for itself. [A]
    given_states : mapping of int to float, optional
        State of charge at the beginning of some steps; by default it is full at the first. [-]

    Returns
    -------
    Carried

    Raises
    ------
    DomainError
        If a state is not within 0-1.

    Examples
    --------
    A lamp of 1 A on a battery of 10 Ah: two hours of night, then an hour in which the panel gives 3 A.

    >>> volts = np.linspace(10.0, 15.0, 6)
    >>> lamp = StoredLoad(np.ones((1, 6)), np.zeros((6, 1), dtype=np.uint8))
    >>> panel = np.array([0.0, 0.0, 3.0]) * np.ones((6, 1))
    >>> law = battery_law("lead-acid", 12.0, 120.0)
    >>> kept = carry(law, panel, volts, np.ones(3, dtype=bool), np.ones(3), [lamp], volts)
    >>> kept.state_of_charge.round(3).tolist()
    [0.9, 0.8, 0.974]
    """
    given_states = {0: 1.0, **(given_states or {})}
    if wrong := [state for state in given_states.values() if not 0 <= state <= 1]:
        raise DomainError.single("battery", f"a state of charge of {wrong[0]:g} is out of range", "give 0 to 1")
    (first, spacing, last), (first_knot, apart, last_knot) = (_grid(row) for row in (classes, knots))
    rest = law.open_circuit(np.linspace(0.0, 1.0, _FINE + 1)).tolist()
    tables = [(load.current.tolist(), load.following.tolist()) for load in loads]
    turning = [0] * len(loads)
    columns = np.ascontiguousarray(offered.T).tolist()
    found: list[tuple[float, float, float, float, bool]] = []
    sets: list[tuple[int, ...]] = []

    def changed(surplus: float, length: float) -> float:
        """State of charge after a time with a current into the battery, or out of it."""
        efficiency = law.charge_efficiency if surplus > 0 else 1.0
        return min(max(state + efficiency * surplus * length / law.capacity, 0.0), 1.0)

    def settle(column: list[float], length: float, fed: bool) -> tuple[float, float, float]:
        """Volts, charging current and current drawn: where the volts that follow from the currents are those at hand.

        More volts mean less current from the panels and more into the load, so there is one such place.
        """
        at, low, high = volts, -inf, inf
        for turn in range(_ROUNDS):
            place = min(max((at - first_knot) / apart, 0.0), last_knot)
            knot = int(place)
            given = max(column[knot] + (place - knot) * (column[knot + 1] - column[knot]), 0.0)
            # A flat battery feeds not even its controller.
            taken = own if state * law.capacity > own * length else 0.0
            if fed:
                place = min(max((at - first) / spacing, 0.0), last)
                number = int(place)
                for load, (amps, following) in enumerate(tables):
                    if not turn:
                        turning[load] = following[number][turning[load]]
                    row = amps[turning[load]]
                    taken += row[number] + (place - number) * (row[number + 1] - row[number])
            surplus = given - taken
            resting = rest[int(changed(surplus, 0.5 * length) * _FINE + 0.5)]
            if surplus <= 0:
                proposal = resting + law.discharging * surplus
            else:
                proposal = resting + law.charging * surplus
                full = (1.0 - state) * law.capacity / (law.charge_efficiency * length)
                most = max(min((law.absorption - resting) / law.charging, full), 0.0)
                if surplus > most:
                    given = most + taken
                    proposal = law.float_voltage if state >= _FULL else law.absorption
            if abs(proposal - at) < _CLOSE or turn == _ROUNDS - 1:
                break
            low, high = (at, high) if proposal > at else (low, at)
            at = proposal if low < proposal < high else 0.5 * (low + high)
        return at, given, taken

    for step, (column, switched_on, length) in enumerate(zip(columns, wanted.tolist(), hours.tolist(), strict=True)):
        if step in given_states:
            state, connected = given_states[step], True
            volts = float(law.open_circuit(state))
        fed = switched_on and connected
        if not fed:
            turning[:] = [0] * len(turning)
        at, given, taken = settle(column, length, fed)
        if not connected and at >= law.reconnect:
            connected = True
            fed = switched_on
            at, given, taken = settle(column, length, fed)
        if connected and (at < law.cut_off or state * law.capacity < (taken - given) * length):
            connected = fed = False
            turning[:] = [0] * len(turning)
            at, given, taken = settle(column, length, fed)
        volts, state = at, changed(given - taken, length)
        found.append((at, state, given, taken, fed))
        sets.append(tuple(turning))
    voltage, states, charged, drawn, feeds = (np.array(row) for row in zip(*found, strict=True))
    return Carried(voltage, states, charged, drawn, feeds.astype(bool), np.array(sets, dtype=np.intp).T)


def _grid(voltages: np.ndarray) -> tuple[float, float, float]:
    """First and spacing of evenly spaced voltages [V], and the last place between two of them."""
    return float(voltages[0]), float(voltages[1] - voltages[0]), len(voltages) - 1.001


def longest_run(flags: ArrayLike) -> int:
    """Longest run of true values."""
    best = run = 0
    for flag in np.asarray(flags, dtype=bool).tolist():
        run = run + 1 if flag else 0
        best = max(best, run)
    return best
