"""What every source can be asked, and where one meets a load, which is tried at the points of its table.

A source tells of any voltage and current, without a search, whether it can supply them. The highest node of the load
that it can supply has the operating point just above it. A load whose current rises is met once: Newton's steps along
it begin beside that point. A load that draws constant power meets a panel at several points. Those where its current
rises faster than the panel's falls away are unstable; a capacitor at the input, coming down from the open circuit,
settles at the point of highest voltage.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np

from solarvent.electrical.load import LoadTable
from solarvent.electrical.roots import find_root

_SHARE_TOLERANCE = 1e-7  # of a segment; a last Newton step leaves a far smaller error
_PLACE_TOLERANCE = 1e-9  # of the number of the node; a last Newton step leaves a far smaller error
_STEP_TOLERANCE = 2e-5  # of the voltage; the error that is left goes with its square
_FREE_ROUNDS = 4  # of Newton's steps without a bracket; nearly all come to rest in the first
_MOST_STRETCHES = 16  # a load with more of them is tried node by node
_BLOCK, _TRIALS = 8, 2**17  # nodes at once, at least; nodes and steps together of one round, about


#: Voltages [V] and currents [A] of some points of a load.
Points = tuple[np.ndarray, np.ndarray]


class Source(Protocol):
    """What every source can be asked."""

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""

    def node_near(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray | None:
        """About where it meets a load that rises through nodes [V], [A], in nodes; None if only a search tells."""

    @property
    def single_humped(self) -> bool:
        """Along a load that draws less as the voltage rises, its surplus has one hump; see
        :class:`solarvent.electrical.load.LoadTable`."""

    def highest_of(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray | None:
        """The highest of some points [V], [A] that it can supply, by step, or -1; None if it does not know."""

    def supplies_any(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
        """Whether it supplies any of some points [V], [A], and in which steps that is near; None if a trial tells."""

    def supplies_any_of_each(self, loads: Sequence[Points]) -> Sequence[np.ndarray] | None:
        """Whether it supplies any of the points of each load, by step; None if one load at a time is quicker."""

    def can_supply(self, voltage: Any, current: Any) -> np.ndarray:
        """Whether it can keep this voltage [V] while giving at least this current [A]."""

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """What it has beyond this voltage [V] and current [A]; 0 on its own curve.

        In whatever unit is explicit: amperes, or volts of a string.
        """

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """The surplus, and its derivatives by voltage and current."""

    def at(self, steps: Any) -> Source:
        """The source in some of the steps, by their index."""


class Generator(Source, Protocol):
    """What a source of panels can be asked besides."""

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel behind this source, in order."""

    def at(self, steps: Any) -> Generator:
        """The source in some of the steps, by their index."""

    def in_series(self, count: int) -> Generator:
        """As many of these alike in series, as one."""

    def in_parallel(self, count: int) -> Generator:
        """As many of these alike in parallel, as one."""


def intersect(source: Source, table: LoadTable) -> tuple[np.ndarray, np.ndarray]:
    """Operating point of a source on a load, of highest voltage where there are several, for all steps at once.

    Parameters
    ----------
    source : Source
        Its arrays are of shape (steps,).
    table : LoadTable
        The load, from zero to beyond the open circuit.

    Returns
    -------
    voltage : array (steps,)
        At the bus, between source and load; 0 in the dark. [V]
    current : array (steps,)
        [A]

    Examples
    --------
    >>> from solarvent.electrical.load import line, voltage_grid
    >>> from solarvent.electrical.panel_source import PanelSource
    >>> grid = voltage_grid(25.0)
    >>> panel = PanelSource(np.array([0.0, 0.6, 1.17]), 1.9e-10, 1.05, 406.0, 0.93)
    >>> voltage, current = intersect(panel, line(grid, grid / 15.0))
    >>> voltage.round(2).tolist(), current.round(3).tolist()
    ([0.0, 8.66, 16.44], [0.0, 0.577, 1.096])
    """
    voltage, current, _ = table.points_within(*locate(source, table))
    return voltage, current


