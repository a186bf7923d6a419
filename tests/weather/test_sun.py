from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.weather.planes import plane_of_array
from solarvent.weather.reading import embedded_weather
from solarvent.weather.sun import solar_position

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")
plain = settings(deadline=None, max_examples=40)


def minutes_of(day, zone, step="1min"):
    start = pd.Timestamp(day, tz=zone)
    return pd.date_range(start, start + pd.Timedelta("1D"), freq=step, inclusive="left")


def at_declination(first, last, declination, hours):
    """An instant between two days with this declination, and the longitude where it is then this hour of solar time.

    Worked examples take the declination from a formula of whole days that is up to half a degree off; so the geometry
    can be compared to the last digit. At the pole the sun's height is its declination and its azimuth its hour angle.
    """
    times = pd.date_range(first, last, freq="1min", tz="UTC")
    pole = solar_position(times, 90.0, 0.0)
    row = np.argmin(np.abs(90.0 - pole.zenith - declination))
    longitude = 15.0 * (hours - 12.0) - (pole.azimuth[row] - 180.0)
    return times[[row]], (longitude + 180.0) % 360.0 - 180.0


# --- Where the sun stands -----------------------------------------------------------------------------------------

US_ZONE, CHINA_ZONE = "Etc/GMT+7", "Etc/GMT-8"


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "day", "rise", "sets"),
    [
        # SOL-04: Astronomical Applications Department, United States Naval Observatory, as quoted in test_spa.py of
        # the pvlib project.
        (39.0, -105.0, US_ZONE, "2015-01-02", "07:19", "16:49"),
        (39.0, -105.0, US_ZONE, "2015-04-02", "05:43", "18:24"),
        (39.0, -105.0, US_ZONE, "2015-08-02", "05:01", "19:10"),
        (39.0, -105.0, US_ZONE, "2015-12-02", "07:01", "16:38"),
        (39.917, 116.383, CHINA_ZONE, "2015-01-02", "07:36", "17:00"),
        (39.917, 116.383, CHINA_ZONE, "2015-04-02", "05:58", "18:39"),
        (39.917, 116.383, CHINA_ZONE, "2015-08-02", "05:13", "19:28"),
        (39.917, 116.383, CHINA_ZONE, "2015-12-02", "07:17", "16:50"),
    ],
)
def test_sunrise_and_sunset_of_the_almanac(latitude, longitude, zone, day, rise, sets):
    # The almanac's sunrise: the upper limb on the horizon with 34' of refraction, a geometric zenith of 90.833 deg.
    times = minutes_of(day, zone)
    up = times[solar_position(times, latitude, longitude).zenith < 90.833]
    # Printed to the minute, and scanned by the minute: at most one apart.
    assert abs(up[0] - pd.Timestamp(f"{day} {rise}", tz=zone)) <= pd.Timedelta("1min")
    assert abs(up[-1] - pd.Timestamp(f"{day} {sets}", tz=zone)) <= pd.Timedelta("1min")


def test_a_sun_that_is_near_the_horizon_and_does_not_cross_it_has_its_place():
    # The midnight sun at 60 degrees goes 7 degrees below the horizon; no moment of this hour is lit.
    midnight = pd.DatetimeIndex([pd.Timestamp("2023-06-15 00:00", tz="UTC")])
    assert solar_position(midnight, 60.0, 0.0, step=3600.0).zenith[0] == pytest.approx(90 + 6.7, abs=0.1)


def test_declination_through_the_year():
    # J. W. Spencer, "Fourier series representation of the position of the sun", Search 2, 1971, 172, by pvlib. Cooper's
    # sine of 1969, which the worked examples below use, is up to 0.8 deg off (13 February: -13.95 against -13.2).
    from pvlib.solarposition import declination_spencer71

    # His angle of the day starts at midnight; 2012 is the year of the leap cycle that it fits best.
    midnights = pd.date_range("2012-01-01", "2012-12-31", freq="1D", tz="UTC")
    got = 90.0 - solar_position(midnights, 90.0, 0.0).zenith
    want = np.degrees(declination_spencer71(midnights.day_of_year.to_numpy()))
    np.testing.assert_allclose(got, want, atol=0.04)


