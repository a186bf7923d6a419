"""The exact search: which ends to join so that every fan is fed, at the least cost.

Ends of one kind are interchangeable, so that only counts matter: each part takes one open end and gives none, one or
several. A set of counts can be built if no kind of end is used more often than it is given, and if every kind that is
used can be reached from a source (J. Esparza, "Petri nets, commutative context-free grammars, and basic parallel
processes", Fundamenta Informaticae 31, 1997, from memory). The counts come from :mod:`solarvent.wiring.pairing_flow`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from heapq import heappop, heappush
from typing import Literal, NamedTuple

from solarvent.plan.connectors import Families, fit, load_flip, source_flip
from solarvent.plan.parts import Connector, Fan, Part
from solarvent.wiring.harness import Port
from solarvent.wiring.pairing_flow import Group, Option, least_cost
from solarvent.wiring.pairing_uses import CUT, Joint, Source, Splice, Use, uses

_ENDLESS = 10_000
_MOST_CUT_SHORT = 2
"""Searches that may be cut short before the best that is known has to do."""
_WEATHER = {"outdoor": 0, "sheltered": 1, "dry": 2}


class _Kind(NamedTuple):
    """What matters of an open end."""

    family: str
    body: Literal["plug", "jack", "either"]
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
    proved : bool
        False if the search was cut short, so that there may be something better.
    """

    joints: tuple[Joint, ...]
    costs: tuple[int, ...]
    proved: bool = True


