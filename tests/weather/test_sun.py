from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.weather.sun import SolarPosition, plane_of_array, solar_position

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")
plain = settings(deadline=None, max_examples=40)
MODELS = ["haydavies", "perez", "isotropic"]


def minutes_of(day, zone, step="1min"):
    start = pd.Timestamp(day, tz=zone)
    return pd.date_range(start, start + pd.Timedelta("1D"), freq=step, inclusive="left")


def place(zenith, azimuth):
    """A sun put where a test wants it."""
    zenith, azimuth = (np.atleast_1d(np.asarray(value, dtype=float)) for value in (zenith, azimuth))
    return SolarPosition(zenith, zenith, azimuth, np.full(zenith.shape, 1367.0), np.full(zenith.shape, 80))


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
    assert plane.aoi[0] == pytest.approx(35.18, abs=0.05)


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


# --- Light on a plane ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tilt", "facing", "zenith", "azimuth", "aoi"),
    # SOL-05: test_irradiance.py of the pvlib project, release 0.16.
    [(30, 180, 30, 180, 0.0), (90, 0, 30, 60, 75.5225), (90, 0, 30, 170, 119.4987)],
)
def test_angle_of_incidence(tilt, facing, zenith, azimuth, aoi):
    plane = plane_of_array(place(zenith, azimuth), tilt, facing, ghi=[500.0], dni=[500.0], dhi=[100.0])
    assert plane.aoi[0] == pytest.approx(aoi, abs=1e-4)


def test_even_sky_and_ground_on_a_tilt():
    # SOL-22: test_irradiance.py of the pvlib project, release 0.16: tilt 40 deg, DHI 100, GHI 900, albedo 0.25.
    sky = plane_of_array(place(40, 180), 40, 180, ghi=[0.0], dni=[0.0], dhi=[100.0], model="isotropic")
    assert sky.poa_diffuse[0] == pytest.approx(88.302, abs=1e-3)
    ground = plane_of_array(place(40, 180), 40, 180, ghi=[900.0], dni=[0.0], dhi=[0.0], albedo=0.25, model="isotropic")
    assert ground.poa_diffuse[0] == pytest.approx(26.320, abs=1e-3)


@pytest.mark.parametrize(("zenith", "airmass"), [(0, 0.99971), (60, 1.9943), (75, 3.813), (80, 5.586), (89.9, 36.467)])
def test_air_mass_that_the_sky_models_use(zenith, airmass):
    # SOL-10: F. Kasten, A. T. Young, "Revised optical air mass tables and approximation formula", Applied Optics 28,
    # 1989, 4735-4738; plane_of_array and clear_sky_at take pvlib's default.
    from pvlib.atmosphere import get_relative_airmass

    assert get_relative_airmass(zenith) == pytest.approx(airmass, abs=1e-3)


light = st.tuples(
    st.floats(0.0, 180.0),  # zenith
    st.floats(0.0, 360.0),  # azimuth
    st.floats(0.0, 1000.0),  # dni
    st.floats(0.0, 500.0),  # dhi
    st.floats(0.0, 180.0),  # tilt
    st.floats(0.0, 360.0),  # facing
)


@pytest.mark.parametrize("model", MODELS)
@plain
@given(light)
def test_light_on_a_plane_is_never_negative_or_missing(model, given_light):
    zenith, azimuth, dni, dhi, tilt, facing = given_light
    position = place(zenith, azimuth)
    ghi = dhi + dni * max(np.cos(np.radians(zenith)), 0.0)
    plane = plane_of_array(position, tilt, facing, ghi=[ghi], dni=[dni], dhi=[dhi], model=model)
    for name in (*(field.name for field in fields(plane)), "effective_beam", "effective_diffuse"):
        value = getattr(plane, name)
        assert np.all(np.isfinite(value)), name
        assert np.all(value >= -1e-9), name
    assert plane.poa_global == pytest.approx(plane.poa_beam + plane.poa_diffuse)
    assert np.all(plane.effective_beam <= plane.poa_beam + 1e-9)
    assert np.all(plane.effective_diffuse <= plane.poa_diffuse + 1e-9)


