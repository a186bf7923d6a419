"""Meter readings of the worked example against the same circuit solved by others: ngspice, and 40-digit arithmetic."""

import math
import os
import shutil
import subprocess

import pytest

from solarvent.bench.metering import expected_readings
from solarvent.electrical.panel_model import BANDS, TYPICAL, panel_parameters
from solarvent.plan.plan import load_plan
from solarvent.weather.conditions import cell_temperature

# The wiring of the worked example by hand, from its file: 4 m of 18 AWG and branches of 1 m of 20 AWG (solid copper by
# ASTM B258: 20.9 and 33.3 ohm/km at 20 degC; 0.00393 1/K up to 45), there and back, and two contacts of
# 0.03 ohm in each joint.
JOINT, WARM = 2 * 0.03, 1 + 0.00393 * 25
TRUNK = 2 * 4 * 0.0209 * WARM + 2 * JOINT
BRANCH = 2 * 1 * 0.0333 * WARM + 2 * JOINT
# Fans as resistors: running current in proportion to the voltage, and the held rotor by its ratio.
TURNING = {"gable-left": 24 / 0.25, "gable-right": 24 / 0.25, "bench": 24 / 0.125}
HELD = {"gable-left": 96 / 1.1, "gable-right": 96 / 1.1, "bench": 192 / 2.5}
THERMAL_VOLTAGE = 1.38064852e-23 * 300.15 / 1.6021766208e-19  # ngspice's, at 27 degC


@pytest.fixture(scope="module")
def plan():
    return load_plan()


def reading(plan, irradiance, temp_cell):
    (circuit,) = expected_readings(plan, irradiance, temp_cell, (TYPICAL,))["typical"]
    return circuit


def diode(plan, irradiance, temp_cell):
    return [float(value) for value in panel_parameters(plan.record.panel[0], irradiance, temp_cell)]


@pytest.mark.parametrize("fans", ["standing", "turning"])
@pytest.mark.parametrize(("irradiance", "temp_cell"), [(1000.0, 50.0), (400.0, 30.0), (60.0, 5.0)])
def test_readings_agree_with_forty_digits(plan, fans, irradiance, temp_cell):
    from mpmath import mp

    resistors = HELD if fans == "standing" else TURNING
    with mp.workdps(40):
        light, saturation, series, shunt, slope = map(mp.mpf, diode(plan, irradiance, temp_cell))
        behind = 1 / sum(1 / (mp.mpf(one) + BRANCH) for one in resistors.values())

        def excess(current):
            inside = current * (series + TRUNK + behind)
            return light - saturation * mp.expm1(inside / slope) - inside / shunt - current

        current = mp.findroot(excess, (0, light), solver="anderson", tol=mp.mpf(10) ** -60, verify=False)
        assert abs(excess(current)) < mp.mpf(10) ** -25
        panel_voltage = float(current * (TRUNK + behind))
        bus = float(current * behind)
    got = getattr(reading(plan, irradiance, temp_cell), fans)
    # A table of 2 % steps lies behind the fans' lines; these are straight, so that only rounding is left.
    assert got.panel_voltage == pytest.approx(panel_voltage, rel=1e-6)
    assert got.panel_current == pytest.approx(float(current), rel=1e-6)
    for fan in got.fans:
        volts = bus * resistors[fan.id] / (resistors[fan.id] + BRANCH)
        assert (fan.voltage, fan.current) == pytest.approx((volts, volts / resistors[fan.id]), rel=1e-6)


@pytest.mark.outside("ngspice")
@pytest.mark.parametrize("fans", ["standing", "turning"])
def test_readings_agree_with_a_circuit_solver(plan, tmp_path, fans):
    if shutil.which("ngspice") is None and not os.environ.get("SOLARVENT_REQUIRE_OUTSIDE"):
        pytest.skip("ngspice is not installed")
    light, saturation, series, shunt, slope = diode(plan, 650.0, 42.0)
    resistors = HELD if fans == "standing" else TURNING
    lines = [
        "worked example",
        f"i1 0 inside dc {light:.17g}",
        "d1 inside 0 junction",
        f".model junction d(is={saturation:.17g} n={slope / THERMAL_VOLTAGE:.17g})",
        f"r1 inside 0 {shunt:.17g}",
        f"r2 inside panel {series:.17g}",
        f"r3 panel bus {TRUNK:.17g}",
    ]
    for number, resistance in enumerate(resistors.values()):
        lines += [f"rb{number} bus fan{number} {BRANCH:.17g}", f"rf{number} fan{number} 0 {resistance:.17g}"]
    lines += [".options reltol=1e-9 abstol=1e-14 vntol=1e-11 gmin=1e-15 temp=27", ".control", "op", "set numdgt=12"]
    lines += ["print v(panel) v(fan0) v(fan1) v(fan2)", "quit", ".endc", ".end"]
    (tmp_path / "plan.cir").write_text("\n".join(lines) + "\n", encoding="ascii")
    run = subprocess.run(
        ["ngspice", "-b", "plan.cir"], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )
    volts = dict(line.split(" = ") for line in run.stdout.splitlines() if line.startswith("v("))
    got = getattr(reading(plan, 650.0, 42.0), fans)
    assert got.panel_voltage == pytest.approx(float(volts["v(panel)"]), rel=1e-5)
    for number, fan in enumerate(got.fans):
        assert fan.voltage == pytest.approx(float(volts[f"v(fan{number})"]), rel=1e-5), fan.id


