"""The sweep: every design as it is alone; the benchmark runs."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from solarvent.electrical.bands import TYPICAL
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import months_table
from solarvent.studies.size_designs import base_fan, designs, plan_of
from solarvent.studies.size_sweep import sweep

BENCHMARK = Path(__file__).parents[1] / "benchmark" / "designs.py"


@pytest.fixture(scope="module")
def loaded(small_plan):
    return small_plan({"weather": {"climate": "cool-maritime"}})


def test_every_design_of_a_sweep_does_what_it_does_alone(loaded):
    fan = base_fan(loaded, "fan-12v-120x25", False)
    tried = designs(loaded, fan, [1, 2], [8.0, 60.0], ["18 AWG", "24 AWG"], [30.0])
    found = sweep(loaded, tried)
    for number in range(0, len(tried), 5):
        run = simulate(plan_of(tried[number], loaded), bands=(TYPICAL,))
        turning, volts = run.electrical.running, run.electrical.fan_voltage
        some = turning.max(axis=0)
        assert found.hours_running[number] == pytest.approx(some.sum(), abs=1.0)
        assert found.hours_all[number] == pytest.approx(turning.min(axis=0).sum(), abs=1.0)
        if some.sum():
            first = volts[np.argmax(turning, axis=0), np.arange(volts.shape[1])]
            mean = (first * some).sum() / some.sum()
            assert found.voltage[number] == pytest.approx(mean, abs=0.05)
        months = months_table(run)
        days = months.loc[[5, 6, 7, 8, 9], "first_start"]
        if days.notna().all():
            assert days.min() - 1.0 <= found.first_start[number] <= days.max() + 1.0


def test_the_order_of_the_designs_does_not_matter(loaded):
    tried = designs(loaded, loaded.record.fan[0], [2], [5.0, 20.0, 80.0])
    forward, backward = sweep(loaded, tried), sweep(loaded, tried[::-1])
    np.testing.assert_array_equal(forward.voltage, backward.voltage[::-1])
    assert (np.diff(forward.hours_running) >= 0).all()


@pytest.mark.skipif(not BENCHMARK.exists(), reason="the benchmark is not beside the tests")
def test_the_benchmark_runs():
    done = subprocess.run(
        [sys.executable, str(BENCHMARK), "--quick"], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "designs a second" in done.stdout
