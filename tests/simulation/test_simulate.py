"""The chain by spies, its bookkeeping, and one golden run."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from solarvent.base.columns import COLUMNS
from solarvent.electrical.circuit_parts import slow_words
from solarvent.electrical.panel_model import HIGH, LOW, TYPICAL
from solarvent.findings.verdicts import find
from solarvent.simulation import electrical_side
from solarvent.simulation import simulate as module
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import months_table, totals

MIDSUMMER = date(2001, 6, 21)
ONE_FAN = {"fan": [{"id": "east", "part": "fan-24v-120x25"}]}
TWO_PANELS = [{"id": "roof", "part": "panel-30w", "azimuth": 120}, {"id": "wall", "part": "panel-20w", "azimuth": 240}]
ALIKE = [{"id": "roof", "part": "panel-10w"}, {"id": "wall", "part": "panel-10w"}]
EACH = {"panel": TWO_PANELS, "wiring.layout": "one-each"}


class Spy:
    """Lets a call through and keeps its arguments and its result."""

    def __init__(self, monkeypatch, name, module=module):
        self.calls, self.real = [], getattr(module, name)
        monkeypatch.setattr(module, name, self)

    def __call__(self, *args, **kwargs):
        result = self.real(*args, **kwargs)
        self.calls.append((args, kwargs, result))
        return result


# --- the chain by spies ---------------------------------------------------------------------------------


def test_lit_steps_and_the_dark_one_after_them_are_operated(small_plan, monkeypatch):
    operate = Spy(monkeypatch, "operate", electrical_side)
    run = simulate(small_plan(), MIDSUMMER, bands=(TYPICAL,))
    ((circuit, panels, fans), _, _) = operate.calls[0]
    assert circuit is run.circuits[0]
    assert set(fans) == {"east", "west"}
    lit = run.conditions.panels["roof"].effective_irradiance > 0
    # The first step is there for the fans' first state, the last for their stop.
    kept = np.flatnonzero(lit | np.concatenate([[True], lit[:-1]]))
    assert kept[0] == 0
    assert not lit[kept[-1]]
    assert len(panels["roof"][0]) == len(kept) == lit.sum() + 2
    assert panels["roof"][0][-1] == 0.0


def test_each_circuit_is_given_its_own_panel_and_fan_once_a_band(small_plan, monkeypatch):
    operate = Spy(monkeypatch, "operate", electrical_side)
    simulate(small_plan(EACH), MIDSUMMER, bands=(TYPICAL, LOW))
    given = [(list(args[1]), list(args[2])) for args, _, _ in operate.calls]
    assert given == [(["roof"], ["east"]), (["wall"], ["west"])] * 2
    typical, low = operate.calls[0][0], operate.calls[2][0]
    assert low[2]["east"].start_voltage > typical[2]["east"].start_voltage
    np.testing.assert_allclose(low[1]["roof"][0], 0.8 * typical[1]["roof"][0])


def test_the_fans_voltages_and_states_go_on_to_the_air(small_plan, monkeypatch):
    ventilate = Spy(monkeypatch, "ventilate")
    run = simulate(small_plan(), MIDSUMMER, bands=(TYPICAL, HIGH))
    (_, outside, fans, band, inside), _, air = ventilate.calls[0]
    np.testing.assert_array_equal(outside.temp_air, run.conditions.weather["temp_air"])
    np.testing.assert_array_equal(fans.voltage, run.electrical.fan_voltage)
    np.testing.assert_array_equal(fans.running, run.electrical.running)
    assert band is TYPICAL
    np.testing.assert_array_equal(inside, run.hours["temp_inside"])
    # Strong fans meet the house as the typical ones leave it.
    assert ventilate.calls[1][0][3] is HIGH
    np.testing.assert_array_equal(ventilate.calls[1][0][4], inside)
    # The first band gives the hours.
    np.testing.assert_array_equal(run.ventilation.flow, air.flow)


def test_light_and_fans_go_on_to_the_house(small_plan, monkeypatch):
    house = Spy(monkeypatch, "house_under")
    run = simulate(small_plan(), MIDSUMMER, bands=(TYPICAL, LOW))
    # Once, with the first band.
    (((loaded, sun, fans), _, inside),) = house.calls
    assert loaded is run.plan
    assert sun is run.conditions
    np.testing.assert_array_equal(fans.voltage, run.electrical.fan_voltage)
    np.testing.assert_array_equal(fans.running, run.electrical.running)
    assert run.house is inside
    np.testing.assert_array_equal(run.hours["temp_inside"], inside.case("both"))


def test_the_house_can_be_left_out(small_plan, monkeypatch):
    house = Spy(monkeypatch, "house_under")
    run, whole = simulate(small_plan(), MIDSUMMER, house=False), simulate(small_plan(), MIDSUMMER)
    assert len(house.calls) == 1
    assert run.house is None
    assert run.hours["temp_inside"].isna().all()
    # The air is then that of a house as warm as the plan allows.
    np.testing.assert_allclose(run.hours["flow"], whole.hours["flow"], rtol=0.02, atol=1e-4)


# --- its bookkeeping ------------------------------------------------------------------------------------


@pytest.mark.parametrize("changes", [{}, EACH, {"panel": TWO_PANELS}], ids=["shared", "one-each", "two panels"])
def test_every_column_is_in_the_glossary(small_plan, changes):
    run = simulate(small_plan(changes), MIDSUMMER, bands=(TYPICAL,))
    assert {name.split(".", 1)[0] for name in run.hours} | {run.hours.index.name} <= set(COLUMNS)
    assert set(months_table(run)) <= set(COLUMNS)
    assert run.hours.drop(columns="oktas").notna().all(axis=None)


def test_the_table_agrees_with_the_arrays_it_is_made_of(small_plan):
    run = simulate(small_plan(EACH), MIDSUMMER)
    hours, electrical = run.hours, run.electrical
    for row, fan in enumerate(("east", "west")):
        np.testing.assert_array_equal(hours[f"voltage.{fan}"], electrical.fan_voltage[row])
        np.testing.assert_array_equal(hours[f"current.{fan}"], electrical.fan_current[row])
        np.testing.assert_array_equal(hours[f"running.{fan}"], electrical.running[row])
        np.testing.assert_array_equal(hours[f"flow.{fan}"], run.ventilation.fan_flow[row])
    np.testing.assert_allclose(hours["fans_running"], electrical.running.sum(axis=0))
    by_panel = sum(hours[f"panel_voltage.{name}"] * hours[f"panel_current.{name}"] for name in ("roof", "wall"))
    np.testing.assert_allclose(hours["panel_power"], by_panel)
    # 3 m x 2 m under a gable of 1.8 to 2.3 m.
    np.testing.assert_allclose(hours["air_changes"], hours["flow"] * 3600 / (3 * 2 * 2.05))


def test_a_panel_to_each_fan_works_as_two_plans_do(small_plan):
    together = simulate(small_plan(EACH), MIDSUMMER)
    for row, (panel, fan) in enumerate(zip(TWO_PANELS, ("east", "west"), strict=True)):
        changes = {"panel": [panel], "fan": [{"id": fan, "part": "fan-24v-120x25"}]}
        alone = simulate(small_plan(changes), MIDSUMMER)
        np.testing.assert_allclose(together.electrical.fan_voltage[row], alone.electrical.fan_voltage[0], rtol=1e-6)
        assert together.bands["low"].thresholds[fan] == alone.bands["low"].thresholds[fan]
        assert together.bands["typical"].hours_running[fan] == alone.bands["typical"].hours_running[fan]


@pytest.mark.parametrize(
    ("own", "panels", "layout", "diode"),
    [
        (TWO_PANELS, "parallel", "shared", {}),
        (TWO_PANELS, "series", "series", {}),
        (TWO_PANELS, "series", "shared", {"wiring.blocking_diode": "schottky-3a"}),
        (ALIKE, "parallel", "series", {"wiring.blocking_diode": "schottky-3a"}),
    ],
)
def test_power_of_the_panels_is_power_of_the_fans_and_heat(small_plan, own, panels, layout, diode):
    changes = {"panel": own, "wiring.panels": panels, "wiring.layout": layout, "wiring.lead.length": "20 m"} | diode
    electrical = simulate(small_plan(changes), MIDSUMMER, bands=(TYPICAL,)).electrical
    made = (electrical.panel_voltage * electrical.panel_current).sum(axis=0)
    used = (electrical.fan_voltage * electrical.fan_current).sum(axis=0)
    np.testing.assert_allclose(made, used + electrical.loss, rtol=1e-3, atol=1e-3)
    assert (made <= electrical.power_available.sum(axis=0) * (1 + 1e-6) + 1e-6).all()


def test_panels_in_series_give_twice_the_voltage_and_in_parallel_twice_the_current(small_plan):
    fans = {"fan": [{"id": "east", "part": "fan-24v-120x25", "maximum_voltage": "60 V"}]}
    noon = 12
    one = simulate(small_plan(fans | {"panel": ALIKE[:1]}), MIDSUMMER).hours.iloc[noon]
    series = simulate(small_plan(fans | {"panel": ALIKE, "wiring.panels": "series"}), MIDSUMMER).hours.iloc[noon]
    beside = simulate(small_plan(fans | {"panel": ALIKE}), MIDSUMMER).hours.iloc[noon]
    assert series["voltage.east"] > 1.8 * one["voltage.east"]
    assert series["panel_current"] == pytest.approx(series["current.east"], rel=1e-4)
    assert beside["panel_current"] == pytest.approx(beside["current.east"] / 2, rel=1e-4)
    assert beside["voltage.east"] >= one["voltage.east"]


def test_dusk_stops_the_fans_and_the_dark_step_after_it_is_theirs(small_plan):
    run = simulate(small_plan(ONE_FAN), MIDSUMMER, step=600)
    light = run.conditions.panels["roof"].effective_irradiance
    running = run.electrical.running[0]
    last_lit = int(np.flatnonzero(light > 0)[-1])
    assert running.any()
    assert not running[last_lit + 1 :].any()
    assert not running[: int(np.flatnonzero(light > 0)[0])].any()
    # Even a fan that the last light would still turn stands in the first dark step.
    easy = {"fan.0.stop_voltage": "0.01 V", "fan.0.start_voltage": "0.02 V", "fan.0.locked_rotor_ratio": 0.5}
    keen = simulate(small_plan(ONE_FAN | easy), MIDSUMMER)
    lit = keen.conditions.panels["roof"].effective_irradiance > 0
    turning = keen.electrical.running[0]
    last = int(np.flatnonzero(turning)[-1])
    assert lit[last]
    assert not turning[last + 1 :].any()


def test_a_dark_day_moves_nothing_and_raises_nothing(small_plan):
    arctic = {"place": {"latitude": 75.0, "longitude": 0.0}}
    run = simulate(small_plan(arctic), date(2001, 12, 21))
    assert not run.electrical.running.any()
    assert run.hours["flow"].sum() == run.hours["power_available"].sum() == 0
    assert totals(run)["energy_made"] == 0


def test_starting_takes_more_light_than_keeping_on(small_plan):
    run = simulate(small_plan(ONE_FAN), MIDSUMMER)
    for band in run.bands.values():
        limits = band.thresholds["east"]
        assert limits.start_irradiance > limits.run_down_irradiance > 0
    bands = [run.bands[name] for name in ("low", "typical", "high")]
    starts = [band.thresholds["east"].start_irradiance for band in bands]
    assert starts == sorted(starts, reverse=True)
    assert len(set(starts)) == 3
    for field in ("target_flow", "target_air_changes"):
        values = [getattr(band, field) for band in bands]
        assert values == sorted(values)
    hours = [band.hours_running["east"] for band in bands]
    assert hours == sorted(hours)


def test_the_day_has_its_fans_start_and_stop_at_the_thresholds(small_plan):
    # The thresholds are for 20 degC outside, as this sky is; the light is that of short steps.
    run = simulate(small_plan(ONE_FAN), MIDSUMMER, step=120)
    light = run.conditions.panels["roof"].effective_irradiance
    limits = run.bands["typical"].thresholds["east"]
    turning = np.flatnonzero(run.electrical.running[0])
    first, last = turning[0], turning[-1]
    # Cells are warmed by the light on the panel, a little more than that in them: hence 3 %.
    assert light[first - 1] <= 1.03 * limits.start_irradiance
    assert light[first] >= 0.97 * limits.start_irradiance
    assert light[last] >= 0.97 * limits.run_down_irradiance
    assert light[last + 1] <= 1.03 * limits.run_down_irradiance


def test_the_hours_of_need_are_those_of_the_clock(small_plan):
    plan = {"place.timezone": "Europe/London", "target": {"months": [6], "start": "12:30", "end": "15:00"}}
    run = simulate(small_plan(plan), MIDSUMMER, step=600, bands=(TYPICAL,))
    need = module.hours_of_need(run.plan, run.conditions.times)
    times = run.conditions.times[need]
    assert (str(times[0].time()), str(times[-1].time())) == ("12:30:00", "14:50:00")
    assert run.bands["typical"].target_flow == pytest.approx(run.ventilation.flow[need].mean())


def test_a_span_without_need_has_no_mean_flow(small_plan):
    run = simulate(small_plan(), date(2001, 12, 21))
    assert np.isnan(run.bands["typical"].target_flow)
    assert np.isnan(run.bands["typical"].target_air_changes)


@pytest.mark.parametrize(
    "place",
    [
        {"latitude": -36.8, "longitude": 174.8, "timezone": "Pacific/Auckland"},
        {"latitude": 0.3, "longitude": 32.6, "timezone": "Africa/Kampala"},
        {"latitude": 64.1, "longitude": -21.9, "timezone": "Atlantic/Reykjavik"},
    ],
    ids=["south", "tropics", "far north"],
)
@pytest.mark.parametrize("clock", ["local", "solar"])
def test_plans_run_wherever_the_sun_goes(small_plan, place, clock):
    run = simulate(small_plan({"place": place, "clock": clock}), date(2001, 9, 22), step=900)
    turning = run.hours.index[run.electrical.running.any(axis=0)]
    assert len(run.hours) == 96
    # On the equinox the day is from six to six by the sun.
    assert 5 <= turning[0].hour <= 11
    assert 14 <= turning[-1].hour <= 20


# --- the golden run -------------------------------------------------------------------------------------


def test_the_year_of_the_worked_example(default_run):
    """A few totals of the whole chain; they move with any model, and each such move belongs in the log of changes.

    Energy made moves with sky, its spells, plane, dirt, cell temperature and plate; energy used and hours with the
    fans' running and standing currents, wires and thresholds; flow with the fan curves, outlets, inlet and wind. The
    tolerance is that of other releases of pvlib and numpy (sun position, interpolation). The numbers are this chain's
    own.
    """
    result = totals(default_run)
    assert result["energy_made"] == pytest.approx(42905, rel=2e-3)
    assert result["energy_used"] == pytest.approx(24521, rel=4e-3)
    typical = default_run.bands["typical"]
    assert typical.target_flow * 3600 == pytest.approx(293.4, rel=4e-3)
    assert typical.target_air_changes == pytest.approx(18.47, rel=4e-3)
    hours = {"gable-left": 3404, "gable-right": 2857, "bench": 2858}
    assert typical.hours_running == pytest.approx(hours, abs=12)
    starts = {name: limits.start_irradiance for name, limits in typical.thresholds.items()}
    assert starts == pytest.approx({"gable-left": 85, "gable-right": 161, "bench": 249}, abs=2)


def test_the_year_makes_what_a_panel_of_its_size_makes(default_run):
    # 30 W facing south-west at latitude 36 with 5 % of dirt, in a climate of 1500-1800 full-sun hours a year on such a
    # plane (common practice, no source): 1300-1700 Wh a watt of plate.
    assert 1300 < totals(default_run)["energy_made"] / 30 < 1700
    assert default_run.hours["power_available"].max() < 33


def test_the_year_uses_no_more_than_it_makes_in_any_hour_and_has_no_gaps(default_run):
    hours = default_run.hours
    assert len(hours) == 8760
    assert hours.drop(columns="oktas").notna().all(axis=None)
    assert (hours["panel_power"] <= hours["power_available"] * (1 + 1e-6) + 1e-6).all()
    assert (hours["flow"] >= 0).all()
    night = hours["poa_global"] == 0
    assert (hours.loc[night, ["fans_running", "flow", "power_available"]] == 0).all(axis=None)
    assert hours.index[0].isoformat() == "2023-01-01T00:00:00-05:00"


@pytest.mark.parametrize("step", [3600.0, 600.0])
def test_in_a_string_a_fan_that_no_rising_light_starts_stands_in_steps_of_any_length(small_plan, step):
    # The 12 V fan's rotor takes most of the volts of the string. Once it turns it leaves the other, which starts at
    # fewer volts, too little; an hour that jumps past both starts must not start the other first.
    fans = [{"id": "east", "part": "fan-12v-80x25"}, {"id": "west", "part": "fan-usb-80"}]
    loaded = small_plan({"panel.0.part": "panel-50w", "fan": fans, "wiring.layout": "series"})
    found = simulate(loaded, MIDSUMMER, step, bands=(TYPICAL,), house=False).bands["typical"]
    assert found.thresholds["east"].start_irradiance < 100
    assert np.isnan(found.thresholds["west"].start_irradiance)
    assert found.hours_running["east"] >= 12
    assert found.hours_running["west"] == 0


@pytest.mark.parametrize(("panel", "day"), [("panel-10w", date(2001, 3, 21)), ("panel-20w", date(2001, 12, 21))])
def test_side_by_side_the_fan_that_a_slow_dawn_starts_turns_in_steps_of_any_length(small_plan, panel, day):
    # The USB fan starts at fewer volts and more current, so at more light. An hour that jumps past both starts must
    # not start it first, for the other, a 12 V fan that is easy to start, would then have too little all day.
    fans = [{"id": "east", "part": "fan-usb-80"}, {"id": "west", "part": "fan-12v-120x38"}]
    loaded = small_plan({"panel.0.part": panel, "fan": fans, "wiring.layout": "shared"})
    minutes, *longer = (
        simulate(loaded, day, step, bands=(TYPICAL,), house=False).bands["typical"]
        for step in (60.0, 600.0, 900.0, 3600.0)
    )
    assert minutes.thresholds["west"].start_irradiance < minutes.thresholds["east"].start_irradiance - 100
    assert minutes.hours_running["west"] > 4
    for found in longer:
        for name, hours in minutes.hours_running.items():
            assert found.hours_running[name] == pytest.approx(hours, abs=0.5)


def test_of_a_plan_that_takes_long_low_and_high_are_those_of_one_day_a_week(small_plan, monkeypatch):
    shaded = [
        {"id": name, "part": "panel-50w", "tilt": tilt, "azimuth": 180, "lit_share_of_worst_cell": 0.5}
        for name, tilt in (("roof", 30), ("wall", 60))
    ]
    fan = {"id": "east", "part": "fan-24v-120x25"}
    plan = small_plan({"panel": shaded, "fan": [fan], "wiring.panels": "parallel", "weather": {"clear_sky": True}})
    run = simulate(plan, house=False)
    (told,) = (finding for finding in find(run) if finding.code == "spread-cut-down")
    assert told.text == run.cut_down == slow_words(run.circuits[0])
    assert "one day a week" in told.text
    monkeypatch.setattr("solarvent.simulation.simulate.slow_words", lambda circuit: "")
    whole = simulate(plan, house=False)
    assert whole.cut_down == ""
    pd.testing.assert_frame_equal(run.hours, whole.hours)
    assert repr(run.bands["typical"]) == repr(whole.bands["typical"])
    assert whole.bands["low"].hours_running["east"] > 500
    for name in ("low", "high"):
        cut, every = run.bands[name], whole.bands[name]
        assert repr(cut.thresholds) == repr(every.thresholds)
        # 52 days of a year without a cloud stand for all of it.
        assert cut.hours_running["east"] == pytest.approx(every.hours_running["east"], rel=0.02)
        assert cut.target_flow == pytest.approx(every.target_flow, rel=0.02)


def test_a_day_is_never_cut_down(small_plan):
    panels = [
        {"id": name, "part": "panel-50w", "tilt": 30, "lit_share_of_worst_cell": 0.5, "azimuth": azimuth}
        for name, azimuth in (("roof", 90), ("wall", 180))
    ]
    plan = small_plan({"panel": panels, "wiring.panels": "parallel"})
    run = simulate(plan, date(2001, 7, 15), house=False)
    assert any(map(slow_words, run.circuits))
    assert run.cut_down == ""
