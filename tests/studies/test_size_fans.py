"""Designs of many sizes at once: each as it is alone; the benchmark runs."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.electrical.branches import FanElectrical
from solarvent.electrical.operation import fan_states, operate
from solarvent.electrical.panel_model import TYPICAL
from solarvent.electrical.single_diode import fit_nameplate, operating_parameters, scale_plate
from solarvent.plan.parts import Converter
from solarvent.simulation.simulate import simulate
from solarvent.studies.size_designs import base_fan, designs, plan_of
from solarvent.studies.size_fans import SizedCircuits
from solarvent.weather.conditions import conditions
from solarvent.wiring.circuit import Circuit, DiodeLaw, Joined, Leaf, Through

BENCHMARK = Path(__file__).parents[1] / "benchmark" / "designs.py"
REFERENCE = fit_nameplate(22.0, 1.2, 18.0, 1.11, 0.0006, -0.0726)  # the trade's typical 20 W plate
CONVERTERS = {
    "": None,
    "buck": {"kind": "buck", "output_voltage": "12 V", "cut_in": "13.5 V", "cut_out": "13 V", "headroom": "1 V"},
    "latching": {"kind": "buck", "output_voltage": "12 V", "cut_in": "13.5 V", "cut_out": "13 V", "headroom": "1 V"},
    "linear": {"kind": "linear", "output_voltage": "12 V", "headroom": "2 V", "quiescent_current": "5 mA"},
    "clamp": {"kind": "clamp", "output_voltage": "13 V", "slope_resistance": "0.2 ohm"},
}


def fan(name, volts, amps, start, stop, ratio, retrying, **kind):
    return FanElectrical(name, volts, amps, 1.0, start, stop, ratio, retrying, **kind)


def year(seed):
    """Some days of changing light and heat, which do not begin in the dark."""
    rng = np.random.default_rng(seed)
    light = (300.0 + np.abs(np.cumsum(rng.normal(0.0, 60.0, 400)))) % 1150.0
    light[::40] = 0.0
    light[:3] = 900.0
    return light, 15.0 + 0.03 * light + rng.uniform(-25.0, 15.0, 400)


@pytest.mark.long
@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(0.2, 5.0), min_size=2, max_size=4), st.sampled_from([*CONVERTERS]), st.integers(1, 3),
       st.sampled_from([12.0, 24.0]), st.booleans(), st.floats(0.02, 1.5), st.booleans(), st.integers(0, 9),
       st.sampled_from([{}, {}, {"start_capacitor": 4700e-6}, {"constant_power": True}]), st.booleans(),
       st.sampled_from(["one", "one", "parallel", "series"]))  # fmt: skip
def test_every_size_does_what_it_does_alone(
    sizes, converter, count, volts, retrying, lead, diode, seed, kind, unlike, arrangement
):
    volts = 12.0 if converter else volts
    start, stop = (7.0, 5.0) if volts == 12.0 else (13.0, 9.0)
    fans = {
        f"fan-{k}": fan(f"fan-{k}", volts, (3.0 + k * unlike) / volts, start + k * unlike, stop, 2.5, retrying, **kind)
        for k in range(count)
    }
    legs = tuple(Through(Leaf(name), 0.1) for name in fans)
    load = legs[0] if count == 1 else Joined("parallel", legs)
    if converter:
        part = Converter(id="regulator", **CONVERTERS[converter], latches=converter == "latching")
        load = Through(load, converter=part)
    source = Through(Leaf("panel"), 0.2, DiodeLaw(1e-7, 0.03)) if diode else Leaf("panel")
    if arrangement != "one":
        source = Joined(arrangement, (source, Leaf("other")))
    circuit = Circuit(source, Through(load, lead))
    light, heat = year(seed)
    shares = {"panel": 1.0, "other": 0.7}

    def panels(size):
        return {
            name: operating_parameters(scale_plate(REFERENCE, size * share), light * share, heat)
            for name, share in shares.items()
        }

    together = fan_states(circuit, panels(1.0), fans, sizes)
    some = np.arange(0, len(together.light_of), 7)
    rest = together.at_rest(some)
    for number, size in enumerate(sizes):
        alone = operate(circuit, panels(size), fans)
        span = slice(number * len(light), (number + 1) * len(light))
        np.testing.assert_array_equal(together.running[:, span], alone.running)
        np.testing.assert_array_equal(together.converter_hunting[:, span], alone.converter_hunting)
        mine = (some >= span.start) & (some < span.stop)
        np.testing.assert_allclose(
            rest.fan_voltage[:, mine], alone.fan_voltage[:, some[mine] - span.start], rtol=1e-7, atol=1e-7
        )


def test_every_design_does_through_the_year_what_it_does_alone(small_plan):
    loaded = small_plan({"weather": {"climate": "cool-maritime"}})
    fan = base_fan(loaded, "fan-12v-120x25", False)
    tried = designs(loaded, fan, [2], [8.0, 60.0], ["24 AWG"], [30.0])
    sun = conditions(plan_of(tried[0], loaded))
    order, states = sun.sky_states.order, sun.panel_states["panel"]
    lights = {"panel": (states.section_irradiance[..., order], states.temp_cell[order])}
    every = np.ones(len(order), dtype=bool)
    for first, second in zip(tried[::2], tried[1::2], strict=True):
        wired = SizedCircuits(plan_of(first, loaded))
        found = wired.courses(lights, [1.0, second.panel_watts / first.panel_watts], every)
        for design, course in zip((first, second), found, strict=True):
            run = simulate(plan_of(design, loaded), bands=(TYPICAL,), house=False)
            mean = sun.sky_states.mean(course.running.astype(float))
            np.testing.assert_allclose(mean, run.electrical.running, atol=1e-12)
            volts = sun.sky_states.mean(course.voltage)
            np.testing.assert_allclose(volts, run.electrical.fan_voltage * run.electrical.running, atol=1e-7)


@pytest.mark.skipif(not BENCHMARK.exists(), reason="the benchmark is not beside the tests")
def test_the_benchmark_runs():
    done = subprocess.run(
        [sys.executable, str(BENCHMARK), "--quick"], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "designs a second" in done.stdout
