"""One panel and a load, for many panels, loads and hours: thresholds and voltages without a search for roots.

The light that takes a load to any point of its curve is explicit, and with it the light from which a fan starts or
keeps turning. The voltage in a given light is read off the same points backwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from solarvent.electrical import operate as running
from solarvent.electrical.branches import FanElectrical, LoadSide
from solarvent.electrical.load import LoadTable
from solarvent.electrical.running_states import RunningSets
from solarvent.studies.size_points import HeldPoints, Light, needed_light
from solarvent.wiring.circuit import Branch, Leaf, Through

_BRIGHTEST, _APART = 2000.0, 4000.0  # W/m2


class Load:
    """Fans behind their leads, whose tables serve for panels of any size.

    Parameters
    ----------
    branch : Leaf, Through or Joined
        The load side of the circuit, with all that lies in line.
    fans : mapping of str to FanElectrical
        By id.
    highest : float
        Open-circuit voltage of the panel in the cold, or more. [V]
    """

    def __init__(self, branch: Branch, fans: Mapping[str, FanElectrical], highest: float) -> None:
        side = LoadSide(branch, fans, highest)
        self.running = running_sets = RunningSets(side)
        self.sets, self.groups = running_sets.sets, running_sets.groups
        self.side = side
        #: (set, group) -> the points of the load from which on the turning fans keep turning, or a standing one starts.
        self._resting: dict[tuple[int, int], tuple[np.ndarray, np.ndarray, np.ndarray, bool]] = {}
        self.keeping: dict[tuple[int, int], HeldPoints] = {}
        self.starting: dict[tuple[int, int], list[HeldPoints]] = {}
        for position, members in enumerate(self.sets):
            for place, (group, count) in enumerate(zip(self.groups, members, strict=True)):
                fan = fans[group[0]]
                if count:
                    states = running_sets.standing(position)
                    self.keeping[position, place] = self._test(states, group[0], fan.stop_voltage)
                if attempt := running_sets.attempt(position, place):
                    self.starting[position, place] = [self._test(*attempt, fan.start_voltage)]
                if charged := running_sets.kick(position, place):
                    self.starting[position, place].append(self._test(*charged))
        self.tables = [side.table(running_sets.standing(position)) for position in range(len(self.sets))]
        #: set -> the points at which its converter stays on while one more fan tries to start; without one, none.
        self._trying: dict[int, list[HeldPoints]] = {}

    def resting(self, position: int, place: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, bool]:
        """The points of a set at which a group's fans keep turning.

        Returns
        -------
        voltage, current : array
            At the bus. [V], [A]
        terminal : array
            Voltage at the fans. [V]
        rising : bool
            The current rises with the voltage.
        """
        if (position, place) not in self._resting:
            table, rows = self.tables[position]
            name = self.groups[place][0]
            terminal = table.terminals[rows[name], 0]
            kept = np.flatnonzero(self.on(table, rows) & (terminal >= self.side.fans[name].stop_voltage))
            # The node below belongs to it, unless a converter comes on between the two.
            first = kept[0] - 1 if len(kept) and table.rising and kept[0] > 0 else kept[0] if len(kept) else 0
            chosen = slice(first, None)
            self._resting[position, place] = (
                table.voltage[chosen], table.current[chosen], terminal[chosen], table.rising,
            )  # fmt: skip
        return self._resting[position, place]

    def comes_on(self, light: Light, size: float) -> np.ndarray | bool:
        """Whether the panel has the voltage for a converter that may fall off again to come on, at every moment."""
        volts = [law.cut_in for law in self.side.converters.values() if law.cut_out > 0]
        return not volts or light.irradiance >= needed_light(light.diode, size, np.array(max(volts)), np.zeros(1))

    def trying(self, position: int) -> list[HeldPoints]:
        """The points at which the converter stays on while one more fan tries to start, for each that may try."""
        if position not in self._trying:
            attempts = [self.running.attempt(position, group) for group in range(len(self.groups))]
            self._trying[position] = [self.held(*self.side.table(attempt[0])) for attempt in attempts if attempt]
        return self._trying[position]

    def held(self, table: LoadTable, rows: Mapping[str, int]) -> HeldPoints:
        """The points of a table at which the converter is on."""
        on = self.on(table, rows)
        return HeldPoints(table.voltage[on], table.current[on])

    def on(self, table: LoadTable, rows: Mapping[str, int]) -> np.ndarray:
        """Tell at which points of a table all converters are on."""
        found = np.ones(len(table.voltage), dtype=bool)
        for name, law in self.side.converters.items():
            found &= table.terminals[rows[name], 0] >= law.cut_out
        return found

    def _test(self, states: Mapping[str, str], name: str, voltage: float) -> HeldPoints:
        """The points of the load at which a fan's terminals have a voltage."""
        table, rows = self.side.table(states)  # type: ignore[arg-type]
        if table.rising:
            point = table.point_at_terminal(rows[name], voltage)
            volts, amps = (np.array([value]) for value in point) if point else (np.empty(0), np.empty(0))
        else:
            terminal, on = table.terminals[rows[name], 0], self.on(table, rows)
            enough = (terminal >= voltage) & on
            # Between two nodes lies the very point at which the terminals come to the voltage.
            at = np.flatnonzero(on[:-1] & on[1:] & (enough[:-1] != enough[1:]))
            share = (voltage - terminal[at]) / (terminal[at + 1] - terminal[at])
            volts, amps = (
                np.concatenate([nodes[enough], nodes[at] + share * (nodes[at + 1] - nodes[at])])
                for nodes in (table.voltage, table.current)
            )
            order = np.argsort(volts, kind="stable")
            volts, amps = volts[order], amps[order]
        return HeldPoints(volts, amps)


