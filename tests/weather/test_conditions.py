from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from solarvent.base.errors import PlanError
from solarvent.electrical.panel_model import HIGH, LOW, TYPICAL, panel_parameters, single_diode
from solarvent.weather import planes
from solarvent.weather.conditions import conditions, plan_weather

MIDSUMMER = date(2001, 6, 21)
LONDON = {"place.timezone": "Europe/London"}
AUCKLAND = {"place": {"latitude": -36.8, "longitude": 174.8, "timezone": "Pacific/Auckland"}}
QUITO = {"place": {"latitude": -0.2, "longitude": -78.5, "altitude": "2850 m", "timezone": "America/Guayaquil"}}
TYPICAL_YEAR = {
    "place": {"latitude": 36.1, "longitude": -79.95, "altitude": "273 m", "timezone": "America/New_York"},
    "weather": {"embedded": "latitude 36.1, longitude -79.95"},
}


def clock_of_the_brightest(sun):
    """Centre of the bright hours; under a clear sky it is solar noon, for the day is even on both sides of it."""
    ghi = sun.weather["ghi"].to_numpy()
    hour = sun.times.hour + sun.times.minute / 60 + sun.step / 7200
    return np.average(hour, weights=np.where(ghi > 0, ghi, 0) ** 8)


# --- clocks ---------------------------------------------------------------------------------------------


def test_clock_times_have_daylight_saving(small_plan):
    summer, winter = (conditions(small_plan(LONDON), day) for day in (MIDSUMMER, date(2001, 12, 21)))
    assert set(summer.times.map(lambda time: time.utcoffset())) == {timedelta(hours=1)}
    assert set(winter.times.map(lambda time: time.utcoffset())) == {timedelta(0)}
    # Solar noon at longitude 0 is at 12:02 and 11:58 of mean time (equation of time, almanac).
    assert clock_of_the_brightest(summer) == pytest.approx(13.03, abs=0.1)
    assert clock_of_the_brightest(winter) == pytest.approx(11.97, abs=0.1)


@pytest.mark.parametrize(("day", "hours"), [((3, 25), 23), ((10, 28), 25), ((6, 21), 24)])
def test_the_days_on_which_the_clocks_change_have_23_and_25_hours(small_plan, day, hours):
    sun = conditions(small_plan(LONDON), date(2001, *day))
    assert len(sun.times) == hours
    assert sun.times[0].hour == 0
    assert sun.times.is_unique


def test_the_clock_of_the_sun_has_its_noon_at_twelve_whatever_the_zone(small_plan):
    # 15 April: the equation of time is 0 (almanac).
    sun = conditions(
        small_plan(TYPICAL_YEAR | {"clock": "solar", "weather": {"clear_sky": True}}), date(2001, 4, 15), 600
    )
    assert clock_of_the_brightest(sun) == pytest.approx(12.0, abs=0.05)
    assert sun.times[0].utcoffset() == timedelta(minutes=-320)


@pytest.mark.parametrize("changes", [LONDON, AUCKLAND, QUITO, TYPICAL_YEAR, TYPICAL_YEAR | {"clock": "solar"}])
def test_a_year_has_each_day_whole_and_once(small_plan, changes):
    sun = conditions(small_plan(changes))
    assert len(sun.times) == 8760
    assert set(np.diff(sun.times.asi8).tolist()) == {int(pd.Timedelta("1h") / pd.Timedelta(1, sun.times.unit))}
    assert set(sun.times.year) == {sun.times[0].year}
    per_day = pd.Series(1, index=sun.times).groupby(sun.times.date).sum()
    assert len(per_day) == 365
    assert set(per_day) <= {23, 24, 25}
    assert (per_day != 24).sum() in (0, 2)


def test_turning_the_year_round_moves_no_light_in_the_day(small_plan):
    loaded = small_plan(AUCKLAND)
    turned = conditions(loaded).weather
    plain = plan_weather(loaded)
    assert turned["ghi"].sum() == pytest.approx(plain["ghi"].sum(), rel=1e-12)
    key = ["ghi", "dni", "dhi"]
    moved = turned.loc[turned.index < plain.index[0], key]
    # A clock 13 hours ahead has the last 13 hours of the year first, the half hours of stamps aside.
    assert len(moved) == 13
    np.testing.assert_array_equal(moved, plain[key].tail(13))


