"""Which fans of a circuit turn: running sets tested at every step, and the set of each step."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property

import numpy as np

from solarvent.electrical import running_sets as running
from solarvent.electrical.branches import LoadSide, State
from solarvent.electrical.motor import capacitor_start_voltage
from solarvent.electrical.operating_point import OperatingPoint, Ports, hunting, ports, reached_each, turning_voltage
from solarvent.electrical.source_side import SourceSide, StoredSide
from solarvent.wiring.circuit import Branch, Joined, Leaf, Through, fed_by, leaves

_MOST_OUTCOMES = 4096  # of some tests together, before only those that occur are numbered
_FEW_SETS = 8  # are all tested, which takes one question
_DARK = 1e-6  # A; a panel with less photocurrent is dark


class RunningSets:
    """The running sets of a load.

    `groups` are interchangeable fans; `sets`, shape (sets, groups), says how many of each group turn; `by_voltage`
    numbers the groups in the order in which a slowly rising voltage at the bus starts them.
    """

    def __init__(self, load: LoadSide) -> None:
        self.load = load
        self.groups = load.groups()
        self.sets = running.running_sets([len(group) for group in self.groups])
        in_series = _in_series(load.branch)
        self._rest: dict[str, State] = {
            name: "retrying" if load.fans[name].retrying and name not in in_series else "held" for name in load.ids
        }
        self.by_voltage = sorted(range(len(self.groups)), key=self._starts_at)

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

    def charging(self, position: int, group: int) -> tuple[dict[str, State], str, float] | None:
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

    def _starts_at(self, group: int) -> tuple[float, ...]:
        """Voltage and current at the bus that a group takes to start when all others stand, then its start voltage.

        That of the bus comes first: a string starts the fan first whose rotor takes the most of its volts, at whatever
        start voltage, and once it turns it leaves the others less.
        """
        fan = self.load.fans[self.groups[group][0]]
        table, rows = self.load.table(self.standing(0, retrying="open") | {fan.id: "held"})
        reached = table.point_at_terminal(rows[fan.id], fan.start_voltage)
        return *(reached or (float("inf"), float("inf"))), fan.start_voltage, self._falls_at(group)

    def _falls_at(self, group: int) -> float:
        """Voltage at the bus at which a group falls to its stop voltage, when all fans turn."""
        fan = self.load.fans[self.groups[group][0]]
        table, rows = self.load.table(self.standing(len(self.sets) - 1))
        reached = table.point_at_terminal(rows[fan.id], fan.stop_voltage)
        return reached[0] if reached else float("inf")

    def stop_order(self, start_order: list[int]) -> list[int]:
        """The groups in the order in which they stop: of those that fall at one voltage the last to start is first."""
        return sorted(start_order, key=lambda group: (-self._falls_at(group), -start_order.index(group)))


class RunningStates(RunningSets):
    """The running sets of a circuit that fans come into, tested at every step, and the set of every step.

    So many equal spans as there are designs follow one another in the steps, each beginning with all fans standing.
    `keeps` and `starts`, shape (sets, groups, steps), say whether the turning fans of a group keep turning, and whether
    a standing one can start; of the sets that none comes into, that all keep turning and none starts. Where several
    could start in one step, they do so in the order in which a slow dawn starts them; where the light of the steps is a
    `sweep`, slow itself, in that of the voltage.
    """

    def __init__(
        self,
        source: SourceSide,
        load: LoadSide,
        designs: int = 1,
        order: np.ndarray | None = None,
        sweep: bool = False,
    ) -> None:
        super().__init__(load)
        span = source.steps // designs
        # A battery has its voltage from the first.
        rises = len(self.groups) > 1 and not (sweep or isinstance(source, StoredSide))
        self.source, self.designs = source.with_dawn(designs) if rises else source, designs
        self._lights = self.source.steps // designs
        first = self._lights * np.arange(designs)[:, None]
        self.light_of = (first + (np.arange(span) if order is None else order)).ravel()
        shape = (*self.sets.shape, self.source.steps)
        self.keeps, self.starts = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
        self._hunts = np.zeros((len(self.sets), len(load.converters), self.source.steps), dtype=bool)
        self._tested = set[int]()
        self._start_in(np.array([self.by_voltage] * designs))
        if rises:
            self._start_in(self._order_at((first + np.arange(span, self._lights)).ravel()))

    def _start_in(self, orders: np.ndarray) -> None:
        """Have the groups of each design start in an order, shape (designs, groups), and test what they come into."""
        different, self._order_of_design = np.unique(orders, axis=0, return_inverse=True)
        self._orders = [(start, self.stop_order(start)) for start in different.tolist()]
        self._tests()

    def _order_at(self, dawn: np.ndarray) -> np.ndarray:
        """The groups of each design in the order in which they first turn at some lights that slowly rise.

        A fan of few volts may need more light than one of more volts that draws less while it stands.
        """
        (table,), outcome = self._settled(self.keeps[..., dawn], self.starts[..., dawn])
        reached = running.pass_in_time(table, self.designs, outcome).reshape(self.designs, -1)
        turning = self.sets[reached][..., self.by_voltage] > 0
        first = np.where(turning.any(axis=1), turning.argmax(axis=1), reached.shape[1])
        return np.array(self.by_voltage)[np.argsort(first, axis=1, kind="stable")]

    def _settled(self, keeps: np.ndarray, starts: np.ndarray) -> tuple[list[np.ndarray], np.ndarray]:
        """The different outcomes of tests, as the set that fans come into from each set, for each order of starts.

        And the outcome of each light.
        """
        steps = keeps.shape[-1]
        example, outcome = _patterns([*keeps.reshape(-1, steps), *starts.reshape(-1, steps)])
        tests = keeps[..., example], starts[..., example]
        return [running.transitions(self.sets, *tests, *orders) for orders in self._orders], outcome

    @cached_property
    def _outcomes(self) -> tuple[np.ndarray, np.ndarray]:
        """The different outcomes of the tests, as the set that fans come into from each set; and that of each light."""
        tables, outcome = self._settled(self.keeps, self.starts)
        if len(tables) > 1:
            outcome = outcome + (len(tables[0]) * self._order_of_design.ravel()).repeat(self._lights)
        return np.concatenate(tables), outcome

    @property
    def transitions(self) -> np.ndarray:
        """From each set, the set that the fans settle in, by light; shape (lights, sets)."""
        table, outcome = self._outcomes
        return table[outcome]

    @cached_property
    def _unlatched(self) -> np.ndarray:
        """Index of the set of every step, beginning with all fans standing, if no converter latches."""
        table, outcome = self._outcomes
        return running.pass_in_time(table, self.designs, outcome[self.light_of])

    @cached_property
    def _latched(self) -> np.ndarray:
        """Where a converter that latches is off: from its first failed start until it is dark; by step."""
        if not self.load.latching:
            return np.zeros(len(self.light_of), dtype=bool)
        latching = [name in self.load.latching for name in self.load.converters]
        fails = np.asarray(np.any(self.converter_hunting[latching], axis=0))
        dark = np.asarray(self.source.source.current_bound) < _DARK
        return running.latched(fails, dark[self.light_of], self.designs)

    @cached_property
    def reached(self) -> np.ndarray:
        """Index of the set of every step, beginning with all fans standing."""
        return np.where(self._latched, 0, self._unlatched)

    @property
    def running(self) -> np.ndarray:
        """Whether each fan turns, shape (fans, steps)."""
        return self.by_fan(self.sets[self.reached].T, turning=True)

    @property
    def hunting(self) -> np.ndarray:
        """Where a fan stands and could start, but would fall back or pull another one down, shape (fans, steps)."""
        keeps, starts = self.keeps[..., self.light_of], self.starts[..., self.light_of]
        found = running.hunting(self.sets, keeps, starts, self._unlatched)
        return self.by_fan(self.sets[self._unlatched].T, turning=False) & self.by_fan(found) & ~self._latched

    @cached_property
    def converter_hunting(self) -> np.ndarray:
        """Where a converter comes on and falls off again, with the fans as they are or when one of them tries to start.

        Shape (converters, steps).
        """
        if not self.load.switches:
            return np.zeros((len(self.load.converters), len(self.light_of)), dtype=bool)
        found = self._hunts[self._unlatched, :, self.light_of].T
        for position in np.flatnonzero(np.bincount(self._unlatched)).tolist():
            here = np.flatnonzero(self._unlatched == position)
            lights, place = _distinct(self.light_of[here], self.source.steps)
            hunts = hunting(self.source.source.at(lights), self.load, self.standing(position), len(lights))
            found[:, here] |= hunts[:, place]
        return found

    def at_rest(self, steps: np.ndarray | None = None) -> OperatingPoint:
        """The operating point in some of the steps, by their index; of a standing retrying fan that of its mean."""
        lights = self.light_of if steps is None else self.light_of[steps]
        chosen = np.arange(len(lights)) if steps is None else steps
        parts = [(here, found.at(place)) for here, place, found in self._found(chosen)]
        return OperatingPoint(self.source.at(lights), self.load, Ports.of_steps(parts, self.load, len(chosen)))

    @property
    def between_attempts(self) -> np.ndarray:
        """Where a standing fan tries to start now and then, by step."""
        apart = [self.standing(number) != self.standing(number, retrying="open") for number in range(len(self.sets))]
        return np.array(apart)[self.reached]

    def of_design(self, number: int, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Which fans of a design turn, and their voltage where they do and it is asked for, else 0. (fans, steps), [V]

        `asked` is of shape (steps of a design,).
        """
        span = slice(number * len(asked), (number + 1) * len(asked))
        reached, light_of = self.reached[span], self.light_of[span] - number * self._lights
        running = self.by_fan(self.sets[reached].T, turning=True)
        volts = np.zeros((len(self.groups), len(asked)))
        wanted = reached * asked
        for position in (np.flatnonzero(np.bincount(wanted)[1:]) + 1).tolist():
            here = np.flatnonzero(wanted == position)
            lights, place = _distinct(light_of[here], self._lights)
            lights += number * self._lights
            turning = np.flatnonzero(self.sets[position])
            names = [self.groups[group][0] for group in turning]
            found = turning_voltage(
                self.source.source.at(lights), self.load, self.standing(position), names, len(lights)
            )
            for group, row in zip(turning, found, strict=True):
                volts[group, here] = row[place]
        return running, self.by_fan(volts) * running

    def highest_voltage(self, steps: np.ndarray) -> np.ndarray:
        """Largest voltage at the fans' terminals, between the attempts of those that stand; shape (fans, steps). [V]"""
        voltage = np.zeros((len(self.load.ids), len(steps)))
        for here, place, found in self._found(steps, "open"):
            voltage[:, here] = found.terminals[:, 0][:, place]
        return voltage

    def _found(
        self, steps: np.ndarray, retrying: State | None = None
    ) -> Iterator[tuple[np.ndarray, np.ndarray, Ports]]:
        """For some steps that are in one set, the place of each in what was found for their different lights."""
        key = 2 * self.reached[steps] + self._latched[steps]
        for each in np.flatnonzero(np.bincount(key)).tolist():
            here = np.flatnonzero(key == each)
            off: dict[str, State] = dict.fromkeys(self.load.latching, "open") if each % 2 else {}
            states = self.standing(each // 2, retrying=retrying) | off
            lights, place = _distinct(self.light_of[steps[here]], self.source.steps)
            yield here, place, ports(self.source.source.at(lights), self.load, states, len(lights))

    def _tests(self) -> None:
        """Find whether the fans of each group keep turning, and whether one can start, by set and step."""
        # Where a converter falls off, fans may have started into any set.
        everything = len(self.sets) <= _FEW_SETS or self.load.switches
        asked = (set(range(len(self.sets))) if everything else {0}) - self._tested
        while asked:
            self._test(asked)
            self._tested |= asked
            for row, name in enumerate(self.load.converters):
                fed = fed_by(self.load.branch, name)
                behind = np.array([group[0] in fed for group in self.groups])
                hunts = self._hunts[:, row]
                self._hunts[:, row] = running.fall_together(self.sets, self.keeps, self.starts, hunts, behind)
            tests = self.sets, self.keeps, self.starts
            reached = (running.come_into(*tests, *orders, self._tested) for orders in self._orders)
            asked = set() if everything else set[int]().union(*reached) - self._tested

    def _test(self, positions: Iterable[int]) -> None:
        """Put the tests of some sets where they belong, all of them asked at once."""
        asked: list[tuple[np.ndarray, np.ndarray | None, tuple]] = []
        for position in sorted(positions):
            states = self.standing(position)
            for place, (group, count) in enumerate(zip(self.groups, self.sets[position], strict=True)):
                fan, at = self.load.fans[group[0]], (position, place)
                if count:
                    self.keeps[at] = False
                    asked.append((self.keeps[at], None, (states, group[0], fan.stop_voltage)))
                if attempt := self.attempt(*at):
                    asked.append((self.starts[at], self._hunts[position], (*attempt, fan.start_voltage)))
                if charged := self.charging(*at):
                    asked.append((self.starts[at], None, charged))
        questions = [question for _, _, question in asked]
        answers = reached_each(self.source.source, self.load, questions, self.source.steps)
        for (comes, hunts, _), (found, hunting_then) in zip(asked, answers, strict=True):
            comes |= found
            if hunts is not None:
                hunts |= hunting_then


def _distinct(indices: np.ndarray, bound: int) -> tuple[np.ndarray, np.ndarray]:
    """The different ones of some indices below a bound, rising, and the place of each index among them."""
    among = np.zeros(bound, dtype=bool)
    among[indices] = True
    return np.flatnonzero(among), (np.cumsum(among) - 1)[indices]


def _patterns(tests: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The different outcomes of some tests, by a step that has each of them; and which one each step has."""
    outcome, bound = np.zeros(len(tests[0]), dtype=np.uint16), 1
    for passed in tests:
        if passed.all() or not passed.any():
            continue
        outcome = 2 * outcome + passed
        bound *= 2
        if bound > _MOST_OUTCOMES:
            kinds, outcome = _distinct(outcome, bound)
            outcome, bound = outcome.astype(np.uint16), len(kinds)
    kinds, outcome = _distinct(outcome, bound)
    example = np.empty(len(kinds), dtype=np.intp)
    example[outcome] = np.arange(len(outcome))
    return example, outcome


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
