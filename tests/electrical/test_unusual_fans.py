"""Fans that hold their own speed, and fans with a capacitor for the start."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib.pvsystem import calcparams_desoto, i_from_v

from solarvent.air.network import fan_speed
from solarvent.electrical.motor import capacitor_start_voltage
from solarvent.electrical.operation import FanElectrical, operate, point
from solarvent.electrical.panel_model import TYPICAL
from solarvent.electrical.start_light import thresholds
from solarvent.simulation.simulate import simulate
from solarvent.wiring.circuit import Circuit, Joined, Leaf, Through

LIGHT = np.concatenate([[0.0], np.linspace(20.0, 1100.0, 40)])


def panel(watts, irradiance):
    """A 36-cell panel: Isc 1.17 A, Vmp 18.8 V and Voc 22.7 V at 20 W; cells at 25 degC + 0.03 K per W/m2."""
    light, size = np.asarray(irradiance, dtype=float), watts / 20.0
    values = calcparams_desoto(
        np.maximum(light, 1e-6), 25.0 + 0.03 * light, 0.0006, 0.9285, 1.173, 2.8e-11, 406.0, 1.05
    )
    current, saturation, series, shunt, slope = values
    return np.where(light > 0, current, 0.0) * size, saturation * size, series / size, shunt / size, slope


def fan(name="a", **changes):
    figures = {"rated_voltage": 12.0, "rated_current": 0.4, "current_exponent": 1.0, "start_voltage": 7.0,
               "stop_voltage": 5.0, "locked_rotor_ratio": 2.5, "retrying": True}  # fmt: skip
    return FanElectrical(name, **(figures | changes))


ALONE = Circuit(Leaf("panel"), Through(Leaf("a"), 0.4))


def test_a_fan_that_holds_its_speed_takes_the_same_watts_at_any_voltage():
    one = fan(constant_power=True)
    volts = np.array([6.0, 9.0, 12.0, 20.0])
    np.testing.assert_allclose(volts * one.running_current(volts), 4.8)


def test_it_drops_out_rather_than_slowing_down():
    # Common practice, no source: its current rises as the voltage falls, until the panel can give it no longer.
    values = panel(10.0, LIGHT)
    got = point(ALONE, {"panel": values}, {"a": fan(constant_power=True)}, {"a": "turning"})
    volts = got.fan_voltage[0]
    holds = volts >= 5.0
    assert holds.any()
    assert (~holds).any()
    first = int(np.argmax(holds))
    assert (holds[first:]).all()
    # The point by hand: the highest voltage at which the panel gives 4.8 W at the fan, 0.4 ohm of lead before it.
    grid = np.linspace(26.0, 5.0, 21001)
    amps = 4.8 / grid
    for step in (first + 1, len(LIGHT) - 1):
        held = i_from_v(grid + 0.4 * amps, *(np.broadcast_to(v, LIGHT.shape)[step] for v in values)) >= amps
        assert volts[step] == pytest.approx(grid[np.argmax(held)], abs=3e-3)
    # At the last light that holds it, it still has far more than its stop voltage.
    assert volts[first] > 10.0


@settings(deadline=None, max_examples=25)
@given(st.floats(5.0, 60.0), st.floats(0.0, 1.0), st.booleans())
def test_its_energy_adds_up_too(watts, lead, beside):
    legs = (Through(Leaf("a"), lead), Through(Leaf("b"), 0.3))
    fans = {"a": fan("a", constant_power=True), "b": fan("b", rated_current=0.2, constant_power=beside)}
    done = operate(Circuit(Leaf("panel"), Joined("parallel", legs)), {"panel": panel(watts, LIGHT)}, fans)
    made = (done.panel_voltage * done.panel_current).sum(axis=0)
    used = (done.fan_voltage * done.fan_current).sum(axis=0)
    np.testing.assert_allclose(made, used + done.cable_loss, rtol=1e-6, atol=1e-6)


def test_its_air_does_not_follow_the_voltage(small_plan):
    # At half the height of the house, as its inlet and cracks, so that the draught of warm air does not help it.
    fan = {"id": "east", "part": "fan-24v-120x25", "speed_controlled": True, "height": "1.15 m"}
    loaded = small_plan({"fan": [fan]})
    (one,) = loaded.record.fan
    assert fan_speed(one, np.array([5.0, 12.0, 20.0])).tolist() == [0.0, 1.0, 1.0]
    run = simulate(loaded, bands=(TYPICAL,))
    turning = run.electrical.running[0] == 1
    flow = run.ventilation.fan_flow[0][turning]
    assert flow.max() == pytest.approx(flow.min(), rel=1e-6)


def test_a_capacitor_starts_a_fan_that_the_panel_can_only_keep_turning():
    def limits(capacitance, retrying=True):
        one = fan(start_capacitor=capacitance, retrying=retrying)
        return thresholds(ALONE, lambda g: {"panel": panel(10.0, g)}, {"a": one})["a"]

    plain, helped = limits(0.0), limits(4700e-6)
    assert helped.run_down_irradiance == plain.run_down_irradiance
    # With the push the fan starts as soon as the panel can keep it turning.
    assert helped.start_irradiance == pytest.approx(plain.run_down_irradiance, abs=1.0)
    assert plain.start_irradiance > 1.5 * helped.start_irradiance
    # One that is too small gives no push, and a rotor that stays on the line keeps its capacitor empty.
    assert limits(100e-6).start_irradiance == plain.start_irradiance
    assert limits(4700e-6, retrying=False).start_irradiance == limits(0.0, retrying=False).start_irradiance


def test_the_charge_holds_the_energy_of_the_rotor():
    volts = capacitor_start_voltage(6.5, 4700e-6)  # where nothing is said, 0.6 J
    assert 0.5 * 4700e-6 * (volts**2 - 6.5**2) == pytest.approx(0.6)
    assert np.isinf(capacitor_start_voltage(6.5, 0.0))


def test_a_second_fan_starts_where_the_panel_feeds_both_at_its_start_voltage():
    # By hand, with pvlib's current of the panel: 4.8 W of the one, and the locked rotor of the other at 9 V.
    first = fan(constant_power=True, start_voltage=5.0, locked_rotor_ratio=0.5)
    second = fan("b", start_voltage=9.0)
    amps = 4.8 / 9.0 + 2.5 * float(second.running_current(np.array(9.0)))
    light = np.linspace(300.0, 1100.0, 1001)
    enough = np.interp(amps, i_from_v(9.0, *panel(40.0, light)), light)
    found = thresholds(
        Circuit(Leaf("panel"), Joined("parallel", (Leaf("a"), Leaf("b")))),
        lambda lights: {"panel": panel(40.0, lights)}, {"a": first, "b": second}, resolution=0.02,
    )  # fmt: skip
    assert found["b"].start_irradiance == pytest.approx(enough, abs=0.03)
