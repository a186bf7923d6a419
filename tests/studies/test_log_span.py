"""A log on even steps: what the weather between its rows was, held against logs that are made of a known one."""

import numpy as np
import pandas as pd
import pytest

from solarvent.base.errors import WeatherError
from solarvent.studies.log_span import SENSED_SPREAD, SWING_SPREAD, Observed, span_of_log
from solarvent.weather import sky, sun
from solarvent.weather.conditions import plan_weather
from solarvent.weather.house_log import HouseLog

#: In the middle of April the sun is at its highest at noon of its longitude, within a minute.
BEGIN, HOUR = "2025-04-12", 3600.0
PLACE = {"place": {"latitude": 50.0, "longitude": 0.0, "timezone": "UTC"}, "weather": {"clear_sky": True}}


@pytest.fixture(scope="module")
def plan(small_plan):
    return small_plan(PLACE)


def times(days=6, step=HOUR, begin=BEGIN):
    return pd.date_range(begin, periods=round(days * 86_400 / step), freq=f"{round(step)}s", tz="UTC")


def log(index, step=HOUR, unit="", **columns):
    return HouseLog("log.csv", pd.DataFrame(columns, index=index), step, unit, ())


def usual_day(index, low=5.0, high=15.0):
    """Half a cosine from the least at five to the most at three in the afternoon by the sun, half a one back."""
    since = (sun.solar_hour(index, 0.0) - 5.0) % 24.0
    share = np.where(since < 10, 1 - np.cos(np.pi * since / 10), 1 + np.cos(np.pi * (since - 10) / 14)) / 2
    return low + (high - low) * share


def clear_light(index):
    return sky.clear_sky(index, 50.0, 0.0, 0.0).ghi


# --- readings -------------------------------------------------------------------------------------------------------

#: Mean of the most of so many standard normal numbers (order statistics, D. Teichroew 1956, from memory).
OUTERMOST = {1: 0.0, 2: 0.5642, 3: 0.8463, 5: 1.1630, 8: 1.4236, 10: 1.5388, 12: 1.6292}


@pytest.mark.parametrize("count", OUTERMOST)
def test_the_outermost_of_readings_that_tremble_lies_beyond_their_mean(count):
    alike = np.concatenate([[20.0], np.full(count, 20.0), [20.0]])
    kind, first, last = np.array([-1, 1, 0]), np.array([1, 1, 0]), np.array([count, count, 0])
    least, most, plain = Observed(kind, first, last, np.zeros(3)).of(alike)
    assert most - 20.0 == pytest.approx(0.5 * OUTERMOST[count], abs=0.07)
    assert 20.0 - least == pytest.approx(0.5 * OUTERMOST[count], abs=0.07)
    assert plain == 20.0


def test_a_least_and_a_most_belong_to_the_step_that_has_them():
    temp = np.array([0.0, 5.0, 3.0, 9.0, 2.0, 99.0])
    spans = [(-1, 1, 3), (1, 1, 3), (1, 1, 2), (-1, 3, 4), (0, 5, 5)]
    kind, first, last = np.array(spans).T
    assert Observed(kind, first, last, np.zeros(5)).at(temp).tolist() == [2, 3, 1, 4, 5]
    far = Observed(kind, first, last, np.zeros(5)).of(10 * temp)
    np.testing.assert_allclose(far, [30.0, 90.0, 50.0, 20.0, 990.0], atol=0.01)


# --- steps ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("minutes", "days", "step"),
    [(5, 3, 1800), (20, 3, 1800), (22, 3, 1320), (5, 21, 1800), (10, 21.5, 1800), (10, 22 + 1 / 144, 3600),
     (60, 3, 3600), (90, 3, 5400), (120, 3, 3600), (180, 3, 3600)],
)  # fmt: skip
def test_rows_are_laid_on_steps_as_long_as_air_keeps(plan, minutes, days, step):
    index = times(days, 60.0 * minutes)
    span = span_of_log(plan, log(index, 60.0 * minutes, inside=20.0, outside=usual_day(index)))
    assert span.step == step
    assert (np.diff(span.times) == pd.Timedelta(seconds=step)).all()
    assert span.dense == (minutes <= 150)
    assert span.weather.attrs["step"] == step


