"""Unlike sources joined: what their curve is at some points tells what it may be between them.

The curve falls: of strings in the current, side by side in the voltage.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from itertools import groupby
from typing import Any

import numpy as np

from solarvent.electrical.intersection import Generator, Points

#: Points of its curve that a joined source knows of every step, once so many are asked for; of few steps, none.
_POINTS, _WORTH, _FEW = 33, 8, 8
#: The same where the common one of a member is sought within a search, and a question is quick.
_POINTS_OF_STRINGS, _WORTH_OF_STRINGS = 17, 200
_LOSS = -1e-9  # V or A; what no load wants, where a source gives nothing
_POINTS_AT_ONCE = 200_000  # of loads
_TRIALS = 10_000  # of points in steps that go together; halving them once more would take longer


class UnlikeSources:
    """Unlike sources joined, whose curve falls: what it is at some points tells what it may be between them."""

    members: Sequence[Generator]

    @staticmethod
    def _turned(voltage: Any, current: Any) -> tuple[Any, Any]:
        """Of voltage and current that which all members have in common, then that which is the sum of theirs."""
        raise NotImplementedError

    def _common_bound(self) -> np.ndarray:
        """What the common one does not pass, by step."""
        raise NotImplementedError

    def _sum_at(self, common: Any) -> tuple[np.ndarray, np.ndarray]:
        """The sum at a value of the common one, and its derivative."""
        raise NotImplementedError

    @property
    def _sums_are_sought(self) -> bool:
        """Whether a member is joined in the other way, so that each sum takes a search within a search."""
        return any(isinstance(one, UnlikeSources) and not isinstance(one, type(self)) for one in self.members)

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """What it has beyond this voltage [V] and current [A]."""
        raise NotImplementedError

    def at(self, steps: Any) -> Any:
        """The source in some of the steps, by their index."""
        part = self._without_curve(steps)
        if "_curve" in self.__dict__:
            common, sums = self._curve
            part.__dict__["_curve"] = common, sums[:, steps]
        return part

    def _without_curve(self, steps: Any) -> Any:
        return replace(self, members=tuple(member.at(steps) for member in self.members))  # type: ignore[type-var]

    @cached_property
    def _curve(self) -> tuple[np.ndarray, np.ndarray]:
        """Evenly spread values of the common one, and the sums there, (points, steps); beyond its bound a loss."""
        bound = self._common_bound()
        points = _POINTS_OF_STRINGS if self._sums_are_sought else _POINTS
        common = np.linspace(0.0, np.nanmax(bound, initial=0.0), points)
        sums = np.full((points, bound.size), _LOSS)
        for row, value in zip(sums, common, strict=True):
            # And the first point beyond, which ends the line that a first guess lies on.
            within = np.flatnonzero(bound >= value - common[1])
            row[within] = self._without_curve(within)._sum_at(np.full(within.size, value))[0]
        return common, sums

    def highest_of(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray | None:
        """The highest of some points [V], [A] that it can supply, by step, or -1; None if a search is quicker."""
        if self._common_bound().size < _FEW:
            return None
        surely, may_be = self._bounds(*self._turned(voltage, current))
        number = np.arange(len(voltage))[:, None]
        found = np.where(surely, number, -1).max(axis=0, initial=-1)
        point, step = np.nonzero(may_be & (number > found))
        held = self._without_curve(step).surplus(voltage[point], current[point]) >= 0
        np.maximum.at(found, step[held], point[held])
        return np.asarray(found)

    def supplies_any(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
        """Whether it supplies any of some points [V], [A], and no step in which that is near; None if a trial tells."""
        if self._common_bound().size < _FEW:
            return None
        return self._any_of_each([(voltage, current)])[0], np.zeros(0, dtype=np.intp)

    def supplies_any_of_each(self, loads: Sequence[Points]) -> Sequence[np.ndarray] | None:
        """The same of many loads at once, so that all that is open is sought together."""
        if self._common_bound().size < _FEW:
            return None
        # So many as are one array of points.
        batch = np.cumsum([len(voltage) for voltage, _ in loads]) // _POINTS_AT_ONCE
        batches = (list(each) for _, each in groupby(range(len(loads)), key=batch.__getitem__))
        return [found for batch in batches for found in self._any_of_each([loads[number] for number in batch])]

    def _any_of_each(self, loads: Sequence[Points]) -> np.ndarray:
        """Whether it supplies any of the points of each load, (loads, steps)."""
        common, sums = self._curve
        ordered = []
        for voltage, current in loads:
            given, wanted = self._turned(voltage, current)
            order = np.argsort(given, kind="stable")
            ordered.append((given[order], wanted[order]))
        points = _Points(*map(np.concatenate, zip(*ordered, strict=True)))
        found, sought, begin = [], [], 0
        for given, _ in ordered:
            # Between two points of the curve the sum is at least that at the second, and at most that at the first.
            ends = begin + np.append(np.searchsorted(given, common), len(given))
            least = points.least(ends[:-1], ends[1:])[:, None]
            found.append(np.any(sums[1:] >= least[:-1], axis=0))
            step = np.flatnonzero(np.any(sums >= least, axis=0) & ~found[-1])
            part, place = np.nonzero(sums[:, step] >= least)
            step = step[place]
            load = np.full(len(step), len(found) - 1)
            sought.append((load, step, ends[part], ends[part + 1], sums[part, step]))
            begin += len(given)
        held = np.array(found)
        self._seek(points, held, *map(np.concatenate, zip(*sought, strict=True)))
        return held

    def _seek(
        self,
        points: _Points,
        found: np.ndarray,
        load: np.ndarray,
        step: np.ndarray,
        first: np.ndarray,
        last: np.ndarray,
        most: np.ndarray,
    ) -> None:
        """Put into the answers, by load and step, whether any of a run of points is supplied.

        `most` is what the sum is at most in the run. It is halved until little enough is left to try each point.
        """
        while np.sum(last - first) > max(_TRIALS, 2 * len(step)):
            middle = (first + last) // 2
            here = self._without_curve(step)._sum_at(points.common[middle])[0]
            surely = points.least(first, middle + 1) <= here
            found[load[surely], step[surely]] = True
            still = ~found[load, step]
            before = still & (points.least(first, middle) <= most)
            beyond = still & (points.least(middle + 1, last) <= here)
            first = np.concatenate([first[before], middle[beyond] + 1])
            last = np.concatenate([middle[before], last[beyond]])
            most = np.concatenate([most[before], here[beyond]])
            step = np.concatenate([step[before], step[beyond]])
            load = np.concatenate([load[before], load[beyond]])
        row, point = points.between(first, last, most)
        part = self._without_curve(step[row])
        held = part.surplus(*self._turned(points.common[point], points.wanted[point])) >= 0
        found[load[row[held]], step[row[held]]] = True

    def _bounds(self, given: np.ndarray, wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Whether the sum at given common values is surely, and whether it may be, what is wanted; (values, steps)."""
        common, sums = self._curve
        after = np.searchsorted(common, given)
        surely = sums[np.minimum(after, len(common) - 1)] >= wanted[:, None]
        surely[after == len(common)] = False
        return surely, sums[np.searchsorted(common, given, "right") - 1] >= wanted[:, None]

    def node_near(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray | None:
        """About where it meets a load that rises: on the straight line between two points of its curve."""
        if "_curve" not in self.__dict__:
            return None
        (common, sums), (nodes, asked) = self._curve, self._turned(voltage, current)
        beyond = sums - np.interp(common, nodes, asked)[:, None]
        before = np.clip((beyond > 0).sum(axis=0) - 1, 0, len(common) - 2)
        above, below = (np.take_along_axis(beyond, before[None] + side, axis=0)[0] for side in (0, 1))
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.clip(above / (above - below), 0.0, 1.0)
        return np.interp(common[before] + share * common[1], nodes, np.arange(len(nodes)))

    def can_supply(self, voltage: Any, current: Any) -> np.ndarray:
        """Whether it can keep this voltage [V] and current [A]; its curve tells most of a point, or of (points, 1)."""
        if np.ndim(voltage) == 0 and "_curve" in self.__dict__:
            voltage, current = (np.full((1, 1), value) for value in (voltage, current))
            return np.asarray(self.can_supply(voltage, current)[0])
        worth = _WORTH_OF_STRINGS if self._sums_are_sought else _WORTH
        few = np.ndim(voltage) != 2 or ("_curve" not in self.__dict__ and len(voltage) < worth)
        if few or self._common_bound().size < _FEW:
            return np.asarray(self.surplus(voltage, current) >= 0)
        held, may_be = self._bounds(*self._turned(voltage[:, 0], current[:, 0]))
        point, step = np.nonzero(may_be & ~held)
        held[point, step] = self._without_curve(step).surplus(voltage[point, 0], current[point, 0]) >= 0
        return held


class _Points:
    """Points in the order of their common value, and the least of the sums that are wanted in any run of them."""

    def __init__(self, common: np.ndarray, wanted: np.ndarray) -> None:
        self.common, self.wanted = common, wanted
        rows, width = [np.append(wanted, np.inf)], 1
        while 2 * width <= len(common):
            row = rows[-1].copy()
            row[:-width] = np.minimum(row[:-width], row[width:])
            rows.append(row)
            width *= 2
        self._rows = np.array(rows)

    def least(self, first: np.ndarray, last: np.ndarray) -> np.ndarray:
        """Least sum wanted from one point to before another; infinite where there is none between."""
        count = np.maximum(last - first, 1)
        level = np.frexp(count)[1] - 1
        # Two runs of a power of two of points cover it.
        both = np.minimum(self._rows[level, first], self._rows[level, np.maximum(last - (1 << level), first)])
        return np.where(last > first, both, np.inf)

    def between(self, first: np.ndarray, last: np.ndarray, most: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Every point of each run whose sum wanted is not more than may be: the run, and the number of the point."""
        counts = last - first
        run = np.repeat(np.arange(len(counts)), counts)
        number = np.arange(len(run)) - np.repeat(np.cumsum(counts) - counts - first, counts)
        may_be = self.wanted[number] <= most[run]
        return run[may_be], number[may_be]