@dataclass(frozen=True, eq=False)
class Course:
    """What a design does, moment by moment.

    Attributes
    ----------
    turning : array (groups, moments) of int
        How many fans of each group turn.
    voltage : array (groups, moments)
        At the turning fans; 0 where none turns. [V]
    reached : array (moments,) of int
        The running set, as an index of those of the load.
    failing : array (moments,) of bool
        The converter falls off when a standing fan tries to start.
    """

    turning: np.ndarray
    voltage: np.ndarray
    reached: np.ndarray
    failing: np.ndarray


def course(load: Load, light: Light, size: float) -> Course:
    """Carry a design through its moments.

    Parameters
    ----------
    load : Load
        The fans and all that lies between them and the panel.
    light : Light
        On the panel.
    size : float
        Of the panel, as a share of the reference: all its currents are so many times as large.

    Returns
    -------
    Course
        As :func:`solarvent.electrical.operation.operate` gives it, to a few hundredths of a volt.
    """
    sets, substeps = load.sets, light.irradiance.size
    keeps, starts = np.ones((*sets.shape, substeps), dtype=bool), np.zeros((*sets.shape, substeps), dtype=bool)
    comes_on = load.comes_on(light, size)
    for key, test in load.keeping.items():
        keeps[key] = comes_on & (light.irradiance >= test.light(light, size))
    for key, tests in load.starting.items():
        limits = np.broadcast_arrays(*(test.light(light, size) for test in tests))
        starts[key] = comes_on & (light.irradiance >= np.min(limits, axis=0))
    failing = np.zeros((len(sets), substeps), dtype=bool)
    if comes_on is not True:
        for position in range(len(sets)):
            for points in load.trying(position):
                failing[position] |= comes_on & (light.irradiance < points.light(light, size))
        failing = running.fall_together(sets, keeps, starts, failing, np.ones(sets.shape[1], dtype=bool))
    order = load.running.start_order, load.running.stop_order
    reached = running.pass_in_time(running.transitions(sets, keeps, starts, *order))
    voltage = np.zeros((sets.shape[1], substeps))
    in_order = reached[light.order]
    for position in np.flatnonzero(np.bincount(reached, minlength=len(sets))).tolist():
        here = light.order[in_order == position]
        for place, count in enumerate(sets[position]):
            if count:
                voltage[place, here] = _voltage(load, position, place, light, size, here)
    return Course(sets[reached].T, voltage, reached, failing[reached, np.arange(substeps)])


def _voltage(load: Load, position: int, place: int, light: Light, size: float, here: np.ndarray) -> np.ndarray:
    """Voltage of a group's turning fans in some of the moments: between the curves of the next two temperatures. [V]"""
    volts, amps, terminal, rising = load.resting(position, place)
    lights = needed_light(light.nodes, size, volts[:, None], amps[:, None])
    if not rising:
        # Where the load bends back, less light serves a point higher up: only that one is come to.
        lights = np.minimum.accumulate(lights[::-1], axis=0)[::-1]
    # One curve after the other on one axis, so that a single reading serves them all.
    lights = np.minimum(lights, _BRIGHTEST)
    along = (lights + _APART * np.arange(lights.shape[1])).T.ravel()
    reached = np.tile(terminal, lights.shape[1])
    below, share = light.place
    asked = np.clip(light.irradiance[here], 0.0, _BRIGHTEST)
    node = below[here]
    low, high = (
        np.interp(np.maximum(asked, lights[0][node + side]) + _APART * (node + side), along, reached) for side in (0, 1)
    )
    return low + share[here] * (high - low)


def hunting(load: Load, light: Light, size: float, done: Course) -> dict[str, np.ndarray]:
    """Find when the converter of a load has the voltage to come on, and the panel cannot hold it.

    It may fail with the fans as they are, or when a standing one of them tries to start.

    Parameters
    ----------
    load : Load
        With one converter at the most.
    light, size
        As for :func:`course`.
    done : Course
        What that gave.

    Returns
    -------
    dict of str to array (moments,) of bool
        By converter, as :func:`solarvent.electrical.operation.operate` tells it.
    """
    found = {}
    for name in load.side.converters:
        hunts, comes_on = done.failing.copy(), load.comes_on(light, size)
        for position in np.flatnonzero(np.bincount(done.reached)) if comes_on is not True else ():
            least = load.held(*load.tables[position]).light(light, size)
            hunts |= (done.reached == position) & comes_on & (light.irradiance < least)
        found[name] = hunts
    return found


def in_line(source: Branch, load: Branch) -> Branch | None:
    """The load with what lies in line with a single panel put before it; None if the source is no single panel."""
    match source:
        case Leaf():
            return load
        case Through(child, resistance, diode, parts):
            return in_line(child, Through(load, resistance, diode, parts))
    return None
