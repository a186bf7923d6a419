"""Logged volts and amperes of a plan whose panel and fan are known, made by the electrical model itself."""

import numpy as np
import pandas as pd
import pytest

from solarvent.electrical.start_light import start_and_run_down
from solarvent.simulation.simulate import simulate_under
from solarvent.studies import electrical_log
from solarvent.studies.calibrate import calibrate
from solarvent.studies.electrical_log import part_figures
from solarvent.studies.log_span import span_of_log
from solarvent.weather import sky
from solarvent.weather.conditions import light_on_panels
from solarvent.weather.house_log import read_log
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness

PLACE = {
    "place": {"latitude": 51.2, "longitude": 1.1, "timezone": "UTC"},
    "weather": {"clear_sky": True},
    "panel.0.part": "panel-10w",
    "fan.0.part": "fan-12v-120x38",
}
TRUE = {"panel.0.plate_factor": 0.82, "fan.0.start_voltage": "7.5 V", "fan.0.stop_voltage": "4.2 V"}


@pytest.fixture(scope="module")
def logged(small_plan, tmp_path_factory):
    """Five clear days at ten minutes: what a logger reads at the panel and the fan of the true plan."""
    plan, true = small_plan(PLACE), small_plan(PLACE | TRUE)
    times = pd.date_range("2025-05-10", periods=5 * 144, freq="10min", tz="UTC")
    clear = sky.clear_sky(times, 51.2, 1.1, 0.0)
    weather = pd.DataFrame({"ghi": clear.ghi, "dni": clear.dni, "dhi": clear.dhi, "temp_air": 15.0, "wind_speed": 2.0,
                            "wind_direction": 0.0, "opaque_cover": 0.0}, index=times)  # fmt: skip
    weather.attrs["step"] = 600.0
    run = simulate_under(true, light_on_panels(true, weather, 600.0, 600.0), house=False)
    random = np.random.default_rng(4)
    electrical, panel, fan = run.electrical, true.record.panel[0].id, true.record.fan[0].id
    rough = 1 + 0.01 * random.normal(size=(4, len(times)))
    table = pd.DataFrame(
        {
            "time": times.strftime("%Y-%m-%dT%H:%MZ"),
            "outside [degC]": 15 + 0.1 * (np.arange(len(times)) % 2),
            "inside [degC]": 17 + 0.02 * clear.ghi,
            "sun [W/m2]": clear.ghi.round(0),
            f"{panel} [V]": electrical.panel_voltage[0] * rough[0],
            f"{panel} [A]": electrical.panel_current[0] * rough[1],
            f"{fan} [V]": electrical.fan_voltage[0] * rough[2],
            f"{fan} [A]": electrical.fan_current[0] * rough[3],
        }
    )
    path = tmp_path_factory.mktemp("volts") / "log.csv"
    table.to_csv(path, index=False)
    found, notes = part_figures(plan, span_of_log(plan, read_log(path, plan)))
    return plan, true, {each.key: each for each in found}, notes, path


def test_the_share_of_the_plate_lies_in_its_interval(logged):
    _, _, found, notes, _ = logged
    factor = found["plate_factor"]
    assert factor.low <= 0.82 <= factor.high, notes
    assert factor.high - factor.low < 0.25


def test_the_stop_voltage_is_met(logged):
    stop = logged[2]["stop_voltage"]
    assert stop.low <= 4.2 <= stop.high
    assert stop.high - stop.low < 0.5
    assert stop.count == 5


def test_a_day_of_volts_and_amperes_alone_tells_of_panel_and_fan(logged):
    plan, _, _, _, path = logged
    table = pd.read_csv(path)[:144].drop(columns=["inside [degC]", "outside [degC]"])
    table.to_csv(path.with_name("day.csv"), index=False)
    found = calibrate(plan, path.with_name("day.csv"))
    assert not found.estimates
    assert not found.misses
    assert found.by_hour.shape == (24, 3)
    assert not found.by_hour[:, 2].any()
    assert not found.trusted
    assert found.rank == 0
    for key, true in (("plate_factor", 0.82), ("stop_voltage", 4.2)):
        each = {one.key: one for one in found.parts}[key]
        assert each.low <= true <= each.high
    assert [change.key for change in found.edits()] == ["plate_factor", "readings", "stop_voltage"]
    # On this small panel the fan starts as soon as it can keep on, whatever its start voltage.
    assert any("hangs on its panel" in note for note in found.notes)