@pytest.mark.parametrize("model", MODELS)
@plain
@given(st.floats(0, 84), st.floats(0, 360), st.floats(0, 900), st.floats(1, 400))
def test_a_level_plane_receives_the_global_light(model, zenith, azimuth, dni, dhi):
    ghi = dhi + dni * np.cos(np.radians(zenith))
    plane = plane_of_array(place(zenith, azimuth), 0.0, 180.0, ghi=[ghi], dni=[dni], dhi=[dhi], model=model)
    assert plane.poa_global[0] == pytest.approx(ghi, rel=1e-9)


@pytest.mark.parametrize("model", ["haydavies", "perez"])
def test_a_day_agrees_with_the_transposition_of_pvlib(model):
    from pvlib.irradiance import get_total_irradiance

    times = minutes_of("2021-06-21", "Etc/GMT+5", "10min") + pd.Timedelta("5min")
    position = solar_position(times, 36.1, -79.95, 273.0)
    day = position.zenith < 84
    position = SolarPosition(*(getattr(position, field.name)[day] for field in fields(position)))
    up = np.cos(np.radians(position.apparent_zenith))
    dni, dhi = 900 * up**0.3, 120 * up
    ghi = dni * up + dhi
    from pvlib.atmosphere import get_relative_airmass

    want = get_total_irradiance(
        35.0,
        225.0,
        position.apparent_zenith,
        position.azimuth,
        dni,
        ghi,
        dhi,
        dni_extra=position.dni_extra,
        airmass=get_relative_airmass(position.apparent_zenith),
        albedo=0.2,
        model=model,
    )
    got = plane_of_array(position, 35.0, 225.0, ghi=ghi, dni=dni, dhi=dhi, model=model)
    np.testing.assert_allclose(got.poa_global, want["poa_global"], rtol=1e-9)
    np.testing.assert_allclose(got.poa_beam, want["poa_direct"], rtol=1e-9, atol=1e-9)


def test_a_west_panel_peaks_after_noon_and_an_east_panel_before():
    times = minutes_of("2021-06-21", "Etc/GMT+5", "10min")
    position = solar_position(times, 36.1, -79.95)
    dni = np.where(position.zenith < 85, 800.0, 0.0)
    dhi = np.where(position.zenith < 85, 100.0, 0.0)
    ghi = dhi + dni * np.clip(np.cos(np.radians(position.zenith)), 0, None)
    peak = {
        facing: times[np.argmax(plane_of_array(position, 45.0, facing, ghi=ghi, dni=dni, dhi=dhi).poa_global)].hour
        for facing in (90.0, 180.0, 270.0)
    }
    assert peak[90.0] < 11 <= peak[180.0] <= 13 < 14 <= peak[270.0]


def test_a_sun_under_the_horizon_gives_no_beam_but_keeps_the_twilight():
    plane = plane_of_array(place([91.0, 120.0], [270.0, 300.0]), 90, 270, ghi=[10, 0], dni=[50, 0], dhi=[10, 0])
    assert plane.poa_beam.tolist() == [0.0, 0.0]
    assert plane.poa_global.tolist() == pytest.approx([5.0 + 1.0, 0.0])
    # The middle of the disc in the horizon counts as down: a wall that faces it gets no beam.
    assert plane_of_array(place(90.0, 270.0), 90, 270, ghi=[10.0], dni=[50.0], dhi=[10.0]).poa_beam == 0


def test_the_sky_of_a_set_sun_is_alike_all_round_in_every_model():
    skies = [
        plane_of_array(
            place([90.0, 90.5], [270.0] * 2), 60, 270, ghi=[8.0] * 2, dni=[50.0] * 2, dhi=[8.0] * 2, model=name
        )
        for name in MODELS
    ]
    for sky in skies:
        assert sky.poa_sky.tolist() == pytest.approx([8.0 * 0.75] * 2)
        assert sky.poa_circumsolar.tolist() == [0.0, 0.0]


def test_under_a_thick_cloud_no_part_of_the_sky_is_close_to_the_sun():
    # Perez, Ineichen et al. 1990, the bin of the overcast sky: -0.008 + 0.588 x 0.0096 - 0.062 x 0.70 is below zero.
    grey = plane_of_array(place(40.0, 180.0), 35, 180, ghi=[10.0], dni=[0.0], dhi=[10.0], model="perez")
    assert grey.poa_circumsolar[0] == 0


