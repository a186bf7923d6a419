"""Which fans of a circuit turn: every running set tested at every step, and the set of each step."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from solarvent.electrical import operate as running
from solarvent.electrical.branches import LoadSide, State
from solarvent.electrical.kick_start import capacitor_start_voltage
from solarvent.electrical.settle import settle
from solarvent.electrical.source_side import SourceSide
from solarvent.wiring.circuit import Branch, Joined, Leaf, Through, fed_by, leaves


class RunningSets:
    """The running sets of a load.

    Parameters
    ----------
    load : LoadSide
        With its fans.

    Attributes
    ----------
    groups : tuple of tuple of str
        Interchangeable fans.
    sets : array (sets, groups) of int
        How many of each group turn.
    start_order, stop_order : list of int
        Of the groups.
    """

    def __init__(self, load: LoadSide) -> None:
        self.load = load
        self.groups = load.groups()
        self.sets = running.running_sets([len(group) for group in self.groups])
        in_series = _in_series(load.branch)
        self._rest: dict[str, State] = {
            name: "retrying" if load.fans[name].retrying and name not in in_series else "held" for name in load.ids
        }
        first = [load.fans[group[0]] for group in self.groups]
        order = range(len(first))
        self.start_order = sorted(order, key=lambda group: first[group].start_voltage)
        self.stop_order = sorted(order, key=lambda group: (-self._falls_at(group), -group))

    def standing(self, position: int, retrying: State | None = None) -> dict[str, State]:
        """The state of each fan in a set; standing retrying fans may be put into another state."""
        states: dict[str, State] = {}
        for group, count in zip(self.groups, self.sets[position], strict=True):
            for place, name in enumerate(group):
                rest = retrying if retrying and self._rest[name] == "retrying" else self._rest[name]
                states[name] = "turning" if place < count else rest
        return states

    def attempt(self, position: int, group: int) -> tuple[dict[str, State], str] | None:
        """The states while a standing fan of a group tries to start, and which fan it is; None if all turn."""
        count = self.sets[position, group]
        if count == len(self.groups[group]):
            return None
        trying = self.groups[group][count]
        return self.standing(position, retrying="open") | {trying: "held"}, trying

    def kick(self, position: int, group: int) -> tuple[dict[str, State], str, float] | None:
        """The states while the capacitor of a standing fan is charged, which fan it is, and up to which voltage.

        None if all fans of the group turn, or have none.
        """
        attempt = self.attempt(position, group)
        fan = self.load.fans[self.groups[group][0]]
        if attempt is None or not fan.start_capacitor or self._rest[attempt[1]] != "retrying":
            return None
        volts = float(capacitor_start_voltage(fan.start_voltage, fan.start_capacitor))
        return self.standing(position, retrying="open"), attempt[1], volts

    def by_fan(self, by_group: np.ndarray, turning: bool | None = None) -> np.ndarray:
        """Rows of groups as rows of fans; counts become which fans turn, or which stand."""
        rows = {}
        for group, row in zip(self.groups, by_group, strict=True):
            for place, name in enumerate(group):
                rows[name] = row if turning is None else (place < row) == turning
        return np.array([rows[name] for name in self.load.ids])

    def _falls_at(self, group: int) -> float:
        """Voltage at the bus at which a group falls to its stop voltage, when all fans turn."""
        fan = self.load.fans[self.groups[group][0]]
        table, rows = self.load.table(self.standing(len(self.sets) - 1))
        reached = table.point_at_terminal(rows[fan.id], fan.stop_voltage)
        return reached[0] if reached else float("inf")


class RunningStates(RunningSets):
    """The running sets of a circuit tested at every step, and the set of every step.

    Parameters
    ----------
    source, load
        Both sides of the circuit.

    Attributes
    ----------
    keeps, starts : array (sets, groups, steps) of bool
        Whether the turning fans of a group keep turning, and whether a standing one can start.
    """

    def __init__(self, source: SourceSide, load: LoadSide) -> None:
        super().__init__(load)
        self.source = source
        self._hunts = np.zeros((len(self.sets), len(load.converters), source.steps), dtype=bool)
        self.keeps, self.starts = self._tests()

    @cached_property
    def reached(self) -> np.ndarray:
        """Index of the set of every step, beginning with all fans standing."""
        table = running.transitions(self.sets, self.keeps, self.starts, self.start_order, self.stop_order)
        return running.pass_in_time(table)

    @property
    def hunting(self) -> np.ndarray:
        """Where a fan stands and could start, but would fall back or pull another one down, shape (fans, steps)."""
        found = running.hunting(self.sets, self.keeps, self.starts, self.reached)
        return self.by_fan(self.sets[self.reached].T, turning=False) & self.by_fan(found)

    @property
    def failed_attempts(self) -> np.ndarray:
        """Where a converter falls off when a standing fan tries to start, shape (converters, steps)."""
        return self._hunts[self.reached, :, np.arange(self.source.steps)].T

    def _tests(self) -> tuple[np.ndarray, np.ndarray]:
        """Whether the fans of each group keep turning, and whether one can start, by set and step."""
        shape = (*self.sets.shape, self.source.steps)
        keeps, starts = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for position, members in enumerate(self.sets):
            states = self.standing(position)
            for place, (group, count) in enumerate(zip(self.groups, members, strict=True)):
                fan = self.load.fans[group[0]]
                if count:
                    keeps[position, place] = self._reaches(states, group[0], fan.stop_voltage)
                if attempt := self.attempt(position, place):
                    starts[position, place] = self._reaches(*attempt, fan.start_voltage, position)
                if charged := self.kick(position, place):
                    starts[position, place] |= self._reaches(*charged)
        for row, name in enumerate(self.load.converters):
            fed = fed_by(self.load.branch, name)
            behind = np.array([group[0] in fed for group in self.groups])
            self._hunts[:, row] = running.fall_together(self.sets, keeps, starts, self._hunts[:, row], behind)
        return keeps, starts

    def _reaches(
        self, states: Mapping[str, State], name: str, voltage: float, position: int | None = None
    ) -> np.ndarray:
        """Whether the source brings a fan's terminals to a voltage, by step; an attempt may make converters hunt."""
        table, rows = self.load.table(states)
        if self.load.converters or not table.rising:
            at_rest = settle(self.source.source, self.load, states, self.source.steps)
            if position is not None:
                self._hunts[position] |= at_rest.hunting
            return at_rest.fans[self.load.ids.index(name), 0] >= voltage
        needed = table.point_at_terminal(rows[name], voltage)
        if needed is None:
            return np.zeros(self.source.steps, dtype=bool)
        return self.source.source.spare(*needed) >= 0


def _in_series(branch: Branch) -> set[str]:
    """The fans that lie in a series string."""
    match branch:
        case Leaf():
            return set()
        case Through(child=child):
            return _in_series(child)
        case Joined("series", _):
            return set(leaves(branch))
    return {name for member in branch.members for name in _in_series(member)}
