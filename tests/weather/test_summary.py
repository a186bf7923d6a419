"""What a weather summary finds, against plain sums over the year that ships and against slips made on purpose."""

import numpy as np
import pandas as pd
import pytest

from solarvent.weather.reading import embedded_weather
from solarvent.weather.span import summarise

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")


def moved(weather, by=None, zone=None, **attrs):
    """The table with its times moved or told in another zone."""
    other = weather.copy()
    other.attrs = dict(weather.attrs) | attrs
    if by:
        other.index = weather.index + pd.Timedelta(by)
    if zone:
        other.index = other.index.tz_convert(zone)
    return other


@pytest.fixture(scope="module")
def weather():
    return embedded_weather()


@pytest.fixture(scope="module")
def summary(weather):
    return summarise(weather)


def test_months_add_up_to_the_year(weather, summary):
    assert summary.irradiation == pytest.approx(weather["ghi"].sum() / 1000)
    assert summary.months["irradiation"].sum() == pytest.approx(summary.irradiation)
    assert summary.months["days"].sum() == 365
    july = weather[weather.index.month == 7]
    assert summary.months["irradiation"][7] == pytest.approx(july["ghi"].sum() / 1000)
    days = july["temp_air"].groupby(july.index.day)
    assert summary.months["temp_high"][7] == pytest.approx(days.max().mean())
    assert summary.months["temp_low"][7] == pytest.approx(days.min().mean())
    assert summary.months["calm_share"][7] == pytest.approx((july["wind_speed"] < 0.5).mean())


def test_extremes_and_the_hottest_days(weather, summary):
    assert summary.warmest[0] == weather["temp_air"].max()
    assert summary.coldest[0] == weather["temp_air"].min()
    hottest = summary.hottest
    assert len(hottest) == len(set(hottest.index.date)) == 10
    assert hottest["temp_air"].is_monotonic_decreasing
    daily = weather["temp_air"].groupby(weather.index.date).max().sort_values(ascending=False)
    assert hottest["temp_air"].tolist() == daily.head(10).tolist()


def test_a_clear_sky_year_has_an_index_of_one(weather):
    from solarvent.weather import sky

    clear = moved(weather)
    site = [weather.attrs[name] for name in ("latitude", "longitude", "altitude")]
    clear["ghi"] = sky.clear_sky(weather.index, *site).ghi
    assert summarise(clear).months["clear_sky_index"].to_numpy() == pytest.approx(np.ones(12))


def test_no_notes_on_a_year_that_is_in_order(summary):
    assert summary.notes == ()
    assert summary.missing == {}
    assert summary.offset == "UTC-05:00"


@pytest.mark.parametrize(("by", "words"), [("30min", "30 min later"), ("-30min", "min earlier"), ("1h", "min later")])
def test_stamps_beside_the_sun_are_noticed(weather, by, words):
    notes = summarise(moved(weather, by)).notes
    assert len(notes) == 1
    assert words.split(" ", 1)[-1] in notes[0]
    minutes = int(notes[0].split(" min")[0].split()[-1])
    assert minutes == pytest.approx(abs(pd.Timedelta(by).total_seconds()) / 60, abs=4)


def test_a_file_in_universal_time_is_told_by_the_hours_of_the_place(weather, summary):
    other = summarise(moved(weather, zone="UTC"))
    assert other.offset == "UTC-05:00"
    assert other.warmest[1] == summary.warmest[1]
    pd.testing.assert_frame_equal(other.months, summary.months)


def test_gaps_are_counted_and_calm_is_that_of_the_known_hours(weather):
    gappy = moved(weather)
    gappy.loc[gappy.index[:876], "wind_speed"] = np.nan
    gappy["opaque_cover"] = np.nan
    found = summarise(gappy)
    assert found.missing == pytest.approx({"wind_speed": 0.1, "opaque_cover": 1.0})
    assert found.calm_share == pytest.approx((weather["wind_speed"].iloc[876:] < 0.5).mean())
    assert found.months["oktas"].isna().all()
    gappy["wind_speed"] = np.nan
    assert np.isnan(summarise(gappy).calm_share)


def test_a_few_hours_are_summed_up_too(weather):
    few = moved(weather.iloc[4000:4005])
    found = summarise(few)
    assert len(found.hottest) == 1
    assert found.months["days"].iloc[0] == pytest.approx(5 / 24)
    assert (found.end - found.start) == pd.Timedelta("5h")


def test_polar_night_has_no_index(weather):
    dark = moved(weather.iloc[: 24 * 31], latitude=80.0)
    dark["ghi"] = 0.0
    assert np.isnan(summarise(dark).months["clear_sky_index"].iloc[0])
