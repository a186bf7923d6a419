"""The workers: the same question once, small ones first, what is outdated is dropped, and a stuck one is replaced."""

import asyncio
import os
import time

import pytest

from solarvent.serve import workers
from solarvent.serve.workers import SupersededError, Workers, WorkFailedError


def nothing():
    """Start a worker without anything to load."""


def pid_after(seconds, word=""):
    time.sleep(seconds)
    return os.getpid()


def note(path, word):
    with open(path, "a", encoding="utf-8") as file:
        file.write(word)
    return word


def give_up():
    os._exit(1)


def mistake():
    raise ValueError("no")


def run(story, count=1):
    async def told():
        desk = Workers(nothing, count)
        try:
            return await story(desk)
        finally:
            desk.end()

    return asyncio.run(told())


def test_the_same_question_is_worked_out_once(tmp_path):
    async def story(desk):
        first = await asyncio.gather(*(desk.ask(note, str(tmp_path / "log"), "a") for _ in range(5)))
        return first, await desk.ask(note, str(tmp_path / "log"), "a")

    assert run(story) == (["a"] * 5, "a")
    assert (tmp_path / "log").read_text() == "a"


def test_small_questions_go_first_and_of_one_lane_the_last_one_stays(tmp_path):
    async def story(desk):
        log = str(tmp_path / "log")
        busy = asyncio.create_task(desk.ask(pid_after, 0.5))
        await asyncio.sleep(0.05)
        asked = [
            asyncio.create_task(desk.ask(note, log, word, lane=lane, urgency=urgency))
            for word, lane, urgency in (("y", "tab|year", 1), ("1", "tab|days", 0), ("2", "tab|days", 0), ("z", "", 1))
        ]
        await busy
        return await asyncio.gather(*asked, return_exceptions=True)

    year, first, second, other = run(story)
    assert (year, second, other) == ("y", "2", "z")
    assert isinstance(first, SupersededError)
    assert (tmp_path / "log").read_text() == "2yz"


@pytest.mark.parametrize("other", ["other|days", ""])
def test_a_question_for_which_another_tab_waits_too_is_not_dropped(tmp_path, other):
    async def story(desk):
        log = str(tmp_path / "log")
        busy = asyncio.create_task(desk.ask(pid_after, 0.5))
        await asyncio.sleep(0.05)
        asked = [
            asyncio.create_task(desk.ask(note, log, word, lane=lane))
            for word, lane in (("1", "tab|days"), ("1", other), ("2", "tab|days"), ("3", "tab|days"))
        ]
        await busy
        return await asyncio.gather(*asked, return_exceptions=True)

    first, same, second, third = run(story)
    assert (first, same, third) == ("1", "1", "3")
    assert isinstance(second, SupersededError)
    assert (tmp_path / "log").read_text() == "13"


def test_a_question_on_another_state_of_things_is_another_question(tmp_path):
    async def story(desk):
        return [await desk.ask(note, str(tmp_path / "log"), "a", state=state) for state in ("x", "x", "y")]

    assert run(story) == ["a"] * 3
    assert (tmp_path / "log").read_text() == "aa"


def test_a_mistake_and_a_worker_that_ends_itself_are_told_and_others_go_on():
    async def story(desk):
        with pytest.raises(ValueError, match="no"):
            await desk.ask(mistake)
        with pytest.raises(WorkFailedError, match="was ended"):
            await desk.ask(give_up)
        return await desk.ask(pid_after, 0.0)

    assert run(story) > 0


def test_a_worker_that_is_stuck_is_ended_and_replaced(monkeypatch):
    monkeypatch.setattr(workers, "TIME_LIMIT", 30.0)

    async def story(desk):
        before = await desk.ask(pid_after, 0.0, "warm")
        monkeypatch.setattr(workers, "TIME_LIMIT", 0.3)
        with pytest.raises(WorkFailedError, match="was ended"):
            await desk.ask(pid_after, 60.0)
        monkeypatch.setattr(workers, "TIME_LIMIT", 30.0)
        return before, await desk.ask(pid_after, 0.0, "again")

    before, after = run(story)
    assert before != after


def test_a_slow_plan_does_not_hold_up_another():
    async def story(desk):
        await asyncio.gather(desk.ask(pid_after, 0.3, "a", home="x"), desk.ask(pid_after, 0.3, "b", home="y"))
        slow = asyncio.create_task(desk.ask(pid_after, 3.0, home="x"))
        await asyncio.sleep(0.05)
        begin = time.perf_counter()
        await desk.ask(pid_after, 0.0, home="x")
        took = time.perf_counter() - begin
        slow.cancel()
        return took

    assert run(story, 2) < 2.5
