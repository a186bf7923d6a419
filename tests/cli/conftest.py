"""Runs that the commands of these tests share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from solarvent.simulation import simulate as chain

#: Light by plan, day and step, and runs by light, plan, bands and house: the last that a command has asked for.
_LIGHTS: dict[Any, Any] = {}
_RUNS: dict[Any, Any] = {}


def _kept(known: dict[Any, Any], key: Any, work: Callable[[], Any]) -> Any:
    """Give what is known by a key, or work it out; the oldest goes."""
    if key not in known:
        known[key] = work()
        while len(known) > 20:
            del known[next(iter(known))]
    return known[key]


@pytest.fixture(scope="module", autouse=True)
def known_runs():
    """Simulate no plan twice: these tests are about what a command says of a run, not about the run."""
    light, run = chain.conditions, chain.simulate_under

    def conditions(plan, day=None, step=None):
        if plan.record.weather.file is not None or plan.library._overlay is not None:
            return light(plan, day, step)
        return _kept(_LIGHTS, (plan.record.model_dump_json(), day, step), lambda: light(plan, day, step))

    def simulate_under(plan, sun, bands=chain.BANDS, house=True):
        if not any(sun is known for known in _LIGHTS.values()):
            return run(plan, sun, bands, house)
        # A light that is kept with its run never leaves its number to another.
        key = (id(sun), plan.record.model_dump_json(), bands, house)
        return replace(_kept(_RUNS, key, lambda: (sun, run(plan, sun, bands, house)))[1], plan=plan)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "conditions", conditions)
        patch.setattr(chain, "simulate_under", simulate_under)
        yield
