"""What is wrong with a log: made-up ones with one thing wrong, and how much of it, known."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from solarvent.base.errors import WeatherError
from solarvent.studies.log_checks import (
    odd_readings,
    refuse_swapped,
    refuse_wrong_clock,
    without_settings,
    without_sunny_outside,
)
from solarvent.studies.log_span import Observed, span_of_log
from solarvent.weather import sky
from solarvent.weather.house_log import HouseLog

HOUR = 3600.0
DAYS = 6
INDEX = pd.date_range("2025-04-12", periods=24 * DAYS, freq="h", tz="UTC")
CLEAR = sky.clear_sky(INDEX, 50.0, 0.0, 0.0).ghi
CLOCK = INDEX.hour.to_numpy()
AIR = 10.0 - 5.0 * np.cos(2 * np.pi * (CLOCK - 3) / 24)


@pytest.fixture(scope="module")
def plan(small_plan):
    return small_plan({"place": {"latitude": 50.0, "longitude": 0.0, "timezone": "UTC"}})


def laid(plan, step=HOUR, index=INDEX, unit="w/m2", **columns):
    told = {"inside": AIR + 0.02 * CLEAR, "outside": AIR} if index is INDEX else {}
    return span_of_log(plan, HouseLog("log.csv", pd.DataFrame(told | columns, index=index), step, unit, ()))


# --- swapped columns ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rise", "swapped"), [(-3.0, True), (-2.2, True), (-1.8, False), (3.0, False)])
def test_columns_are_swapped_where_the_inside_is_colder_in_the_sun(plan, rise, swapped):
    span = laid(plan, inside=AIR + rise * (CLEAR > 100), sun=CLEAR)
    if not swapped:
        return refuse_swapped(span, "log.csv")
    with pytest.raises(WeatherError, match=r"log.csv: in the sun its outside is warmer.*--inside NAME"):
        refuse_swapped(span, "log.csv")


@pytest.mark.parametrize(("warm", "swapped"), [(0.15, True), (0.25, False)])
def test_a_house_that_is_often_the_warmer_one_in_the_sun_is_not_swapped(plan, warm, swapped):
    # Most hours far colder, some warmer: of four hours in five and more it must be the colder one.
    bright = np.flatnonzero(CLEAR > 250)
    rise = np.full(len(AIR), -5.0)
    rise[bright[: round(warm * len(bright))]] = 5.0
    span = laid(plan, inside=AIR + rise, sun=CLEAR)
    if not swapped:
        return refuse_swapped(span, "log.csv")
    with pytest.raises(WeatherError, match="swapped"):
        refuse_swapped(span, "log.csv")


def test_a_dull_log_and_a_short_one_tell_of_no_swap(plan):
    refuse_swapped(laid(plan, inside=AIR - 4.0, sun=np.minimum(CLEAR, 240.0)), "log.csv")
    for count in (5, 6):
        beyond = (CLEAR > 250) & (np.cumsum(CLEAR > 250) > count)
        span = laid(plan, inside=np.where(beyond, np.nan, AIR - 4.0), sun=CLEAR)
        if count == 5:
            refuse_swapped(span, "log.csv")
            continue
        with pytest.raises(WeatherError, match="swapped"):
            refuse_swapped(span, "log.csv")


@pytest.mark.parametrize(("inside", "swapped"), [(6.0, True), (7.2, False), (18.0, False)])
def test_of_least_and_most_the_house_swings_further(plan, inside, swapped):
    # Outside ten kelvin on most days, thirty on one.
    rows = INDEX[CLOCK == 8]
    columns = {
        "outside_min": 5.0,
        "outside_max": np.where(rows.day == 15, 35.0, 15.0),
        "inside_min": 8.0,
        "inside_max": 8.0 + inside,
    }
    span = laid(plan, 86_400.0, rows, **columns)
    if not swapped:
        return refuse_swapped(span, "log.csv")
    with pytest.raises(WeatherError, match="swapped"):
        refuse_swapped(span, "log.csv")


# --- the clock ------------------------------------------------------------------------------------------------------


def late(values, minutes):
    """Values of ten minutes each, so much later."""
    return np.roll(values, round(minutes / 10))


TENS = pd.date_range("2025-04-12", periods=144 * DAYS, freq="10min", tz="UTC")
CLEAR_TENS = sky.clear_sky(TENS, 50.0, 0.0, 0.0).ghi


@pytest.mark.parametrize(("minutes", "words"), [
    (40, None), (-40, None), (60, '1 h ahead of the sun; .*--shift "-1 h"'),
    (-60, '1 h behind the sun; .*--shift "1 h"'), (90, '1.5 h ahead of the sun; .*--shift "-1.5 h"'),
    (-300, '5 h behind the sun; .*--shift "5 h"'),
])  # fmt: skip
def test_a_clock_is_told_by_its_light_from_an_hour_on(plan, minutes, words):
    # Light by which the cloud of each day is another, the same all day; half of the steps are as long as the rows.
    cloudy = CLEAR_TENS * np.repeat([1.0, 0.3, 0.8, 0.5, 1.0, 0.2], 144)
    span = laid(
        plan, 600.0, TENS, inside=20.0, outside=late(10 + 0.01 * CLEAR_TENS, minutes), sun=late(cloudy, minutes)
    )
    if words is None:
        return refuse_wrong_clock(span, "log.csv")
    with pytest.raises(WeatherError, match=f"by its light its clock is about {words}"):
        refuse_wrong_clock(span, "log.csv")


@pytest.mark.parametrize(("glow", "counts"), [(0.01, False), (0.02, False), (0.03, True)])
def test_a_sensor_that_shows_two_in_a_hundred_in_the_dark_tells_no_wrong_hour(plan, glow, counts):
    # From midnight until dawn it shows some of its brightest, or nothing at all.
    half = pd.date_range("2025-04-12", periods=48 * DAYS, freq="30min", tz="UTC")
    sun = np.round(800 * CLEAR_TENS[1::3] / CLEAR_TENS[1::3].max())
    light = np.where((half.hour < 5) & (half.hour > 0), glow * 800, sun)
    light[:4] = np.nan
    span = laid(plan, 1800.0, half, inside=20.0, outside=10.0 + 0.01 * sun, sun=light)
    if not counts:
        return refuse_wrong_clock(span, "log.csv")
    with pytest.raises(WeatherError, match="behind the sun"):
        refuse_wrong_clock(span, "log.csv")


def test_a_clock_that_was_wrong_on_two_days_of_five_is_not_wrong(plan):
    light = np.concatenate([late(CLEAR_TENS, 300 if day in (0, 4) else 0)[144 * day : 144 * (day + 1)]
                            for day in range(5)])  # fmt: skip
    refuse_wrong_clock(laid(plan, 600.0, TENS[:720], inside=20.0, outside=10.0 + 0.01 * light, sun=light), "log.csv")


@pytest.mark.parametrize(
    ("hours", "words"), [(2.4, None), (-2.4, None), (3, "about 3 h ahead"), (-3, "about 3 h behind")]
)
def test_a_clock_is_told_by_the_warmth_of_the_house_when_it_is_far_off(plan, hours, words):
    # The middle of the warmth comes an hour after that of the light: a house that keeps an hour.
    minutes = round(60 * hours)
    warm = late(16 * CLEAR_TENS / CLEAR_TENS.max(), 60 + minutes)
    span = laid(plan, 600.0, TENS, inside=10 + warm, outside=10.0 + 0.01 * (np.arange(len(TENS)) % 2))
    if words is None:
        return refuse_wrong_clock(span, "log.csv")
    with pytest.raises(WeatherError, match=f"by its warmth its clock is {words}"):
        refuse_wrong_clock(span, "log.csv")


def test_a_day_alone_a_cool_house_and_a_polar_night_tell_nothing_of_a_clock(plan, small_plan):
    shifted = late(CLEAR_TENS, 300)
    one = slice(0, 144 + 132)
    span = laid(plan, 600.0, TENS[one], inside=20.0, outside=10.0 + 0.01 * shifted[one], sun=shifted[one])
    refuse_wrong_clock(span, "log.csv")
    two = slice(0, 144 + 141)
    span = laid(plan, 600.0, TENS[two], inside=20.0, outside=10.0 + 0.01 * shifted[two], sun=shifted[two])
    with pytest.raises(WeatherError, match="by its light"):
        refuse_wrong_clock(span, "log.csv")
    air = 10.0 + 0.01 * (np.arange(len(TENS)) % 2)
    refuse_wrong_clock(laid(plan, 600.0, TENS, inside=air + 3.8 * shifted / shifted.max(), outside=air), "log.csv")
    with pytest.raises(WeatherError, match="by its warmth"):
        refuse_wrong_clock(laid(plan, 600.0, TENS, inside=air + 5 * shifted / shifted.max(), outside=air), "log.csv")
    polar = small_plan({"place": {"latitude": 80.0, "longitude": 0.0, "timezone": "UTC"}})
    winter = TENS - pd.Timedelta(days=100)
    refuse_wrong_clock(laid(polar, 600.0, winter, inside=20.0, outside=air, sun=shifted), "log.csv")


# --- a thermometer in the sun ---------------------------------------------------------------------------------------


def struck(day, climb, hour=10, hours=3):
    """Outside air of which one morning climbs by so much in an hour, and stays there for some."""
    air = AIR.copy()
    at = 24 * day + hour
    base = air[at - 1]
    air[at : at + hours] = base + climb
    return air


@pytest.mark.parametrize(("climb", "known"), [(6.5, True), (7.5, False), (12.0, False)])
def test_air_that_leaps_in_the_sun_is_that_of_a_thermometer_in_it(plan, climb, known):
    # The day whose shade climbs fastest in a year of hours climbs by less than seven kelvin.
    span = laid(plan, outside=struck(2, climb), inside=AIR + 20.0)
    before = span.weather["temp_air"].to_numpy().copy()
    unknown = without_sunny_outside(span)
    if known:
        assert not unknown.any()
        assert (span.weather["temp_air"] == before).all()
        assert not any("stands in the sun" in note for note in span.notes)
        return
    assert (unknown == ((span.day == span.day[58]) & (span.clear.ghi > 20))).all()
    [told] = [note for note in span.notes if "stands in the sun" in note]
    assert "on 1 days (14 April)" in told
    # What it read is the most that the air can be: no more than eight kelvin above the line across the day.
    after = span.weather["temp_air"].to_numpy()
    known_at = np.flatnonzero(~unknown)
    line = np.interp(np.arange(len(before)), known_at, before[known_at])
    np.testing.assert_allclose(after, np.where(unknown, np.minimum(before, line + 8.0), before))


def test_once_one_day_is_struck_lesser_leaps_of_others_count(plan):
    air = np.where((INDEX.day == 14), struck(2, 8.0), np.where(INDEX.day == 16, struck(4, 5.5), struck(5, 4.5)))
    span = laid(plan, outside=air, inside=AIR + 20.0)
    unknown = without_sunny_outside(span)
    assert set(span.day[unknown]) == {span.day[24 * 2 + 12], span.day[24 * 4 + 12]}
    assert any("on 2 days (14 April, 16 April)" in note for note in span.notes)


def test_air_warmer_than_a_shut_house_in_the_sun_is_that_of_a_thermometer_in_it(plan):
    def marked(outside, inside, sun=CLEAR):
        return without_sunny_outside(laid(plan, outside=outside, inside=inside, sun=sun)).any()

    leap = struck(2, 4.0)
    assert marked(leap, AIR + 1.0)
    assert not marked(leap, AIR + 3.0)
    assert not marked(struck(2, 1.0), AIR - 0.5)
    assert not marked(leap, AIR + 1.0, np.minimum(CLEAR, 240.0))
    assert not marked(np.roll(leap, 12), AIR)


def test_air_that_climbs_by_two_kelvin_an_hour_or_by_seven_is_still_air(plan):
    day = np.where(CLOCK >= 10, 1.0, 0.0)
    assert not without_sunny_outside(laid(plan, outside=10.0 + 7.0 * day, inside=40.0)).any()
    assert not without_sunny_outside(laid(plan, outside=10.0 + 2.0 * day, inside=5.0, sun=CLEAR)).any()
    assert without_sunny_outside(laid(plan, outside=10.0 + 2.25 * day, inside=5.0, sun=CLEAR)).any()


def test_at_night_and_in_a_notebook_nothing_stands_in_the_sun(plan):
    assert not without_sunny_outside(laid(plan, outside=struck(2, 12.0, hour=1), inside=AIR + 20.0)).any()
    rows = INDEX[CLOCK == 8]
    span = laid(plan, 86_400.0, rows, outside_min=0.0, outside_max=30.0, inside_min=5.0, inside_max=40.0)
    assert not without_sunny_outside(span).any()


def test_a_leap_is_counted_over_an_hour_however_fine_the_steps(plan):
    half = pd.date_range("2025-04-12", periods=48 * DAYS, freq="30min", tz="UTC")
    air = np.repeat(struck(2, 0.0), 2)
    air[2 * 58 : 2 * 58 + 8] += [3.0, 6.0, 9.0, 12.0, 15.0, 15.0, 15.0, 15.0]  # six kelvin an hour
    span = laid(plan, 1800.0, half, outside=air, inside=50.0)
    assert not without_sunny_outside(span).any()
    air[2 * 58 : 2 * 58 + 8] += [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]  # eight
    assert without_sunny_outside(laid(plan, 1800.0, half, outside=air, inside=50.0)).any()


# --- thermometers with memory ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("speed", "near", "out"), [(1.7, 0.0, True), (1.5, 0.0, False), (-1.7, 0.0, True),
                                                    (1.7, 1.3, True), (1.7, 1.7, False)])  # fmt: skip
def test_a_least_of_the_moment_of_setting_is_not_used_where_the_house_warms_fast(plan, speed, near, out):
    # Ten hours about an even least of 10 degC; at the first or the last moment the house changes fast, so near to it.
    temp = np.full(30, 10.0)
    temp[5] = temp[6] - speed if speed > 0 else temp[6]
    temp[15] = temp[14] if speed > 0 else temp[14] + speed
    temp[9:11] = min(temp[5], temp[15]) - near
    for kind in (-1, 1):
        readings = Observed(np.array([kind, 0]), np.array([5, 5]), np.array([15, 5]), np.zeros(2))
        span = SimpleNamespace(observed=readings, step=HOUR, notes=[])
        assert without_settings(span, -kind * temp).tolist() == [out, False]
        assert len(span.notes) == out
        assert not out or span.notes[0].startswith("1 of its least and most")


def test_the_speed_of_a_setting_is_by_the_hour_and_only_its_own_end_counts():
    temp = np.full(30, 10.0)
    temp[:6] -= 0.8  # 0.8 K in half an hour before the first step: not within the span
    temp[20:] += 0.8
    readings = Observed(np.array([-1]), np.array([6]), np.array([19]), np.zeros(1))
    span = SimpleNamespace(observed=readings, step=1800.0, notes=[])
    assert not without_settings(span, temp).any()
    temp[19] = 9.0  # 1 K in the half hour before the last
    assert without_settings(span, temp).all()


# --- odd readings ---------------------------------------------------------------------------------------------------


def fitted(temp, noise=(0.5, 0.5)):
    return SimpleNamespace(temp_inside=temp, temp_warmest=temp + 1.0, temp_coolest=temp - 1.0, noise=noise)


def parted(plan, hours, by, **more):
    """A log of which some hours of a day part from the house by so much, and the house."""
    house = AIR + 0.02 * CLEAR
    off = np.zeros(len(house))
    for day, hour in hours:
        off[24 * day + hour] = by
    return laid(plan, inside=house + off, **more), house


@pytest.mark.parametrize(("by", "noise", "told"), [
    (4.2, 0.5, "Warmer"), (3.8, 0.5, None), (-4.2, 0.5, "Cooler"), (-3.8, 0.5, None), (5.2, 1.0, "Warmer"),
    (4.8, 1.0, None), (-5.2, 1.0, "Cooler"), (-4.8, 1.0, None),
])  # fmt: skip
def test_two_hours_that_no_figure_explains_are_named(plan, by, noise, told):
    # Beyond the house under any sky, here a kelvin, and three kelvin or four noises of that hour, whichever is more.
    span, house = parted(plan, [(3, 12), (3, 13)], by)
    out, words, unfit = odd_readings(span, fitted(house, (9.0, noise)))
    assert not unfit
    if told is None:
        assert not out.any()
        assert words == []
        return
    [sentence] = words
    assert sentence.startswith(f"{told} inside than any figures make it on 15 April, mostly from 12 to 14 h by the sun")
    assert f"by {abs(by) - 1:.1f} K" in sentence
    # From the reading before the first until three hours after the last.
    assert np.flatnonzero(out).tolist() == [24 * 3 + hour for hour in range(11, 17)]


def test_by_night_it_is_the_noise_of_the_night_that_counts(plan):
    span, house = parted(plan, [(3, 0), (3, 1)], 5.5)
    assert odd_readings(span, fitted(house, (1.0, 9.0)))[0].any()
    assert not odd_readings(span, fitted(house, (1.2, 0.1)))[0].any()


def test_an_hour_alone_and_what_is_left_out_already_are_not_named(plan):
    span, house = parted(plan, [(3, 12)], 9.0)
    assert not odd_readings(span, fitted(house))[0].any()
    span, house = parted(plan, [(3, 12), (3, 13)], 9.0)
    span.sound[24 * 3 + 12] = False
    assert not odd_readings(span, fitted(house))[0].any()


def test_a_notebook_names_a_single_reading_from_further_off(plan):
    rows = INDEX[CLOCK == 8]
    span = laid(plan, 86_400.0, rows, outside_min=5.0, outside_max=15.0, inside_min=8.0, inside_max=20.0)
    temp = np.full(len(span.times), 14.0)
    most = np.flatnonzero(span.observed.kind == 1)[2]
    for by, named in ((6.8, False), (7.2, True)):
        span.observed.value[:] = span.observed.of(temp)
        span.observed.value[most] = span.observed.of(temp + 0.0)[most] + by
        out, words, _ = odd_readings(span, fitted(temp))
        assert out.any() == named
        assert len(words) == named


@pytest.mark.parametrize(("days", "unfit"), [(2, False), (3, False), (4, True)])
def test_a_model_that_misses_many_days_does_not_fit(plan, days, unfit):
    # Of seven begun days up to three are exceptions; from the fourth on the model is the odd one.
    span, house = parted(plan, [(day, hour) for day in range(days) for hour in (12, 13)], 9.0)
    _, [sentence], told = odd_readings(span, fitted(house))
    assert told == unfit
    assert sentence.count("April") == days


def test_of_many_days_the_first_six_are_named():
    index = pd.date_range("2025-04-12", periods=24 * 25, freq="h", tz="UTC")
    span = SimpleNamespace(
        observed=Observed(np.zeros(600, dtype=int), np.arange(600), np.arange(600), np.zeros(600)), step=HOUR,
        dense=True, lit=np.ones(600, dtype=bool), day=np.arange(600) // 24, sound=np.ones(600, dtype=bool),
        solar_hour=np.arange(600) % 24.0, date=lambda day: f"{index[24 * day]:%d %B}",
    )  # fmt: skip
    for days, unfit in ((10, False), (11, True)):
        span.observed.value[:] = 9.0 * ((span.day < days) & (span.solar_hour >= 12) & (span.solar_hour < 15))
        _, [sentence], told = odd_readings(span, fitted(np.zeros(600)))
        assert told == unfit
        assert f"17 April and {days - 6} more, mostly from 12 to 15 h" in sentence
