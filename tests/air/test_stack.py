import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.airflow import OpeningPath, house_flow
from solarvent.air.opening import combined_flow, leakage_flow, series_area, stack_pressure, wind_pressure

plain = settings(deadline=None, max_examples=40)
FOOT, CFM = 0.3048, 0.3048**3 / 60
WARM, COLD = 30.0, 20.0


def opening(area, height, wind=0.0, warm=WARM, cold=COLD, coefficient=0.65):
    """An opening of the network with the draught of a warm house on it."""
    return OpeningPath(coefficient * area, wind - stack_pressure(height, warm, cold))


# --- rules of the handbooks -----------------------------------------------------------------------------------------


def test_draught_pressure_of_a_worked_example():
    # NV-08: 8 m, -10 degC outside, +20 inside: 10.8 Pa, with a density of 353 / (273 + t) (engineering tables).
    assert stack_pressure(8.0, 20.0, -10.0, 353 / 263) == pytest.approx(10.8, rel=5e-3)
    by_densities = 8 * 9.80665 * (353 / 263 - 353 / 293)
    assert by_densities == pytest.approx(10.8, rel=5e-3)


def test_stack_and_wind_add_as_squares():
    # NV-10: 0.3 and 0.4 give 0.5 (ASHRAE Fundamentals 2009, from memory). NV-11: equal ones 41 % more, not 10 %.
    assert combined_flow(0.3, 0.4) == pytest.approx(0.5)
    assert combined_flow(1.0, 1.0) == pytest.approx(1.41, rel=5e-3)


@pytest.mark.parametrize(("difference", "wind", "litres"), [(20.0, 0.0, 5.385), (-20.0, 0.0, 5.385), (0.0, 5.0, 5.099)])
def test_cracks_by_the_basic_model_worked_by_hand(difference, wind, litres):
    # ASHRAE Handbook, Fundamentals, basic model (coefficients from memory), 100 cm2: 100 sqrt(0.000145 x 20) L/s by
    # warmth alone, 100 sqrt(0.000104 x 25) by wind alone.
    assert leakage_flow(0.01, difference, wind) * 1000 == pytest.approx(litres, rel=1e-3)


def test_leaks_of_a_closed_house():
    # HB-17: new glass 0.75-1.5 changes an hour (ANSI/ASAE EP406 and NRAES-33, from memory). A house of 3 x 2.4 m, 33 m2
    # of cover and 14 m3 with 3 cm2 of crack for each m2, 10 K warmer, in 2 and 4 m/s.
    changes = leakage_flow(33 * 3e-4, 10.0, [2.0, 4.0]) * 3600 / 14
    assert ((changes > 0.75) & (changes < 1.7)).all()


# --- the network against them ---------------------------------------------------------------------------------------


def test_the_network_finds_the_neutral_level_half_way_between_equal_openings():
    # NV-01: half the height between equal openings, not all of it: Cd A sqrt(2 g h dT / T), ASHRAE Fundamentals 1997,
    # chapter 25, equation 37.
    air = house_flow([], [opening(0.2, 0.3), opening(0.2, 2.3)])
    expected = 0.65 * 0.2 * np.sqrt(2 * 9.80665 * 1.0 * (WARM - COLD) / (WARM + 273.15))
    assert air.inflow[0] == pytest.approx(expected, rel=1e-5)
    assert air.inlet_flow[0, 0] < 0 < air.inlet_flow[1, 0]


@pytest.mark.parametrize(("coefficient", "flow"), [(0.65, 0.740), (0.445, 0.506)])
def test_draught_of_a_worked_example(coefficient, flow):
    # NV-07: 1 m2, 2 m to the neutral level, 303.15 K inside, 10 K; form of ASHRAE Fundamentals 1997, ch. 25, eq. 37.
    air = house_flow([], [opening(1.0, height, coefficient=coefficient) for height in (0.0, 4.0)])
    assert air.inflow[0] == pytest.approx(flow, rel=2e-3)


def test_rule_of_thumb_for_the_draught():
    # NV-05, NV-06: Q = 9.4 A sqrt(h dT) in cfm, ft2, ft, degF: 1 ft2, 10 ft, 20 degF give 132.9 cfm (engineering
    # tables). It implies a coefficient near 0.636 with the neutral level at half height and about 70 degF inside.
    inside = (70 - 32) / 1.8
    pair = [opening(FOOT**2, height * FOOT, 0.0, inside, inside - 20 / 1.8, 0.636) for height in (0.0, 10.0)]
    assert house_flow([], pair).inflow[0] / CFM == pytest.approx(132.9, rel=0.02)


