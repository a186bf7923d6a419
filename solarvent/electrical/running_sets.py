"""Running sets: how many fans of each kind turn, from which set they come into which, and the set of every step.

A standing rotor draws its locked-rotor current, so a fan needs more light to start than to keep turning. The state of
a step therefore depends on the step before. The running sets that fans may come into are tested for all steps at once;
then one pass in time reads off the set of each step.

A running set says how many of each group of interchangeable fans are turning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from solarvent.base.errors import DomainError

MOST_SETS = 64


def running_sets(group_sizes: Sequence[int]) -> np.ndarray:
    """All sets of turning fans.

    Parameters
    ----------
    group_sizes : sequence of int
        Number of interchangeable fans in each group.

    Returns
    -------
    array (sets, groups) of int
        How many of each group are turning; the first row is all zero, the last one turns the fastest.

    Raises
    ------
    DomainError
        With more than 64 sets, that is six unlike fans.

    Examples
    --------
    >>> running_sets([2, 1]).tolist()
    [[0, 0], [0, 1], [1, 0], [1, 1], [2, 0], [2, 1]]
    """
    number = int(np.prod([size + 1 for size in group_sizes], dtype=object))
    if number > MOST_SETS:
        raise DomainError.single(
            "circuit",
            f"its fans can be turning in {number} different combinations, and at most {MOST_SETS} are worked out",
            "use fans of one kind on leads of one length, which count as one group, "
            "or give some of them a panel of their own (at most six unlike fans on one circuit)",
        )
    return np.array(list(np.ndindex(*(size + 1 for size in group_sizes))), dtype=int).reshape(number, -1)


def transitions(
    sets: np.ndarray,
    keeps: np.ndarray,
    starts: np.ndarray,
    start_order: Sequence[int],
    stop_order: Sequence[int],
) -> np.ndarray:
    """From each set, the set that the fans settle in, for every step.

    First the fans that do not keep turning stop, one at a time in `stop_order`. Then those that can start do so, one
    at a time in `start_order`; a fan starts only if all keep turning afterwards.

    Parameters
    ----------
    sets : array (sets, groups) of int
        From :func:`running_sets`.
    keeps : array (sets, groups, steps) of bool
        The turning fans of the group keep turning in the set; true where none is turning.
    starts : array (sets, groups, steps) of bool
        A standing fan of the group can start from the set; false where none stands.
    start_order, stop_order : sequence of int
        Groups in order.

    Returns
    -------
    array (steps, sets) of uint8
        Index of the set reached.

    Examples
    --------
    One fan that keeps turning in both steps but can start in the second only.

    >>> keeps = np.array([[[True, True]], [[True, True]]])
    >>> starts = np.array([[[False, True]], [[False, False]]])
    >>> transitions(running_sets([1]), keeps, starts, [0], [0]).tolist()
    [[0, 1], [1, 1]]
    """
    number, steps = len(sets), keeps.shape[-1]
    by_size = np.argsort(sets.sum(axis=1))

    settled = np.empty((number, steps), dtype=np.uint8)
    for position in by_size:
        settled[position] = position
        for fewer, stops in _stops(sets, keeps, position, stop_order):
            settled[position] = np.where(stops, settled[fewer], settled[position])

    grown = np.empty((number, steps), dtype=np.uint8)
    for position in by_size[::-1]:
        grown[position] = position
        for more, joins in _joins(sets, keeps, starts, position, start_order):
            grown[position] = np.where(joins, grown[more], grown[position])

    return np.take_along_axis(grown, settled.astype(np.intp), axis=0).T.copy()


def come_into(
    sets: np.ndarray,
    keeps: np.ndarray,
    starts: np.ndarray,
    start_order: Sequence[int],
    stop_order: Sequence[int],
    among: Iterable[int],
) -> set[int]:
    """The sets that fans come into from some sets, by one fan less or one more in any of the steps.

    Takes what :func:`transitions` takes; a set of which nothing is known yet is to keep turning, so that it is among
    those found.

    Examples
    --------
    The first of two unlike fans starts before the second one, which therefore never turns alone.

    >>> sets = running_sets([1, 1])
    >>> keeps, starts = np.ones((4, 2, 1), dtype=bool), np.zeros((4, 2, 1), dtype=bool)
    >>> starts[0] = True
    >>> come_into(sets, keeps, starts, [0, 1], [1, 0], [0])
    {2}
    """
    found = set()
    for position in among:
        found |= {fewer for fewer, stops in _stops(sets, keeps, position, stop_order) if stops.any()}
        found |= {more for more, joins in _joins(sets, keeps, starts, position, start_order) if joins.any()}
    return found


def _stops(
    sets: np.ndarray, keeps: np.ndarray, position: int, stop_order: Sequence[int]
) -> Iterator[tuple[int, np.ndarray]]:
    """The sets with a fan less than one set, in the order in which fans stop; and the steps in which it stops."""
    open_steps = ~keeps[position].all(axis=0)
    for group in stop_order:
        fewer = _changed(sets, position, group, -1)
        if fewer is not None:
            stops = open_steps & ~keeps[position, group]
            yield fewer, stops
            open_steps &= ~stops


def _joins(
    sets: np.ndarray, keeps: np.ndarray, starts: np.ndarray, position: int, start_order: Sequence[int]
) -> Iterator[tuple[int, np.ndarray]]:
    """The sets with a fan more than one set, in the order in which fans start; and the steps in which it does."""
    open_steps = np.ones(keeps.shape[-1], dtype=bool)
    for group in start_order:
        more = _changed(sets, position, group, 1)
        if more is not None:
            joins = open_steps & starts[position, group] & keeps[more].all(axis=0)
            yield more, joins
            open_steps &= ~joins


def pass_in_time(table: np.ndarray, designs: int = 1, row_of: np.ndarray | None = None) -> np.ndarray:
    """The set of each step, beginning with all fans standing.

    Parameters
    ----------
    table : array (rows, sets) of uint8
        From :func:`transitions`.
    designs : int
        So many equal spans follow one another in the steps, each beginning with all fans standing.
    row_of : array (steps,) of int, optional
        The row of the table that each step has; by default each its own.

    Returns
    -------
    array (steps,) of int
        Index of the set.

    Examples
    --------
    >>> table = np.array([[0, 1], [1, 1], [0, 0]], dtype=np.uint8)
    >>> pass_in_time(table, row_of=np.array([0, 1, 0, 0, 2])).tolist()
    [0, 1, 1, 1, 0]
    """
    row_of = np.arange(len(table)) if row_of is None else row_of
    steps = len(row_of)
    if not steps:
        return np.zeros(0, dtype=int)
    first = np.arange(0, steps, steps // designs)
    # Where each set leads to itself nothing changes, nor where the step before has already settled under the same row.
    stays = np.all(table == np.arange(table.shape[1]), axis=1)
    changes = ~stays[row_of]
    changes[1:] &= row_of[1:] != row_of[:-1]
    changes[first] = True
    event = np.flatnonzero(changes)
    columns = table[row_of[event]].T.copy()
    begin = np.searchsorted(event, first)
    columns[:, begin] = columns[0, begin]
    # Where every set leads to the same one, the steps before do not matter.
    depends = np.any(columns != columns[0], axis=0)
    return np.repeat(_carried(columns, depends), np.diff(event, append=steps))


def _carried(columns: np.ndarray, depends: np.ndarray) -> np.ndarray:
    """The set at each event: the leading set is carried through those that depend on it until one changes it.

    What a change brings is carried on in turn, in all spans between events that do not depend at once.
    """
    reached = columns[0].astype(int)
    span = np.cumsum(~depends)
    place = np.flatnonzero(depends)
    reached[place] = reached[np.flatnonzero(~depends)[span[place] - 1]]
    while len(place):
        after = columns[reached[place - 1], place]
        change = np.flatnonzero(after != reached[place])
        change = change[np.diff(span[place[change]], prepend=-1) != 0]
        # From the first change of a span on, all that follows in the span.
        since = np.full(len(place), -1)
        since[change] = change
        since = np.maximum.accumulate(since)
        later = (since >= 0) & (span[place[since]] == span[place])
        reached[place[later]] = after[since[later]]
        place = place[later & (since != np.arange(len(place)))]
    return reached


def latched(fails: np.ndarray, dark: np.ndarray, designs: int = 1) -> np.ndarray:
    """Where a converter that latches is off: from its first failed start until it is dark.

    Parameters
    ----------
    fails, dark : array (steps,) of bool
        Its start fails; its panels are dark.
    designs : int
        As for :func:`pass_in_time`.

    Returns
    -------
    array (steps,) of bool

    Examples
    --------
    >>> fails, dark = np.array([False, True, False, False, False]), np.array([True, False, False, True, False])
    >>> latched(fails, dark).tolist()
    [False, True, True, False, False]
    """
    steps = len(fails)
    fresh = dark.copy()
    fresh[:: max(steps // designs, 1)] |= ~fails[:: max(steps // designs, 1)]
    # Whichever came last, the dark or a failure, tells.
    last = np.maximum.accumulate(np.where(fresh | fails, np.arange(steps), 0))
    return (fails & ~dark)[last]


def fall_together(
    sets: np.ndarray, keeps: np.ndarray, starts: np.ndarray, failing: np.ndarray, behind: np.ndarray
) -> np.ndarray:
    """Stop all fans behind a converter that falls off when one more of them tries to start.

    While it is off they lose their supply; when it comes back they try all at once, and it falls off again. So a set in
    which it fails does not keep turning, nor does one from which a fan could start into such a set.

    Parameters
    ----------
    sets : array (sets, groups) of int
        From :func:`running_sets`.
    keeps, starts : array (sets, groups, steps) of bool
        As for :func:`transitions`; `keeps` is changed in place.
    failing : array (sets, steps) of bool
        The converter falls off when a standing fan tries to start from the set.
    behind : array (groups,) of bool
        The groups that it feeds.

    Returns
    -------
    array (sets, steps) of bool
        The same, with the sets from which the fans come into such a set.

    Examples
    --------
    Two fans: a first one could start, but then the second one would pull the converter off.

    >>> keeps, starts = np.ones((3, 1, 1), dtype=bool), np.array([[[True]], [[False]], [[False]]])
    >>> failing = np.array([[False], [True], [False]])
    >>> fall_together(running_sets([2]), keeps, starts, failing, np.array([True])).ravel().tolist()
    [True, True, False]
    >>> keeps.ravel().tolist()
    [True, False, True]
    """
    found = failing.copy()
    for position in np.argsort(sets.sum(axis=1))[::-1]:
        for group in range(sets.shape[1]):
            more = _changed(sets, position, group, 1)
            if more is not None:
                found[position] |= starts[position, group] & found[more]
            if behind[group] and sets[position, group]:
                keeps[position, group] &= ~found[position]
    return found


def hunting(sets: np.ndarray, keeps: np.ndarray, starts: np.ndarray, reached: np.ndarray) -> np.ndarray:
    """Where standing fans could start but the enlarged set would not hold, so that they start and fall back.

    Parameters
    ----------
    sets, keeps, starts : array of bool
        As for :func:`transitions`.
    reached : array (steps,) of int
        From :func:`pass_in_time`.

    Returns
    -------
    array (groups, steps) of bool

    Examples
    --------
    >>> keeps = np.array([[[True, True]], [[False, True]]])
    >>> starts = np.array([[[True, True]], [[False, False]]])
    >>> hunting(running_sets([1]), keeps, starts, np.array([0, 1])).tolist()
    [[True, False]]
    """
    holds = np.asarray(keeps.all(axis=1))
    found = np.zeros((sets.shape[1], len(reached)), dtype=bool)
    for position in np.unique(reached):
        here = reached == position
        for group in range(sets.shape[1]):
            more = _changed(sets, position, group, 1)
            if more is not None:
                found[group] |= here & starts[position, group] & ~holds[more]
    return found


def _changed(sets: np.ndarray, position: int, group: int, by: int) -> int | None:
    """The set with one fan more or fewer in a group; None if there is none."""
    if not 0 <= sets[position, group] + by <= sets[-1, group]:
        return None
    # The last group counts fastest.
    return int(position + by * np.prod(sets[-1, group + 1 :] + 1))