def test_a_log_of_a_day_says_nothing_of_the_house_and_it_is_told(logged):
    plan, _, _, _, path = logged
    pd.read_csv(path)[:144].to_csv(path.with_name("short.csv"), index=False)
    found = calibrate(plan, path.with_name("short.csv"))
    assert not found.estimates
    assert "24 hours say nothing of the house: its panels and fans alone are looked at." in found.notes


def test_running_points_lie_on_the_fan_s_own_curve(logged):
    _, true, found, *_ = logged
    fan = true.record.fan[0]
    for volts, amperes in found["readings"].value:
        usual = fan.rated_current * (volts / fan.rated_voltage) ** fan.current_exponent
        assert amperes == pytest.approx(usual, rel=0.04)


def test_the_plan_with_what_was_found_starts_at_the_light_of_the_log(logged):
    plan, true, found, *_ = logged
    changes = {f"{each.section}.0.{key}": each.value for key, each in found.items() if key != "readings"}
    other = plan.with_(changes)
    light = [start_and_run_down(circuits(build_harness(each), each))["east"].start_irradiance for each in (true, other)]
    assert light[1] == pytest.approx(light[0], rel=0.2)


def test_volts_alone_say_nothing_and_it_is_told(logged, tmp_path):
    plan = logged[0]
    times = pd.date_range("2025-05-10", periods=72, freq="h")
    table = pd.DataFrame(
        {"time": times, "outside [degC]": 15 + 0.1 * (times.hour % 2), "inside [degC]": 17.0, "east [V]": 9.0}
    )
    table.to_csv(tmp_path / "log.csv", index=False)
    found, notes = part_figures(plan, span_of_log(plan, read_log(tmp_path / "log.csv", plan)))
    assert not found
    assert "volts alone" in notes[0]


@pytest.fixture
def light_of_the_start(monkeypatch, tmp_path):
    """Give a function that tells at which light on the cells the first fan of a plan starts, by a log of five clear
    days that has no row of the fan from 7 to 10 o'clock, and the light at 6 and at 10 o'clock. [W/m2]"""
    monkeypatch.setattr(electrical_log, "_start_voltage", lambda plan, fan, light: light)
    times = pd.date_range("2025-05-10", periods=5 * 24, freq="h", tz="UTC")
    clear, turns = sky.clear_sky(times, 51.2, 1.1, 0.0).ghi, (times.hour >= 10) & (times.hour < 17)

    def told(plan):
        fan = plan.record.fan[0]
        volts, amperes = np.where(turns, fan.rated_voltage, 1.0), np.where(turns, fan.rated_current, 0.0)
        table = pd.DataFrame({"time": times.strftime("%Y-%m-%dT%H:%MZ"), "outside [degC]": 15.0, "inside [degC]": 17.0,
                              "sun [W/m2]": clear, "east [V]": volts, "east [A]": amperes})  # fmt: skip
        table.loc[(times.hour >= 7) & (times.hour < 10), ["east [V]", "east [A]"]] = np.nan
        table.to_csv(tmp_path / "log.csv", index=False)
        span = span_of_log(plan, read_log(tmp_path / "log.csv", plan))
        light = light_on_panels(plan, span.weather, span.step, span.step).panels["roof"].effective_irradiance
        found, _ = part_figures(plan, span)
        start = next(float(each.value.split()[0]) for each in found if each.key == "start_voltage")
        return start, [float(np.median(light[span.times.hour == hour])) for hour in (6, 10)]

    return told


def test_a_start_over_a_gap_lies_between_the_readings_at_its_ends(small_plan, light_of_the_start):
    """Half way from the last light at which the fan stood to the first at which it turned."""
    start, (stood, turned) = light_of_the_start(small_plan(PLACE))
    assert start == pytest.approx((stood + turned) / 2, rel=0.01)


def test_a_panel_that_does_not_feed_a_fan_says_nothing_of_its_start(small_plan, light_of_the_start):
    roof = {"id": "roof", "tilt": 35, "azimuth": 200, "part": "panel-10w"}
    away = roof | {"id": "away", "tilt": 90, "azimuth": 20}
    alone = {"panel": [roof], "fan": [{"id": "east", "part": "fan-12v-120x38"}]}
    both = {"panel": [roof, away], "fan": [*alone["fan"], {"id": "west", "part": "fan-12v-120x38"}],
            "wiring.layout": "one-each"}  # fmt: skip
    lights = [light_of_the_start(small_plan(more | PLACE))[0] for more in (alone, both)]
    assert lights[1] == pytest.approx(lights[0])