def test_declination_and_incidence_of_a_worked_example():
    # SOL-06: J. A. Duffie, W. A. Beckman, Solar Engineering of Thermal Processes, example 1.6.1 (from memory,
    # recomputed): 43 N, 13 February, 10:30 solar time, slope 45 deg, 15 deg west of south: declination -14, angle 35.2.
    instant, longitude = at_declination("2013-02-01", "2013-02-28", -14.0, 10.5)
    plane = plane_of_array(solar_position(instant, 43.0, longitude), 45.0, 195.0, ghi=[0.0], dni=[0.0], dhi=[0.0])
    assert np.degrees(np.arccos(plane.cos_aoi[0])) == pytest.approx(35.18, abs=0.05)


@pytest.mark.parametrize(
    ("first", "last", "declination", "hours", "zenith", "azimuth"),
    [
        ("2013-02-01", "2013-02-28", -13.95, 9.5, 66.5, -40.1),
        ("2013-06-25", "2013-07-10", 23.12, 18.5, 79.6, 112.0),
    ],
)
def test_zenith_and_azimuth_of_worked_examples(first, last, declination, hours, zenith, azimuth):
    # SOL-07: Duffie & Beckman, example 1.6.2 (from memory, recomputed): 43 N, 13 February 09:30 and 1 July 18:30 solar
    # time; azimuth from south, west positive.
    instant, longitude = at_declination(first, last, declination, hours)
    position = solar_position(instant, 43.0, longitude)
    assert position.zenith[0] == pytest.approx(zenith, abs=0.1)
    assert position.azimuth[0] - 180.0 == pytest.approx(azimuth, abs=0.1)


def test_light_outside_the_atmosphere_of_worked_examples():
    # SOL-08: Duffie & Beckman, examples 1.10.1 and 1.10.2 (from memory, recomputed): 43 N, 15 April, declination 9.41:
    # the day, and the hour from 10 to 11. Solar constant 1367 there, 1366.1 in Spencer's series.
    instant, longitude = at_declination("2013-04-01", "2013-04-30", 9.41, 10.5)

    def energy(offsets):
        times = instant[0] + pd.to_timedelta(offsets, unit="min")
        position = solar_position(times, 43.0, longitude)
        up = np.clip(np.cos(np.radians(position.zenith)), 0, None)
        return float(np.sum(position.dni_extra * up)) * 60 / 1e6

    assert energy(np.arange(-720, 720) + 0.5) == pytest.approx(33.8, rel=0.005)
    assert energy(np.arange(-30, 30) + 0.5) == pytest.approx(3.79, rel=0.005)


def test_position_agrees_with_the_solar_position_algorithm():
    # I. Reda, A. Andreas, "Solar position algorithm for solar radiation applications", Solar Energy 76, 2004, 577-589,
    # by pvlib; other code than the ephemeris that is used here.
    from pvlib.solarposition import get_solarposition

    for year in (1901, 1950, 2000, 2025, 2050, 2099):
        times = pd.date_range(f"{year}-01-02", f"{year}-12-30", periods=1500, tz="UTC")
        want = get_solarposition(times, -33.0, 151.0, 50.0, method="nrel_numpy")
        got = solar_position(times, -33.0, 151.0, 50.0)
        np.testing.assert_allclose(got.zenith, want["zenith"], atol=0.012)
        high = (want["apparent_zenith"] < 88).to_numpy()
        np.testing.assert_allclose(got.apparent_zenith[high], want["apparent_zenith"][high], atol=0.02)


@plain
@given(st.floats(-66, 66), st.integers(0, 364))
def test_the_other_hemisphere_half_a_year_later_has_the_same_noon(latitude, day):
    # In the tropics too, where the sun may stand in the north. The orbit is no circle, hence two degrees.
    here = minutes_of(pd.Timestamp("2022-01-01") + pd.Timedelta(days=day), "UTC", "10min")
    there = here + pd.Timedelta(days=183)
    highest = solar_position(here, latitude, 0.0).zenith.min()
    assert solar_position(there, -latitude, 0.0).zenith.min() == pytest.approx(highest, abs=2.0)


