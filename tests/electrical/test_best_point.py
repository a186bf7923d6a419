"""The greatest power of a source, against closed forms and against a fine comb of samples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.electrical.panel_model import greatest_power, maximum_power


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
