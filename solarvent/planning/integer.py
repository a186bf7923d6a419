"""A small exact integer program: whole numbers, several costs in order of importance, no rounding anywhere.

It is used for choosing among a few dozen parts, where loading a large solver would take longer than the answer. Branch
and bound over the dual simplex method, in whole numbers throughout.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

import numpy as np

#: Entries up to here can be multiplied by each other in 64 bits; beyond, Python's integers take over.
_SAFE = 2**30


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
    sums: Sequence[Mapping[int, int]] = (),
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
    sums : sequence of mapping of int to int, optional
        Sums that are whole numbers too; to settle these first is often shorter than to settle one variable after another.

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
        best = _stage([*costs[stage:], *costs[:stage]], rows, refine, sums, best)
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
    sums: Sequence[Mapping[int, int]],
    best: dict[int, int] | None,
) -> dict[int, int] | None:
    """Find the least of the first cost; the others only decide which way to look first."""
    first = costs[0]
    open_nodes = [_Dictionary(costs, rows)]
    while open_nodes:
        node = open_nodes.pop()
        node.add(*rows[node.seen :])
        node.seen = len(rows)
        if not node.settle():
            continue
        bound = ceil(node.bound())
        if best is not None and bound >= _value(first, best):
            continue
        if bound > node.bound():
            node.add(Row(first, bound))
            open_nodes.append(node)
            continue
        values = node.values()
        if (split := _split(values, sums)) is not None:
            terms, value = split
            below, above = node, node.copy()
            below.add(at_most(terms, floor(value)))
            above.add(Row(terms, ceil(value)))
            open_nodes += [below, above]
            continue
        solution = {variable: int(value) for variable, value in sorted(values.items())}
        if further := refine(solution):
            rows += further
            open_nodes.append(node)
        else:
            best = solution
    return best


def _split(
    values: Mapping[int, Fraction], sums: Sequence[Mapping[int, int]]
) -> tuple[Mapping[int, int], Fraction] | None:
    """Find something that ought to be whole and is not."""
    for terms in (*sums, *({variable: 1} for variable in sorted(values))):
        value = sum((factor * values[name] for name, factor in terms.items() if name in values), Fraction(0))
        if value.denominator != 1:
            return terms, value
    return None


class _Dictionary:
    """Every basic variable, and every cost, as a constant plus a sum over the variables that stand at zero.

    Variables of the problem are numbered from 0 up, the slacks of the rows from -1 down. All numbers are whole: `table`
    holds them times the common denominator `scale`, which every exchange keeps (J. Edmonds, "Systems of distinct
    representatives and linear algebra", J. Res. Nat. Bur. Standards 71B, 1967). Column 0 is the constant.
    """

    def __init__(self, costs: Sequence[Mapping[int, int]], rows: Sequence[Row]) -> None:
        names = sorted({name for item in (*costs, *(row.coefficients for row in rows)) for name in item})
        self.resting, self.basic, self.scale, self.height = names, [], 1, len(costs)
        self.column = {name: number for number, name in enumerate(names, 1)}
        self.row: dict[int, int] = {}
        self.table = np.zeros((len(costs), len(names) + 1), dtype=np.int64)
        for number, cost in enumerate(costs):
            for name, value in cost.items():
                self.table[number, self.column[name]] = value
        self.slacks, self.seen = 0, len(rows)
        self.add(*rows)

    def copy(self) -> _Dictionary:
        """Make another one that can go its own way."""
        other = copy(self)
        other.basic, other.resting = list(self.basic), list(self.resting)
        other.column, other.row = dict(self.column), dict(self.row)
        return other

    def add(self, *rows: Row) -> None:
        """Add conditions, each as a slack that must not be below zero."""
        lines = np.zeros((len(rows), self.table.shape[1]), dtype=self.table.dtype)
        for line, row in zip(lines, rows, strict=True):
            line[0] = -row.least * self.scale
            for name, value in row.coefficients.items():
                if name in self.column:
                    line[self.column[name]] += value * self.scale
                else:
                    line += value * self.table[self.row[name]]
            self.slacks -= 1
            self.row[self.slacks] = self.height + len(self.basic)
            self.basic.append(self.slacks)
        self.table = np.vstack([self.table, lines])

    def bound(self) -> Fraction:
        """Give the first cost where the dictionary now stands."""
        return Fraction(int(self.table[0, 0]), self.scale)

    def settle(self) -> bool:
        """Go to the least cost that meets all conditions (dual simplex); False if there is none."""
        steps, patience = 0, 20 * (len(self.basic) + 10)
        while (constants := self.table[self.height :, 0]).size and constants.min() < 0:
            # The most broken row is the quickest choice; the lowest number among the broken cannot go in circles.
            leaving = int(constants.argmin())
            if steps >= patience:
                leaving = min(np.flatnonzero(constants < 0), key=lambda number: self.basic[number])
            steps += 1
            entering = self._cheapest(self.height + leaving)
            if entering is None:
                return False
            self._exchange(leaving, entering)
        return True

    def _cheapest(self, row: int) -> int | None:
        """Find the column that mends a row at the least price in the costs, compared one after the other."""
        line = self.table[row]
        columns = np.flatnonzero(line[1:] > 0) + 1
        for cost in self.table[: self.height]:
            if columns.size < 2:
                break
            # Fractions are compared crosswise, so that nothing is rounded; the guess is nearly always right at once.
            best = columns[int((cost[columns] / line[columns]).argmin())]
            while (ahead := cost[columns] * line[best] - cost[best] * line[columns]).min() < 0:
                best = columns[int(ahead.argmin())]
            columns = columns[ahead == 0]
        return min(columns, key=lambda column: self.resting[column - 1]) if columns.size else None

    def _exchange(self, leaving: int, entering: int) -> None:
        """Let a variable leave the basis and another one enter it."""
        row = self.height + leaving
        line, column = self.table[row].copy(), self.table[:, entering].copy()
        pivot = line[entering]
        table = (pivot * self.table - np.outer(column, line)) // self.scale
        table[:, entering], table[row] = column, -line
        table[row, entering] = self.scale
        self.table, self.scale = table, int(pivot)
        gone, come = self.basic[leaving], self.resting[entering - 1]
        self.basic[leaving], self.resting[entering - 1] = come, gone
        self.row[come], self.column[gone] = self.row.pop(gone), self.column.pop(come)
        if self.table.dtype != object and np.abs(table).max() > _SAFE:
            self.table = table.astype(object)

    def values(self) -> dict[int, Fraction]:
        """Give the variables of the problem that are not zero."""
        constants = self.table[self.height :, 0]
        return {
            name: Fraction(int(constants[number]), self.scale)
            for number, name in enumerate(self.basic)
            if name >= 0 and constants[number]
        }