def test_readings_of_a_step_are_its_mean_and_stand_at_its_middle(plan):
    index = times(3, 600.0)[1:]
    air = np.arange(len(index), dtype=float)
    span = span_of_log(plan, log(index, 600.0, inside=air + 5, outside=air))
    assert span.times[0] == pd.Timestamp(f"{BEGIN} 00:15", tz="UTC")
    # Two of three rows stand in the first half hour, three in each other.
    np.testing.assert_allclose(span.weather["temp_air"], [0.5, *(3.0 + 3 * np.arange(len(span.times) - 1))])
    np.testing.assert_allclose(span.observed.value, span.weather["temp_air"] + 5)
    assert span.observed.last.tolist() == list(range(len(span.times)))


def test_rows_a_step_apart_keep_their_own_times(plan):
    for step, minute in ((HOUR, 20), (5400.0, 20), (10_800.0, 0)):
        index = times(3, step, f"{BEGIN} 00:20")
        span = span_of_log(plan, log(index, step, inside=20.0, outside=usual_day(index)))
        assert span.times[0] == pd.Timestamp(f"{BEGIN} 00:{minute:02d}", tz="UTC")
        apart = (index - span.times[span.observed.last]).total_seconds().to_numpy()
        assert np.abs(apart).max() <= span.step / 2


@pytest.mark.parametrize(("longitude", "dawn"), [(0.0, 5), (15.0, 4), (-90.0, 11), (150.0, 19)])
def test_a_day_begins_at_five_by_the_mean_sun(small_plan, longitude, dawn):
    index = times(4)
    place = PLACE | {"place": PLACE["place"] | {"longitude": longitude}}
    span = span_of_log(small_plan(place), log(index, inside=20.0, outside=usual_day(index)))
    begins = np.flatnonzero(np.diff(span.day)) + 1
    assert (index.hour[begins] == dawn).all()
    assert span.day[0] == 0
    assert set(np.diff(span.day)) == {0, 1}
    assert [span.date(1), span.date(3)] == [f"{index[begin].day} April" for begin in begins[[0, 2]]]


# --- outside air ----------------------------------------------------------------------------------------------------


def test_a_gap_is_bridged_by_a_line_and_not_used_until_half_a_day_after(plan):
    index = times(6)
    air = usual_day(index) + np.linspace(0, 5, len(index))
    outside = air.copy()
    outside[:2] = outside[-3:] = np.nan
    outside[31:33] = np.nan  # three hours from row to row
    outside[60:65] = outside[100:103] = np.nan  # six and four
    span = span_of_log(plan, log(index, inside=20.0, outside=outside))
    filled = span.weather["temp_air"].to_numpy()
    np.testing.assert_allclose(filled[59:66], np.linspace(air[59], air[65], 7))
    np.testing.assert_allclose(filled[30:34], np.linspace(air[30], air[33], 4))
    assert (filled[:2] == air[2]).all()
    out = np.flatnonzero(~span.sound)
    assert out.tolist() == [0, 1, *range(60, 77), *range(100, 115), 141, 142, 143]
    [told] = [note for note in span.notes if "gaps" in note]
    assert "2 gaps in the log, 10 hours together, the first from 14 April 11:00 UTC" in told


def test_few_readings_of_the_usual_day_give_the_usual_day(plan):
    index = times(6)
    air = usual_day(index)
    few = index[3::6]
    span = span_of_log(plan, log(few, 6 * HOUR, inside=20.0, outside=usual_day(few)))
    at = index.get_indexer(span.times)
    np.testing.assert_allclose(span.weather["temp_air"], air[at], atol=1e-6)
    assert any("few readings" in note for note in span.notes)
    assert span.sound.all()


def notebook(index, air, inside, hour=8):
    """Least and most since the morning before, read at an hour of each morning."""
    rows = np.flatnonzero(index.hour == hour)[1:]
    said = {"outside": air, "inside": inside}
    columns = {f"{name}_{what}": [getattr(values[at - 24 : at + 1], what)() for at in rows]
               for name, values in said.items() for what in ("min", "max")}  # fmt: skip
    return log(index[rows], 86_400.0, **columns)


