import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.weather.planes import light_on_planes
from solarvent.weather.sun import plane_of_array, solar_position

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")


@pytest.mark.parametrize("latitude", [52.0, 0.0, -35.0, 75.0])
def test_many_planes_at_once_are_the_planes_one_by_one(latitude):
    # plane_of_array goes through pvlib, step by step of its published models; here the same in matrices.
    times = pd.date_range("2021-06-21", periods=96, freq="15min", tz="UTC")
    position = solar_position(times, latitude, 10.0)
    up = np.clip(np.cos(np.radians(position.zenith)), 0, None)
    light = {"ghi": 900 * up, "dni": np.where(up > 0, 700.0, 0.0), "dhi": 200 * up}
    tilts, facings = np.array([0.0, 35.0, 90.0, 60.0]), np.array([180.0, 225.0, 90.0, 0.0])
    together = light_on_planes(
        position.apparent_zenith, position.azimuth, position.dni_extra, tilts, facings, **light, albedo=0.25
    )
    for row, (tilt, facing) in enumerate(zip(tilts, facings, strict=True)):
        alone = plane_of_array(position, tilt, facing, **light, albedo=0.25)
        want = alone.effective_beam + alone.effective_diffuse
        got = together.direct[row] + together.diffuse[row]
        np.testing.assert_allclose(got, want, atol=0.1)


def test_a_sun_under_the_horizon_shines_on_no_plane():
    light = light_on_planes([91.0], [180.0], [1367.0], [90.0, 60.0], [180.0] * 2, ghi=[5.0], dni=[50.0], dhi=[5.0])
    assert not light.direct.any()
    assert light.sky[0] == pytest.approx(5.0)


def test_the_sky_close_to_a_setting_sun_is_stretched_no_further():
    # pvlib's Hay & Davies on a plane square to the sun, whose front then lets everything in: from 89 degrees on the
    # sun counts as no lower.
    from pvlib.irradiance import haydavies

    for zenith in (88.0, 89.5, 89.9):
        light = light_on_planes([zenith], [180.0], [1367.0], [zenith], [180.0], ghi=[60.0], dni=[100.0], dhi=[50.0])
        sky = haydavies(zenith, 180.0, 50.0, 100.0, 1367.0, zenith, 180.0)
        alike = light.sky[0] * (1 + np.cos(np.radians(zenith))) / 2
        assert light.direct[0, 0] + alike == pytest.approx(100.0 + sky, rel=1e-4)


@settings(deadline=None, max_examples=40)
@given(
    st.floats(0, 180), st.floats(0, 360), st.floats(0, 180), st.floats(0, 360), st.floats(0, 1000), st.floats(0, 400)
)
def test_light_on_planes_is_never_negative_or_missing(zenith, azimuth, tilt, facing, dni, dhi):
    ghi = dhi + dni * max(np.cos(np.radians(zenith)), 0.0)
    light = light_on_planes([zenith], [azimuth], [1367.0], [tilt], [facing], ghi=[ghi], dni=[dni], dhi=[dhi])
    for part in (light.direct, light.diffuse):
        assert part.shape == (1, 1)
        assert np.all(np.isfinite(part))
        assert np.all(part >= 0)
