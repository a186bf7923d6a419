"""The greatest power of a source, against closed forms and against a fine comb of samples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib.pvsystem import i_from_v, max_power_point

from solarvent.electrical.panel_model import greatest_power, maximum_power
from solarvent.electrical.panel_source import PanelSource
from solarvent.electrical.source_side import best_point, charging_of
from solarvent.plan.parts import Converter


def battery(voltage, resistance):
    return lambda current: (voltage - resistance * current, np.full_like(current, -resistance))


@settings(deadline=None, max_examples=50)
@given(voltage=st.floats(1.0, 100.0), resistance=st.floats(0.01, 100.0))
def test_a_battery_gives_most_at_half_its_voltage(voltage, resistance):
    # V^2 / (4 R), by the calculus of every textbook of circuits.
    found = greatest_power(battery(voltage, resistance), np.array([[voltage / resistance]]))
    assert found == pytest.approx(voltage**2 / (4 * resistance), rel=1e-6)


@pytest.mark.parametrize(("highest", "watts"), [(3.0, 13.5), (6.0, 18.0), (100.0, 18.0)])
def test_a_limit_below_the_best_point_costs_power_and_one_above_costs_none(highest, watts):
    # A battery of 12 V behind 2 ohm: at 3 V it gives 4.5 A.
    assert greatest_power(battery(12.0, 2.0), np.array([[6.0]]), highest) == pytest.approx(watts, rel=1e-6)


def test_in_the_dark_there_is_no_power_and_beside_it_that_of_the_light():
    def panel(light):
        light = np.array(light)
        return tuple(np.broadcast_to(value, light.shape) for value in (1.8 * light, 5e-10, 0.5, 400.0, 0.95))

    assert maximum_power(panel([0.0, 0.0])).tolist() == [0.0, 0.0]
    dark, lit = maximum_power(panel([0.0, 1.0]))
    assert (dark, lit) == (0.0, maximum_power(panel([1.0]))[0])
    # Between the half and the whole of what the product of no voltage lost and no current lost would be.
    assert 0.5 * 1.8 * 0.95 * np.log(1.8 / 5e-10) < lit < 1.8 * 0.95 * np.log(1.8 / 5e-10)


def two_humps(small, share):
    """Cells in two lights, the darker ones bridged at no cost beyond their own current; voltages fall straight."""

    def voltage_at(current):
        lit = share * 20.0 * np.clip(1.0 - (current / 1.0) ** 9, 0.0, None)
        dim = (1 - share) * 20.0 * np.clip(1.0 - (current / small) ** 9, 0.0, None)
        return lit + dim, np.full_like(current, np.nan)

    return voltage_at


@pytest.mark.parametrize("small", [0.05, 0.2, 0.5, 0.95])
@pytest.mark.parametrize("share", [1 / 3, 2 / 3])
def test_of_two_humps_the_higher_one_is_found(small, share):
    source = two_humps(small, share)
    comb = np.linspace(0.0, 1.0, 2_000_001)
    most = (comb * source(comb)[0]).max()
    assert greatest_power(source, np.array([[small], [1.0]])) == pytest.approx(most, rel=1e-6)


def test_the_order_of_the_groups_does_not_matter_and_every_step_is_its_own():
    small = np.array([0.1, 0.3, 0.6])
    source = two_humps(small, 0.5)
    bends = np.array([small, np.ones(3)])
    assert greatest_power(source, bends).tolist() == greatest_power(source, bends[::-1]).tolist()
    alone = [greatest_power(two_humps(value, 0.5), np.array([[value], [1.0]]))[0] for value in small]
    assert greatest_power(source, bends) == pytest.approx(alone, rel=1e-9)


def test_in_the_dark_there_is_none():
    assert greatest_power(battery(0.0, 2.0), np.zeros((2, 3))).tolist() == [0.0, 0.0, 0.0]


LIGHT = np.array([0.0, 0.05, 0.4, 0.8, 1.1])
VALUES = (5.4 * LIGHT, 5e-10, 0.2, np.divide(130.0, LIGHT, out=np.full(5, np.inf), where=LIGHT > 0), 0.95)
PANEL = PanelSource(*VALUES)


@pytest.mark.parametrize(("cells", "lead"), [(1.0, 0.0), (1.0, 0.4), (2.0, 0.0)])
def test_a_tracking_controller_keeps_within_a_hair_of_the_power_that_pvlib_finds(cells, lead):
    source = PANEL.in_series(cells).through(lead)
    values = [value * np.ones(4) for value in (VALUES[0][1:], 5e-10, cells * 0.2 + lead, cells * VALUES[3][1:])]
    most = max_power_point(*values, cells * 0.95 * np.ones(4), method="newton")["p_mp"]
    volts = best_point(source, 5)
    assert volts[0] == 0.0
    power = (volts * source.current_at(volts)[0])[1:]
    # The top of a parabola through samples of 2 % of the open circuit.
    np.testing.assert_allclose(power, most, rtol=2e-4)
    assert (power <= most * (1 + 1e-9)).all()


def controller(**more):
    figures = {"kind": "linear", "output_voltage": "13.8 V", "headroom": "0.4 V", "needs_battery": True}
    return Converter(**figures | more)


def test_a_plain_controller_pulls_the_panels_down_to_the_battery():
    battery = np.array([11.0, 12.0, 13.0, 14.0, 12.5])
    charging = charging_of(PANEL, controller(), battery)
    np.testing.assert_allclose(charging.bus_voltage, battery + 0.4)
    lit = [
        i_from_v(battery[step] + 0.4, *(np.broadcast_to(value, 5)[step] for value in VALUES)) for step in range(1, 5)
    ]
    np.testing.assert_allclose(charging.current[1:], lit, rtol=1e-8)
    np.testing.assert_array_equal(charging.bus_current, charging.current)
    assert charging.current[0] == 0.0
    # In the dark some would flow backwards, through the shunt and the junction of the cells.
    assert charging_of(PANEL, controller(), battery, backwards=True).current[0] < 0.0


def test_a_tracking_controller_turns_the_power_of_the_best_point_into_current_and_steps_down_only():
    tracking = controller(kind="buck", cut_in="15 V", cut_out="14 V", tracks=True, efficiency=[[0.0, 0.8], [4.0, 0.96]])
    battery, best = np.full(5, 12.0), best_point(PANEL, 5)
    charging = charging_of(PANEL, tracking, battery)
    power = best * PANEL.current_at(best)[0]
    np.testing.assert_allclose(charging.bus_voltage[1:], best[1:])
    assert charging.bus_voltage[0] == 12.4
    # The efficiency is that at the output current.
    share = np.interp(power[1:] / 12.0, [0.0, 4.0], [0.8, 0.96])
    np.testing.assert_allclose(charging.current[1:] * 12.0, share * power[1:], rtol=1e-9)
    # Above its best point a panel is held at the battery, and a best point that is known is taken.
    np.testing.assert_allclose(charging_of(PANEL, tracking, battery + 7.0).bus_voltage[1:], 19.4)
    np.testing.assert_allclose(charging_of(PANEL, tracking, battery, np.full(5, 15.0)).bus_voltage, 15.0)
