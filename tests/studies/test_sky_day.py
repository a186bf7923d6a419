"""The mean day of a month under a named sky."""

import numpy as np
import pytest

from solarvent.base.errors import PlanError
from solarvent.electrical.panel_model import TYPICAL
from solarvent.studies.sky_day import MEAN_DAYS, SKIES, for_span, under_sky
from solarvent.weather import sky, sky_states
from solarvent.weather.conditions import plan_weather
from solarvent.weather.span import hottest_month

GREENSBORO = {
    "place": {"latitude": 36.1, "longitude": -79.95, "altitude": "273 m", "timezone": "America/New_York"},
    "weather": {"embedded": "latitude 36.1, longitude -79.95"},
}


def answer(loaded, month, oktas, start="12:00", end="18:00", **more):
    more.setdefault("bands", (TYPICAL,))
    return under_sky(for_span(loaded, month, start, end), plan_weather(loaded), month, oktas, **more)


def test_the_mean_days_have_the_published_declinations():
    # S. A. Klein 1977, days and declinations as in J. A. Duffie, W. A. Beckman, table 1.6.1 (from memory); declination
    # there by Cooper's sine of the day.
    declinations = [-20.9, -13.0, -2.4, 9.4, 18.8, 23.1, 21.2, 13.5, 2.2, -9.6, -18.9, -23.0]
    before = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    number = before + np.array(MEAN_DAYS)
    np.testing.assert_allclose(23.45 * np.sin(np.radians(360 * (284 + number) / 365)), declinations, atol=0.06)


@pytest.mark.parametrize("oktas", range(10))
def test_the_mean_light_is_that_of_the_cloud_factor_at_every_okta(small_plan, oktas):
    loaded = small_plan(GREENSBORO | {"panel.0.tilt": 0, "panel.0.soiling_ratio": 1.0})
    run, clear = answer(loaded, 7, oktas).run, answer(loaded, 7, 0).run
    weather, full = run.conditions.weather, clear.conditions.weather
    np.testing.assert_allclose(weather["ghi"], sky.cloud_factor(oktas) * full["ghi"], rtol=1e-12, atol=1e-9)
    # The two states average to it to rounding, and so does the light on a level panel, but for the refraction of a low
    # sun, which Erbs leaves out and the plane does not.
    spells = run.conditions.sky_states
    np.testing.assert_allclose(spells.of_states(spells.ground), 1.0, rtol=1e-12)
    np.testing.assert_allclose(run.conditions.panels["roof"].poa_global, weather["ghi"], rtol=1e-3)
    assert run.conditions.sky_states.whole == (oktas in (0, 8, 9))


def test_more_cloud_brings_no_more_air(small_plan):
    loaded = small_plan(GREENSBORO | {"panel.0.part": "panel-10w"})
    answers = [answer(loaded, 7, oktas) for oktas in SKIES]
    flows = [one.run.bands["typical"].target_flow for one in answers]
    assert flows == sorted(flows, reverse=True)
    assert flows[0] > 2 * flows[-1]
    running = [one.running for one in answers]
    assert running[0] == 1.0
    assert running[-1] < 1.0
    wanted = [one.wanted.ghi for one in answers]
    assert wanted == sorted(wanted, reverse=True)


def test_rows_average_to_the_span(small_plan):
    one = answer(small_plan(GREENSBORO), 7, 6)
    assert [str(time.time())[:5] for time in one.rows.index] == [f"{hour}:00" for hour in range(12, 18)]
    assert one.rows.index[0].utcoffset().total_seconds() == -4 * 3600
    assert one.rows["flow"].mean() == pytest.approx(one.run.bands["typical"].target_flow)
    assert one.rows["running"].mean() == pytest.approx(one.running)
    np.testing.assert_allclose(one.rows["flow_running"] * one.rows["running"], one.rows["flow"])
    assert (one.rows["gap"] > one.rows["shadow"]).all()
    fine = answer(small_plan(GREENSBORO), 7, 6, "12:10", "13:00", row=600.0)
    assert [str(time.time())[:5] for time in fine.rows.index] == ["12:10", "12:20", "12:30", "12:40", "12:50"]


