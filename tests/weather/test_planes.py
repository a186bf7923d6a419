from dataclasses import fields

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.weather.planes import plane_of_array
from solarvent.weather.sun import SolarPosition, solar_position

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")
plain = settings(deadline=None, max_examples=40)


def place(zenith, azimuth):
    """A sun put where a test wants it."""
    zenith, azimuth = (np.atleast_1d(np.asarray(value, dtype=float)) for value in (zenith, azimuth))
    return SolarPosition(zenith, zenith, azimuth, np.full(zenith.shape, 1367.0), np.full(zenith.shape, 80))


def a_day(latitude, longitude=-79.95, zone="Etc/GMT+5", lowest=180.0):
    """Times of a midsummer day, the sun then, and a light that goes with it; `lowest` is the largest zenith."""
    times = pd.date_range("2021-06-21 00:05", periods=144, freq="10min", tz=zone)
    position = solar_position(times, latitude, longitude, 273.0)
    times = times[position.zenith < lowest]
    position = solar_position(times, latitude, longitude, 273.0)
    up = np.clip(np.cos(np.radians(position.apparent_zenith)), 0, None)
    dni, dhi = 900 * up**0.3, 120 * up
    return times, position, {"ghi": dni * up + dhi, "dni": dni, "dhi": dhi}


# --- one plane --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tilt", "facing", "zenith", "azimuth", "aoi"),
    # SOL-05: test_irradiance.py of the pvlib project, release 0.16.
    [(30, 180, 30, 180, 0.0), (90, 0, 30, 60, 75.5225), (90, 0, 30, 170, 119.4987)],
)
def test_angle_of_incidence(tilt, facing, zenith, azimuth, aoi):
    plane = plane_of_array(place(zenith, azimuth), tilt, facing, ghi=[500.0], dni=[500.0], dhi=[100.0])
    assert np.degrees(np.arccos(plane.cos_aoi[0])) == pytest.approx(aoi, abs=1e-4)


def test_even_sky_and_ground_on_a_tilt():
    # SOL-22: test_irradiance.py of the pvlib project, release 0.16: tilt 40 deg, DHI 100, GHI 900, albedo 0.25.
    sky = plane_of_array(place(40, 180), 40, 180, ghi=[0.0], dni=[0.0], dhi=[100.0])
    assert sky.poa_diffuse[0] == pytest.approx(88.302, abs=1e-3)
    ground = plane_of_array(place(40, 180), 40, 180, ghi=[900.0], dni=[0.0], dhi=[0.0], albedo=0.25)
    assert ground.poa_diffuse[0] == pytest.approx(26.320, abs=1e-3)


light = st.tuples(
    st.floats(0.0, 180.0),  # zenith
    st.floats(0.0, 360.0),  # azimuth
    st.floats(0.0, 1000.0),  # dni
    st.floats(0.0, 500.0),  # dhi
    st.floats(0.0, 180.0),  # tilt
    st.floats(0.0, 360.0),  # facing
)


@plain
@given(light)
def test_light_on_a_plane_is_never_negative_or_missing(given_light):
    zenith, azimuth, dni, dhi, tilt, facing = given_light
    ghi = dhi + dni * max(np.cos(np.radians(zenith)), 0.0)
    plane = plane_of_array(place(zenith, azimuth), tilt, facing, ghi=[ghi], dni=[dni], dhi=[dhi])
    for name in (*(field.name for field in fields(plane)), "effective_global", "poa_global"):
        value = getattr(plane, name)
        assert np.all(np.isfinite(value)), name
        assert name == "cos_aoi" or np.all(value >= -1e-9), name
    assert plane.poa_global == pytest.approx(plane.poa_beam + plane.poa_diffuse)
    assert np.all(plane.effective_global <= plane.poa_global + 1e-9)


@plain
@given(st.floats(0, 84), st.floats(0, 360), st.floats(0, 900), st.floats(1, 400))
def test_a_level_plane_receives_the_global_light(zenith, azimuth, dni, dhi):
    ghi = dhi + dni * np.cos(np.radians(zenith))
    plane = plane_of_array(place(zenith, azimuth), 0.0, 180.0, ghi=[ghi], dni=[dni], dhi=[dhi])
    assert plane.poa_global[0] == pytest.approx(ghi, rel=1e-9)


