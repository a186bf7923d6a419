"""The least cost of joining, proved: splitters are chosen one by one, everything between them is a flow of least cost.

Once it is fixed how many splitters of each kind are used, leads and fans are a transport problem: open ends flow
through leads into fans and into the trunks of splitters. The flow leaves three things open, and each is settled by
branching, the cheapest bound first: a lead that is used on more than one kind of end counts once; what leaves a
splitter has the poles that enter it; and nothing may feed itself in a ring.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import count
from typing import Any, NamedTuple

from solarvent.wiring.cheapest_flow import NEVER, Network

#: Costs are compared one after the other; packed into one number, each stays below this.
_BASE = 1 << 12
#: Flows that are tried before the search is cut short: about a second and a half. Most boxes need a hundred.
LIMIT = 2000
_TRIES = 10


class Least(NamedTuple):
    """The costs, how often each option is used, and whether nothing can be better."""

    costs: tuple[int, ...]
    uses: Counter[int]
    proved: bool


class Option(NamedTuple):
    """A way to put a piece of a group on a kind of open end.

    Attributes
    ----------
    group : int
        What is put on.
    taken, given : int
        The kinds of end that it takes and gives; `given` is -1 for a fan at the end.
    cost : tuple of int
        Of one use, the most important first.
    """

    group: int
    taken: int
    given: int
    cost: tuple[int, ...]


class Group(NamedTuple):
    """Pieces that do the same.

    Attributes
    ----------
    pieces : int
        How many there are.
    ends : int
        How many ends one gives.
    must : bool
        True for fans, which ought to be fed.
    price : int
        What one costs.
    """

    pieces: int
    ends: int
    must: bool
    price: int

    @property
    def divides(self) -> bool:
        """True for splitters, and for fans that hand the power on: their number is chosen first."""
        return self.ends > 1 or (self.must and self.ends > 0)


@dataclass(frozen=True)
class _Node:
    """A part of the search space: how many dividers are used, and what has been settled since."""

    used: tuple[tuple[int, int], ...]
    split: tuple[tuple[int, tuple[tuple[int, int], ...]], ...] = ()
    most: tuple[tuple[int, int], ...] = ()
    forced: tuple[int, ...] = ()


def least_cost(
    options: Sequence[Option],
    groups: Sequence[Group],
    sources: Mapping[int, int],
    strict: bool,
    budget: int,
    better_than: tuple[int, ...] | None = None,
) -> Least | None:
    """Find how often each option is used at the least cost.

    Parameters
    ----------
    options : sequence of Option
        All ways to put something on.
    groups : sequence of Group
        The pieces.
    sources : mapping of int to int
        How many ends of each kind there are to begin with.
    strict : bool
        Accept only that every fan is fed.
    budget : int
        How many splitters may be bought.
    better_than : tuple of int, optional
        Costs that are known to be possible; nothing that costs as much is looked at.

    Returns
    -------
    Least or None
        None if `strict` and impossible; without costs if nothing was found within :data:`LIMIT`.
    """
    problem = _Problem(options, groups, sources, strict, budget)
    # Of equal bounds the latest is looked at first, so that one way is followed to its end.
    serial = count(0, -1)
    limit = NEVER if better_than is None else problem.pack(better_than)
    heap: list[tuple[int, int, int, _Node, Counter | None]] = sorted(
        (bound, 1, next(serial), node, None) for node, bound in problem.starts() if bound < limit
    )
    flows = 0
    while heap:
        bound, _, _, node, uses = heappop(heap)
        if uses is None:
            flows += 1
            cost, uses = problem.flow(node)
            if cost < limit:
                heappush(heap, (cost, 0, next(serial), node, uses))
            continue
        children = problem.settle(node, uses)
        if children is None:
            return Least(problem.unpack(bound), uses, True)
        if flows > LIMIT:
            nodes = [node, *(item[3] for item in sorted(heap)[:_TRIES]), _Node(())]
            dives = (problem.dive(item) for item in nodes)
            return next((least for least in dives if least is not None), Least((), Counter(), False))
        for child in children:
            heappush(heap, (bound, 1, next(serial), child, None))
    return None


class _Problem:
    """The options, sorted by what they do."""

    def __init__(
        self, options: Sequence[Option], groups: Sequence[Group], sources: Mapping[int, int], strict: bool, budget: int
    ) -> None:
        self.options, self.groups, self.sources = options, groups, sources
        self.strict, self.budget = strict, budget
        self.length = len(options[0].cost) if options else 7
        self.price = [self.pack(option.cost) for option in options]
        self.of: list[list[int]] = [[] for _ in groups]
        for number, option in enumerate(options):
            self.of[option.group].append(number)
        self.unfed = self.pack((0, 1) + (0,) * (self.length - 2))
        self.fans = sum(group.pieces for group in groups if group.must)
        #: Of each group, the least that one piece adds to each of the costs.
        self.least = [
            [min((options[option].cost[place] for option in mine), default=0) for place in range(self.length)]
            for mine in self.of
        ]

    def pack(self, cost: Sequence[int]) -> int:
        """Make one number of several costs."""
        total = 0
        for value in cost:
            total = total * _BASE + value
        return total

    def unpack(self, total: int) -> tuple[int, ...]:
        """Take a packed cost apart."""
        found = []
        for _ in range(self.length):
            total, value = divmod(total, _BASE)
            found.append(value)
        return tuple(reversed(found))

    def starts(self) -> Iterator[tuple[_Node, int]]:
        """Yield every choice of splitters, with a bound on its cost that is quick to see."""
        dividing = [number for number, group in enumerate(self.groups) if group.divides and self.of[number]]
        ranges = [range(self.groups[number].pieces + 1) for number in dividing]
        roots = sum(self.sources.values())
        for counts in _sums(ranges, self.budget, [self.groups[number].price for number in dividing]):
            used = tuple((number, times) for number, times in zip(dividing, counts, strict=True) if times)
            gain = sum(times * (self.groups[number].ends - 1 + self.groups[number].must) for number, times in used)
            unfed = max(0, self.fans - roots - gain)
            if unfed and self.strict:
                continue
            least = [sum(times * self.least[number][place] for number, times in used) for place in range(self.length)]
            fans = [
                (number, group.pieces) for number, group in enumerate(self.groups) if group.must and not group.divides
            ]
            for place in range(2, self.length) if not unfed else ():
                least[place] += sum(times * self.least[number][place] for number, times in fans)
            least[1] = unfed
            yield _Node(used), self.pack(least)

    def flow(self, node: _Node) -> tuple[int, Counter[int]]:
        """Join everything at the least cost, for a fixed choice of splitters and with what has been settled."""
        used = dict(node.used)
        forced = Counter(self.options[option].group for option in node.forced)
        if any(times > used.get(number, self.groups[number].pieces) for number, times in forced.items()):
            return NEVER, Counter()
        if not self.connected(used):
            return NEVER, Counter()
        network, most, split = Network(), dict(node.most), dict(node.split)
        base = 0
        arcs: dict[Any, int] = {}
        for kind, ends in self.sources.items():
            network.add("source", kind, ends, 0)
        need = 0
        for number, group in enumerate(self.groups):
            if group.divides or not group.must:
                continue
            network.add("source", ("fan", number), group.pieces, NEVER if self.strict else self.unfed)
            network.add(("fan", number), "sink", group.pieces, 0)
            need += group.pieces
            for option in self.of[number]:
                arcs[option] = network.add(
                    self.options[option].taken, ("fan", number), group.pieces, self.price[option]
                )
        for number, group in enumerate(self.groups):
            if group.divides and group.must:
                missing = group.pieces - used.get(number, 0)
                base += missing * (NEVER if self.strict else self.unfed)
            if not group.divides and not group.must:
                for option in self.of[number]:
                    free = group.pieces - forced[number] + node.forced.count(option)
                    item = self.options[option]
                    arcs[option] = network.add(
                        item.taken, item.given, min(free, most.get(option, free)), self.price[option]
                    )
        for number, times in node.used:
            ends = self.groups[number].ends
            parts = split.get(number, ((-1, times),))
            for mark, share in parts:
                trunk, branches = ("trunk", number, mark), ("branches", number, mark)
                network.add(trunk, "sink", share, 0)
                network.add("source", branches, share * ends, 0)
                need += share
                outs = {}
                for option in self.of[number]:
                    item = self.options[option]
                    if mark in (-1, item.given):
                        arcs[option] = network.add(
                            item.taken, trunk, min(share, most.get(option, share)), self.price[option]
                        )
                        outs[item.given] = item.given
                for out_mark, kind in outs.items():
                    arcs[("out", number, out_mark)] = network.add(branches, kind, share * ends, 0)
        for option in node.forced:
            arc = arcs.get(option)
            if arc is None or network.capacity[arc] < 1:
                return NEVER, Counter()
            network.capacity[arc] -= 1
            tail, head = network.ends(arc)
            demand = ("forced", option, tail)
            network.add(tail, demand, 1, 0)
            network.add(demand, "sink", 1, 0)
            network.add("source", head, 1, 0)
            base += self.price[option]
            need += 1
        cost = base + network.send(need)
        uses: Counter = Counter({key: network.sent(arc) for key, arc in arcs.items()})
        uses.update(Counter(node.forced))
        return cost, +uses

    def dive(self, node: _Node) -> Least | None:
        """Settle what is open by taking the cheapest case each time: a way that can be built, perhaps not the best."""
        cost, uses = self.flow(node)
        while cost < NEVER:
            children = self.settle(node, uses)
            if children is None:
                return Least(self.unpack(cost), uses, False)
            if not children:
                return None
            flows = [(*self.flow(child), child) for child in children]
            cost, uses, node = min(flows, key=lambda item: item[0])
        return None

    def settle(self, node: _Node, uses: Counter) -> list[_Node] | None:
        """Find what the flow left open; None if nothing, else the cases to look at in its place."""
        for number, group in enumerate(self.groups):
            flows = {option: uses[option] for option in self.of[number] if uses[option]}
            if not group.divides and not group.must and sum(flows.values()) > group.pieces:
                # Either one option is used no more often than is settled, or once more, and the others get the rest.
                option = next(key for key, times in flows.items() if times > node.forced.count(key))
                fewer = self.limited(node, {option: node.forced.count(option)})
                return [fewer, replace(node, forced=(*node.forced, option))]
        split = dict(node.split)
        for number, times in node.used:
            marks = sorted({self.options[option].given for option in self.of[number]})
            if number in split or len(marks) < 2:
                continue
            into = Counter(
                {
                    mark: sum(uses[option] for option in self.of[number] if self.options[option].given == mark)
                    for mark in marks
                }
            )
            if any(uses[("out", number, mark)] > into[mark] * self.groups[number].ends for mark in marks):
                return [
                    replace(
                        node,
                        split=(
                            *node.split,
                            (number, tuple((mark, share) for mark, share in zip(marks, shares, strict=True) if share)),
                        ),
                    )
                    for shares in _sums([range(times + 1)] * len(marks), times)
                    if sum(shares) == times
                ]
        reached = self.reach(set(self.sources), [option for option in uses if isinstance(option, int)])
        if all(self.options[option].taken in reached for option in uses if isinstance(option, int)):
            return None
        # Either something leads out of what is reached, or nothing lies beyond it.
        bridges = [
            option
            for option, item in enumerate(self.options)
            if item.taken in reached and item.given >= 0 and item.given not in reached
        ]
        beyond = [option for option, item in enumerate(self.options) if item.taken not in reached]
        cases = [self.limited(node, dict.fromkeys([*bridges, *beyond], 0))]
        for place, option in enumerate(bridges):
            earlier = self.limited(node, dict.fromkeys(bridges[:place], 0))
            cases.append(replace(earlier, forced=(*node.forced, option)))
        return [case for case in cases if all(dict(case.most).get(option, 1) for option in case.forced)]

    def limited(self, node: _Node, most: Mapping[int, int]) -> _Node:
        """Allow some options less often."""
        return replace(node, most=tuple({**dict(node.most), **most}.items()))

    def connected(self, used: Mapping[int, int]) -> bool:
        """Tell whether all that is to be used can hang on a source at all, with what is left of the budget."""
        left = self.budget - sum(times * self.groups[number].price for number, times in used.items())
        allowed = [
            option
            for option, item in enumerate(self.options)
            if (item.group in used if self.groups[item.group].divides else self.groups[item.group].price <= left)
        ]
        reached = self.reach(set(self.sources), allowed)
        on = {self.options[option].group for option in allowed if self.options[option].taken in reached}
        fans = {number for number, group in enumerate(self.groups) if group.must and not group.divides}
        return set(used) <= on and (not self.strict or fans <= on)

    def reach(self, marked: set[int], used: Sequence[int]) -> set[int]:
        """Find the kinds of end that come to be, from those that are there, if these options are used."""
        reached, waiting = set(marked), deque(marked)
        onward: dict[int, list[int]] = {}
        for option in used:
            onward.setdefault(self.options[option].taken, []).append(self.options[option].given)
        while waiting:
            for kind in onward.get(waiting.popleft(), ()):
                if kind >= 0 and kind not in reached:
                    reached.add(kind)
                    waiting.append(kind)
        return reached


def _sums(ranges: Sequence[range], most: int, weights: Sequence[int] = ()) -> Iterator[tuple[int, ...]]:
    """Yield one number out of each range, where their sum, each times its weight, is at most so much."""
    if not ranges:
        yield ()
        return
    weight = weights[0] if weights else 1
    for first in ranges[0]:
        if first * weight > most:
            break
        for rest in _sums(ranges[1:], most - first * weight, weights[1:]):
            yield (first, *rest)
