from dataclasses import replace

import pytest

from solarvent.electrical.branches import FanElectrical
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.panel_model import BANDS, HIGH, LOW, TYPICAL


def test_typical_comes_first_and_takes_the_plates_at_their_word(small_plan):
    plan = small_plan().record
    assert [band.name for band in BANDS] == ["typical", "low", "high"]
    fan = fan_electrical(plan.fan[0])
    assert (fan.rated_current, fan.start_voltage, fan.stop_voltage) == (0.125, 13.0, 9.0)
    assert TYPICAL.plate_factor(plan.panel[0]) == 1.0
    assert TYPICAL.flow_factor(plan.fan[0]) == plan.fan[0].delivered


def test_every_figure_of_a_fan_comes_to_its_electrical_side(small_plan):
    said = {"rated_voltage": "12 V", "rated_current": "0.3 A", "current_exponent": 1.2, "start_voltage": "6.5 V",
            "stop_voltage": "4 V", "locked_rotor_ratio": 2.8, "standing": "retrying", "speed_controlled": True,
            "start_capacitor": "4700 uF", "readings": [[9.0, 0.2], [6.0, 0.1]]}  # fmt: skip
    plain = said | {"standing": "held", "speed_controlled": False, "start_capacitor": None}
    fans = [{"id": name, "part": "fan-12v-120x25", **figures} for name, figures in (("a", said), ("b", plain))]
    one, other = (fan_electrical(fan) for fan in small_plan({"fan": fans}).record.fan)
    figures = (12.0, 0.3, 1.2, 6.5, 4.0, 2.8)
    assert replace(one, mounting="") == FanElectrical(
        "a", *figures, True, ((6.0, 0.1), (9.0, 0.2)), constant_power=True, start_capacitor=4700e-6
    )
    assert replace(other, mounting="") == FanElectrical("b", *figures, False, ((6.0, 0.1), (9.0, 0.2)))


def test_how_a_fan_is_mounted_tells_it_from_others_and_its_name_does_not(small_plan):
    kinds = [{"id": "a"}, {"id": "b"}, {"id": "c", "delivered": 0.5}]
    fans = small_plan({"fan": [{"part": "fan-12v-120x25"} | kind for kind in kinds]}).record.fan
    first, second, other = (fan_electrical(fan).mounting for fan in fans)
    assert first == second != other


def test_low_is_a_stiff_hungry_slow_fan_and_high_an_easy_strong_one(small_plan):
    record = small_plan().record.fan[0]
    low, high = fan_electrical(record, LOW), fan_electrical(record, HIGH)
    # Half of the spread of 15 % on volts and amperes, all of it on the flow (the bands' own assumption).
    assert low.start_voltage == pytest.approx(13.0 * 1.075)
    assert high.start_voltage == pytest.approx(13.0 * 0.925)
    assert low.rated_current == pytest.approx(0.125 * 1.075)
    assert HIGH.flow_factor(record) / LOW.flow_factor(record) == pytest.approx(1.15 / 0.85)


def test_a_panel_of_which_only_watts_are_known_may_hold_least(small_plan):
    guessed = small_plan({"panel": [{"id": "roof", "watts": "30 W"}]}).record.panel[0]
    assert LOW.plate_factor(guessed) == 0.65
    assert LOW.plate_factor(small_plan().record.panel[0]) == 0.8


def test_fans_without_spread_are_alike_in_all_bands(small_plan):
    record = small_plan({"fan.0.tolerance": 0.0}).record.fan[0]
    assert fan_electrical(record, LOW) == fan_electrical(record, HIGH) == fan_electrical(record)


def test_measured_running_points_are_not_stretched(small_plan):
    record = small_plan({"fan.0.readings": [[6.0, 0.03], [12.0, 0.06]]}).record.fan[0]
    assert fan_electrical(record, LOW).points == fan_electrical(record).points == ((6.0, 0.03), (12.0, 0.06))


def test_a_panel_that_stood_twenty_years_in_the_sun_gives_less_and_what_was_measured_wins(small_plan):
    old = small_plan({"panel.0.age": 20}).record.panel[0]
    # Jordan and Kurtz 2013: a median of 0.5 % a year; the low reading takes 1 %, beside its usual 0.8 of the plate.
    assert TYPICAL.plate_factor(old) == pytest.approx(0.9)
    assert LOW.plate_factor(old) == pytest.approx(0.8 * 0.8)
    assert HIGH.plate_factor(old) == 1.0
    assert TYPICAL.plate_factor(small_plan({"panel.0.age": 20, "panel.0.plate_factor": 0.7}).record.panel[0]) == 0.7


def test_a_kind_that_seldom_keeps_its_label_is_read_so_until_it_is_metered(small_plan):
    folding = small_plan({"panel.0.part": "panel-usb-10w"}).record.panel[0]
    assert TYPICAL.plate_factor(folding) == 0.6
    assert LOW.plate_factor(folding) == pytest.approx(0.8 * 0.6)
    assert HIGH.plate_factor(folding) == pytest.approx(0.8)
    metered = small_plan({"panel.0.part": "panel-usb-10w", "panel.0.plate_factor": 0.9}).record.panel[0]
    assert TYPICAL.plate_factor(metered) == 0.9
