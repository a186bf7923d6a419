"""The power budget: its parts add up, and mean what they say."""

from datetime import date

import numpy as np
import pytest
from pvlib.pvsystem import i_from_v

from solarvent.electrical.panel_model import TYPICAL, panel_parameters
from solarvent.simulation.power_budget import KEYS, daily_budget, hourly_budget, monthly_budget
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import totals

MIDSUMMER = date(2001, 6, 21)
TWELVE = [{"id": "east", "part": "fan-12v-120x25"}]


def of_day(loaded):
    run = simulate(loaded, MIDSUMMER, bands=(TYPICAL,))
    return run, hourly_budget(run)


def test_what_is_made_and_used_is_that_of_the_run(small_plan):
    run, budget = of_day(small_plan())
    sums = budget[list(KEYS)].sum()
    assert sums["energy_made"] == pytest.approx(totals(run)["energy_made"])
    assert sums["energy_used"] == pytest.approx(totals(run)["energy_used"])
    assert (budget[list(KEYS)] >= 0).all(axis=None)
    assert (budget["energy_usable"] <= budget["energy_made"] + 1e-9).all()


def test_24_v_fans_can_use_all_of_a_12_v_panel_and_12_v_fans_a_part(small_plan):
    _, high = of_day(small_plan())
    np.testing.assert_allclose(high["energy_usable"], high["energy_made"])
    run, low = of_day(small_plan({"fan": TWELVE}))
    noon = int(low["energy_made"].argmax())
    light = run.conditions.panels["roof"]
    values = panel_parameters(run.plan.record.panel[0], light.effective_irradiance[noon], light.temp_cell[noon])
    # The rated maximum of the fan is 13.8 V: that times the current that the panel gives there.
    assert low["energy_usable"].iloc[noon] == pytest.approx(13.8 * float(i_from_v(13.8, *values)), rel=1e-6)
    assert 0.7 < low["energy_usable"].iloc[noon] / low["energy_made"].iloc[noon] < 0.95


def test_a_step_down_converter_makes_all_of_it_usable_and_its_heat_is_lost(small_plan):
    run, budget = of_day(small_plan({"fan": TWELVE, "wiring.converter": "buck-12v"}))
    np.testing.assert_allclose(budget["energy_usable"], budget["energy_made"])
    drawn = run.electrical.panel_power.sum(axis=0)
    turning = run.electrical.running[0] == 1
    balance = budget["energy_used"] + budget["energy_lost"]
    np.testing.assert_allclose(balance[turning], drawn[turning], rtol=1e-6)
    assert budget["energy_lost"][turning].min() > 0.05


def test_something_is_missing_only_in_the_hours_of_need(small_plan):
    _, budget = of_day(small_plan({"panel.0.part": "panel-5w"}))
    hours = budget.index.hour
    assert (budget["energy_missing"][(hours < 12) | (hours >= 18)] == 0).all()
    assert (budget["energy_missing"][(hours >= 12) & (hours < 18)] > 0).all()
    # Two fans of 3 W each.
    assert budget["energy_missing"].max() <= 6.0


def test_months_and_telling_days_are_sums_of_the_steps(default_run):
    steps = hourly_budget(default_run)
    months = monthly_budget(default_run)
    np.testing.assert_allclose(months[list(KEYS)].sum(), steps[list(KEYS)].sum())
    days = daily_budget(default_run, 7)
    assert list(days) == ["clear", "broken", "overcast"]
    made = [sums["energy_made"] for _, sums in days.values()]
    assert made == sorted(made, reverse=True)


def test_fans_that_bear_far_more_than_the_panel_gives_leave_its_best_point_alone(small_plan):
    # Far above the open circuit the diode's current overflows; nobody asks for it there.
    _, budget = of_day(small_plan({"fan.0.maximum_voltage": "590 V", "fan.1.maximum_voltage": "590 V"}))
    np.testing.assert_allclose(budget["energy_usable"], budget["energy_made"])