def test_new_years_day_is_one_day(small_plan):
    sun = conditions(small_plan(AUCKLAND), date(2001, 1, 1))
    assert sun.times.hour.tolist() == list(range(24))
    assert set(np.diff(sun.times.asi8)) == {int(pd.Timedelta("1h") / pd.Timedelta(1, sun.times.unit))}


# --- hemispheres ----------------------------------------------------------------------------------------


def test_the_southern_sun_stands_in_the_north(small_plan):
    north, south = ({"panel.0.azimuth": azimuth, "panel.0.tilt": 50} for azimuth in (0, 180))
    june = [conditions(small_plan(AUCKLAND | way), MIDSUMMER).panels["roof"].poa_global.sum() for way in (north, south)]
    assert june[0] > 2.5 * june[1]
    december = conditions(small_plan(AUCKLAND), date(2001, 12, 21)).weather["ghi"].sum()
    assert december > 2 * conditions(small_plan(AUCKLAND), MIDSUMMER).weather["ghi"].sum()


def test_at_the_equator_the_sun_changes_sides_with_the_season(small_plan):
    def light(azimuth, day):
        loaded = small_plan(QUITO | {"panel.0.azimuth": azimuth, "panel.0.tilt": 30})
        return conditions(loaded, day).panels["roof"].poa_global.sum()

    assert light(0, MIDSUMMER) > light(180, MIDSUMMER)
    assert light(180, date(2001, 12, 21)) > light(0, date(2001, 12, 21))


# --- finer steps ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", [60, 300, 600, 1200])
def test_shorter_steps_keep_the_light_of_each_hour(small_plan, step):
    loaded = small_plan(TYPICAL_YEAR)
    for day in (date(2001, 6, 3), date(2001, 1, 17)):
        hourly, fine = conditions(loaded, day).weather, conditions(loaded, day, step).weather
        for name in ("ghi", "dni", "dhi"):
            means = fine[name].to_numpy().reshape(len(hourly), -1).mean(axis=1)
            np.testing.assert_allclose(means, hourly[name], rtol=1e-9, atol=1e-9)
        assert (fine[["ghi", "dni", "dhi"]] >= 0).all(axis=None)


def test_shorter_steps_follow_the_sun_within_the_hour(small_plan):
    fine = conditions(small_plan(), MIDSUMMER, 600)
    assert len(fine.times) == 144
    assert fine.step == 600
    assert fine.times[1] - fine.times[0] == pd.Timedelta("10min")
    assert (fine.weather.index - fine.times == pd.Timedelta("5min")).all()
    morning = fine.weather["ghi"].to_numpy()[36:66]
    assert (np.diff(morning) > 0).all()


def test_temperature_goes_evenly_from_hour_to_hour(small_plan):
    hourly = conditions(small_plan(TYPICAL_YEAR), MIDSUMMER).weather["temp_air"]
    fine = conditions(small_plan(TYPICAL_YEAR), MIDSUMMER, 1200).weather["temp_air"]
    # The middle third of an hour has the hour's own stamp.
    np.testing.assert_allclose(fine.to_numpy()[1::3], hourly)
    assert fine.min() >= hourly.min()
    assert fine.max() <= hourly.max()


@pytest.mark.parametrize("step", [0, -60, 30, 7 * 60, 7200])
def test_a_step_that_does_not_fit_is_refused(small_plan, step):
    with pytest.raises(PlanError, match="is not a whole part of 60 min, the step of the weather; like 10 min"):
        conditions(small_plan(), MIDSUMMER, step)


def test_the_weathers_own_step_changes_nothing(small_plan):
    loaded = small_plan(TYPICAL_YEAR)
    plain, same = conditions(loaded, MIDSUMMER), conditions(loaded, MIDSUMMER, 3600)
    np.testing.assert_allclose(same.weather["ghi"], plain.weather["ghi"], rtol=1e-12)


def test_a_day_that_the_weather_has_not_is_refused(small_plan):
    with pytest.raises(PlanError, match="the weather has no 29 February; choose another day"):
        conditions(small_plan(), date(2000, 2, 29))


# --- the way of the light -------------------------------------------------------------------------------