def test_the_clock_has_its_daylight_saving_and_the_solar_one_has_none(small_plan):
    loaded = small_plan(GREENSBORO)
    summer, winter = (answer(loaded, month, 0).rows.index[0].utcoffset().total_seconds() / 3600 for month in (7, 1))
    assert (summer, winter) == (-4, -5)
    solar = answer(small_plan(GREENSBORO | {"clock": "solar"}), 7, 0, "0:00".zfill(5), "24:00").rows
    # By the sun's mean time the light is even about noon, but for the equation of time of six minutes.
    light = answer(small_plan(GREENSBORO | {"clock": "solar", "panel.0.tilt": 0}), 7, 0, "00:00", "24:00").rows
    assert len(solar) == 24
    assert light["poa_global"].iloc[8] == pytest.approx(light["poa_global"].iloc[15], rel=0.06)


def test_south_of_the_equator_january_is_the_bright_month(small_plan):
    south = {"place": {"latitude": -36.8, "longitude": 174.8, "timezone": "Pacific/Auckland"}, "panel.0.azimuth": 0}
    south["target.months"] = None
    loaded = small_plan(south)
    january, july = (answer(loaded, month, 0).run.hours["poa_global"].sum() for month in (1, 7))
    assert january > 1.3 * july
    assert hottest_month(loaded, plan_weather(loaded)) in (11, 12, 1, 2, 3)


def test_the_temperature_is_the_months_own(small_plan):
    loaded = small_plan(GREENSBORO)
    weather = plan_weather(loaded)
    july = weather[weather.index.month == 7]
    day = answer(loaded, 7, 6).run.conditions.weather
    assert day["temp_air"].mean() == pytest.approx(july["temp_air"].mean(), abs=0.2)
    # A mean of directions: the wind of the day is no stronger than the month's.
    assert 0 < day["wind_speed"].mean() <= july["wind_speed"].mean()
    assert hottest_month(loaded, weather) == 7


def test_thin_and_dark_cloud_at_eight_oktas(small_plan):
    loaded = small_plan(GREENSBORO)
    light = [answer(loaded, 7, 8, full_cover=kind).factor for kind in ("dark", "ordinary", "thin")]
    assert light == pytest.approx([0.12, 0.25, 0.6])
    assert answer(small_plan(GREENSBORO | {"sky": {"full_cover": "thin"}}), 7, 8).factor == pytest.approx(0.6)
    assert answer(loaded, 7, 7, full_cover="thin").factor == answer(loaded, 7, 7).factor


def test_the_plan_may_give_the_sunlit_share(small_plan):
    given = answer(small_plan(GREENSBORO | {"sky": {"sunlit_share": 0.25}}), 7, 6)
    assert given.sunlit == 0.25
    assert given.shadow_level == pytest.approx(sky_states.shadow_level(sky.cloud_factor(6), 0.25, 1.10))
    other = answer(small_plan(GREENSBORO), 7, 6, share=0.25)
    assert given.run.bands["typical"].target_flow == pytest.approx(other.run.bands["typical"].target_flow)
    weights = given.run.conditions.sky_states.weight
    assert set(weights[weights < 1].round(9)) == {0.25, 0.75}


def test_a_share_that_the_sky_has_no_light_for_is_refused(small_plan):
    loaded = small_plan(GREENSBORO | {"sky": {"sunlit_share": 0.9}})
    with pytest.raises(PlanError, match=r"0\.9 of the time in sunlight gives more light than a sky of 7 oktas has"):
        answer(loaded, 7, 7)
    assert answer(loaded, 7, 0).factor == 1.0


def test_a_month_that_the_weather_has_not_is_refused(small_plan):
    loaded = small_plan(GREENSBORO)
    weather = plan_weather(loaded)
    summer = weather[weather.index.month == 6]
    summer.attrs = weather.attrs
    with pytest.raises(PlanError, match="the weather has no hours in month 1; choose one of"):
        under_sky(for_span(loaded, 1, "12:00", "18:00"), summer, 1, 3)
