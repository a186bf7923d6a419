"""Cloud that a weather file does not tell."""

import numpy as np
import pandas as pd
import pytest

from solarvent.plan.plan_record import Place
from solarvent.weather import sky
from solarvent.weather.reading import embedded_weather
from solarvent.weather.sky import cover_or_by_light, known_cover
from solarvent.weather.sun import solar_position

PLACE = Place(latitude=36.1, longitude=-79.95, altitude="273 m")


@pytest.fixture(scope="module")
def weather():
    return embedded_weather()


def test_what_the_weather_says_is_kept(weather):
    np.testing.assert_array_equal(cover_or_by_light(weather, PLACE), weather["opaque_cover"])
    np.testing.assert_array_equal(known_cover(weather), weather["opaque_cover"])


def test_without_a_column_nothing_is_known(weather):
    assert np.isnan(known_cover(weather[["ghi"]])).all()


@pytest.mark.parametrize("oktas", [0, 3, 6, 8])
def test_a_light_dimmed_by_the_cloud_factor_gives_the_cover_back(oktas):
    times = pd.date_range("2021-06-21 16:30", periods=3, freq="h", tz="UTC")
    clear = sky.clear_sky(times, 36.1, -79.95, 273.0)
    dimmed = pd.DataFrame({"ghi": sky.cloud_factor(oktas) * clear.ghi}, index=times)
    np.testing.assert_allclose(cover_or_by_light(dimmed, PLACE), oktas, atol=1e-6)


def test_the_nights_of_a_year_are_met_without_a_bias(weather):
    # Observed opaque cover of a station, left out and read from the light again.
    told = weather["opaque_cover"].to_numpy()
    guessed = cover_or_by_light(weather.drop(columns="opaque_cover"), PLACE)
    night = solar_position(weather.index, 36.1, -79.95).zenith > 90
    assert (guessed - told)[night].mean() == pytest.approx(0.0, abs=0.3)
    assert np.sqrt(((guessed - told)[night] ** 2).mean()) < 0.6 * np.sqrt((told[night] ** 2).mean())


def test_hours_that_are_told_stay_beside_those_that_are_not(weather):
    part = weather.iloc[:48].copy()
    part.iloc[10:20, part.columns.get_loc("opaque_cover")] = np.nan
    found = cover_or_by_light(part, PLACE)
    assert np.isfinite(found).all()
    np.testing.assert_array_equal(
        np.delete(found, range(10, 20)), np.delete(weather["opaque_cover"].iloc[:48], range(10, 20))
    )


def test_the_polar_night_counts_as_clear():
    times = pd.date_range("2021-12-21 00:30", periods=24, freq="h", tz="UTC")
    dark = pd.DataFrame({"ghi": np.zeros(24)}, index=times)
    assert not cover_or_by_light(dark, Place(latitude=78.0, longitude=15.0)).any()
