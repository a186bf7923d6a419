"""A small sound plan, and the same with one place changed."""

from __future__ import annotations

import signal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from small import SMALL, changed

from solarvent.plan.checking import check_plan
from solarvent.plan.library import Library
from solarvent.plan.plan import Plan, load_plan
from solarvent.simulation.simulate import simulate

# A run of the tests in the background is told to ignore Ctrl-C, and so would be what it tests.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# How quickly a busy machine draws its cases says nothing of what is tested.
settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    """Begin with the files that have long tests, so that no worker is left with one when the others are done."""
    slow = {item.path for item in items if item.get_closest_marker("long")}
    items.sort(key=lambda item: item.path not in slow)


@pytest.fixture(scope="session")
def plan_of():
    """Give a function that checks the content of a plan file after patches, each of values at dotted places."""
    library = Library()

    def make(content: dict[str, Any], *patches: dict[str, Any]) -> Plan:
        for patch in patches:
            content = changed(content, patch)
        return Plan(check_plan(content, library), library)

    return make


@pytest.fixture(scope="session")
def small_plan():
    """Give a function that makes the small plan with changes at dotted places: ``small_plan({"panel.0.tilt": 5})``."""
    library = Library()

    def make(changes: dict[str, Any] | None = None, path: Path | None = None) -> Plan:
        return Plan(check_plan(changed(SMALL, changes or {}), library), library, path)

    return make


@pytest.fixture(scope="session")
def default_run():
    """The year of the worked example, simulated once."""
    return simulate(load_plan())