@pytest.mark.parametrize(
    ("times", "message"),
    [
        (pd.DatetimeIndex(["2021-06-21 12:00"]), "times: the times have no time zone; give a DatetimeIndex"),
        (np.array(["2021-06-21T12:00"], dtype="datetime64[s]"), "the times have no time zone"),
        (pd.DatetimeIndex(["2021-06-21 12:00", None]).tz_localize("UTC"), "times: 1 times are missing; leave them out"),
        (pd.DatetimeIndex(["1700-06-21 12:00"]).tz_localize("UTC"), "years 1700 to 1700 leave 1901-2099"),
        (pd.DatetimeIndex(["2199-06-21 12:00"]).tz_localize("UTC"), "years 2199 to 2199 leave 1901-2099"),
        (pd.DatetimeIndex(["1800-06-21", "2021-06-21"]).tz_localize("UTC"), "years 1800 to 2021 leave 1901-2099"),
    ],
)
def test_times_that_are_no_known_instants_are_refused(times, message):
    with pytest.raises(DomainError, match=message):
        solar_position(times, 36.1, -79.95)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(-79.95, 361.0), (90.5, 0.0), (-90.5, 0.0), (0.0, -180.5), (0.0, 180.5), (np.nan, 0.0)]
)
def test_a_place_off_the_earth_is_refused(latitude, longitude):
    with pytest.raises(DomainError, match="is no place on the earth; latitude -90 to 90"):
        solar_position(pd.DatetimeIndex(["2021-06-21 12:00"], tz="UTC"), latitude, longitude)


def test_no_times_give_no_positions():
    position = solar_position(pd.DatetimeIndex([], tz="UTC"), 36.1, -79.95)
    assert all(len(getattr(position, field.name)) == 0 for field in fields(position))


@pytest.mark.parametrize(("zenith", "airmass"), [(0, 0.99971), (60, 1.9943), (75, 3.813), (80, 5.586), (89.9, 36.467)])
def test_air_mass_that_the_sky_models_use(zenith, airmass):
    # SOL-10: F. Kasten, A. T. Young, "Revised optical air mass tables and approximation formula", Applied Optics 28,
    # 1989, 4735-4738; clear_sky_at takes pvlib's default.
    from pvlib.atmosphere import get_relative_airmass

    assert get_relative_airmass(zenith) == pytest.approx(airmass, abs=1e-3)


def test_a_position_can_be_cut_to_the_day():
    position = solar_position(minutes_of("2021-06-21", "UTC", "1h"), 36.1, -79.95)
    day = position.zenith < 90
    cut = replace(position, **{field.name: getattr(position, field.name)[day] for field in fields(position)})
    assert 13 <= len(cut.zenith) <= 16


def test_a_step_in_which_the_sun_sets_has_the_sun_of_its_sunlit_part():
    # 21 June at 36 N, 80 W: the sun sets at 00:41 UTC; the hour to 01:00 is lit for 41 minutes, whose middle is 00:20.
    place = (36.1, -79.95, 273.0)
    times = pd.date_range("2023-06-21 18:30", periods=8, freq="h", tz="UTC")
    steps = solar_position(times, *place, step=3600.0)
    instants = solar_position(times, *place)
    sunset = list(times).index(pd.Timestamp("2023-06-22 00:30", tz="UTC"))
    lit = solar_position(pd.DatetimeIndex(["2023-06-22 00:20"], tz="UTC"), *place)
    assert steps.apparent_zenith[sunset] == pytest.approx(lit.apparent_zenith[0], abs=0.6)
    assert steps.apparent_zenith[sunset] < 90
    others = np.arange(len(times)) != sunset
    np.testing.assert_array_equal(steps.apparent_zenith[others], instants.apparent_zenith[others])


def test_no_beam_of_a_sunset_hour_is_lost():
    weather = embedded_weather()
    place = [weather.attrs[name] for name in ("latitude", "longitude", "altitude")]
    beam = weather["dni"].to_numpy()
    instants = solar_position(weather.index, *place).apparent_zenith
    steps = solar_position(weather.index, *place, step=3600.0).apparent_zenith
    # 154 hours of the year have beam while the sun is down at their middle.
    assert ((beam > 0) & (instants >= 90)).sum() > 150
    assert beam[steps >= 90].sum() < 0.02 * beam[instants >= 90].sum()
