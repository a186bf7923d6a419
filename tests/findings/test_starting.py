"""Findings on fans that stand; each of them with its mended twin is in test_failures.py."""

from datetime import date

import pytest

from solarvent.electrical.motor import locked_rotor_resistance
from solarvent.findings.verdicts import find
from solarvent.simulation.simulate import simulate

MIDSUMMER = date(2001, 6, 21)
STIFF = {"id": "east", "part": "fan-24v-120x25", "locked_rotor_ratio": 4.5}
BROKEN_SKY = {
    "weather": {"embedded": "latitude 36.1, longitude -79.95"},
    "place": {"latitude": 36.1, "longitude": -79.95, "timezone": "America/New_York", "record_low": "-20 degC"},
}


def found(loaded, code, day=MIDSUMMER):
    return [finding for finding in find(simulate(loaded, day)) if finding.code == code]


@pytest.mark.parametrize("code", ["tries-in-vain", "start-surge"])
@pytest.mark.parametrize("fan", [{"standing": "held"}, {"locked_rotor_ratio": 1.1, "rated_current": "0.1 A"}])
def test_a_motor_that_does_not_retry_or_that_starts_easily_neither_twitches_nor_wants_a_push(small_plan, code, fan):
    assert found(small_plan({"panel.0.part": "panel-5w", "fan": [STIFF]}), code)
    assert not found(small_plan({"panel.0.part": "panel-5w", "fan": [STIFF | fan]}), code)


def test_the_push_is_promised_only_where_the_capacitor_keeps_the_promise(small_plan):
    changes = {"panel.0.part": "panel-5w", "fan": [STIFF]}
    (finding,) = found(small_plan(changes), "start-surge")
    helped = simulate(small_plan(changes | {"fan": [STIFF | {"start_capacitor": "4700 uF"}]}), MIDSUMMER)
    start = helped.bands["typical"].thresholds["east"].start_irradiance
    assert f"from about {start:.0f} W/m2" in finding.do


def test_without_an_hour_of_need_nothing_is_said_of_starts(small_plan):
    changes = {"panel.0.part": "panel-5w", "fan": [STIFF], "target.months": [1]}
    assert not found(small_plan(changes), "tries-in-vain")


def test_two_fans_behind_one_converter_drop_out_together_and_are_told_once(small_plan):
    fans = [{"id": name, "part": "fan-usb-120"} for name in ("east", "west")]
    changes = {"panel.0.part": "panel-10w", "wiring.converter": "panel-usb-board", "fan": fans}
    loaded = small_plan(BROKEN_SKY | changes)
    (finding,) = found(loaded, "drops-in-shade", date(2001, 6, 11))
    assert finding.part == "converter"
    # What its own regulator does to it is no fault of the rotor.
    assert not found(loaded, "tries-in-vain", date(2001, 6, 11))


def test_a_lone_fan_has_no_other_to_starve_it(small_plan):
    assert not found(small_plan({"panel.0.part": "panel-5w", "fan": [STIFF]}), "only-some-turn")


def test_a_blocked_rotor_draws_what_its_line_says(small_plan):
    # In full sun a 30 W panel holds some 18 V or more under one fan of 0.15 A: the current is that of the line.
    loaded = small_plan({"fan": [STIFF | {"standing": "held"}]})
    (finding,) = found(loaded, "stalls-unprotected")
    fan = loaded.record.fan[0]
    at_start = fan.rated_current * fan.start_voltage / fan.rated_voltage
    ohms = locked_rotor_resistance(fan.start_voltage, at_start, fan.start_voltage, 4.5, 1.0)
    assert 17.0 / ohms < finding.value < 21.0 / ohms
    assert finding.limit == fan.rated_current


def test_cold_grease_counts_in_the_cold_hours_of_need_only(small_plan):
    weak = {"panel.0.part": "panel-5w", "fan": [STIFF | {"locked_rotor_ratio": 3.4}]}
    warm = small_plan(weak | {"weather": {"clear_sky": True, "temp_air": "12 degC"}})
    cold = small_plan(weak | {"weather": {"clear_sky": True, "temp_air": "2 degC"}})
    assert not found(warm, "stiff-in-cold")
    (finding,) = found(cold, "stiff-in-cold")
    # It starts at 772 W/m2, stiff at 802; of the three hours with more than the one the third has 791.
    assert finding.value == pytest.approx(1 / 3)


def test_what_a_larger_panel_mends_is_told_with_one_advice(small_plan):
    plan = small_plan({"panel.0.part": "panel-5w", "fan": [STIFF | {"locked_rotor_ratio": 3.5}]})
    asked = {one.code: one.do for one in find(simulate(plan, MIDSUMMER))}
    more = {code for code in asked if code in ("starts-late", "will-not-restart", "tries-in-vain")}
    assert len(more) >= 2
    assert len({asked[code] for code in more}) == 1
