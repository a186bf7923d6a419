"""Findings on the light of a panel; each of them with its mended twin is in test_failures.py."""

from datetime import date

import pytest

from solarvent.findings.verdicts import find
from solarvent.simulation.simulate import simulate
from solarvent.weather.span import hours_of_need

MIDSUMMER = date(2001, 6, 21)
TREE = {"kind": "tree", "azimuth": 230, "distance": "6 m", "width": "8 m", "height": "9 m"}


def found(loaded, code):
    return [finding for finding in find(simulate(loaded, MIDSUMMER)) if finding.code == code]


def light_in_need(loaded):
    run = simulate(loaded, MIDSUMMER)
    return run.hours["effective_irradiance"].to_numpy()[hours_of_need(loaded, run.conditions.times)].sum()


@pytest.mark.parametrize("obstacle", [TREE, {"kind": "wall", "azimuth": 240, "distance": "3 m", "height": "4 m"}])
def test_what_stands_around_takes_as_much_as_the_simulation_loses(small_plan, obstacle):
    lost = 1 - light_in_need(small_plan({"obstacle": [obstacle]})) / light_in_need(small_plan())
    (finding,) = found(small_plan({"obstacle": [obstacle]}), "panel-overshadowed")
    assert finding.value == pytest.approx(lost, abs=0.01)
    assert ("leaves" in finding.text) == (obstacle["kind"] == "tree")


def test_a_far_hill_counts_and_a_low_one_does_not(small_plan):
    assert found(small_plan({"place.skyline": [[150, 40], [300, 40]]}), "panel-overshadowed")
    assert not found(small_plan({"place.skyline": [[150, 5], [300, 5]]}), "panel-overshadowed")


@pytest.mark.parametrize(("azimuth", "lost"), [(180, True), (270, False)])
def test_turning_the_panel_as_told_gains_what_was_told(small_plan, azimuth, lost):
    late = {"target.start": "15:00", "target.end": "19:00", "panel.0.azimuth": azimuth}
    findings = found(small_plan(late), "panel-turned-away")
    assert bool(findings) == lost
    for finding in findings:
        best = small_plan(late | {"panel.0.azimuth": 270})
        assert finding.value == pytest.approx(1 - light_in_need(small_plan(late)) / light_in_need(best), abs=0.01)


def test_dirt_moves_the_start_by_what_it_takes(small_plan):
    (finding,) = found(small_plan({"panel.0.soiling_ratio": 0.8}), "panel-dirty")
    start = simulate(small_plan(), MIDSUMMER).bands["typical"].thresholds["east"].start_irradiance
    assert f"{start / 0.8:.0f} W/m2 of sun in place of {start:.0f}" in finding.text


NEVER = {"panel.0.soiling_ratio": 0.8, "fan.0.start_voltage": "23 V", "fan.1.start_voltage": "23 V"}


@pytest.mark.parametrize("changes", [NEVER, {"panel.0.soiling_ratio": 0.0}])
def test_dirt_on_a_panel_whose_fans_never_start_promises_no_start(small_plan, changes):
    (finding,) = found(small_plan(changes), "panel-dirty")
    assert "W/m2" not in finding.text


@pytest.mark.parametrize(("mounting", "more"), [("flush", 10.0), ("close", 5.0)])
def test_a_panel_without_air_behind_it_is_hotter_by_its_mounting(small_plan, mounting, more):
    (finding,) = found(small_plan({"panel.0.mounting": mounting}), "panel-hot")
    brightest = simulate(small_plan(), MIDSUMMER).hours["poa_global"].max()
    assert finding.value == pytest.approx(more * brightest / 1000, rel=0.02)


def test_mesh_before_a_panel_is_told_from_glass(small_plan):
    assert found(small_plan({"panel.0.behind": "shade-cloth-50"}), "panel-behind-mesh")
    assert not found(small_plan({"panel.0.behind": "shade-cloth-50"}), "panel-behind-cover")
    assert not found(small_plan({"panel.0.behind": "single-glass"}), "panel-behind-mesh")


def test_a_tree_that_is_bare_in_the_hours_of_need_is_not_said_to_have_leaves(small_plan):
    bare = TREE | {"leaf_months": [1], "bare_passes": 0.3}
    (finding,) = found(small_plan({"obstacle": [bare]}), "panel-overshadowed")
    assert "leaves" not in finding.text


@pytest.mark.parametrize("plate", [{"watts": "60 W"}, {"part": "panel-20w", "watts": "60 W"}])
def test_watts_that_no_panel_of_its_size_gives_are_told_by_watts_and_size_alone(small_plan, plate):
    size = {"width": "0.34 m", "height": "0.43 m"}
    faulty = small_plan({"panel": [{"id": "roof", **plate, **size}]})
    mended = small_plan({"panel": [{"id": "roof", **plate, **size, "watts": "20 W"}]})
    told = [{one.code for one in find(simulate(plan, date(2001, 6, 21)))} for plan in (faulty, mended)]
    assert ["plate-inflated" in codes for codes in told] == [True, False]