def test_the_ends_of_the_curve_are_those_of_the_plate(plan):
    # Standard test conditions: 22.0 V open, 1.80 A short, as the plate of the panel in the library says.
    got = reading(plan, 1000.0, 25.0)
    assert got.panels == ("panel",)
    assert got.open_circuit == pytest.approx(22.0, rel=1e-4)
    assert got.short_circuit == pytest.approx(1.80, rel=1e-4)
    # -0.33 %/K and +0.05 %/K of the plate, warm.
    warm = reading(plan, 1000.0, 55.0)
    assert warm.open_circuit == pytest.approx(22.0 * (1 - 0.0033 * 30), rel=0.01)
    assert warm.short_circuit == pytest.approx(1.80 * (1 + 0.0005 * 30), rel=1e-3)
    # A fifth of the light; the shunt, which grows as the light falls (De Soto et al. 2006), takes a little less of it.
    assert reading(plan, 200.0, 25.0).short_circuit == pytest.approx(0.36, rel=3e-3)


def test_light_just_above_the_threshold_brings_a_held_fan_to_its_start_voltage(small_plan):
    # One held fan: its start is where the voltage on its locked-rotor line reaches the start voltage, and its run-down
    # where that of the turning fan falls below the other.
    held = {"id": "east", "part": "fan-12v-120x25-held", "maximum_voltage": "30 V"}
    loaded = small_plan({"fan": [held], "panel.0.part": "panel-10w"})
    limits = reading(loaded, 500.0, 30.0).thresholds["east"]
    fan, noct = loaded.record.fan[0], loaded.record.panel[0].noct

    def in_mild_air(irradiance):
        return reading(loaded, irradiance, float(cell_temperature(irradiance, 20.0, noct)))

    for irradiance, reaches in ((limits.start_irradiance, True), (limits.start_irradiance - 1, False)):
        assert (in_mild_air(irradiance).standing.fans[0].voltage >= fan.start_voltage) == reaches
    for irradiance, keeps in ((limits.run_down_irradiance, True), (limits.run_down_irradiance - 1, False)):
        assert (in_mild_air(irradiance).turning.fans[0].voltage >= fan.stop_voltage) == keeps


def test_every_circuit_and_every_band_is_told(small_plan):
    panels = [{"id": "roof", "part": "panel-10w"}, {"id": "wall", "part": "panel-20w"}]
    bands = expected_readings(small_plan({"panel": panels, "wiring.layout": "one-each"}), 800.0, 40.0)
    assert list(bands) == [band.name for band in BANDS]
    for circuits in bands.values():
        assert [one.panels for one in circuits] == [("roof",), ("wall",)]
        assert [[fan.id for fan in one.turning.fans] for one in circuits] == [["east"], ["west"]]
    low, high = bands["low"][0], bands["high"][0]
    assert low.short_circuit == pytest.approx(0.8 * high.short_circuit, rel=1e-3)
    assert low.turning.fans[0].voltage < high.turning.fans[0].voltage
    assert low.thresholds["east"].start_irradiance > high.thresholds["east"].start_irradiance


def test_in_the_dark_a_meter_reads_nothing(plan):
    got = reading(plan, 0.0, 10.0)
    assert (got.open_circuit, got.short_circuit) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert got.turning.panel_voltage == pytest.approx(0.0, abs=1e-6)


def test_a_fan_that_cannot_start_has_no_threshold(small_plan):
    limits = reading(small_plan({"fan.0.start_voltage": "25 V"}), 800.0, 40.0).thresholds["east"]
    assert math.isnan(limits.start_irradiance)
