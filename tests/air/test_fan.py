import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.fan import FanCurve, speed_ratio
from solarvent.base.errors import DomainError
from solarvent.electrical.motor import locked_rotor_resistance, running_current

M3_PER_HOUR = 1 / 3600
plain = settings(deadline=None, max_examples=60)


def test_current_at_the_rated_point_is_the_rated_current():
    assert running_current(12.0, 12.0, 0.25, 0.87) == pytest.approx(0.25, rel=1e-15)


def test_no_voltage_draws_no_current():
    np.testing.assert_array_equal(running_current([-3.0, 0.0], 12.0, 0.25, 1.4), [0.0, 0.0])
    np.testing.assert_array_equal(speed_ratio([-3.0, 0.0], 12.0, 0.8), [0.0, 0.0])


def test_a_missing_voltage_stays_missing():
    assert np.isnan(running_current(np.nan, 12.0, 0.25))


def test_an_under_run_120_mm_fan():
    # FAN-06: 0.16 A at 12 V, 0.05 A at 5.33 V by hand meter, question 361624 of a public forum of electrical engineers:
    # an exponent of 1.43.
    assert running_current(5.33, 12.0, 0.16, 1.43) == pytest.approx(0.05, rel=0.005)


def test_a_constant_resistance_overstates_the_under_run_fan():
    # The same reading; taking the fan as a resistor gives 0.071 A, 42 % too much.
    assert running_current(5.33, 12.0, 0.16, 1.0) == pytest.approx(0.071, abs=5e-4)


def test_electrical_power_does_not_follow_the_cube():
    # With both exponents 1, half the voltage takes a quarter of the power; the cube law of the shaft says an eighth.
    power = 6.0 * running_current(6.0, 12.0, 0.25) / (12.0 * 0.25)
    assert power == pytest.approx(0.25, rel=1e-12)
    assert speed_ratio(6.0, 12.0) ** 3 == pytest.approx(0.125, rel=1e-12)


@plain
@given(
    start=st.floats(3.0, 10.0),
    ratio=st.floats(1.1, 6.5),
    exponent=st.floats(0.7, 1.5),
    current=st.floats(0.05, 4.0),
)
def test_a_held_rotor_draws_the_ratio_times_the_running_current_at_the_start_voltage(start, ratio, exponent, current):
    resistance = locked_rotor_resistance(12.0, current, start, ratio, exponent)
    turning = running_current(start, 12.0, current, exponent)
    assert start / resistance == pytest.approx(ratio * turning, rel=1e-12)


def test_a_5_volt_fan_that_draws_2_6_times_its_current_at_the_start():
    # FAN-12: start current 2.6 x running on a 5 V fan's sheet; 0.2 A assumed here, so 0.52 A at 5 V.
    assert locked_rotor_resistance(5.0, 0.2, 5.0, 2.6) == pytest.approx(5.0 / 0.52, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: running_current(5.0, 0.0, 0.2), "rated_voltage.*check the fan's sheet"),
        (lambda: running_current(5.0, 12.0, -0.2), "rated_current"),
        (lambda: running_current(5.0, 12.0, 0.2, float("nan")), "current_exponent"),
        (lambda: locked_rotor_resistance(12.0, 0.2, 0.0, 2.0), "start_voltage"),
        (lambda: locked_rotor_resistance(12.0, 0.2, 6.0, 0.0), "locked_rotor_ratio"),
        (lambda: speed_ratio(5.0, 12.0, -1.0), "speed_exponent"),
        (lambda: FanCurve.from_two_points(0.0, 20.0), "free_air_flow"),
        (lambda: FanCurve.from_two_points(0.05, float("inf")), "shutoff_pressure"),
    ],
)
def test_a_value_without_meaning_is_refused_by_name(call, named):
    with pytest.raises(DomainError, match=named):
        call()


@pytest.mark.parametrize(
    ("flow", "pressure", "message"),
    [
        ([0.0], [20.0], "two or more points"),
        ([0.0, 0.1], [20.0, 10.0, 0.0], "2 flows and 3 pressures"),
        ([0.01, 0.1], [20.0, 0.0], "do not rise from 0; start at the shut-off pressure"),
        ([0.0, 0.1, 0.1], [20.0, 10.0, 0.0], "do not rise from 0"),
        ([0.0, 0.05, 0.1], [20.0, 21.0, 0.0], "stall dip"),
        ([0.0, 0.05, 0.1], [20.0, 10.0, -1.0], "below zero"),
        ([0.0, 0.05, np.nan], [20.0, 10.0, 0.0], "not a number"),
    ],
)
def test_points_that_are_no_curve_are_refused(flow, pressure, message):
    with pytest.raises(DomainError, match=message):
        FanCurve(flow, pressure, measured=True)


def test_a_curve_cannot_be_changed_afterwards():
    points = np.array([0.0, 0.1])
    curve = FanCurve(points, [20.0, 0.0], measured=True)
    points[1] = 9.0
    assert curve.flow[1] == 0.1
    with pytest.raises(ValueError, match="read-only"):
        curve.flow[1] = 9.0
    with pytest.raises(ValueError, match="read-only"):
        curve.pressure[1] = 9.0


def test_the_typical_curve_lies_on_its_parabola():
    curve = FanCurve.from_two_points(194 * M3_PER_HOUR, 85.0)
    flow = np.linspace(0.0, 194 * M3_PER_HOUR, 57)
    exact = 85.0 * (1 - (flow / (194 * M3_PER_HOUR)) ** 2)
    np.testing.assert_allclose(np.interp(flow, curve.flow, curve.pressure), exact, atol=85e-5)
    assert not curve.measured
