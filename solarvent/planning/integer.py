"""A small exact integer program: whole numbers, several costs in order of importance, no rounding anywhere.

It is used for choosing among a few dozen parts, where loading a large solver would take longer than the answer. Branch
and bound over the dual simplex method; the arithmetic is that of integers and fractions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

_Number = int | Fraction
_Sum = dict[int, _Number]


@dataclass(frozen=True)
class Row:
    """A condition: the sum of coefficient times variable is at least `least`."""

    coefficients: Mapping[int, int]
    least: int


def at_most(coefficients: Mapping[int, int], most: int) -> Row:
    """Write "at most" as a row."""
    return Row({variable: -value for variable, value in coefficients.items()}, -most)


def minimise(
    costs: Sequence[Mapping[int, int]],
    rows: Iterable[Row],
    refine: Callable[[dict[int, int]], list[Row]] = lambda solution: [],
) -> dict[int, int] | None:
    """Find whole numbers, none below zero, of least cost.

    Parameters
    ----------
    costs : sequence of mapping of int to int
        What one of each variable costs, none below zero; the first is the most important, the next breaks its ties.
    rows : iterable of Row
        The conditions.
    refine : callable, optional
        Looks at a solution and gives further conditions that it breaks and every acceptable solution meets; none if the
        solution is acceptable.

    Returns
    -------
    dict of int to int, or None
        The variables that are not zero; None if the conditions contradict each other.

    Examples
    --------
    Seven more ends from splitters that add two or three each; the fewest pieces, then the fewest large ones:

    >>> minimise([{2: 1, 3: 1}, {3: 1}], [Row({2: 2, 3: 3}, 7)])
    {2: 2, 3: 1}
    """
    rows, best = list(rows), None
    for stage, cost in enumerate(costs):
        best = _stage(costs[stage:], rows, refine, best)
        if best is None:
            return None
        rows.append(at_most(cost, _value(cost, best)))
    return best


def _value(cost: Mapping[int, int], solution: Mapping[int, int]) -> int:
    return sum(cost.get(variable, 0) * count for variable, count in solution.items())


def _stage(
    costs: Sequence[Mapping[int, int]],
    rows: list[Row],
    refine: Callable[[dict[int, int]], list[Row]],
    best: dict[int, int] | None,
) -> dict[int, int] | None:
    """Find the least of the first cost; the others only decide which way to look first."""
    first = costs[0]
    open_nodes = [_Dictionary(costs, rows)]
    while open_nodes:
        node = open_nodes.pop()
        if not node.settle():
            continue
        bound = ceil(node.costs[0][0])
        if best is not None and bound >= _value(first, best):
            continue
        if bound > node.costs[0][0]:
            node.add(Row(first, bound))
            open_nodes.append(node)
            continue
        values = node.values()
        split = next((variable for variable, value in sorted(values.items()) if value.denominator != 1), None)
        if split is not None:
            below, above = node, node.copy()
            below.add(at_most({split: 1}, floor(values[split])))
            above.add(Row({split: 1}, ceil(values[split])))
            open_nodes += [below, above]
            continue
        solution = {variable: int(value) for variable, value in sorted(values.items())}
        if further := refine(solution):
            for row in further:
                node.add(row)
            rows += further
            open_nodes.append(node)
        else:
            best = solution
    return best


class _Dictionary:
    """Every basic variable, and every cost, as a constant plus a sum over the variables that stand at zero.

    Variables of the problem are numbered from 0 up, the slacks of the rows from -1 down.
    """

    def __init__(self, costs: Sequence[Mapping[int, int]], rows: Iterable[Row]) -> None:
        self.costs: list[tuple[_Number, _Sum]] = [
            (0, {key: value for key, value in cost.items() if value}) for cost in costs
        ]
        self.basic: dict[int, tuple[_Number, _Sum]] = {}
        self.slacks = 0
        for row in rows:
            self.add(row)

    def copy(self) -> _Dictionary:
        """Make another one that can go its own way."""
        other = _Dictionary((), ())
        other.costs, other.basic, other.slacks = list(self.costs), dict(self.basic), self.slacks
        return other

    def add(self, row: Row) -> None:
        """Add a condition as a slack that must not be below zero."""
        total: tuple[_Number, _Sum] = (-row.least, {})
        for variable, value in row.coefficients.items():
            total = _plus(total, value, self.basic.get(variable, (0, {variable: 1})))
        self.slacks -= 1
        self.basic[self.slacks] = total

    def settle(self) -> bool:
        """Go to the least cost that meets all conditions (dual simplex); False if there is none."""
        steps, patience = 0, 20 * (len(self.basic) + 10)
        while True:
            broken = [(constant, name) for name, (constant, _) in self.basic.items() if constant < 0]
            if not broken:
                return True
            # The most broken row is the quickest choice; the lowest number among the broken cannot go in circles.
            leaving = min(broken)[1] if steps < patience else min(name for _, name in broken)
            steps += 1
            rising = [(name, value) for name, value in self.basic[leaving][1].items() if value > 0]
            if not rising:
                return False
            self._exchange(leaving, min(rising, key=self._price)[0])

    def _price(self, entry: tuple[int, _Number]) -> tuple[_Number, ...]:
        """Say what it costs to mend a row by raising this variable."""
        name, value = entry
        return (*(_ratio(cost.get(name, 0), value) for _, cost in self.costs), name)

    def _exchange(self, leaving: int, entering: int) -> None:
        """Let a variable leave the basis and another one enter it."""
        constant, total = self.basic.pop(leaving)
        pivot = total[entering]
        others = {name: _ratio(-value, pivot) for name, value in total.items() if name != entering}
        others[leaving] = _ratio(1, pivot)
        entered = (_ratio(-constant, pivot), others)

        def replaced(line: tuple[_Number, _Sum]) -> tuple[_Number, _Sum]:
            value = line[1].get(entering)
            if value is None:
                return line
            rest = {name: part for name, part in line[1].items() if name != entering}
            return _plus((line[0], rest), value, entered)

        self.basic = {name: replaced(line) for name, line in self.basic.items()}
        self.basic[entering] = entered
        self.costs = [replaced(line) for line in self.costs]

    def values(self) -> dict[int, _Number]:
        """Give the variables of the problem that are not zero."""
        return {name: constant for name, (constant, _) in self.basic.items() if name >= 0 and constant}


def _ratio(above: _Number, below: _Number) -> _Number:
    """Divide without rounding; a whole result is an int, which is quicker to go on with."""
    value = Fraction(above) / below if above else Fraction(0)
    return value.numerator if value.denominator == 1 else value


def _plus(line: tuple[_Number, _Sum], factor: _Number, other: tuple[_Number, _Sum]) -> tuple[_Number, _Sum]:
    """Add a multiple of one line to another; both stay as they are."""
    total = dict(line[1])
    for name, value in other[1].items():
        new = total.get(name, 0) + factor * value
        if new:
            total[name] = new
        else:
            total.pop(name, None)
    return line[0] + factor * other[0], total
