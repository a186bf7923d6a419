"""Air temperature through the day, against published day lengths, design-day fractions and two stations' hours."""

from pathlib import Path

import numpy as np
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.weather.climate_year import air_temperature, sunrise
from solarvent.weather.reading import read_weather


def test_sunrise_is_at_six_at_the_equinox_and_on_the_equator():
    assert sunrise(51.0, 81) == pytest.approx(6.0, abs=0.1)
    assert sunrise(0.0, np.arange(1, 367)) == pytest.approx(np.full(366, 6.0))


def test_the_day_is_as_long_as_a_textbook_says():
    # Duffie & Beckman, *Solar Engineering of Thermal Processes*: latitude 43, 13 February: 10.2 h (from memory).
    assert 24 - 2 * sunrise(43.0, 44) == pytest.approx(10.2, abs=0.1)


def test_beyond_the_polar_circle_the_sun_stays_up_or_down():
    assert sunrise(70.0, 172) == 0
    assert sunrise(70.0, 355) == 12
    assert sunrise(-70.0, 172) == 12


@pytest.mark.parametrize("latitude", [-45.0, 10.0, 60.0])
def test_sunrise_agrees_with_the_almanac_method_of_pvlib(latitude):
    import pandas as pd

    days = pd.date_range("2023-01-01", periods=365, tz="UTC")
    spa = pvlib.solarposition.sun_rise_set_transit_spa(days, latitude, 0.0)
    half = (spa["sunset"] - spa["sunrise"]).dt.total_seconds() / 7200
    ours = 12 - sunrise(latitude, days.day_of_year.to_numpy())
    # Refraction and the half disc lengthen the almanac's day: by 0.06 h where the sun rises steeply.
    assert np.abs(ours - half + 0.06 / np.cos(np.radians(latitude))).max() < 0.12


#: ASHRAE Handbook, Fundamentals, 2009, chapter 14, table 6: fraction of the daily range below the highest, clock hours
#: 1 to 24 of a clear design day in summer (from memory).
FRACTIONS = [0.88, 0.92, 0.95, 0.98, 1.00, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23, 0.13,
             0.05, 0.00, 0.00, 0.06, 0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75, 0.82]  # fmt: skip


def test_a_clear_summer_day_runs_as_the_design_day_of_the_handbook():
    hours = np.arange(1, 25) % 24
    fractions = 1 - air_temperature(hours, 4.8, 0.0, 1.0, 1.0, 0.0)
    error = fractions - np.array(FRACTIONS)
    print("fraction of the range, ours less the handbook's:", error.round(2).tolist())
    assert np.abs(error[4:17]).max() < 0.05
    # A half wave cools later in the evening than the handbook's day.
    assert np.abs(error).max() < 0.16


@pytest.mark.parametrize(("name", "limit"), [("723170TYA.CSV", 2.2), ("703165TY.csv", 1.3)])
def test_the_hours_of_a_station_follow_from_its_daily_extremes(name, limit):
    weather = read_weather(Path(pvlib.__file__).parent / "data" / name)
    hours = weather["temp_air"].to_numpy().reshape(365, 24)
    low, high = hours.min(axis=1), hours.max(axis=1)
    offset = weather.index[0].utcoffset().total_seconds() / 3600
    # A TMY3 file observes at the end of the hour.
    solar = np.clip(np.arange(1, 25) + weather.attrs["longitude"] / 15 - offset, 0, 23.99)
    rise = sunrise(weather.attrs["latitude"], np.arange(1, 366))[:, None]
    made = air_temperature(
        solar, rise, low[:, None], high[:, None], np.roll(high, 1)[:, None], np.roll(low, -1)[:, None]
    )
    error = made - hours
    print(name, "root mean square", np.sqrt((error**2).mean()).round(2), "mean", error.mean().round(2))
    assert np.sqrt((error**2).mean()) < limit
    assert abs(error.mean()) < 0.2


temperatures = st.floats(-40, 50)


@given(st.floats(0, 12), temperatures, temperatures, temperatures, temperatures, st.floats(0, 23.999))
@settings(deadline=None, max_examples=60)
def test_every_hour_lies_between_the_extremes_and_reaches_them(rise, low, high, before, after, hour):
    low, high = min(low, high), max(low, high)
    before, after = max(before, low), min(after, high)
    at = air_temperature(np.array([hour, rise, 14.0]), rise, low, high, before, after)
    assert min(low, after) - 1e-9 <= at[0] <= max(high, before) + 1e-9
    assert at[1:] == pytest.approx([low, high])


@given(st.floats(0.01, 11.99), temperatures, temperatures, temperatures, temperatures)
@settings(deadline=None, max_examples=60)
def test_it_does_not_jump_at_sunrise_nor_at_midnight(rise, low, high, before, after):
    edges = np.array([rise - 1e-6, rise + 1e-6, 14 - 1e-6, 14 + 1e-6])
    at = air_temperature(edges, rise, low, high, before, after)
    assert at[0] == pytest.approx(at[1], abs=1e-3)
    assert at[2] == pytest.approx(at[3], abs=1e-3)
    # The day after knows this day's highest and its own lowest.
    late = air_temperature(24 - 1e-6, rise, low, high, before, after)
    early = air_temperature(0.0, rise, after, 99.0, high, 99.0)
    assert late == pytest.approx(early, abs=1e-3)


def test_hours_outside_the_day_have_no_temperature():
    assert np.isnan(air_temperature([-0.1, 24.0, np.nan], 6.0, 0.0, 1.0, 1.0, 0.0)).all()
    assert np.isnan(air_temperature(3.0, 12.5, 0.0, 1.0, 1.0, 0.0))
