"""The exact search: which ends to join so that every fan is fed, at the least cost.

Ends of one kind are interchangeable, so that only counts matter: each part takes one open end and gives none, one or
several. A set of counts can be built if no kind of end is used more often than it is given, and if every kind that is
used can be reached from a source (J. Esparza, "Petri nets, commutative context-free grammars, and basic parallel
processes", Fundamenta Informaticae 31, 1997). The first is an integer program; the second is added where it is broken.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from solarvent.inputs.connectors import Families, crossing, fit, load_flip, source_flip, turned_crossing
from solarvent.inputs.harness import Port
from solarvent.inputs.parts import Connector, Fan, Lead, Part, Splitter
from solarvent.planning.integer import Row, at_most, minimise

#: The family of the ends that a splice gives: bare conductors that go onto whatever is cut open next.
CUT = "cut"
_CUT_END = Connector(family=CUT)
_WEATHER = {"outdoor": 0, "sheltered": 1, "dry": 2}


class Source(NamedTuple):
    """An end that gives power, and the side that it belongs to (sides differ in voltage)."""

    port: Port
    side: int


class Splice(NamedTuple):
    """A place to cut and splice: one supply, and so many ways on."""

    ways: int


class Joint(NamedTuple):
    """Two ends to be joined.

    Attributes
    ----------
    source, sink : Port
        The end nearer to the panel, and the other one.
    flip : int or None
        At a fan: 0 kept, 1 reversed, None not known. Before a fan, the same against the habit of the connector.
    chosen : bool
        True if the person puts each conductor where it belongs.
    side : int
        The side that feeds it.
    before : int or None
        The poles at the source end, against the habit of its connector.
    """

    source: Port
    sink: Port
    flip: int | None
    chosen: bool
    side: int
    before: int | None


class Use(NamedTuple):
    """A way to use a part: the end that takes power, and the ends that then give it, with their crossing."""

    inlet: str
    connector: Connector
    outlets: tuple[tuple[str, Connector, int | None], ...]


class _Kind(NamedTuple):
    """What matters of an open end."""

    family: str
    body: str
    flip: int | None
    side: int


@dataclass(frozen=True)
class _Choice:
    """One variable of the program: a part of one group, used in one way, on one kind of end."""

    group: int
    use: Use
    taken: _Kind
    given: tuple[_Kind, ...]
    flip: int | None
    chosen: bool
    costs: tuple[int, ...]


@dataclass(frozen=True)
class Found:
    """The answer of the search.

    Attributes
    ----------
    joints : tuple of Joint
        In an order in which they can be made, from the sources on.
    costs : tuple of int
        Pieces bought (or ends cut), fans not fed, fans reversed or on the wrong side, fans of unknown polarity, joints,
        weather (2 for a joint that must stay dry, 1 if it needs shelter), ends of what is bought.
    """

    joints: tuple[Joint, ...]
    costs: tuple[int, ...]


COSTS = ("bought", "unfed", "wrong", "unknown", "joints", "weather", "spare")


def uses(part: Part | Splice, families: Families) -> Iterator[Use]:
    """Yield the ways in which a part can be used; a lead can be turned round."""
    if isinstance(part, Splice):
        yield Use("", _CUT_END, tuple((f"way {number}", _CUT_END, 0) for number in range(1, part.ways + 1)))
    elif isinstance(part, Fan) and part.inlet is not None:
        passed = (
            (("outlet", part.outlet, crossing(part.inlet, part.outlet, part.crosses, families)),) if part.outlet else ()
        )
        yield Use("inlet", part.inlet, passed)
    elif isinstance(part, Lead) and part.inlet is not None and part.outlet is not None and part.usb_wires != "data":
        across = crossing(part.inlet, part.outlet, part.crosses, families)
        yield Use("inlet", part.inlet, (("outlet", part.outlet, across),))
        if part.diode is None:
            back = turned_crossing(across, (part.inlet, part.outlet), families)
            yield Use("outlet", part.outlet, (("inlet", part.inlet, back),))
    elif isinstance(part, Splitter) and part.trunk and part.branch and part.arrangement == "parallel":
        across = crossing(part.trunk, part.branch, part.crosses, families)
        legs = [(f"branch {number}", part.branch, across) for number in range(1, part.branches + 1)]
        yield Use("trunk", part.trunk, tuple(legs))


def search(
    sources: Sequence[Source],
    pieces: Mapping[str, Part | Splice],
    families: Families,
    prices: Mapping[str, tuple[int, int]],
    suits: Callable[[Fan, int], bool],
    strict: bool = False,
) -> Found | None:
    """Find the joints of least cost.

    Parameters
    ----------
    sources : sequence of Source
        The ends that give power.
    pieces : mapping of str to Part or Splice
        Fans, leads and splitters; those that are in `prices` are not there yet.
    families : mapping of str to Family
        The connectors.
    prices : mapping of str to (int, int)
        What one of a piece costs, and how many can be had at most.
    suits : callable
        Whether a fan suits a side.
    strict : bool
        Accept only that every fan is fed and none is reversed or on a wrong side.

    Returns
    -------
    Found or None
        The least of :data:`COSTS`, the first first; None if `strict` and impossible.
    """
    # Where poles do not matter there are a third of the variables, and what is bought and fed can be settled there.
    shapes = _Program(sources, pieces, families, prices, suits, strict, poles=False).solve((0, 0))
    if shapes is None:
        return None
    return _Program(sources, pieces, families, prices, suits, strict).solve(shapes.costs[:2])


class _Program:
    """The integer program and the way back from its numbers to joints."""

    def __init__(
        self,
        sources: Sequence[Source],
        pieces: Mapping[str, Part | Splice],
        families: Families,
        prices: Mapping[str, tuple[int, int]],
        suits: Callable[[Fan, int], bool],
        strict: bool,
        poles: bool = True,
    ) -> None:
        self.families, self.suits, self.strict, self.poles = families, suits, strict, poles
        self.open: dict[_Kind, list[Port]] = {}
        for port, side in sources:
            end = port.connector
            flip = source_flip(end, families) if poles else 0
            self.open.setdefault(_Kind(end.family, end.body, flip, side), []).append(port)
        self.groups = self._alike(pieces, prices)
        self.choices = self._choices()

    def _alike(self, pieces: Mapping[str, Part | Splice], prices: Mapping[str, tuple[int, int]]) -> list[_Group]:
        """Put pieces together that do the same."""
        found: dict[tuple, _Group] = {}
        for name, part in pieces.items():
            ways, (price, most) = tuple(uses(part, self.families)), prices.get(name, (0, 1))
            if not self.poles:
                ways = tuple(way._replace(outlets=tuple((*out[:2], 0) for out in way.outlets)) for way in ways)
            mark: tuple = (price, *(_mark(way, self.families) for way in ways))
            if isinstance(part, Fan):
                sides = {kind.side for kind in self.open}
                mark += (
                    "fan",
                    part.inlet and load_flip(part.inlet, self.families),
                    *sorted(side for side in sides if self.suits(part, side)),
                )
            group = found.setdefault(mark, _Group(part, ways, price, []))
            group.names.extend([name] if most == 1 else [f"{name}-{number}" for number in range(1, most + 1)])
        return list(found.values())

    def _choices(self) -> list[_Choice]:
        """Follow every way on from the sources; what cannot be reached is no variable."""
        known, waiting = set(self.open), list(self.open)
        choices = []
        while waiting:
            kind = waiting.pop()
            for number, group in enumerate(self.groups):
                for use in group.uses:
                    for choice in self._on(kind, number, group, use):
                        choices.append(choice)
                        new = {given for given in choice.given if given not in known}
                        known |= new
                        waiting += sorted(new, key=str)
        return choices

    def _on(self, kind: _Kind, number: int, group: _Group, use: Use) -> Iterator[_Choice]:
        """Yield the ways to put one use of a part on one kind of open end."""
        chosen = isinstance(group.part, Splice) or kind.family == CUT
        if not chosen:
            meeting = fit(Connector(family=kind.family, body=kind.body), use.connector, self.families)
            if not meeting.mates:
                return
            chosen = meeting.chosen
        elif isinstance(group.part, Splice) and kind.family == CUT:
            return
        weather = 0 if CUT in (kind.family, use.connector.family) else self._weather(kind.family, use.connector.family)
        if isinstance(group.part, Fan):
            own = load_flip(use.connector, self.families) if self.poles else 0
            flip = None if kind.flip is None or own is None else 0 if chosen else kind.flip ^ own
            wrong = flip == 1 or not self.suits(group.part, kind.side)
            if wrong and self.strict:
                return
            costs = (group.price, 0, int(wrong), int(flip is None), 1, weather, 0)
            arriving = kind.flip if not chosen else own if flip == 0 else None
            yield _Choice(number, use, kind, _given(use, arriving, kind.side), flip, chosen, costs)
            return
        costs = (group.price, 0, 0, 0, 1, weather, len(use.outlets) if group.price else 0)
        for arriving in (0, 1) if chosen and kind.flip is not None and self.poles else (kind.flip,):
            yield _Choice(number, use, kind, _given(use, arriving, kind.side), arriving, chosen, costs)

    def _weather(self, first: str, second: str) -> int:
        return max(_WEATHER[self.families[name].weather] for name in (first, second))

    def solve(self, least: tuple[int, ...]) -> Found | None:
        """Solve the program, knowing that the first costs cannot be less, and turn the counts into joints."""
        rows: list[Row] = []
        balance: dict[_Kind, dict[int, int]] = {}
        members: dict[int, dict[int, int]] = {number: {} for number in range(len(self.groups))}
        for variable, choice in enumerate(self.choices):
            members[choice.group][variable] = 1
            for kind, change in [(choice.taken, -1), *((kind, 1) for kind in choice.given)]:
                line = balance.setdefault(kind, {})
                line[variable] = line.get(variable, 0) + change
        rows += [Row(line, -len(self.open.get(kind, ()))) for kind, line in balance.items()]
        costs: list[dict[int, int]] = [{} for _ in COSTS]
        for variable, choice in enumerate(self.choices):
            for cost, value in zip(costs, choice.costs, strict=True):
                cost[variable] = value
        unfed = len(self.choices)
        for number, group in enumerate(self.groups):
            line = members[number]
            if isinstance(group.part, Fan):
                if not self.strict:
                    costs[1][unfed] = 1
                    line = {**line, unfed: 1}
                    unfed += 1
                rows.append(Row(line, len(group.names)))
            rows.append(at_most(line, len(group.names)))
        rows += [Row(cost, value) for cost, value in zip(costs, least, strict=False) if value]
        if not self.poles:
            costs = costs[:2]
        solution = minimise(costs, rows, self._unreached, list(members.values()))
        if solution is None:
            return None
        totals = tuple(sum(cost.get(key, 0) * count for key, count in solution.items()) for cost in costs)
        counts = Counter({key: count for key, count in solution.items() if key < len(self.choices)})
        return Found(tuple(self._joints(counts)), totals)

    def _reach(self, marked: set[_Kind], counts: Mapping[int, int]) -> set[_Kind]:
        """Find the kinds of end that are there once everything counted is put on, as far as it can be reached."""
        reached, grew = set(marked), True
        while grew:
            grew = False
            for variable in counts:
                choice = self.choices[variable]
                if choice.taken in reached and not reached.issuperset(choice.given):
                    reached.update(choice.given)
                    grew = True
        return reached

    def _unreached(self, solution: dict[int, int]) -> list[Row]:
        """Refuse rings of parts that feed each other: something must lead into them."""
        counts = {key: count for key, count in solution.items() if key < len(self.choices)}
        reached = self._reach(set(self.open), counts)
        bridges = {
            variable
            for variable, choice in enumerate(self.choices)
            if choice.taken in reached and not reached.issuperset(choice.given)
        }
        return [
            Row({variable: -1, **dict.fromkeys(bridges, len(self.groups[self.choices[variable].group].names))}, 0)
            for variable in counts
            if self.choices[variable].taken not in reached
        ]

    def _joints(self, counts: Counter[int]) -> Iterator[Joint]:
        """Put the counted choices on, one by one, never closing off what is still to come."""
        open_ends = {kind: list(ports) for kind, ports in self.open.items()}
        names = [iter(group.names) for group in self.groups]
        while counts := +counts:
            variable = next(variable for variable in sorted(counts) if self._leaves_a_way(variable, counts, open_ends))
            choice = self.choices[variable]
            counts -= Counter({variable: 1})
            source, sink = open_ends[choice.taken].pop(0), next(names[choice.group])
            yield Joint(
                source,
                Port(sink, choice.use.inlet, choice.use.connector),
                choice.flip,
                choice.chosen,
                choice.taken.side,
                choice.taken.flip,
            )
            for kind, (end, connector, _) in zip(choice.given, choice.use.outlets, strict=True):
                open_ends.setdefault(kind, []).append(Port(sink, end, connector))

    def _leaves_a_way(self, variable: int, counts: Counter[int], open_ends: Mapping[_Kind, list[Port]]) -> bool:
        """Tell whether everything else can still be reached once this one is put on."""
        choice = self.choices[variable]
        if not open_ends.get(choice.taken):
            return False
        rest = counts - Counter({variable: 1})
        left = {kind for kind, ports in open_ends.items() if len(ports) > (kind == choice.taken)}
        reached = self._reach(left | set(choice.given), rest)
        return all(self.choices[other].taken in reached for other in rest)


class _Group(NamedTuple):
    """Pieces that do the same."""

    part: Part | Splice
    uses: tuple[Use, ...]
    price: int
    names: list[str]


def _mark(use: Use, families: Families) -> tuple:
    """Say what matters of a use."""
    key = partial(_end, families)
    return (key(use.connector), *((*key(end), across) for _, end, across in use.outlets))


def _end(families: Families, connector: Connector) -> tuple[str, str]:
    return connector.family, connector.body


def _given(use: Use, arriving: int | None, side: int) -> tuple[_Kind, ...]:
    """Name the kinds of end that a use gives, if + arrives so."""
    return tuple(
        _Kind(end.family, end.body, None if arriving is None or across is None else arriving ^ across, side)
        for _, end, across in use.outlets
    )
