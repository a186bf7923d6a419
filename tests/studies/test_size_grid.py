"""Designs by the explicit light of their points, against the same designs carried through time one by one."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pvlib.pvsystem import i_from_v

from solarvent.electrical.branches import FanElectrical
from solarvent.electrical.operation import operate
from solarvent.electrical.single_diode import fit_nameplate, operating_parameters, scale_plate
from solarvent.plan.parts import Converter
from solarvent.studies.size_grid import Load, course, hunting, in_line
from solarvent.studies.size_points import Light, needed_light
from solarvent.wiring.circuit import Circuit, DiodeLaw, Joined, Leaf, Through

REFERENCE = fit_nameplate(22.0, 1.2, 18.0, 1.11, 0.0006, -0.0726)  # the trade's typical 20 W plate
CONVERTERS = {
    "": None,
    "buck": {"kind": "buck", "output_voltage": "12 V", "cut_in": "13.5 V", "cut_out": "13 V", "headroom": "1 V"},
    "linear": {"kind": "linear", "output_voltage": "12 V", "headroom": "2 V", "quiescent_current": "5 mA"},
    "clamp": {"kind": "clamp", "output_voltage": "13 V", "slope_resistance": "0.2 ohm"},
}
CUT_IN = {"buck": 13.5}


def fan(name, volts, amps, start, stop, ratio, retrying, **kind):
    return FanElectrical(name, volts, amps, 1.0, start, stop, ratio, retrying, **kind)


def year(seed):
    """Some days of changing light and heat."""
    rng = np.random.default_rng(seed)
    light = np.abs(np.cumsum(rng.normal(0.0, 60.0, 800))) % 1150.0
    light[::40] = 0.0
    return light, 15.0 + 0.03 * light + rng.uniform(-25.0, 15.0, 800)


@settings(deadline=None, max_examples=40)
@given(st.floats(0.2, 5.0), st.sampled_from([*CONVERTERS]), st.integers(1, 3), st.sampled_from([12.0, 24.0]),
       st.booleans(), st.floats(0.02, 1.5), st.booleans(), st.integers(0, 9),
       st.sampled_from([{}, {}, {"start_capacitor": 4700e-6}, {"constant_power": True}]), st.booleans())  # fmt: skip
# The best point lies between those of the next two temperatures.
@example(1.0150760536858663, "buck", 3, 12.0, True, 1.015625, True, 3, {}, False)
def test_a_design_on_the_grid_does_what_it_does_alone(
    size, converter, count, volts, retrying, lead, diode, seed, kind, unlike
):
    if converter:
        volts = 12.0
    start, stop = (7.0, 5.0) if volts == 12.0 else (13.0, 9.0)
    fans = {
        f"fan-{k}": fan(f"fan-{k}", volts, (3.0 + k * unlike) / volts, start + k * unlike, stop, 2.5, retrying, **kind)
        for k in range(count)
    }
    legs = tuple(Through(Leaf(name), 0.1) for name in fans)
    load = legs[0] if count == 1 else Joined("parallel", legs)
    if converter:
        load = Through(load, converter=Converter(id="regulator", **CONVERTERS[converter]))
    source = Through(Leaf("panel"), 0.2, DiodeLaw(1e-7, 0.03)) if diode else Leaf("panel")
    circuit = Circuit(source, Through(load, lead))
    light, heat = year(seed)
    alone = operate(circuit, {"panel": operating_parameters(scale_plate(REFERENCE, size), light, heat)}, fans)
    whole, sun = Load(in_line(source, circuit.load), fans, 27.0), Light(REFERENCE, light, heat)
    found = course(whole, sun, size)
    tests = [*whole.keeping.values(), *(test for group in whole.starting.values() for test in group)]
    tests += [test for position in range(len(whole.sets)) for test in whole.trying(position)]
    limits = [test.light(sun, size) for test in tests]
    distance = np.min([np.abs(light - limit) for limit in limits], axis=0)
    same = found.turning.sum(axis=0) == alone.running.sum(axis=0)
    if not same.all():
        # What a fan does next depends on what it did, so one light that lies on a threshold may shift many steps.
        assert distance[np.argmin(same)] < 0.3
    row = whole.running.by_fan(found.voltage)[0] * whole.running.by_fan(found.turning, turning=True)[0]
    error = np.abs(row - np.where(alone.running[0], alone.fan_voltage[0], 0.0))[same]
    # A fan of constant power falls off a steep edge: a few watts per square metre from it, the voltage is not so sure.
    near = (distance[same] < 4.0) & ("constant_power" in kind)
    assert (error < np.where(near, 0.5, 0.05)).all()
    if converter:
        # Away from the lights at which it comes on, or can just be held.
        comes_on = needed_light(sun.diode, size, np.array(CUT_IN.get(converter, 0.0)), np.zeros(1))
        held = [whole.held(*table).light(sun, size) for table in whole.tables]
        sure = same & (np.min([np.abs(light - limit) for limit in (comes_on, *held)], axis=0) > 0.3) & (distance > 0.3)
        assert (hunting(whole, sun, size, found)["regulator"] == alone.converter_hunting[0])[sure].all()


@pytest.mark.parametrize("temp_cell", [-10.0, 25.0, 70.0])
def test_the_needed_light_gives_that_current_by_the_reference_library(temp_cell):
    diode = operating_parameters(REFERENCE, 1000.0, np.array([temp_cell]))
    for volts, amps in ((5.0, 0.9), (12.0, 0.5), (17.0, 0.8), (19.0, 0.01)):
        light = needed_light(diode, 2.0, volts, amps)
        values = operating_parameters(scale_plate(REFERENCE, 2.0), light, temp_cell)
        assert i_from_v(volts, *values) == pytest.approx(amps, rel=1e-6)


def test_no_light_holds_a_panel_above_every_voltage_of_its_diode():
    diode = operating_parameters(REFERENCE, 1000.0, np.array([25.0]))
    assert np.isinf(needed_light(diode, 1.0, 1e4, 0.1)).all()


def test_two_panels_are_no_single_one():
    assert in_line(Joined("parallel", (Leaf("a"), Leaf("b"))), Leaf("fan")) is None