def locate(source: Source, table: LoadTable) -> tuple[np.ndarray, np.ndarray]:
    """The node below the operating point, and the share of the way from it to the next one, of every step."""
    if table.rising:
        return _met_once(source, table)
    segment = np.minimum(highest_held(source, table), len(table.voltage) - 2)
    volts, amps = table.voltage[segment], table.current[segment]
    up, more = table.voltage[segment + 1] - volts, table.current[segment + 1] - amps

    def surplus(share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, by_voltage, by_current = source.surplus_and_slopes(volts + share * up, amps + share * more)
        return value, by_voltage * up + by_current * more

    below, above = (source.surplus(volts + share * up, amps + share * more) for share in (0.0, 1.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        start = below / (below - above)
    # In the dark no node but zero is held; beyond the last node nothing is sought.
    low = np.where(np.isnan(below), np.nan, np.where(above >= 0, 1.0, 0.0))
    high = np.where(below > 0, 1.0, low)
    return segment, find_root(surplus, low, high, np.where(low < high, start, low), _SHARE_TOLERANCE)


def _met_once(source: Source, table: LoadTable) -> tuple[np.ndarray, np.ndarray]:
    """What :func:`locate` gives for a load whose current rises, and so meets any source once."""
    place, rounds, last = source.node_near(table.voltage, table.current), _FREE_ROUNDS, len(table.voltage) - 2
    if place is None:
        # Without a guess the search begins at the open circuit.
        place, rounds = np.where(np.isnan(source.voltage_bound), np.nan, last), 0
    left = np.flatnonzero(~np.isnan(place))
    for _ in range(rounds):
        part = source if len(left) == len(place) else source.at(left)
        place[left], settled = _along_segment(part, table, place[left])
        left = left[~settled]
        if not len(left):
            break
    else:
        place[left] = _bracketed(source.at(left), table, place[left])
    segment = np.fmin(np.fmax(place, 0.0), last).astype(np.intp)
    return segment, place - segment


def _along_segment(source: Source, table: LoadTable, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two of Newton's steps along the segment of the load where each step is, drawn on beyond its ends.

    Gives the places, nodes and shares as one number, to which they lead, and which of them have come to rest.
    """
    nodes, highest = table.voltage, table.voltage[-1]
    segment = np.minimum(np.maximum(place, 0.0), len(nodes) - 2.0).astype(np.intp)
    start, amps, width, growth = (column[segment] for column in (nodes, table.current, *table.segments))
    voltage = start + (place - segment) * width
    for _ in range(2):
        value, by_voltage, by_current = source.surplus_and_slopes(voltage, amps + growth * (voltage - start))
        step = value / (by_voltage + by_current * growth)
        voltage = np.minimum(np.maximum(voltage - step, 0.0), highest)
    share = (voltage - start) / width
    within = np.abs(share - 0.5) <= 0.5 + _SHARE_TOLERANCE
    place = segment + np.minimum(np.maximum(share, 0.0), 1.0)
    beyond = np.flatnonzero(~within)
    place[beyond] = np.interp(voltage[beyond], nodes, np.arange(len(nodes)))
    return place, within & (np.abs(step) <= _STEP_TOLERANCE * voltage)


def _bracketed(source: Source, table: LoadTable, start: np.ndarray) -> np.ndarray:
    """The place where a source meets a load, by Newton's steps along its nodes, between zero and the open circuit."""
    nodes = np.arange(len(table.voltage), dtype=float)
    last, up, more = len(nodes) - 2, np.diff(table.voltage), np.diff(table.current)

    def surplus(place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        segment = np.minimum(place.astype(np.intp), last)
        share, rise, growth = place - segment, up[segment], more[segment]
        value, by_voltage, by_current = source.surplus_and_slopes(
            table.voltage[segment] + share * rise, table.current[segment] + share * growth
        )
        return value, by_voltage * rise + by_current * growth

    highest = np.minimum(source.voltage_bound, np.interp(source.current_bound, table.current, table.voltage))
    highest = np.interp(highest, table.voltage, nodes)
    return find_root(surplus, np.zeros_like(highest), highest, start, _PLACE_TOLERANCE)


def highest_held(source: Source, table: LoadTable) -> np.ndarray:
    """The highest node of a load that a source can supply, shape (steps,); 0 where it can supply none."""
    known = source.highest_of(table.voltage, table.current)
    if known is not None:
        return np.maximum(known, 0)
    steps = np.size(source.voltage_bound)
    if not source.single_humped or len(table.stretches) > _MOST_STRETCHES:
        return np.maximum(_tried_in_turn(source, table, steps), 0)
    found, sought = np.zeros(steps, dtype=np.intp), np.arange(steps)
    for first, last in table.stretches:
        part = source.at(sought)
        node = _bisected(part, table, first, last, len(sought))
        held = part.can_supply(table.voltage[node], table.current[node])
        found[sought[held]] = node[held]
        sought = sought[~held]
        if not len(sought):
            break
    return found


def _bisected(source: Source, table: LoadTable, first: int, last: int, steps: int) -> np.ndarray:
    """The highest node that a source can supply within a stretch of a load, or the first one if there is none."""
    node, width = np.full(steps, first, dtype=np.intp), 1 << max(last - first, 1).bit_length()
    falling = _falls(table, first, last)
    while width := width >> 1:
        tried = np.minimum(node + width, last)
        here = source.surplus(table.voltage[tried], table.current[tried])
        below = here >= 0
        if not falling:
            # The surplus has a hump: to the left of its top it grows, held or not.
            after = np.minimum(tried + 1, last)
            below |= (tried < last) & (here < source.surplus(table.voltage[after], table.current[after]))
        node = np.where(below, tried, node)
    return node


def any_held(source: Source, table: LoadTable, first: int) -> np.ndarray:
    """Whether a source can supply any node of a load from one on, by step."""
    known = source.supplies_any(table.voltage[first:], table.current[first:])
    if known is None:
        return _any_tried(source, table, first)
    found, near = known
    if len(near):
        found[near] = _any_tried(source.at(near), table, first)
    return found


class Wanted(NamedTuple):
    """What a source is asked to hold: any node of a load from one on, or a point of it besides [V], [A]."""

    table: LoadTable
    first: int
    point: tuple[float, float] | None = None

    @property
    def points(self) -> Points:
        """All of its points."""
        volts, amps = self.table.voltage[self.first :], self.table.current[self.first :]
        return (
            (volts, amps) if self.point is None else (np.append(volts, self.point[0]), np.append(amps, self.point[1]))
        )


def held(source: Source, wanted: Wanted) -> np.ndarray:
    """Whether a source holds what is wanted, by step."""
    table, first, point = wanted
    found = np.zeros(np.size(source.voltage_bound), dtype=bool) if point is None else source.can_supply(*point)
    return found | any_held(source, table, first) if first < len(table.voltage) else found


def held_of_each(source: Source, wanted: Sequence[Wanted]) -> Sequence[np.ndarray]:
    """The same for much that is wanted, all of it at once where that is quicker."""
    # Fans behind one converter often ask for the same.
    distinct = list(dict.fromkeys(wanted))
    known = source.supplies_any_of_each([each.points for each in distinct])
    answers = dict(zip(distinct, [held(source, each) for each in distinct] if known is None else known, strict=True))
    return [answers[each] for each in wanted]


def _any_tried(source: Source, table: LoadTable, first: int) -> np.ndarray:
    """Whether a source can supply any node of a load from one on, by the highest one of each stretch of the load."""
    steps = np.size(source.voltage_bound)
    if not source.single_humped or len(table.stretches) > _MOST_STRETCHES:
        return _tried_in_turn(source, table, steps) >= first
    found, sought = np.zeros(steps, dtype=bool), np.arange(steps)
    for low, high in table.stretches:
        if high < first or not len(sought):
            break
        part = source.at(sought)
        node = _bisected(part, table, max(low, first), high, len(sought))
        held = part.can_supply(table.voltage[node], table.current[node])
        found[sought[held]] = True
        sought = sought[~held]
    return found


def _falls(table: LoadTable, first: int, last: int) -> bool:
    """Whether the surplus of any source falls along a stretch: the load rises."""
    return bool(np.all(np.diff(table.current[first : last + 1]) >= 0))


def _tried_in_turn(source: Source, table: LoadTable, steps: int) -> np.ndarray:
    """The highest node that any source can supply, or -1, block by block from the end of the load down.

    The current of a source falls as its voltage rises. One that cannot supply the least voltage of a block together
    with the least current of it can supply no node of the block.
    """
    found, sought = np.full(steps, -1), np.arange(steps)
    highest, most = (np.broadcast_to(bound, steps) for bound in (source.voltage_bound, source.current_bound))
    block = max(_BLOCK, _TRIALS // max(steps, 1))
    for end in range(len(table.voltage), 0, -block):
        nodes = np.arange(max(end - block, 0), end)[::-1]
        voltage, current = table.voltage[nodes], table.current[nodes]
        least = voltage.min(), current.min()
        tried = sought[(highest[sought] >= least[0]) & (most[sought] >= least[1])]
        tried = tried[source.at(tried).can_supply(*(np.full(len(tried), value) for value in least))]
        held = source.at(tried).can_supply(voltage[:, None], current[:, None])
        some = held.any(axis=0)
        found[tried[some]] = nodes[np.argmax(held, axis=0)[some]]
        sought = np.setdiff1d(sought, tried[some], assume_unique=True)
        if not len(sought):
            break
    return found
