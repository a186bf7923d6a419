"""Work that several processes share: one pure function of many items."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from solarvent.base.errors import SolarventError

#: Parcels of items that each process gets, so that all of them end at about the same time.
_PARCELS = 4

_work: Callable[[Any], Any]


def cores() -> int:
    """Number of processor cores that this process may use."""
    # Not every system can keep a process to some of its cores.
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def spread(work: Callable[[Any], Any], items: Sequence[Any], workers: int) -> Iterator[Any]:
    """Work items out by several processes; yields the result of each, in their order.

    `work` is a function of one item. It goes to each process once, with all that it holds: it, the items and the
    results must be picklable. With one process, and in one that is a worker itself, all is worked out here.
    SolarventError if a process was ended from outside; errors of `work` come through as they are.

    Examples
    --------
    >>> list(spread(abs, [-1, 2, -3], 1))
    [1, 2, 3]
    """
    if min(workers, len(items)) < 2 or _in_a_worker():
        yield from map(work, items)
        return
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    # Started as is usual on the system: forked, they begin at once; elsewhere each of them imports the package first.
    with ProcessPoolExecutor(min(workers, len(items)), initializer=_begin, initargs=(work,)) as pool:
        try:
            yield from pool.map(_one, items, chunksize=max(len(items) // (_PARCELS * workers), 1))
        except BrokenProcessPool as reason:
            what, write = "a process that shared the work was ended from outside", "try again, or with less at once"
            raise SolarventError.single("", what, write) from reason


def _in_a_worker() -> bool:
    """Tell whether this process is itself one of those that share a work."""
    from multiprocessing import parent_process

    return parent_process() is not None


def _begin(work: Callable[[Any], Any]) -> None:
    """Keep the function in this process, which Ctrl-C ends at once and without a word."""
    global _work
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    _work = work


def _one(item: Any) -> Any:
    return _work(item)
