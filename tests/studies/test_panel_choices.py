"""The same plan with other panels, judged as a sizing judges them, and held against the laws of the circuit."""

import numpy as np
import pytest

from solarvent.findings.verdicts import find
from solarvent.simulation.simulate import simulate
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.studies.overview import overview


def choices_of(run):
    return overview(run, find(run)).panels


@pytest.fixture(scope="module")
def run(small_plan):
    return simulate(small_plan(), house=False)


@pytest.fixture(scope="module")
def choices(run):
    return choices_of(run)


def test_the_plans_own_panel_gets_the_figures_of_the_plan(run, choices):
    [own] = [choice for choice in choices if choice.design.as_planned]
    limits = run.bands["typical"].thresholds.values()
    assert own.start_irradiance == max(limit.start_irradiance for limit in limits)
    assert own.run_down_irradiance == max(limit.run_down_irradiance for limit in limits)
    worst = worst_case(run.circuits, coldest_air(run.plan, run.conditions.weather), run.plan.record.place.altitude)
    assert own.fan_voltage_max == pytest.approx(max(worst.turning.values()), rel=1e-9)


def test_a_larger_panel_never_starts_later_and_never_gives_less_voltage(choices):
    starts = [np.nan_to_num(choice.start_irradiance, nan=np.inf) for choice in choices]
    assert starts == sorted(starts, reverse=True)
    volts = [choice.fan_voltage_max for choice in choices]
    assert volts == sorted(volts)
    shares = [choice.share_at_target for choice in choices]
    assert shares == sorted(shares)


def test_half_the_panel_wants_about_twice_the_light(choices):
    by_watts = {round(choice.design.panel_watts): choice.start_irradiance for choice in choices}
    # Current is what starts a fan, and it follows watts times light; warmer cells and the knee take the rest.
    assert by_watts[15] / by_watts[30] == pytest.approx(2, rel=0.05)


def test_twelve_volt_fans_get_too_much_from_a_larger_panel(small_plan):
    run = simulate(small_plan({"fan": [{"id": "only", "part": "fan-12v-120x25"}]}), house=False)
    last = choices_of(run)[-1]
    assert (last.verdict, last.limit) == ("stop", "voltage")


def test_a_tiny_panel_starts_nothing(small_plan):
    fans = [{"id": f"fan-{number}", "part": "fan-24v-120x38"} for number in range(4)]
    first = choices_of(simulate(small_plan({"fan": fans}), house=False))[0]
    assert (first.verdict, first.limit) == ("stop", "start")
    assert np.isnan(first.start_irradiance)


def test_several_panels_change_together(small_plan):
    panels = [{"id": "one", "part": "panel-20w"}, {"id": "two", "part": "panel-10w"}]
    found = choices_of(simulate(small_plan({"panel": panels}), house=False))
    [own] = [choice for choice in found if choice.design.as_planned]
    assert own.design.every_watts == [20.0, 10.0]
    for choice in found:
        first, second = choice.design.every_watts
        assert second == pytest.approx(first / 2)


def test_without_watts_there_is_nothing_to_try(small_plan):
    diode = {"I_L_ref": "1.8 A", "I_o_ref": 1e-9, "R_s": "0.3 ohm", "R_sh_ref": "300 ohm", "a_ref": "1.0 V"}
    loaded = small_plan({"panel": [{"id": "bare", "single_diode": diode}]})
    assert choices_of(simulate(loaded, house=False)) == ()
