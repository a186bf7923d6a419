"""The cheapest flow through a network with whole capacities and costs."""

from __future__ import annotations

from collections import deque

#: More than any cost: what bears it must not be used.
NEVER = 1 << 120


class Network:
    """A network with costs, and the cheapest flow through it (successive cheapest ways)."""

    def __init__(self) -> None:
        self.number: dict = {}
        self.out: list[list[int]] = []
        self.head: list[int] = []
        self.capacity: list[int] = []
        self.cost: list[int] = []
        self.names: list = []

    def _node(self, name: object) -> int:
        if name not in self.number:
            self.number[name] = len(self.out)
            self.out.append([])
            self.names.append(name)
        return self.number[name]

    def add(self, tail: object, head: object, capacity: int, cost: int) -> int:
        """Add an arc and its way back; gives its number."""
        first, second, arc = self._node(tail), self._node(head), len(self.head)
        self.out[first].append(arc)
        self.out[second].append(arc + 1)
        self.head += [second, first]
        self.capacity += [capacity, 0]
        self.cost += [cost, -cost]
        return arc

    def ends(self, arc: int) -> tuple[object, object]:
        """Name the two ends of an arc."""
        return self.names[self.head[arc + 1]], self.names[self.head[arc]]

    def sent(self, arc: int) -> int:
        """Tell how much goes through an arc."""
        return self.capacity[arc + 1]

    def send(self, amount: int) -> int:
        """Send so much from source to sink; gives the cost."""
        source, sink, total = self._node("source"), self._node("sink"), 0
        while amount:
            reach: dict[int, int] = {source: 0}
            via: dict[int, int] = {}
            waiting, inside = deque([source]), {source}
            while waiting:
                node = waiting.popleft()
                inside.discard(node)
                here = reach[node]
                for arc in self.out[node]:
                    other, cost = self.head[arc], here + self.cost[arc]
                    if self.capacity[arc] and (other not in reach or cost < reach[other]):
                        reach[other], via[other] = cost, arc
                        if other not in inside:
                            inside.add(other)
                            waiting.append(other)
            if sink not in reach:
                return NEVER
            way, node = [], sink
            while node != source:
                way.append(via[node])
                node = self.head[via[node] ^ 1]
            step = min(amount, *(self.capacity[arc] for arc in way))
            for arc in way:
                self.capacity[arc] -= step
                self.capacity[arc ^ 1] += step
            total += step * reach[sink]
            amount -= step
        return total