def test_least_and_most_of_the_usual_day_give_the_usual_day(plan):
    index = times(8)
    air = usual_day(index)
    span = span_of_log(plan, notebook(index, air, air + 5))
    at = index.get_indexer(span.times)
    assert span.times[0] == pd.Timestamp(f"{BEGIN} 08:00", tz="UTC")
    np.testing.assert_allclose(span.weather["temp_air"], air[at], atol=0.02)
    assert not span.dense
    assert span.step == HOUR
    # Each morning closes the span of a least and of a most, that of the morning before included.
    least, most = (span.observed.kind == kind for kind in (-1, 1))
    for chosen, values in ((least, span.weather["temp_air"].groupby(span.day).min()), (most, None)):
        assert (span.observed.last[chosen] - span.observed.first[chosen] == 24).all()
        assert span.observed.first[chosen][0] == 0
        assert values is None or span.observed.value[chosen] == pytest.approx(10.0, abs=0.02)
    assert span.observed.value[most] == pytest.approx(20.0, abs=0.05)


def test_a_night_that_is_warmer_than_the_morning_before_leaves_the_least_at_the_setting(plan):
    # Within half a day the air warms for good: the least of the next reading is that of the moment of setting.
    index = times(8)
    air = usual_day(index) + 14.0 * np.clip((np.arange(len(index)) - 78) / 12, 0, 1)
    span = span_of_log(plan, notebook(index, air, air + 5))
    off = span.weather["temp_air"].to_numpy() - air[index.get_indexer(span.times)]
    assert np.abs(off).max() < 4.0
    assert np.sqrt(np.mean(off**2)) < 1.3


def test_hardly_any_air_and_hardly_any_readings_are_refused(plan):
    index = times(3)
    for count, words in ((3, "hardly any outside"), (4, None)):
        outside = np.where(np.arange(len(index)) < count, 5.0, np.nan)
        told = log(index, 4 * HOUR, inside=20.0, outside=outside)
        if words is None:
            assert span_of_log(plan, told).weather["temp_air"].notna().all()
            continue
        with pytest.raises(WeatherError, match=words):
            span_of_log(plan, told)
    for count in (3, 4):
        inside = np.where(np.arange(len(index)) < count, 20.0, np.nan)
        told = log(index, inside=inside, outside=usual_day(index))
        if count == 4:
            assert span_of_log(plan, told).sound.sum() == 4
            continue
        with pytest.raises(WeatherError, match="3 readings can be used; some nights"):
            span_of_log(plan, told)


def test_the_usual_weather_is_the_mean_of_its_month_and_hour(small_plan):
    plan = small_plan({"place": {"latitude": 36.1, "longitude": -79.95, "timezone": "Etc/GMT+5"},
                       "weather": {"embedded": "latitude 36.1, longitude -79.95"}})  # fmt: skip
    index = times(3)
    wind = np.where(np.arange(72) < 10, 7.0, np.nan)
    span = span_of_log(plan, log(index, inside=20.0, outside=usual_day(index), wind=wind))
    year = plan_weather(plan)
    clock = year.index.tz_convert("UTC")
    assert (span.weather["wind_speed"][:10] == 7.0).all()
    for at in (15, 40):
        alike = year[(clock.month == 4) & (clock.hour == index[at].hour)]
        for name in ("wind_speed", "wind_direction", "relative_humidity"):
            assert span.weather[name].iloc[at] == pytest.approx(alike[name].mean()), name


def test_the_plan_s_own_weather_file_stands_in_for_the_air_of_the_same_days(small_plan, tmp_path):
    index = times(8)
    head = ["# title: Field", "# source: own", "# latitude: 50", "# longitude: 0", "# altitude: 0", "# stamp: middle"]
    rows = [f"{at:%Y-%m-%dT%H:%MZ},0,0,0,{air:.3f}" for at, air in zip(index, usual_day(index), strict=True)]
    names = "time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC]"
    (tmp_path / "year.csv").write_text("\n".join([*head, names, *rows]) + "\n", encoding="utf-8")
    plan = small_plan(PLACE | {"weather": {"file": str(tmp_path / "year.csv")}})
    half = index[0] + pd.Timedelta(minutes=30)
    for inside in (index[30:120], index, pd.date_range(half, periods=60, freq="h")):
        span = span_of_log(plan, log(inside, inside=20.0))
        np.testing.assert_allclose(span.weather["temp_air"], usual_day(inside), atol=0.1)
        assert span.sound.all()
        assert any("plan's weather file: believe it within 2 K" in note for note in span.notes)
    hour = pd.Timedelta(hours=1)
    for beyond in (index - hour, index + hour):
        with pytest.raises(WeatherError, match="no column is known as the outside"):
            span_of_log(plan, log(beyond, inside=20.0))
    # A log of panels alone takes it, too; where the plan has none, mild air.
    volts = {"volts.roof": 17.0, "amperes.roof": 0.5}
    np.testing.assert_allclose(span_of_log(plan, log(index, **volts)).weather["temp_air"], usual_day(index), atol=0.1)


