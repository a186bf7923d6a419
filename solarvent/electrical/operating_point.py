"""What a circuit does with every fan in a given state, converters included."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from solarvent.electrical.branches import LoadSide, State, losses
from solarvent.electrical.intersection import Source, Wanted, any_held, held, held_of_each, locate
from solarvent.electrical.source_side import SourceSide
from solarvent.wiring.circuit import fed_by

#: Points of a load that are asked of a source at once, counted in all steps.
_AT_ONCE = 200_000


@dataclass(frozen=True, eq=False)
class Ports:
    """Voltages and currents of a circuit whose fans are in a given state, at some of its steps.

    `voltage` is that at the bus [V], shape (steps,); `terminals`, shape (fans, 2, steps), are voltage [V] and current
    [A] of each fan; `converters`, shape (converters, 2, 2, steps), the same at the input and at the output of each;
    `hunting` is of shape (converters, steps).
    """

    voltage: np.ndarray
    terminals: np.ndarray
    converters: np.ndarray
    hunting: np.ndarray

    def at(self, steps: np.ndarray) -> Ports:
        """What was found in some of the steps, by their index."""
        return Ports(*(getattr(self, field.name)[..., steps] for field in fields(self)))

    @classmethod
    def of_steps(cls, parts: Sequence[tuple[np.ndarray, Ports]], load: LoadSide, steps: int) -> Ports:
        """Put together what was found in some of the steps each."""
        if len(parts) == 1:
            return parts[0][1]
        fans, laws = len(load.ids), len(load.converters)
        whole = cls(
            np.empty(steps), np.empty((fans, 2, steps)), np.empty((laws, 2, 2, steps)), np.empty((laws, steps), bool)
        )
        for here, part in parts:
            for field in fields(cls):
                getattr(whole, field.name)[..., here] = getattr(part, field.name)
        return whole


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """What a circuit does with every fan in a given state, step by step."""

    source: SourceSide
    load: LoadSide
    ports: Ports

    @property
    def panel_ids(self) -> tuple[str, ...]:
        """Order of the rows of panels."""
        return self.source.ids

    @property
    def fan_ids(self) -> tuple[str, ...]:
        """Order of the rows of fans."""
        return self.load.ids

    @property
    def converter_ids(self) -> tuple[str, ...]:
        """Order of the rows of converters."""
        return tuple(self.load.converters)

    @property
    def bus_voltage(self) -> np.ndarray:
        """At the bus, between source and load, shape (steps,). [V]"""
        return self.ports.voltage

    @property
    def fan_voltage(self) -> np.ndarray:
        """At the fans' terminals, shape (fans, steps). [V]"""
        return self.ports.terminals[:, 0]

    @property
    def fan_current(self) -> np.ndarray:
        """At the fans' terminals, shape (fans, steps). [A]"""
        return self.ports.terminals[:, 1]

    @cached_property
    def converter_power(self) -> np.ndarray:
        """Heat in each converter, shape (converters, steps). [W]"""
        powers = self.ports.converters.prod(axis=2)
        return np.asarray(powers[:, 0] - powers[:, 1])

    @cached_property
    def _load_losses(self) -> tuple[np.ndarray, ...]:
        """Current at the bus [A], and the heat in cables, diodes and converters on the load side [W]."""
        inlets = zip(self.ports.converters[:, 0, 1], self.converter_power, strict=True)
        currents = dict(zip(self.fan_ids, self.fan_current, strict=True))
        return losses(self.load.branch, currents, dict(zip(self.converter_ids, inlets, strict=True)))

    @cached_property
    def _source_losses(self) -> tuple[np.ndarray, ...]:
        return losses(self.source.branch, dict(zip(self.panel_ids, self.panel_current, strict=True)))

    @property
    def bus_current(self) -> np.ndarray:
        """At the bus, shape (steps,). [A]"""
        return self._load_losses[0]

    @cached_property
    def _panel_terminals(self) -> tuple[np.ndarray, np.ndarray]:
        return self.source.terminals(self.bus_voltage, self.bus_current)

    @property
    def panel_voltage(self) -> np.ndarray:
        """At the panels' own terminals, shape (panels, steps). [V]"""
        return self._panel_terminals[0]

    @property
    def panel_current(self) -> np.ndarray:
        """At the panels' own terminals, shape (panels, steps). [A]"""
        return self._panel_terminals[1]

    @property
    def cable_loss(self) -> np.ndarray:
        """Heat in cables and contacts, shape (steps,). [W]"""
        return self._source_losses[1] + self._load_losses[1]

    @property
    def diode_loss(self) -> np.ndarray:
        """Heat in diodes in line, shape (steps,). [W]"""
        return self._source_losses[2] + self._load_losses[2]

    @property
    def converter_loss(self) -> np.ndarray:
        """Heat in all converters, shape (steps,). [W]"""
        return self._load_losses[3]

    @property
    def load_loss(self) -> np.ndarray:
        """Heat in cables, diodes and converters of the load side, shape (steps,). [W]"""
        return np.asarray(np.sum(self._load_losses[1:], axis=0))

    @property
    def panel_power(self) -> np.ndarray:
        """At the panels' own terminals, shape (panels, steps). [W]"""
        return self.panel_voltage * self.panel_current

    @property
    def loss(self) -> np.ndarray:
        """Heat in cables, contacts, diodes and converters, shape (steps,). [W]"""
        return self.cable_loss + self.diode_loss + self.converter_loss

    @property
    def open_circuit_voltage(self) -> np.ndarray:
        """At the bus, with the load taken off, shape (steps,). [V]"""
        return self.source.generator.voltage_at(np.zeros(self.source.steps))[0]

    @property
    def short_circuit_current(self) -> np.ndarray:
        """At the bus, with the load shorted, shape (steps,). [A]"""
        return self.source.generator.current_at(np.zeros(self.source.steps))[0]


