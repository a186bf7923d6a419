"""The same plan with other panels, held against the plan itself and against the laws of the circuit."""

from datetime import date

import numpy as np
import pytest

from solarvent.simulation.simulate import simulate
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.studies.overview import panel_choices

JULY = date(2000, 7, 15)


@pytest.fixture(scope="module")
def run(small_plan):
    return simulate(small_plan(), JULY, house=False)


@pytest.fixture(scope="module")
def choices(run):
    return panel_choices(run)


def test_the_plans_own_panel_gets_the_figures_of_the_plan(run, choices):
    [own] = [choice for choice in choices if choice.planned]
    limits = run.bands["typical"].thresholds.values()
    assert own.start_irradiance == max(limit.start_irradiance for limit in limits)
    assert own.run_down_irradiance == max(limit.run_down_irradiance for limit in limits)
    worst = worst_case(run.circuits, coldest_air(run.plan, run.conditions.weather), run.plan.record.place.altitude)
    assert own.voltage == pytest.approx(worst.turning[own.fan], rel=1e-9)


def test_a_larger_panel_never_starts_later_and_never_gives_less_voltage(choices):
    starts = [np.nan_to_num(choice.start_irradiance, nan=np.inf) for choice in choices]
    assert starts == sorted(starts, reverse=True)
    volts = [choice.voltage for choice in choices]
    assert volts == sorted(volts)
    shares = [choice.start_share for choice in choices]
    assert shares == sorted(shares)


def test_half_the_panel_wants_about_twice_the_light(choices):
    by_watts = {round(choice.watts): choice.start_irradiance for choice in choices}
    # Current is what starts a fan, and it follows watts times light; warmer cells and the knee take the rest.
    assert by_watts[15] / by_watts[30] == pytest.approx(2, rel=0.05)


def test_twelve_volt_fans_get_too_much_from_a_larger_panel(small_plan):
    run = simulate(small_plan({"fan": [{"id": "only", "part": "fan-12v-120x25"}]}), JULY, house=False)
    verdicts = [choice.verdict for choice in panel_choices(run)]
    assert verdicts[-1] == "too much voltage"


def test_a_tiny_panel_starts_nothing(small_plan):
    fans = [{"id": f"fan-{number}", "part": "fan-24v-120x38"} for number in range(4)]
    first = panel_choices(simulate(small_plan({"fan": fans}), JULY, house=False))[0]
    assert first.verdict == "not all start"
    assert np.isnan(first.start_irradiance)
    assert first.start_share == 0


def test_several_panels_change_together(small_plan):
    panels = [{"id": "a", "part": "panel-30w"}, {"id": "b", "part": "panel-20w"}]
    found = panel_choices(simulate(small_plan({"panel": panels}), JULY, house=False))
    own = next(choice for choice in found if choice.planned)
    assert [choice.watts / own.watts for choice in found] == pytest.approx([0.5, 0.75, 1, 1.5, 2])


def test_a_panel_without_watts_has_no_choices(small_plan):
    diode = {"I_L_ref": "1.8 A", "I_o_ref": 1e-9, "R_s": "0.3 ohm", "R_sh_ref": "300 ohm", "a_ref": "1.0 V"}
    loaded = small_plan({"panel": [{"id": "bare", "single_diode": diode}]})
    assert panel_choices(simulate(loaded, JULY, house=False)) == ()
