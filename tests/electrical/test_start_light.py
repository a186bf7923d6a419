"""Start and run-down irradiance: a sweep in wide steps, and narrow ones where a fan starts or stops."""

from functools import partial

import numpy as np
import pytest
from random_plans import rich_plan

from solarvent import load_plan
from solarvent.electrical import start_light
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.plan.library import shipped
from solarvent.plan.plan import plan_from
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness

SIZES = (0.25, 1.0, 3.0)


def swept(plan, coarse):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(start_light, "_COARSE", coarse)
        return [
            start_light.thresholds_by_size(circuit, partial(circuit_panels, circuit), circuit_fans(circuit), SIZES)
            for circuit in circuits(build_harness(plan), plan)
        ]


# Of the first 380 plans by chance these two have a fan that a wide step alone would start in another order.
@pytest.mark.parametrize("number", [*range(1, 9), 163, 313])
def test_wide_steps_find_what_narrow_ones_find(number):
    plan = plan_from(rich_plan(number, {"clear_sky": True}), load_plan().library, None)
    assert repr(swept(plan, 25)) == repr(swept(plan, 1))


@pytest.mark.parametrize("name", sorted(shipped("plans")))
def test_wide_steps_find_the_same_in_the_plans_that_ship(name):
    plan = load_plan(shipped("plans")[name])
    assert repr(swept(plan, 25)) == repr(swept(plan, 1))


def test_only_where_a_fan_starts_or_stops_every_light_is_gone_through():
    plan, asked = load_plan(), []
    (circuit,) = circuits(build_harness(plan), plan)

    def panels_at(light):
        asked.append(light)
        return circuit_panels(circuit, light)

    found = start_light.thresholds(circuit, panels_at, circuit_fans(circuit))
    assert len(asked[0]) == 57
    assert len(asked[-1]) < 300
    for limits in found.values():
        for light in (limits.start_irradiance, limits.run_down_irradiance):
            assert np.isnan(light) or {light - 1.0, light} <= set(asked[-1])