@pytest.mark.parametrize("latitude", [52.0, 36.1, 0.0, -35.0, 75.0])
def test_a_day_agrees_with_the_transposition_of_pvlib(latitude):
    from pvlib.irradiance import get_total_irradiance

    # pvlib bends the lowest sun in another way.
    _, position, light = a_day(latitude, lowest=89.0)
    zenith, azimuth = position.apparent_zenith, position.azimuth
    want = get_total_irradiance(
        35.0, 225.0, zenith, azimuth, **light, dni_extra=position.dni_extra, albedo=0.2, model="haydavies"
    )
    got = plane_of_array(position, 35.0, 225.0, **light)
    np.testing.assert_allclose(got.poa_global, want["poa_global"], rtol=1e-9)
    np.testing.assert_allclose(got.poa_beam, want["poa_direct"], rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("latitude", [52.0, 0.0, -35.0])
def test_the_front_lets_in_what_it_does_in_pvlib(latitude):
    from pvlib.iam import marion_diffuse, physical

    _, position, light = a_day(latitude)
    plane = plane_of_array(position, 60.0, 90.0, **light)
    front = physical(np.clip(np.degrees(np.arccos(plane.cos_aoi)), 0, 90))
    # The table has 20,000 points, and is straight between them.
    direct = np.clip(plane.cos_aoi, 0, None) * (plane.beam + plane.circumsolar)
    np.testing.assert_allclose(plane.effective_direct, direct * front, rtol=0, atol=1e-5)
    shares = marion_diffuse("physical", 60.0)
    assert (plane.front_sky.item(), plane.front_ground.item()) == (shares["sky"], shares["ground"])


def test_a_west_panel_peaks_after_noon_and_an_east_panel_before():
    times, position, light = a_day(36.1)
    peak = {
        facing: times[np.argmax(plane_of_array(position, 45.0, facing, **light).poa_global)].hour
        for facing in (90.0, 180.0, 270.0)
    }
    assert peak[90.0] < 11 <= peak[180.0] <= 13 < 14 <= peak[270.0]


def test_a_sun_under_the_horizon_gives_no_beam_but_keeps_the_twilight():
    plane = plane_of_array(place([91.0, 120.0], [270.0, 300.0]), 90, 270, ghi=[10, 0], dni=[50, 0], dhi=[10, 0])
    assert plane.poa_beam.tolist() == [0.0, 0.0]
    assert plane.poa_global.tolist() == pytest.approx([5.0 + 1.0, 0.0])
    # The middle of the disc in the horizon counts as down: a wall that faces it gets no beam.
    assert plane_of_array(place(90.0, 270.0), 90, 270, ghi=[10.0], dni=[50.0], dhi=[10.0]).poa_beam == 0


def test_the_sky_of_a_set_sun_is_alike_all_round():
    sky = plane_of_array(
        place([90.0, 90.5], [270.0] * 2), 60, 270, ghi=[8.0] * 2, dni=[50.0] * 2, dhi=[8.0] * 2, albedo=0.0
    )
    assert sky.poa_global.tolist() == pytest.approx([8.0 * 0.75] * 2)
    assert sky.circumsolar.tolist() == [0.0, 0.0]


def test_the_sky_close_to_a_setting_sun_is_stretched_no_further():
    # pvlib's Hay & Davies on a plane square to the sun: from 89 degrees on the sun counts as no lower.
    from pvlib.irradiance import haydavies

    for zenith in (88.0, 89.5, 89.9):
        plane = plane_of_array(place(zenith, 180.0), zenith, 180.0, ghi=[60.0], dni=[100.0], dhi=[50.0], albedo=0.0)
        sky = haydavies(zenith, 180.0, 50.0, 100.0, 1367.0, zenith, 180.0)
        assert plane.poa_diffuse[0] == pytest.approx(sky, rel=1e-9)


def test_black_ground_and_snow_are_grounds_too():
    dark, white = (
        plane_of_array(place(40.0, 180.0), tilt, 180, ghi=[500.0], dni=[0.0], dhi=[0.0], albedo=albedo)
        for tilt, albedo in ((90.0, 0.0), (180.0, 1.0))
    )
    assert dark.poa_global[0] == 0
    assert white.poa_global[0] == pytest.approx(500.0)


def test_a_glass_front_reflects_a_low_sun_and_passes_a_high_one():
    # Common knowledge of Fresnel's law for glass of index 1.526: 4 % less at 60 deg, a fifth to a half less at 80 deg.
    plane = plane_of_array(place([0.0, 60.0, 80.0], [180.0] * 3), 0, 180, ghi=[0] * 3, dni=[900.0] * 3, dhi=[0.0] * 3)
    share = plane.entering / plane.cos_aoi
    assert share[0] == pytest.approx(1.0, abs=1e-12)
    assert share[1] == pytest.approx(0.96, abs=0.02)
    assert 0.5 < share[2] < 0.8


# --- many planes, and what comes in -----------------------------------------------------------------------------------


@pytest.mark.parametrize("latitude", [52.0, -35.0])
def test_many_planes_at_once_are_the_planes_one_by_one(latitude):
    _, position, light = a_day(latitude)
    tilts, facings = [0.0, 35.0, 90.0, 60.0], [180.0, 225.0, 90.0, 0.0]
    together = plane_of_array(position, tilts, facings, **light, albedo=0.25)
    for row, (tilt, facing) in enumerate(zip(tilts, facings, strict=True)):
        alone = plane_of_array(position, tilt, facing, **light, albedo=0.25)
        for name in ("poa_beam", "poa_global", "effective_direct", "effective_global"):
            np.testing.assert_allclose(getattr(together, name)[row], getattr(alone, name), rtol=1e-12, atol=1e-12)


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
    ],
)
def test_planes_without_meaning_are_refused(change, message):
    plane = {"surface_tilt": 30.0, "surface_azimuth": 180.0} | change
    with pytest.raises(DomainError, match=message):
        plane_of_array(place(40, 180), **plane, ghi=[1.0], dni=[1.0], dhi=[1.0])