def test_where_nothing_tells_it_a_light_breeze_moves_damp_air(plan):
    # Of two metres a second the Beaufort scale (WMO) says: light breeze, 1.6 to 3.3 m/s.
    index = times(3)
    told = span_of_log(plan, log(index, inside=20.0, outside=usual_day(index))).weather
    assert told["wind_speed"].between(1.6, 3.3).all()
    assert told["relative_humidity"].between(70, 80).all()
    assert (told["wind_direction"] == 0).all()
    assert (told["opaque_cover"] == 0).all()


def test_of_panels_and_fans_alone_the_air_is_mild_and_their_columns_are_kept(plan):
    index = times(2)
    span = span_of_log(plan, log(index, **{"volts.roof": 17.0, "amperes.roof": 0.5}, sun=clear_light(index)))
    assert span.weather["temp_air"].between(10, 20).all()
    assert list(span.volts) == ["volts.roof", "amperes.roof", "sun"]
    assert not len(span.sound)
    without = span_of_log(plan, log(index, inside=20.0, outside=usual_day(index), sun=clear_light(index)))
    assert without.volts.empty


# --- light ----------------------------------------------------------------------------------------------------------


def lit_by(plan, light, unit="w/m2", swing=10.0, index=None):
    index = times() if index is None else index
    return span_of_log(plan, log(index, unit=unit, inside=20.0, outside=usual_day(index, 5.0, 5.0 + swing), sun=light))


def test_light_on_the_level_is_used_step_by_step_and_adds_up(plan):
    index = times()
    clear = sky.clear_sky(index, 50.0, 0.0, 0.0)
    share = np.repeat([1.0, 0.2, 1.0, 0.5, 1.0, 0.1], 24)
    span = lit_by(plan, share * clear.ghi)
    assert span.light == "steps"
    weather, up = span.weather, clear.ghi > 150
    np.testing.assert_allclose(weather["ghi"], share * clear.ghi)
    assert span.shares.shape == (0, 2)
    assert weather["opaque_cover"].isna().all()
    # Beam on the level and light of the sky make all of it, and under a clear sky they are those of a clear sky.
    cosine = np.cos(np.radians(np.asarray(span.position.apparent_zenith)))
    np.testing.assert_allclose((weather["dni"] * cosine + weather["dhi"])[up], weather["ghi"][up], rtol=0.03)
    np.testing.assert_allclose(weather["dni"][share == 1], clear.dni[share == 1])
    assert (weather.loc[clear.ghi == 0, ["ghi", "dni", "dhi"]] == 0).all(axis=None)
    assert (weather["dni"][share < 0.3] < 0.1 * clear.dni[share < 0.3] + 1).all()
    np.testing.assert_array_equal(span.sun, share * clear.ghi)


def test_light_beyond_any_sky_is_cut_and_one_between_rows_is_a_line(plan):
    index = times()
    clear = clear_light(index)
    light = clear.copy()
    light[36], light[59:62], light[84] = 3 * clear[36], np.nan, 1.3 * clear[84]
    ghi = lit_by(plan, light).weather["ghi"].to_numpy()
    # At the edge of a cloud up to 1.4 to 1.5 times a clear sky was measured for moments (R. Tapakis,
    # A. G. Charalambides 2014, Solar Energy 100, from memory).
    assert 1.4 * clear[36] <= ghi[36] <= 1.5 * clear[36]
    assert ghi[84] == pytest.approx(1.3 * clear[84])
    np.testing.assert_allclose(ghi[58:63], np.linspace(clear[58], clear[62], 5))


@pytest.mark.parametrize(("scale", "unit", "light"), [(0.77, "w/m2", "steps"), (1.28, "kw/m2", "steps"),
                                                      (0.6, "w/m2", "steps"), (1.8, "wm2", "steps"),
                                                      (1.0, "lux", "steps"), (0.35, "w/m2", "days"),
                                                      (1.0, "", "days")])  # fmt: skip