@plain
@given(low=st.floats(0.02, 1.0), high=st.floats(0.02, 1.0), rise=st.floats(1.0, 30.0), height=st.floats(0.5, 4.0))
def test_the_network_agrees_with_openings_in_series(low, high, rise, height):
    # NV-12: 1/A2 = 1/Ai2 + 1/Ao2, UFC 3-440-06N, appendix C, steps 14-18.
    air = house_flow([], [opening(low, 0.0, warm=20 + rise), opening(high, height, warm=20 + rise)])
    pressure = stack_pressure(height, 20 + rise, 20.0)
    flow = series_area([0.65 * low, 0.65 * high]) * np.sqrt(2 * pressure / 1.2)
    assert air.inflow[0] == pytest.approx(flow, rel=1e-4)


@pytest.mark.parametrize(("ratio", "more"), [(2, 26.5), (4, 37.2), (6, 39.5), (1e3, 41.4)])
def test_a_larger_outlet_helps_less_and_less(ratio, more):
    # NV-13: flow over that of two equal small openings, in percent (series formula; figure of ASHRAE Fundamentals).
    equal = house_flow([], [opening(0.1, 0.0), opening(0.1, 2.0)]).inflow[0]
    larger = house_flow([], [opening(0.1, 0.0), opening(0.1 * ratio, 2.0)]).inflow[0]
    assert (larger / equal - 1) * 100 == pytest.approx(more, abs=1)


def test_equal_inlet_and_outlet_for_an_effective_area():
    # NV-12: 1.41 times the effective area each; an inlet of twice it wants an outlet of 1.155 (same appendix).
    assert series_area([1.414, 1.414]) == pytest.approx(1.0, rel=5e-3)
    assert series_area([2.0, 1.155]) == pytest.approx(1.0, rel=5e-3)


def test_the_network_adds_wind_and_stack_as_squares():
    # Low inlet on the windward side, high outlet: both drive the same way, so their pressures add up.
    wind = wind_pressure(3.0, 1.0)
    stack = house_flow([], [opening(0.2, 0.0), opening(0.2, 2.0)]).inflow[0]
    only_wind = house_flow([], [OpeningPath(0.13, wind), OpeningPath(0.13)]).inflow[0]
    both = house_flow([], [opening(0.2, 0.0, wind), opening(0.2, 2.0)]).inflow[0]
    assert both == pytest.approx(combined_flow(stack, only_wind), rel=1e-4)


def test_wind_on_a_high_outlet_can_hold_or_turn_the_draught():
    pressure = stack_pressure(2.0, WARM, COLD)
    held = house_flow([], [opening(0.2, 0.0), opening(0.2, 2.0, pressure)])
    assert held.inflow[0] == pytest.approx(0.0, abs=1e-4)
    turned = house_flow([], [opening(0.2, 0.0), opening(0.2, 2.0, 2 * pressure)])
    assert turned.inlet_flow[1, 0] < 0 < turned.inlet_flow[0, 0]


def test_a_door_breathes_both_ways():
    # One opening 2 m high, cut into 8 slices: Q = Cd A / 3 sqrt(g h dT / T), the integral over its height (Brown &
    # Solvason 1962, from memory). Eight slices come within 2 %.
    heights = (np.arange(8) + 0.5) * 2.0 / 8
    air = house_flow([], [opening(0.8 * 2.0 / 8, height) for height in heights])
    exact = 0.65 * 1.6 / 3 * np.sqrt(9.80665 * 2.0 * (WARM - COLD) / (WARM + 273.15))
    assert air.inflow[0] == pytest.approx(exact, rel=0.02)
    assert (air.inlet_flow[:4, 0] < 0).all()
    assert (air.inlet_flow[4:, 0] > 0).all()


@plain
@given(area=st.floats(0.01, 1.0), more=st.floats(0.01, 1.0), wind=st.floats(0.0, 10.0), warm=st.floats(0.0, 40.0))
def test_more_opening_never_means_less_air(area, more, wind, warm):
    low, high = (
        opening(0.1, 0.2, wind, warm=warm, cold=10.0),
        [opening(a, 2.0, warm=warm, cold=10.0) for a in (area, area + more)],
    )
    flows = [house_flow([], [low, one], leakage_area=0.01).inflow[0] for one in high]
    assert flows[1] >= flows[0] - 1e-9


def test_a_larger_outlet_never_lowers_the_neutral_level():
    def level(high):
        low = opening(0.1, 0.0)
        pressure = house_flow([], [low, opening(high, 2.0)]).inside_pressure[0]
        return -pressure / stack_pressure(1.0, WARM, COLD)

    assert level(0.1) == pytest.approx(1.0, rel=1e-4)
    assert 1.0 < level(0.2) < level(0.4) < 2.0