def ports(source: Source, load: LoadSide, states: Mapping[str, State], steps: int) -> Ports:
    """Find the voltages and currents with every fan in a given state.

    A converter comes on when its input, with it still off, reaches its cut-in voltage. The circuit then rests at the
    highest point that the source can hold; if that lies below the converter's cut-out voltage, it is off, and hunting.
    """
    laws = load.converters
    if not laws:
        table, rows = load.table(states)
        voltage, _, terminals = table.points_within(*locate(source, table))
        none = np.zeros((0, 2, 2, steps))
        return Ports(voltage, terminals[[rows[name] for name in load.ids]], none, none[:, 0, 0].astype(bool))
    off = np.zeros((len(laws), steps), dtype=bool)
    for row, (name, law) in enumerate(laws.items()):
        if law.cut_in > 0:
            off[row] = ~comes_to(source, load, {**states, name: "open"}, name, law.cut_in)
    found = np.zeros(steps), np.zeros((len(load.ids) + 2 * len(laws), 2, steps))
    cut_out = np.array([law.cut_out for law in laws.values()])
    changed = np.ones(steps, dtype=bool)
    while changed.any():
        _rest(source, load, states, off, changed, *found)
        falls = ~off & (found[1][len(load.ids) :: 2, 0] < cut_out[:, None])
        off |= falls
        changed = np.asarray(np.any(falls, axis=0))
    voltage, terminals = found
    inout = terminals[len(load.ids) :].reshape(len(laws), 2, 2, steps)
    cut_in = np.array([law.cut_in for law in laws.values()])
    return Ports(voltage, terminals[: len(load.ids)], inout, off & (inout[:, 0, 0] >= cut_in[:, None]))


def turning_voltage(
    source: Source, load: LoadSide, states: Mapping[str, State], names: Sequence[str], steps: int
) -> np.ndarray:
    """Voltage at the terminals of some fans that turn, as :func:`ports` finds it; shape (names, steps). [V]

    One converter that feeds them all is on, or they would not turn.
    """
    fed = fed_by(load.branch, *load.converters) if len(load.converters) == 1 else set()
    if load.switches and not set(names) <= fed:
        return ports(source, load, states, steps).terminals[[load.ids.index(name) for name in names], 0]
    table, rows = load.table(states)
    segment, share = locate(source, table)
    columns = [table.terminals[rows[name], 0] for name in names]
    return np.array([column[segment] + share * np.diff(column)[segment] for column in columns])


def _rest(
    source: Source,
    load: LoadSide,
    states: Mapping[str, State],
    off: np.ndarray,
    chosen: np.ndarray,
    voltage: np.ndarray,
    terminals: np.ndarray,
) -> None:
    """Put into arrays where the circuit rests in the chosen steps, with the converters off that are off in each."""
    names, steps = tuple(load.converters), np.flatnonzero(chosen)
    # Which converters are off, written as one number.
    pattern = 2 ** np.arange(len(names)) @ off[:, steps]
    for each in np.flatnonzero(np.bincount(pattern)).tolist():
        here = steps[pattern == each]
        none: dict[str, State] = {name: "open" for row, name in enumerate(names) if each >> row & 1}
        table, rows = load.table({**states, **none})
        order = [rows[name] for name in load.ids] + [rows[name] + end for name in names for end in (0, 1)]
        volts, _, ends = table.points_within(*locate(source.at(here), table))
        voltage[here], terminals[..., here] = volts, ends[order]


def comes_to(source: Source, load: LoadSide, states: Mapping[str, State], name: str, voltage: float) -> np.ndarray:
    """Whether the terminals of a fan, or the input of a converter, come to a voltage [V], by step."""
    return held(source, _wanted(load, states, name, voltage))


