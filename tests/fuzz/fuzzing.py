"""How many cases, and the guard under which each of them runs.

``SOLARVENT_FUZZ=long`` makes twenty times as many cases, other ones every time, and holds the process under 1 GiB.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import signal
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings

from solarvent.base.errors import SolarventError
from solarvent.cli import main

LONG = os.environ.get("SOLARVENT_FUZZ") == "long"
#: Cases of each kind in an ordinary run of the tests, 5,000 together.
SHARES = {
    "quantities": 1410,
    "shown quantities": 300,
    "readings": 500,
    "command lines": 800,
    "plan text": 600,
    "plan structure": 800,
    "kits": 200,
    "parts": 80,
    "CSV": 180,
    "EPW": 90,
    "TMY3": 10,
    "pairings": 20,
    "whole commands": 10,
}
LONGER = 20
HANG = 10.0
"""[s] of processor time"""
MOST_MEMORY = 2**30

counted: Counter[str] = Counter()


def cases(kind: str) -> Any:
    """Settings for a property of one kind; the same cases every time unless the run is a long one."""
    return settings(
        max_examples=SHARES[kind] * (LONGER if LONG else 1),
        deadline=None,
        derandomize=not LONG,
        database=None,
        # A case that takes a second is not tried a hundred times more to make it shorter.
        phases=(Phase.generate,) if SHARES[kind] < 50 else (Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )


class HangError(BaseException):
    """A case took too long; no ``except Exception`` swallows it."""


def _is_hanging(number: int, frame: Any) -> None:
    raise HangError(f"over {HANG:g} s of processor time")


@contextlib.contextmanager
def guard(kind: str) -> Iterator[None]:
    """Count a case, and end it if it hangs."""
    counted[kind] += 1
    if not hasattr(signal, "setitimer"):
        yield
        return
    before = signal.signal(signal.SIGPROF, _is_hanging)
    signal.setitimer(signal.ITIMER_PROF, HANG)
    try:
        yield
    except HangError as hang:
        # Told from here: the place where it struck may be one that no traceback can show.
        raise AssertionError(str(hang)) from None
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


# --- Files that are opened for writing ---------------------------------------------------------------------------

_written: list[str] | None = None
_CHANGES = {"os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate", "shutil.rmtree"}


def _on_event(event: str, args: tuple[Any, ...]) -> None:
    """Note every place that is opened for writing, or otherwise changed, while a case is watched."""
    if _written is None:
        return
    if event == "open" and isinstance(args[0], str | bytes | os.PathLike):
        if args[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND):
            _written.append(os.fsdecode(args[0]))
    elif event in _CHANGES:
        _written.extend(os.fsdecode(place) for place in args if isinstance(place, str | bytes | os.PathLike))
    elif event in ("socket.connect", "subprocess.Popen", "os.system"):
        _written.append(f"{event}: {args}")


@contextlib.contextmanager
def watched_writes() -> Iterator[list[str]]:
    """Give a list that fills with the places written to."""
    global _written
    if _on_event not in _hooks:
        sys.addaudithook(_on_event)
        _hooks.append(_on_event)
    places: list[str] = []
    _written = places
    try:
        yield places
    finally:
        _written = None


_hooks: list[Any] = []


# --- Running a command in this process ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Outcome:
    """What a command left behind."""

    code: Any
    out: str
    err: str
    written: list[str]


def run(args: list[str], folder: Path) -> Outcome:
    """Run one command line as the entry point does."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2)]
    bytecode, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    try:
        with (
            contextlib.chdir(folder),
            contextlib.redirect_stdout(streams[0]),
            contextlib.redirect_stderr(streams[1]),
            watched_writes() as written,
            pytest.raises(SystemExit) as left,
        ):
            main(args)
    finally:
        sys.dont_write_bytecode = bytecode
    texts = []
    for stream in streams:
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8"))
    return Outcome(left.value.code, *texts, written)


def check_outcome(args: list[str], outcome: Outcome, folder: Path) -> None:
    """Hold an outcome against what every command promises."""
    __tracebackhide__ = True
    assert outcome.code in (0, 1, 2, 3), outcome
    assert "Traceback" not in outcome.out + outcome.err
    lines = outcome.err.splitlines()
    if outcome.code == 1:
        assert lines, "exit code 1 without a word"
        assert all(line.startswith("solarvent: ") and line.isprintable() for line in lines), lines
        assert outcome.out == "", "exit code 1, and an answer"
    if outcome.code == 2:
        assert any(line.startswith(("Error: ", "Usage: ")) for line in lines), lines
    output = args[args.index("-o") + 1] if "-o" in args[:-1] else None
    target = None if output is None else os.path.realpath(folder / output)
    for place in outcome.written:
        if place == os.devnull:
            continue
        real = os.path.realpath(folder / place)
        is_temporary = target is not None and re.fullmatch(
            rf"{re.escape(os.path.dirname(target))}/\.{re.escape(os.path.basename(target)[:40])}\..*\.part", real
        )
        assert real == target or is_temporary, f"written: {place}"


def strict_json(text: str) -> Any:
    """Read JSON that holds no NaN, no infinity and no key twice."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in JSON")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        assert len(dict(pairs)) == len(pairs), "a key stands twice"
        return dict(pairs)

    return json.loads(text, parse_constant=refuse, object_pairs_hook=once)


def nulls(value: Any, place: str = "") -> Iterator[str]:
    """Yield the places of null in plain data, list indexes left out."""
    if value is None:
        yield place
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from nulls(item, f"{place}.{key}" if place else key)
    elif isinstance(value, list):
        for item in value:
            yield from nulls(item, f"{place}[]")


def check_error(error: SolarventError) -> None:
    """Every error names at least one mistake, each on one line of printable text."""
    assert error.problems
    for problem in error.problems:
        assert problem.what
        assert str(problem).isprintable()
