"""A small sound plan, and the same with one place changed."""

from __future__ import annotations

import copy
import signal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

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

#: An invented shed under a clear sky: one panel, two alike fans, a large inlet. No finding says stop or warn.
SMALL: dict[str, Any] = {
    "plan_version": 1,
    "title": "Pea shed",
    "place": {"latitude": 51.0, "longitude": 0.0, "timezone": "UTC", "record_low": "-10 degC"},
    "weather": {"clear_sky": True},
    "house": {"length": "3 m", "width": "2 m", "use": "shed"},
    "target": {"flow": "120 m3/h", "months": [5, 6, 7, 8, 9]},
    "panel": [{"id": "roof", "part": "panel-30w", "tilt": 35, "azimuth": 200}],
    "fan": [{"id": "east", "part": "fan-24v-120x25"}, {"id": "west", "part": "fan-24v-120x25"}],
    "opening": [{"id": "door", "part": "plain-hole", "area": "0.1 m2"}],
    "wiring": {"layout": "shared", "lead": {"wire": "18 AWG", "length": "4 m"}},
}


def changed(content: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """Copy a plan with the values at dotted places changed; None takes a key out."""
    result = copy.deepcopy(content)
    for place, value in changes.items():
        *way, last = [int(step) if step.isdigit() else step for step in place.split(".")]
        table: Any = result
        for step in way:
            table = table[step] if isinstance(table, list) else table.setdefault(step, {})
        if value is None:
            del table[last]
        else:
            table[last] = copy.deepcopy(value)
    return result


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
