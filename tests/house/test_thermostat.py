"""A thermostat in the line of the fans: line, fans and house agree, and without one nothing changes."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from solarvent.electrical.panel_model import TYPICAL
from solarvent.findings.verdicts import find
from solarvent.house.house_run import solve_switch
from solarvent.plan.house_records import Thermostat
from solarvent.plan.plan import Plan
from solarvent.simulation import simulate as module
from solarvent.simulation.simulate import simulate

MIDSUMMER = date(2001, 6, 21)
USUAL = {"closes_at": "28 degC", "opens_at": "24 degC"}
ALWAYS = {"closes_at": "-40 degC", "opens_at": "-50 degC"}
NEVER = {"closes_at": "99 degC", "opens_at": "98 degC"}
GREENHOUSE = {"house.use": "greenhouse", "house.cover": "single-glass"}


@pytest.fixture(scope="module")
def switched(default_run):
    """The year of the worked example with a usual thermostat."""
    loaded = default_run.plan
    plan = loaded.record.model_copy(update={"thermostat": Thermostat(**USUAL)})
    return simulate(Plan(plan, loaded.library, loaded.path))


def day(small_plan, thermostat=None, **keywords):
    changes = GREENHOUSE if thermostat is None else GREENHOUSE | {"thermostat": thermostat}
    return simulate(small_plan(changes), MIDSUMMER, bands=(TYPICAL,), **keywords)


def codes(run):
    return {finding.code for finding in find(run)}


# --- the year -------------------------------------------------------------------------------------------


def test_no_fan_turns_in_air_under_that_in_which_it_opens(switched):
    turning = switched.electrical.any_running > 0
    assert turning.sum() > 1000
    assert switched.house.case("both")[turning].min() >= 24.0


def test_the_line_opens_and_closes_only_where_the_temperatures_say_so(default_run, switched):
    # What a bimetal would do with the temperatures that came out, walked step by step.
    inside, standing = switched.house.case("both"), switched.house.case("openings")
    lit = switched.electrical.power_available[0] > 0
    drawn = switched.electrical.panel_current[0] > 0
    state, kept_open = False, 0
    for step, temp in enumerate(inside):
        state = temp >= 24.0 and (state or temp >= 28.0)
        if not lit[step]:
            continue
        kept_open += int(state and not drawn[step])
        if drawn[step] and not state:
            # The fans cool this very step: with standing fans it is as warm as that in which the line closes.
            assert standing[step] >= 28.0
            state = True
    # Held open where the thermostat would switch more than once in an hour: the steps in doubt, and no others.
    could_turn = (default_run.electrical.any_running > 0).sum()
    assert kept_open <= round(switched.thermostat_residual * could_turn)


def test_the_hours_fall_and_the_summer_stays(default_run, switched):
    before, after = default_run.hours, switched.hours
    for fan, hours in switched.bands["typical"].hours_running.items():
        assert 0.4 < hours / default_run.bands["typical"].hours_running[fan] < 0.9
    assert (
        after["fans_running"].groupby(after["month"]).sum()[1]
        < 0.2 * before["fans_running"][before["month"] == 1].sum()
    )
    assert after["temp_inside"].max() == pytest.approx(before["temp_inside"].max(), abs=0.5)
    assert 0 < switched.thermostat_residual < 0.02


def test_an_open_line_leaves_the_panel_at_its_open_circuit_voltage(switched):
    electrical = switched.electrical
    lit = electrical.power_available[0] > 5
    apart = lit & (electrical.panel_current[0] == 0)
    assert apart.sum() > 500
    # Between nine tenths and all of what a crystalline panel has at its rated light, corrected for the heat of cells.
    plate = switched.plan.record.panel[0].v_oc
    assert (electrical.panel_voltage[0][apart] > 0.8 * plate).all()
    assert (electrical.panel_voltage[0][apart] < 1.15 * plate).all()
    for values in (electrical.fan_voltage, electrical.fan_current, electrical.fan_voltage_peak, electrical.running):
        assert not values[:, apart].any()
    assert not electrical.loss[apart].any()


def test_fans_in_cold_sun_are_told_and_a_thermostat_ends_it(default_run, switched):
    (found,) = [finding for finding in find(default_run) if finding.code == "runs-in-cold-sun"]
    cool = default_run.hours["temp_inside"].to_numpy() < 15
    assert (found.level, found.unit) == ("note", "h")
    assert found.value == pytest.approx(default_run.electrical.any_running[cool].sum())
    assert "degF" in next(one.text for one in find(default_run, "us") if one.code == "runs-in-cold-sun")
    assert not codes(switched) & {"runs-in-cold-sun", "thermostat-hunts"}


def test_hunting_is_told(switched):
    assert "thermostat-hunts" in codes(replace(switched, thermostat_residual=0.05))


# --- one day --------------------------------------------------------------------------------------------


def test_without_a_thermostat_no_line_is_settled(small_plan, monkeypatch):
    monkeypatch.setattr(module, "solve_switch", None)
    run = day(small_plan)
    assert run.thermostat_residual == 0.0


def test_a_threshold_under_all_temperatures_is_as_no_thermostat(small_plan):
    without, always = day(small_plan), day(small_plan, ALWAYS)
    assert without.hours["fans_running"].max() > 0
    assert always.hours.equals(without.hours)
    assert always.thermostat_residual == 0.0


def test_a_threshold_above_all_temperatures_keeps_the_fans_standing(small_plan):
    run = day(small_plan, NEVER)
    assert not run.hours["fans_running"].any()
    assert run.house.case("both") == pytest.approx(run.house.case("openings"), abs=0.05)
    assert run.thermostat_residual == 0.0


def test_the_house_is_carried_even_if_it_is_not_asked_for(small_plan):
    left_out, whole = day(small_plan, USUAL, house=False), day(small_plan, USUAL)
    assert left_out.hours.equals(whole.hours)


# --- the loop -------------------------------------------------------------------------------------------


class Air:
    """Stands for a house: the fans cool each step from one temperature to another."""

    def __init__(self, standing, turning):
        self.standing, self.turning = np.array(standing, float), np.array(turning, float)
        self.sweeps = 0

    def __call__(self, closed):
        self.sweeps += 1
        return np.ones(len(closed)), np.where(closed, self.turning, self.standing)


def test_a_step_that_fans_cool_into_the_gap_stays_closed():
    air = Air(standing=[20, 27, 30, 30, 26, 20], turning=[19, 26, 26, 29, 25, 19])
    line = solve_switch(Thermostat(**USUAL), 6, air)
    assert line.closed.tolist() == [False, False, True, True, True, False]
    assert line.residual == 0.0
    assert air.sweeps <= 5


def test_a_step_that_is_too_warm_without_and_too_cool_with_fans_is_in_doubt_and_open():
    air = Air(standing=[20, 35, 35, 20], turning=[19, 30, 20, 19])
    line = solve_switch(Thermostat(**USUAL), 4, air)
    assert line.closed.tolist() == [False, True, False, False]
    assert line.residual == 0.25
    assert air.sweeps <= 9