def _wanted(load: LoadSide, states: Mapping[str, State], name: str, voltage: float, first: int = 0) -> Wanted:
    """What a source is to hold if the terminals of a fan, or the input of a converter, are to come to a voltage [V].

    The terminals rise along the load, so they do if a point is held at which they have that voltage, or a node above.
    Nodes below a first one are left out.
    """
    table, rows = load.table(states)
    terminal = table.terminals[rows[name], 0]
    if table.rising and not first:
        return Wanted(table, len(terminal), table.point_at_terminal(rows[name], voltage))
    node = max(int(np.searchsorted(terminal, voltage)), first)
    if not first < node < len(terminal):
        return Wanted(table, node)
    share = (voltage - terminal[node - 1]) / (terminal[node] - terminal[node - 1])
    volts, amps, _ = table.points_within(node - 1, share)
    return Wanted(table, node, (float(volts), float(amps)))


def reached_each(
    source: Source, load: LoadSide, questions: Sequence[tuple[Mapping[str, State], str, float]], steps: int
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Whether the terminals of fans come to voltages [V], the fans being in given states; for many questions at once.

    Each is the states, a fan and a voltage. Gives the answers by step, and which converters hunt, (converters, steps).
    """
    if not load.switches:
        none = np.zeros((len(load.converters), steps), dtype=bool)
        wanted = [_wanted(load, *question) for question in questions]
        rising = all(each.table.rising for each in wanted)
        return [(row, none) for row in (_points_held if rising else held_of_each)(source, wanted)]
    if len(load.converters) > 1:
        rest = ((ports(source, load, states, steps), name, voltage) for states, name, voltage in questions)
        return [(found.terminals[load.ids.index(name), 0] >= voltage, found.hunting) for found, name, voltage in rest]
    return _reached_behind(source, load, questions)


def _reached_behind(
    source: Source, load: LoadSide, questions: Sequence[tuple[Mapping[str, State], str, float]]
) -> list[tuple[np.ndarray, np.ndarray]]:
    """What :func:`reached_each` gives for a load with one converter, which comes on and falls off."""
    (regulator,) = load.converters
    fed, cut_in = fed_by(load.branch, regulator), load.converters[regulator].cut_in
    wanted, wanted_on = [], []
    for states, name, voltage in questions:
        (table, rows), first = load.table(states), _first_on(load, states, regulator)
        wanted.append(_wanted(load, states, name, voltage, first))
        # Where the converter, once it is on, gives less at first, it may stay on though the fan does not start.
        weak = table.terminals[rows[name], 0, first] < voltage
        wanted_on.append(Wanted(table, first if weak else len(table.voltage)))
    answers = held_of_each(source, [*wanted, *wanted_on])
    known: dict[tuple, np.ndarray] = {}
    found = []
    for number, (states, name, voltage) in enumerate(questions):
        # What is behind a converter that is off makes no difference, so that many sets are one here.
        off: Mapping[str, State] = {**states, **dict.fromkeys(fed, "open"), regulator: "open"}
        key = tuple(off[fan] for fan in load.ids)
        if key not in known:
            known[key] = comes_to(source, load, off, regulator, cut_in)
        comes = known[key] & answers[number]
        hunts = known[key] & ~comes & ~answers[len(questions) + number]
        if name not in fed:
            idle = np.flatnonzero(~known[key] | hunts)
            comes[idle] = comes_to(source.at(idle), load, off, name, voltage)
        found.append((comes, hunts[None]))
    return found


def _points_held(source: Source, wanted: Sequence[Wanted]) -> np.ndarray:
    """Whether a source holds single points of loads, (points, steps); the source is asked for all of them together."""
    steps = np.size(source.voltage_bound)
    found = np.zeros((len(wanted), steps), dtype=bool)
    asked = np.flatnonzero([each.point is not None for each in wanted])
    most = max(_AT_ONCE // max(steps, 1), 8)
    for first in range(0, len(asked), most):
        some = asked[first : first + most]
        volts, amps = np.array([wanted[number].point for number in some]).T[..., None]
        found[some] = source.can_supply(volts, amps)
    return found


def hunting(source: Source, load: LoadSide, states: Mapping[str, State], steps: int) -> np.ndarray:
    """Where a converter has the voltage to come on, and the source cannot hold it; shape (converters, steps)."""
    if len(load.converters) > 1:
        return ports(source, load, states, steps).hunting
    hunts = np.zeros((len(load.converters), steps), dtype=bool)
    if load.switches:
        (regulator,) = load.converters
        off: Mapping[str, State] = {**states, regulator: "open"}
        come_on = comes_to(source, load, off, regulator, load.converters[regulator].cut_in)
        hunts[0] = come_on & ~any_held(source, load.table(states)[0], _first_on(load, states, regulator))
    return hunts


def _first_on(load: LoadSide, states: Mapping[str, State], regulator: str) -> int:
    """The first node of a load at which its converter is on."""
    table, rows = load.table(states)
    return int(np.searchsorted(table.terminals[rows[regulator], 0], load.converters[regulator].cut_out))