COSTS = ("bought", "unfed", "wrong", "unknown", "joints", "weather", "spare")


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
        The least of :data:`COSTS`, the first first; None if `strict` and impossible; without costs if the search was
        cut short before it found anything.
    """
    fans = sum(isinstance(part, Fan) for part in pieces.values())
    if strict and not _Program(sources, pieces, families, prices, suits, strict, _ENDLESS).reaches_all():
        return None
    best: Found | None = None
    cut_short = 0
    for budget in range(2 * fans + 4 if prices else 1):
        program = _Program(sources, pieces, families, prices, suits, strict, budget)
        found = program.solve(best.costs if best else None)
        if found is not None:
            # What a search that was cut short comes upon may be worse than what is known.
            if best is None or (found.costs and found.costs < best.costs):
                best = found
            elif not found.proved:
                best = replace(best, proved=False)
            cut_short += not found.proved
        # A larger budget may find something cheaper only as long as the best costs more than what was allowed, and each
        # is a search of its own, and as long: a box with many ways would take minutes.
        if best is not None and (not best.costs or best.costs[0] <= budget or cut_short == _MOST_CUT_SHORT):
            break
    return best


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
        budget: int,
    ) -> None:
        self.families, self.suits, self.strict, self.budget = families, suits, strict, budget
        self.open: dict[_Kind, list[Port]] = {}
        for port, side in sources:
            end = port.connector
            assert end is not None
            flip = source_flip(end, families)
            self.open.setdefault(_Kind(end.family, end.body, flip, side), []).append(port)
        self.groups = self._alike(pieces, prices)
        self.choices = self._useful(self._choices(), budget)

    def _alike(self, pieces: Mapping[str, Part | Splice], prices: Mapping[str, tuple[int, int]]) -> list[_Group]:
        """Put pieces together that do the same."""
        found: dict[tuple, _Group] = {}
        for name, part in pieces.items():
            ways, (price, most) = tuple(uses(part, self.families)), prices.get(name, (0, 1))
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

    def _useful(self, choices: list[_Choice], budget: int | None) -> list[_Choice]:
        """Keep the choices that lie between a source and a fan, and cost no more on the cheapest way than allowed."""
        ahead = _distances(
            dict.fromkeys(self.open, 0),
            [(item.taken, given, item.costs[0]) for item in choices for given in item.given],
        )
        fans = [item for item in choices if isinstance(self.groups[item.group].part, Fan)]
        behind = _distances(
            {item.taken: 0 for item in fans},
            [(given, item.taken, item.costs[0]) for item in choices for given in item.given],
        )
        far = float("inf")

        def cheapest(item: _Choice) -> float:
            on = 0 if item in at_fans else min((behind.get(given, far) for given in item.given), default=far)
            return ahead[item.taken] + item.costs[0] + on

        at_fans = set(fans)
        most = far if budget is None else budget
        return [item for item in choices if (cost := cheapest(item)) < far and cost <= most]

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
            own = load_flip(use.connector, self.families)
            flip = None if kind.flip is None or own is None else 0 if chosen else kind.flip ^ own
            wrong = flip == 1 or not self.suits(group.part, kind.side)
            if wrong and self.strict:
                return
            costs = (group.price, 0, int(wrong), int(flip is None), 1, weather, 0)
            arriving = kind.flip if not chosen else own if flip == 0 else None
            yield _Choice(number, use, kind, _given(use, arriving, kind), flip, chosen, costs)
            return
        costs = (group.price, 0, 0, 0, 1, weather, len(use.outlets) if group.price else 0)
        for arriving in (0, 1) if chosen and kind.flip is not None else (kind.flip,):
            yield _Choice(number, use, kind, _given(use, arriving, kind), arriving, chosen, costs)

    def _weather(self, first: str, second: str) -> int:
        return max(_WEATHER[self.families[name].weather] for name in (first, second))

    def reaches_all(self) -> bool:
        """Tell whether every fan can be put on something, however much is bought."""
        fed = {choice.group for choice in self.choices}
        return all(number in fed for number, group in enumerate(self.groups) if isinstance(group.part, Fan))

    def solve(self, better_than: tuple[int, ...] | None = None) -> Found | None:
        """Find the counts of least cost, and turn them into joints; nothing if that is no better than what is known."""
        kinds: dict[_Kind, int] = {}
        for kind in (*self.open, *(kind for choice in self.choices for kind in (choice.taken, *choice.given))):
            kinds.setdefault(kind, len(kinds))
        options = [
            Option(item.group, kinds[item.taken], kinds[item.given[0]] if item.given else -1, item.costs)
            for item in self.choices
        ]
        groups = [
            Group(
                len(group.names),
                len(group.uses[0].outlets) if group.uses else 0,
                isinstance(group.part, Fan),
                group.price,
            )
            for group in self.groups
        ]
        ends = {kinds[kind]: len(ports) for kind, ports in self.open.items()}
        found = least_cost(options, groups, ends, self.strict, self.budget, better_than)
        if found is None:
            return None
        counts = Counter({key: times for key, times in found.uses.items() if isinstance(key, int)})
        return Found(tuple(self._joints(+counts)), found.costs, found.proved)

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


def _distances(start: dict[_Kind, int], steps: list[tuple[_Kind, _Kind, int]]) -> dict[_Kind, int]:
    """Find the cheapest way from the start to every kind of end (Dijkstra)."""
    onward: dict[_Kind, list[tuple[_Kind, int]]] = {}
    for first, second, cost in steps:
        onward.setdefault(first, []).append((second, cost))
    found: dict[_Kind, int] = {}
    waiting = [(cost, number, kind) for number, (kind, cost) in enumerate(start.items())]
    serial = len(waiting)
    while waiting:
        cost, _, kind = heappop(waiting)
        if kind in found:
            continue
        found[kind] = cost
        for other, price in onward.get(kind, ()):
            serial += 1
            heappush(waiting, (cost + price, serial, other))
    return found


def _given(use: Use, arriving: int | None, taken: _Kind) -> tuple[_Kind, ...]:
    """Name the kinds of end that a use gives, if + arrives so."""
    return tuple(
        _Kind(end.family, end.body, None if arriving is None or across is None else arriving ^ across, taken.side)
        for _, end, across in use.outlets
    )
