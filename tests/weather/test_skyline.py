import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.weather.sun import screen_elevation, seen_sky_share, skyline_elevation

plain = settings(deadline=None, max_examples=30)


def level_rim(height):
    return lambda azimuth: np.full_like(azimuth, height)


def test_a_skyline_runs_straight_between_its_points_and_around_north():
    points = [(350, 10), (10, 20), (180, 0)]
    assert skyline_elevation([350, 0, 10, 95, 180, 265, -10, 710], points).tolist() == pytest.approx(
        [10, 15, 20, 10, 0, 5, 10, 10]
    )
    assert skyline_elevation(123.0, []) == 0.0
    assert skyline_elevation([0.0, 200.0], [(90, 7)]).tolist() == [7.0, 7.0]


def test_a_screen_is_as_high_as_its_triangle():
    # A wall 3 m above the panel, 4 m away: 36.87 deg straight ahead; at 60 deg aside it is 8 m away.
    assert screen_elevation(225.0, 225.0, 4.0, 3.0) == pytest.approx(math.degrees(math.atan(3 / 4)))
    assert screen_elevation(285.0, 225.0, 4.0, 3.0) == pytest.approx(math.degrees(math.atan(3 / 8)))
    assert screen_elevation(45.0, 225.0, 4.0, 3.0) == pytest.approx(0.0, abs=1e-9)
    # 8 m wide: it ends 45 deg aside, across north too.
    assert screen_elevation([44.0, 46.0, 316.0, 314.0], 0.0, 4.0, 3.0, 8.0).round(1).tolist() == [28.3, 0.0, 28.3, 0.0]
    assert screen_elevation(0.0, 0.0, 4.0, -3.0) == 0.0


@pytest.mark.parametrize("height", [0.0, 10.0, 30.0, 60.0, 90.0])
def test_a_level_panel_in_a_pit_sees_the_square_of_the_cosine(height):
    # The view factor of a disc of sky: common geometry. Patches of one degree: 0.003.
    assert seen_sky_share([(level_rim(height), 0.0)], 0.0, 0.0) == pytest.approx(
        math.cos(math.radians(height)) ** 2, abs=3e-3
    )


@pytest.mark.parametrize("height", [20.0, 45.0, 70.0])
def test_a_level_panel_beside_an_endless_wall(height):
    # The view factor of a long slit of sky, (1 + cos) / 2: crossed strings, common geometry.
    def rim(azimuth):
        return screen_elevation(azimuth, 90.0, 1.0, math.tan(math.radians(height)))

    assert seen_sky_share([(rim, 0.0)], 0.0, 0.0) == pytest.approx((1 + math.cos(math.radians(height))) / 2, abs=4e-3)


def test_an_upright_panel_before_a_high_wall_sees_no_sky():
    def rim(azimuth):
        return screen_elevation(azimuth, 180.0, 1.0, 1000.0)

    assert seen_sky_share([(rim, 0.0)], 90.0, 180.0) < 0.01
    assert seen_sky_share([(rim, 0.0)], 90.0, 0.0) == pytest.approx(1.0)
    assert seen_sky_share([(rim, 0.0)], 180.0, 0.0) == pytest.approx(1.0)


def test_what_passes_through_two_trees_passes_both():
    rims = [(level_rim(90.0), 0.5), (level_rim(90.0), 0.4)]
    assert seen_sky_share(rims, 30.0, 180.0) == pytest.approx(0.2)
    assert seen_sky_share([], 30.0, 180.0) == 1.0


@plain
@given(st.floats(0, 89), st.floats(0, 1), st.floats(0, 120), st.floats(0, 360))
def test_more_in_the_way_never_shows_more_sky(height, passes, tilt, facing):
    low = seen_sky_share([(level_rim(height), passes)], tilt, facing)
    high = seen_sky_share([(level_rim(height + 1), passes)], tilt, facing)
    assert 0 <= high <= low <= 1 + 1e-12