def test_a_scale_is_believed_near_a_clear_sky_and_else_the_brightest_counts_as_clear(plan, scale, unit, light):
    index = times()
    clear = clear_light(index)
    share = np.repeat([1.0, 0.2, 1.0, 0.6, 1.0, 0.3], 24)
    span = lit_by(plan, scale * share * clear, unit)
    assert span.light == light
    if light == "days":
        # Days run from five to five: each holds its own light alone.
        known = span.shares[1:, 0]
        np.testing.assert_allclose(known, [1.0, 0.2, 1.0, 0.6, 1.0, 0.3][: len(known)], atol=0.01)
        assert (span.shares[1:, 1] == SENSED_SPREAD).all()
        assert any("brightest days around" in note for note in span.notes)
        np.testing.assert_allclose(span.weather["ghi"], clear)
        return
    as_written = 0.75 <= scale <= 1.3 and unit != "lux"
    np.testing.assert_allclose(span.weather["ghi"], (scale if as_written else 1.0) * share * clear, rtol=1e-6)
    assert any("in proportion" in note for note in span.notes) != as_written


def test_a_sensor_in_a_corner_tells_the_share_of_each_day_alone(plan):
    index = times()
    share = np.repeat([1.0, 0.5, 0.8, 0.6, 1.0, 0.3], 24)
    morning = np.where(index.hour < 11, 1.0, 0.4)
    span = lit_by(plan, 0.7 * morning * share * clear_light(index), "w/m2")
    assert span.light == "days"
    np.testing.assert_allclose(span.shares[1:, 0], [1.0, 0.5, 0.8, 0.6, 1.0, 0.3], atol=0.01)


@pytest.mark.parametrize("unit", ["lux", None])
def test_without_light_its_share_goes_with_the_root_of_the_swing_of_the_air(plan, unit):
    # G. H. Hargreaves, Z. A. Samani 1982, as FAO 56 has it (equations 50 and 37, from memory): of the light above the
    # air 0.16 inland to 0.19 by the sea times the root of the swing, of which a clear sky leaves 0.75.
    index = times(6, begin=f"{BEGIN} 05:00")
    for swing in (4.0, 9.0, 16.0):
        outside = usual_day(index, 5.0, 5.0 + swing)
        columns = {} if unit is None else {"sun": 0.0}
        span = span_of_log(plan, log(index, unit=unit or "", inside=20.0, outside=outside, **columns))
        assert span.light == "unknown"
        low, middle, high = (each * np.sqrt(swing) / 0.75 for each in (0.16, 0.175, 0.19))
        assert (span.shares[:, 0] > low).all()
        assert span.shares[:, 0] == pytest.approx(min(middle, 1.0), rel=0.01)
        assert (span.shares[:, 0] < high).all()
        assert (span.shares[:, 1] == SWING_SPREAD).all()
        assert any("only guessed" in note for note in span.notes)


def test_each_day_has_the_share_of_its_own_swing(plan):
    index = times(6, begin=f"{BEGIN} 05:00")
    swing = np.repeat([4.0, 9.0, 4.0, 16.0, 4.0, 9.0], 24)
    span = span_of_log(plan, log(index, inside=20.0, outside=usual_day(index, 5.0, 5.0 + swing)))
    assert span.shares[:, 0] == pytest.approx(0.175 / 0.75 * np.sqrt(swing[::24]), rel=0.01)


def test_never_more_than_a_clear_sky_and_a_cut_day_swings_as_the_others(plan):
    index = times(5, begin=f"{BEGIN} 05:00")[:-14]
    outside = usual_day(index, 0.0, 30.0)
    assert (span_of_log(plan, log(index, inside=20.0, outside=outside)).shares[:, 0] == 1.0).all()
    # The last day ends at three in the afternoon, another after an hour: it counts as the middle of the whole ones.
    index = times(5, begin=f"{BEGIN} 05:00")[: 4 * 24 + 1]
    span = span_of_log(plan, log(index, inside=20.0, outside=usual_day(index, 0.0, 9.0)))
    assert span.shares[-1, 0] == pytest.approx(span.shares[1, 0], rel=1e-6)
