"""The load side as one table: the current that fans, cables and diodes draw together, by voltage at the bus.

Each fan in a given state (turning, standing on its locked-rotor line, open) is a line of current by voltage. A cable
adds its drop, a diode its own, parallel branches add currents at equal voltage, branches in series add voltages at
equal current. The table keeps the terminal voltage and current of each fan beside the voltage and current at the bus.
All its columns rise together, so any of them can be read by any other; only behind a converter the current may fall.

Between the nodes the table is straight. With the nodes of :func:`voltage_grid` a power law with an exponent of
0.7 to 1.5 is kept to 4e-5 of its current and a diode to 2e-6 V.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from solarvent.base.errors import DomainError

_GRID_RATIO = 1.02
_FIRST_NODE = 1e-4  # V; below it everything is taken as straight to zero


@dataclass(frozen=True, eq=False)
class LoadTable:
    """A load's current [A] by voltage [V] at the bus, shape (nodes,), both rising from 0, and the fans behind it.

    Behind a converter the current may fall. `terminals`, shape (fans, 2, nodes), are voltage [V] and current [A] at
    each fan's terminals; of a converter one row for its input and one for its output.
    """

    voltage: np.ndarray
    current: np.ndarray
    terminals: np.ndarray

    @cached_property
    def rising(self) -> bool:
        """The current rises with the voltage, so that it meets any source once."""
        return bool(np.all(np.diff(self.current) > 0) and np.all(np.diff(self.voltage) > 0))

    @cached_property
    def segments(self) -> tuple[np.ndarray, np.ndarray]:
        """Width [V] of each segment of a rising load, and its slope [S]."""
        width = np.diff(self.voltage)
        return width, np.diff(self.current) / width

    @cached_property
    def stretches(self) -> tuple[tuple[int, int], ...]:
        """First and last node of each stretch in which a source's surplus has one hump at the most, from the top down.

        Where voltage and current both rise, the surplus falls; where both fall, it grows. Where the current falls as
        the voltage rises, and ever less so, the surplus is concave, for so is the current of a diode.
        """
        volts, amps = np.diff(self.voltage), np.diff(self.current)
        kind = np.where(volts > 0, np.where(amps >= 0, 1, 2), np.where((volts < 0) & (amps <= 0), 3, 0))
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = amps / volts
        bent = (kind[1:] == 2) & (slope[1:] < slope[:-1] - 1e-9 * np.abs(slope[:-1]))
        ends = np.flatnonzero((kind[1:] != kind[:-1]) | (kind[1:] == 0) | bent) + 1
        return tuple(zip([0, *ends.tolist()], [*ends.tolist(), len(volts)], strict=True))[::-1]

    def points_within(self, segment: Any, share: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Voltage [V] and current [A] at the bus, and both at each fan's terminals, by node below and share up."""
        columns = (self.voltage, self.current, self.terminals)
        below, above = ([column[..., node] for column in columns] for node in (segment, segment + 1))
        voltage, current, terminals = (low + share * (high - low) for low, high in zip(below, above, strict=True))
        return voltage, current, terminals

    def point_at_terminal(self, fan: int, voltage: float) -> tuple[float, float] | None:
        """Voltage [V] and current [A] at the bus where the terminals of a fan reach a voltage [V].

        None if the table ends before. The fan is its row in `terminals`.

        Examples
        --------
        >>> grid = voltage_grid(20.0)
        >>> behind_a_cable = through(line(grid, grid / 10.0), 2.0)
        >>> [round(value, 9) for value in behind_a_cable.point_at_terminal(0, 5.0)]
        [6.0, 0.5]
        """
        reached = self.terminals[fan, 0]
        if voltage > reached[-1]:
            return None
        return float(np.interp(voltage, reached, self.voltage)), float(np.interp(voltage, reached, self.current))


