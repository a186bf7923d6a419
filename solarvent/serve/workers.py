"""The workers: processes that work answers out, so that a slow plan holds nobody up; what is outdated is dropped."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import multiprocessing
import os
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from typing import Any

#: Longest that one answer may take before its worker is ended. [s]
TIME_LIMIT = 60.0
#: Answers that are kept, for an undone change or a second tab.
_KEPT = 60


class SupersededError(Exception):
    """A later change has made this question pointless."""


class WorkFailedError(Exception):
    """The worker was ended, or ended itself: too slow, or out of memory."""


@dataclass(order=True)
class _Job:
    """A question that waits: small ones first, then in their order."""

    urgency: int
    number: int
    question: tuple[Callable[..., Any], tuple[Hashable, ...], Hashable] = field(compare=False)
    home: str = field(compare=False)
    lanes: set[str] = field(compare=False)
    done: asyncio.Future[Any] = field(compare=False)


class _Worker:
    """One process, which keeps what it has worked out; ended and replaced when it is stuck."""

    def __init__(self, start: Callable[[], None]) -> None:
        self._start = start
        self._executor = self._fresh()

    def _fresh(self) -> ProcessPoolExecutor:
        # Spawned, not forked: the server has threads, which a copy of it would not.
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(1, context, initializer=self._start)

    async def work(self, function: Callable[..., Any], arguments: tuple[Hashable, ...]) -> Any:
        future = asyncio.get_running_loop().run_in_executor(self._executor, function, *arguments)
        try:
            return await asyncio.wait_for(future, TIME_LIMIT)
        except (TimeoutError, BrokenProcessPool) as reason:
            self.end()
            self._executor = self._fresh()
            raise WorkFailedError("the worker was ended") from reason

    def end(self) -> None:
        for process in list((getattr(self._executor, "_processes", None) or {}).values()):
            with contextlib.suppress(OSError, ValueError):
                process.kill()
        self._executor.shutdown(wait=False, cancel_futures=True)


class Workers:
    """A few workers and the questions that wait for them.

    Questions about one plan go to one worker as long as it is free, for it has the stages of that plan at hand.
    """

    def __init__(self, start: Callable[[], None], count: int | None = None) -> None:
        many = min(max(os.cpu_count() or 1, 2), 4) if count is None else count
        self._free = {number: _Worker(start) for number in range(many)}
        self._all = list(self._free.values())
        self._waiting: list[_Job] = []
        self._numbers = itertools.count()
        self._known: OrderedDict[Hashable, asyncio.Future[Any]] = OrderedDict()
        self._tasks: set[asyncio.Task[None]] = set()

    async def ask(
        self,
        function: Callable[..., Any],
        *arguments: Hashable,
        home: str = "",
        lane: str = "",
        urgency: int = 1,
        state: Hashable = None,
    ) -> Any:
        """Work out a function of these arguments in a worker; the same question is worked out once.

        Of one `lane`, which is what one tab shows at one place, only the last question stays: one that still waits, and
        for which nobody else does, is dropped and raises :class:`SupersededError`. `state` is what the answer depends
        on beside the arguments.
        """
        question = (function, arguments, state)
        known = self._known.get(question)
        if known is None or (known.done() and (known.cancelled() or known.exception() is not None)):
            known = asyncio.get_running_loop().create_future()
            known.add_done_callback(_looked_at)
            self._known[question] = known
            self._waiting.append(_Job(urgency, next(self._numbers), question, home, set(), known))
        self._go_over(lane, known)
        self._known.move_to_end(question)
        while len(self._known) > _KEPT:
            oldest = next(iter(self._known))
            if not self._known[oldest].done():
                break
            del self._known[oldest]
        self._go_on()
        return await asyncio.shield(known)

    def _go_over(self, lane: str, asked: asyncio.Future[Any]) -> None:
        """Let a lane wait for this question alone; one for which no lane waits any more is dropped.

        Who names no lane waits to the end.
        """
        for job in list(self._waiting):
            if job.done is asked:
                job.lanes.add(lane)
            elif lane:
                job.lanes.discard(lane)
            if not job.lanes:
                self._waiting.remove(job)
                self._known.pop(job.question, None)
                job.done.set_exception(SupersededError())

    def _go_on(self) -> None:
        """Give what waits to workers that are free."""
        while self._free and self._waiting:
            job = min(self._waiting)
            self._waiting.remove(job)
            own = hash(job.home) % len(self._all)
            number = own if own in self._free else next(iter(self._free))
            task = asyncio.get_running_loop().create_task(self._do(job, number, self._free.pop(number)))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _do(self, job: _Job, number: int, worker: _Worker) -> None:
        function, arguments, _ = job.question
        try:
            answer = await worker.work(function, arguments)
        except Exception as error:
            if not job.done.done():
                job.done.set_exception(error)
        else:
            if not job.done.done():
                job.done.set_result(answer)
        finally:
            self._free[number] = worker
            self._go_on()

    def end(self) -> None:
        """End all workers at once."""
        for worker in self._all:
            worker.end()


def _looked_at(future: asyncio.Future[Any]) -> None:
    """Take note of a failure, whether or not somebody still waits for it."""
    if not future.cancelled():
        future.exception()