def test_dirt_glazing_and_shadow_each_take_their_share(small_plan):
    def light(**panel):
        sun = conditions(small_plan({f"panel.0.{key}": value for key, value in panel.items()}), MIDSUMMER)
        return sun.panels["roof"]

    clean = light(soiling_ratio=1.0)
    noon = int(np.argmax(clean.effective_irradiance))
    dirty, glazed = light(soiling_ratio=0.8), light(soiling_ratio=1.0, behind="single-glass")
    np.testing.assert_allclose(dirty.effective_irradiance, 0.8 * clean.effective_irradiance)
    np.testing.assert_allclose(dirty.poa_global, clean.poa_global)
    transmittance = small_plan().cover("single-glass").transmittance
    np.testing.assert_allclose(glazed.effective_irradiance, transmittance * clean.effective_irradiance)
    # Behind glass the cells are cooler, for less light reaches them.
    assert glazed.temp_cell[noon] < clean.temp_cell[noon]
    # In full shadow the sky's light is left.
    shaded = light(soiling_ratio=1.0, lit_share_of_worst_cell=0.0)
    assert 0.05 < shaded.effective_irradiance[noon] / clean.effective_irradiance[noon] < 0.4


def test_a_flush_panel_is_ten_degrees_hotter_in_full_sun(small_plan):
    free, flush = (
        conditions(small_plan({"panel.0.mounting": way}), MIDSUMMER).panels["roof"] for way in ("free", "flush")
    )
    np.testing.assert_allclose(flush.temp_cell - free.temp_cell, 10.0 * free.poa_global / 1000.0)


def test_kernels_are_given_the_weather_in_its_order(small_plan, monkeypatch):
    seen = {}

    def spy(position, tilt, azimuth, **light):
        seen.update(tilt=tilt, azimuth=azimuth, **light)
        return plane(position, tilt, azimuth, **light)

    plane = planes.plane_of_array
    monkeypatch.setattr(planes, "plane_of_array", spy)
    sun = conditions(small_plan({"place.albedo": 0.35}), MIDSUMMER)
    assert (seen["tilt"], seen["azimuth"], seen["albedo"]) == (35, 200, 0.35)
    for name in ("ghi", "dni", "dhi"):
        np.testing.assert_array_equal(seen[name], sun.weather[name])


# --- plates ---------------------------------------------------------------------------------------------


def test_five_parameters_are_taken_as_given(small_plan):
    five = {"I_L_ref": "1.8 A", "I_o_ref": 1e-9, "R_s": "0.6 ohm", "R_sh_ref": "200 ohm", "a_ref": "1.03 V"}
    panel = small_plan({"panel": [{"id": "roof", "single_diode": five}]}).record.panel[0]
    assert [float(value) for value in panel_parameters(panel, 1000.0, 25.0)] == pytest.approx(
        [1.8, 1e-9, 0.6, 200, 1.03]
    )


def test_watts_alone_give_the_usual_panel(small_plan):
    panel = small_plan({"panel": [{"id": "roof", "watts": "22 W"}]}).record.panel[0]
    assert single_diode(panel).I_L_ref == pytest.approx(22 / 22.0 / 0.76, rel=0.01)


def test_a_plate_that_no_diode_fits_names_its_panel(small_plan):
    impossible = {"id": "roof", "v_oc": "22 V", "i_sc": "1 A", "v_mp": "21.8 V", "i_mp": "0.99 A"}
    panel = small_plan({"panel": [impossible]}).record.panel[0]
    with pytest.raises(PlanError, match=r'panel "roof" v_mp, i_mp: no solar cell has its maximum power'):
        single_diode(panel)


def test_a_weak_panel_gives_less_current_and_a_measured_share_wins(small_plan):
    plain = small_plan().record.panel[0]
    measured = small_plan({"panel.0.plate_factor": 0.7}).record.panel[0]

    def current(panel, band):
        return float(panel_parameters(panel, 1000.0, 25.0, band)[0])

    assert current(plain, LOW) == pytest.approx(0.8 * current(plain, TYPICAL))
    assert current(plain, HIGH) == current(plain, TYPICAL)
    assert current(measured, TYPICAL) == pytest.approx(0.7 * current(plain, TYPICAL))
    assert current(measured, LOW) < current(measured, TYPICAL) < current(measured, HIGH)