def voltage_grid(highest: float, extra: Sequence[float] = ()) -> np.ndarray:
    """Nodes [V] for a fan's line: zero, then in steps of 2 % up to the highest voltage that it can meet, above 1e-4 V.

    Further nodes, such as measured points, are left out beyond the highest.

    Examples
    --------
    >>> voltage_grid(20.0, extra=[12.0])[[0, 1, -1]].round(4).tolist()
    [0.0, 0.0001, 20.0]
    """
    # All but the last lie where they lie for any other highest voltage, so that tables of one load agree.
    count = int(np.ceil(np.log(highest / _FIRST_NODE) / np.log(_GRID_RATIO) - 1e-6))
    nodes = np.append(_FIRST_NODE * _GRID_RATIO ** np.arange(max(count, 1)), highest)
    return distinct(np.append(nodes, [0.0, *(node for node in extra if node < highest)]))


def line(voltage: np.ndarray, current: np.ndarray) -> LoadTable:
    """One fan's line as a table, of voltage [V] and current [A], shape (nodes,), both rising from 0.

    Examples
    --------
    >>> line(np.array([0.0, 12.0]), np.array([0.0, 0.3])).points_within(0, 0.5)[1].round(3).tolist()
    0.15
    """
    return LoadTable(voltage, current, np.array([[voltage, current]]))


def through(member: LoadTable, resistance: float = 0.0, diodes: Sequence[tuple[float, float]] = ()) -> LoadTable:
    """A load seen through a cable, of both conductors and all contacts [ohm], and diodes in line.

    Each diode is a saturation current [A] and a slope voltage [V].

    Examples
    --------
    >>> cable = through(line(np.array([0.0, 12.0]), np.array([0.0, 1.2])), resistance=2.0)
    >>> float(np.interp(12.0, cable.voltage, cable.current))
    1.0
    """
    if diodes:
        # A diode bends at currents of the order of its saturation current, far below a fan's first node.
        member = _closer(member, 0.01 * min(saturation_current for saturation_current, _ in diodes))
    voltage = member.voltage + resistance * member.current
    for saturation_current, slope_voltage in diodes:
        voltage = voltage + slope_voltage * np.log1p(member.current / saturation_current)
    return LoadTable(voltage, member.current, member.terminals)


def regulated(member: LoadTable, side: Any) -> LoadTable:
    """A load seen through a converter, as :func:`solarvent.electrical.converter.input_side` makes it of the member.

    The table has the same fans, then one row for the converter's input and one for its output.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> volts = np.array([0.0, 10.0, 20.0])
    >>> halved = SimpleNamespace(voltage=volts, current=volts / 40, output_voltage=volts / 2, output_current=volts / 20)
    >>> regulated(line(volts, volts / 10), halved).terminals[:, 0, -1].tolist()
    [10.0, 20.0, 10.0]
    """
    rows = [
        _between(member.terminals, member.voltage, side.output_voltage),
        np.array([[side.voltage, side.current], [side.output_voltage, side.output_current]]),
    ]
    return LoadTable(side.voltage, side.current, np.concatenate(rows))


def parallel(members: Sequence[LoadTable], counts: Sequence[int]) -> LoadTable:
    """Loads side by side: currents add at equal voltage.

    There is one member for each kind of branch, and how many alike. Their fans follow in order, one row for all alike.

    Raises
    ------
    DomainError
        If a converter lies behind so much resistance that the voltage of its branch is no rising one.

    Examples
    --------
    >>> fan = line(np.array([0.0, 12.0]), np.array([0.0, 0.3]))
    >>> float(parallel([fan], [2]).current[-1])
    0.6
    """
    if any(np.any(np.diff(member.voltage) <= 0) for member in members):
        what = "the wire to a converter is so thin that its voltage collapses under its own current"
        raise DomainError.single("circuit", what, "use thicker or shorter wire before the converter")
    voltage = _merged([member.voltage for member in members])
    current = sum(
        count * np.interp(voltage, member.voltage, member.current)
        for member, count in zip(members, counts, strict=True)
    )
    return LoadTable(
        voltage, current, np.concatenate([_inside(member.terminals, member.voltage, voltage) for member in members])
    )


