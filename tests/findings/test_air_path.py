"""Findings on the way of the air; each of them with its mended twin is in test_failures.py."""

from datetime import date

import numpy as np
import pytest

from solarvent.air.network import effective_area, fan_outlet
from solarvent.findings.verdicts import find
from solarvent.simulation.simulate import simulate

MIDSUMMER = date(2001, 6, 21)
FAN = {"id": "east", "part": "fan-24v-120x25"}
DUCT = {"duct_length": "4 m", "duct_bends": 2}
SCREEN = {"opening.0.part": "insect-screen-fine"}


def found(loaded, code):
    return [finding for finding in find(simulate(loaded, MIDSUMMER)) if finding.code == code]


def test_a_duct_takes_from_the_simulated_air_what_the_finding_says(small_plan):
    open_air, ducted = (
        simulate(small_plan({"fan": [FAN | duct]}), MIDSUMMER).hours["flow"].max() for duct in ({}, DUCT)
    )
    (finding,) = found(small_plan({"fan": [FAN | DUCT]}), "duct-loss")
    # At its usual voltage against the brightest hour.
    assert finding.value == pytest.approx(1 - ducted / open_air, abs=0.02)


def test_a_short_straight_duct_is_not_worth_a_word(small_plan):
    loaded = small_plan({"fan": [FAN | {"duct_length": "0.3 m"}]})
    assert not found(loaded, "duct-loss")
    plain = small_plan({"fan": [FAN]})
    assert (
        fan_outlet(loaded, loaded.record.fan[0]).effective_area < fan_outlet(plain, plain.record.fan[0]).effective_area
    )


def test_blades_that_open_outward_leave_what_leaks_past_them(small_plan):
    inward, outward = (small_plan({"opening.0.blades_open": way}).record.opening[0] for way in ("inward", "outward"))
    assert 0 < effective_area(outward) < 0.05 * effective_area(inward)


def test_a_spring_stronger_than_the_fans_is_an_inlet_held_shut(small_plan):
    strong = small_plan({"opening.0.opening_pressure": "50 Pa"})
    (finding,) = found(strong, "inlet-held-shut")
    assert finding.value < finding.limit == 50.0
    assert "in H2O" not in finding.text
    assert not found(small_plan({"opening.0.opening_pressure": "2 Pa"}), "inlet-held-shut")


def test_a_screen_over_an_inlet_that_is_too_small_bare_is_not_to_blame(small_plan):
    assert found(small_plan(SCREEN), "screen-chokes-inlet")
    assert not found(small_plan(SCREEN | {"opening.0.area": "0.01 m2"}), "screen-chokes-inlet")
    assert not found(small_plan(SCREEN | {"opening.0.area": "0.4 m2"}), "screen-chokes-inlet")


def test_a_lone_fan_shares_its_inlet_with_none(small_plan):
    tight = {"house.tightness": "tight", "opening.0.area": "0.005 m2"}
    assert found(small_plan(tight), "fans-share-inlet")
    assert not found(small_plan(tight | {"fan": [FAN]}), "fans-share-inlet")


def test_fans_that_never_turn_have_no_way_of_the_air(small_plan):
    never = {"fan.0.start_voltage": "23 V", "fan.1.start_voltage": "23 V", "opening.0.blades_open": "outward"}
    assert not found(small_plan(never), "inlet-held-shut")


def test_wind_counts_on_its_own_wall_only(small_plan, tmp_path):
    lines = ["# latitude: 51", "# longitude: 0", "# altitude: 50", "# stamp: middle"]
    lines += ["time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC],wind_speed [m/s],wind_direction [deg]"]
    for hour in range(24):
        light = max(700 - 22 * (hour - 11.5) ** 2, 0.0)
        lines.append(f"2021-06-21T{hour:02}:30+00:00,{light:.1f},0,{light:.1f},20,12,240")
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    def codes(azimuth):
        changes = {"weather": {"file": "day.csv"}, "fan": [FAN | ({"wall_azimuth": azimuth} if azimuth else {})]}
        return [one for one in find(simulate(small_plan(changes, tmp_path / "plan.toml"))) if one.code == against]

    against = "fan-against-wind"
    assert [len(codes(azimuth)) for azimuth in (240, 60, None)] == [1, 0, 0]
    assert np.isclose(codes(240)[0].value, 1.0)
