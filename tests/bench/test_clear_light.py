from datetime import datetime

import pytest

from solarvent.base.errors import PlanError
from solarvent.bench.metering import clear_sky_light


def test_the_light_at_a_moment_is_that_of_the_clear_year(small_plan):
    """A level panel sees the global light; the hour around 12:00 UTC on the meridian is the highest of the day."""
    loaded = small_plan()
    noon, later = (clear_sky_light(loaded, datetime(2026, 6, 21, hour)) for hour in (12, 18))
    assert noon.irradiance > 2 * later.irradiance
    assert not noon.measured


def test_a_measured_clear_noon_is_of_the_right_size(small_plan):
    """Published clear-sky values at 51 degrees north in June: 850 to 950 W/m2 on the level (common practice)."""
    loaded = small_plan({"panel.0.tilt": 0.0, "panel.0.soiling_ratio": 1.0})
    light = clear_sky_light(loaded, datetime(2026, 6, 21, 12))
    assert 800 < light.irradiance < 950
    assert 40 < light.temp_cell < 55


def test_the_cell_is_warmer_by_the_air(small_plan):
    cool, warm = (clear_sky_light(small_plan(), datetime(2026, 6, 21, 12), air) for air in (0.0, 30.0))
    assert warm.temp_cell - cool.temp_cell == pytest.approx(30.0)


def test_night_is_told(small_plan):
    with pytest.raises(PlanError, match="the sun is down"):
        clear_sky_light(small_plan(), datetime(2026, 6, 21, 1))


def test_an_hour_that_the_clock_skips_is_told(small_plan):
    loaded = small_plan({"place.timezone": "Europe/London"})
    with pytest.raises(PlanError, match="skipped by the clock"):
        clear_sky_light(loaded, datetime(2026, 3, 29, 1, 30))


def test_an_hour_that_comes_twice_is_read_as_the_first(small_plan):
    loaded = small_plan({"place.timezone": "America/New_York", "place.longitude": -75.0})
    with pytest.raises(PlanError, match="the sun is down"):
        clear_sky_light(loaded, datetime(2026, 11, 1, 1, 30))