def series(members: Sequence[LoadTable], counts: Sequence[int]) -> LoadTable:
    """Loads one after the other: voltages add at equal current.

    There is one member for each kind of branch, and how many alike. Their fans follow in order, one row for all alike.

    Examples
    --------
    >>> fan = line(np.array([0.0, 12.0]), np.array([0.0, 0.3]))
    >>> float(series([fan], [2]).voltage[-1])
    24.0
    """
    current = _merged([member.current for member in members])
    voltage = sum(
        count * np.interp(current, member.current, member.voltage)
        for member, count in zip(members, counts, strict=True)
    )
    return LoadTable(
        voltage, current, np.concatenate([_inside(member.terminals, member.current, current) for member in members])
    )


def _closer(member: LoadTable, least: float) -> LoadTable:
    """The same table with further nodes wherever the current changes by more than 2 % from one to the next.

    What it is below the least [A] is of no matter.
    """
    low = np.maximum(np.minimum(member.current[:-1], member.current[1:]), least)
    high = np.maximum(np.maximum(member.current[:-1], member.current[1:]), least)
    counts = np.ceil(np.log(high / low) / np.log(_GRID_RATIO) - 1e-6).astype(int).clip(1)
    segment = np.repeat(np.arange(len(counts)), counts)
    place = np.arange(len(segment)) - np.repeat(np.cumsum(counts) - counts, counts)
    grown = low[segment] * (high / low)[segment] ** (place / counts[segment])
    start, more = member.current[segment], np.diff(member.current)[segment]
    back = more < 0
    grown = np.where(back, low[segment] * high[segment] / grown, grown)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where((place > 0) & (more != 0), np.clip((grown - start) / more, 0.0, 1.0), 0.0)
    columns = np.concatenate([member.terminals.reshape(-1, len(member.voltage)), [member.voltage, member.current]])
    columns = columns[:, segment] + share * (columns[:, segment + 1] - columns[:, segment])
    last = np.concatenate([member.terminals[..., -1].ravel(), [member.voltage[-1], member.current[-1]]])
    columns = np.concatenate([columns, last[:, None]], axis=1)
    return LoadTable(columns[-2], columns[-1], columns[:-2].reshape(*member.terminals.shape[:2], -1))


def _merged(grids: Sequence[np.ndarray]) -> np.ndarray:
    """All nodes up to the lowest of the ends."""
    nodes = np.concatenate(grids)
    return distinct(nodes[nodes <= min(grid[-1] for grid in grids)])


def distinct(nodes: np.ndarray) -> np.ndarray:
    """Sorted, without those that differ by rounding only."""
    nodes = np.unique(nodes)
    return nodes[np.concatenate([[True], np.diff(nodes) > 1e-9 * nodes[1:]])]


def _segment(nodes: np.ndarray, values: Any) -> np.ndarray:
    """Index of the segment that each value lies in, or of the nearest."""
    return np.clip(np.searchsorted(nodes, values, side="right") - 1, 0, len(nodes) - 2)


def _between(columns: np.ndarray, nodes: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Columns (..., nodes) read between their nodes."""
    segment = _segment(nodes, values)
    share = (values - nodes[segment]) / (nodes[segment + 1] - nodes[segment])
    return columns[..., segment] + share * (columns[..., segment + 1] - columns[..., segment])


def _inside(columns: np.ndarray, nodes: np.ndarray, values: np.ndarray) -> np.ndarray:
    """As :func:`_between`, of values that none of the nodes ends before; twice as quick."""
    rows = [np.interp(values, nodes, column) for column in columns.reshape(-1, len(nodes))]
    return np.array(rows).reshape(*columns.shape[:-1], -1)