def test_a_trace_of_sky_light_is_hardly_any():
    trace = plane_of_array(place(40.0, 180.0), 35, 180, ghi=[383.0], dni=[500.0], dhi=[1e-9], model="perez")
    assert trace.poa_sky[0] + trace.poa_circumsolar[0] == pytest.approx(0.0, abs=1e-8)


def test_black_ground_and_snow_are_grounds_too():
    dark, white = (
        plane_of_array(place(40.0, 180.0), tilt, 180, ghi=[500.0], dni=[0.0], dhi=[500.0], albedo=albedo)
        for tilt, albedo in ((90.0, 0.0), (180.0, 1.0))
    )
    assert dark.poa_ground[0] == 0
    assert white.poa_ground[0] == pytest.approx(500.0)


def test_a_glass_front_reflects_a_low_sun_and_passes_a_high_one():
    # Common knowledge of Fresnel's law for glass of index 1.526: 4 % less at 60 deg, a fifth to a half less at 80 deg.
    plane = plane_of_array(place([0.0, 60.0, 80.0], [180.0] * 3), 0, 180, ghi=[0] * 3, dni=[900.0] * 3, dhi=[0.0] * 3)
    share = plane.effective_beam / plane.poa_beam
    assert share[0] == pytest.approx(1.0, abs=1e-12)
    assert share[1] == pytest.approx(0.96, abs=0.02)
    assert 0.5 < share[2] < 0.8


def test_missing_weather_stays_missing_by_day_and_by_night():
    sun = place([40.0, 120.0], [180.0, 300.0])
    for name in ("ghi", "dni", "dhi"):
        values = {"ghi": np.zeros(2), "dni": np.zeros(2), "dhi": np.zeros(2)} | {name: np.full(2, np.nan)}
        assert np.isnan(plane_of_array(sun, 30, 180, **values).poa_global).all(), name


def test_series_with_another_index_are_taken_in_order():
    # pandas would match the labels and leave NaN without a word.
    sun = place([40.0, 50.0], [180.0, 200.0])
    series = pd.Series([500.0, 400.0], index=pd.date_range("2001-01-01", periods=2, tz="UTC"))
    shifted = series.set_axis(pd.date_range("1999-07-01", periods=2, tz="UTC"))
    plane = plane_of_array(sun, 30, 180, ghi=series, dni=shifted, dhi=series.to_numpy() / 4)
    assert np.all(np.isfinite(plane.poa_global))


def test_lengths_that_differ_are_refused():
    with pytest.raises(DomainError, match=r"dni: has \(3,\) values for 1 steps; give one value a step"):
        plane_of_array(place(40, 180), 30, 180, ghi=[1.0], dni=[1.0] * 3, dhi=[1.0])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"surface_tilt": 180.5}, "surface_tilt: 180.5 is outside 0-180 degrees; 0 is level, 90 upright"),
        ({"surface_tilt": np.nan}, "surface_tilt: nan is outside"),
        ({"surface_azimuth": 500.0}, "surface_azimuth: 500.0 is outside 0-360 degrees; clockwise from north"),
        ({"albedo": 20.0}, "albedo: 20.0 is outside 0-1; grass 0.20"),
        ({"model": "peres"}, 'model: no sky model is called "peres"; did you mean "perez"'),
    ],
)
def test_planes_without_meaning_are_refused(change, message):
    plane = {"surface_tilt": 30.0, "surface_azimuth": 180.0} | change
    with pytest.raises(DomainError, match=message):
        plane_of_array(place(40, 180), **plane, ghi=[1.0], dni=[1.0], dhi=[1.0])


def test_a_position_can_be_cut_to_the_day():
    position = solar_position(minutes_of("2021-06-21", "UTC", "1h"), 36.1, -79.95)
    day = position.zenith < 90
    cut = replace(position, **{field.name: getattr(position, field.name)[day] for field in fields(position)})
    assert 13 <= len(cut.zenith) <= 16
