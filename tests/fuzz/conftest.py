"""Says how many cases were really run, in what time and room."""

from __future__ import annotations

import time

import pytest
from fuzzing import LONG, MOST_MEMORY, counted

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]

_began = time.monotonic()


def _peak() -> int:
    """Most memory that this process ever held. [bytes]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 if resource else 0


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if LONG and counted:
        terminalreporter.section("fuzz")
        for kind, number in sorted(counted.items()):
            terminalreporter.write_line(f"{kind:18} {number:8,}")
        took = time.monotonic() - _began
        room = _peak() / 2**20
        terminalreporter.write_line(f"{'together':18} {counted.total():8,} in {took:.0f} s, at most {room:.0f} MiB")


def pytest_sessionfinish(session: pytest.Session) -> None:
    if LONG and _peak() > MOST_MEMORY:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
