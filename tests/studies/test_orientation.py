"""Which way a panel should face for the hours of need."""

import numpy as np
import pytest

from solarvent.base.errors import PlanError
from solarvent.studies.orientation import TILTS, last_start, orientations, turned
from solarvent.weather.conditions import conditions
from solarvent.weather.planes import azimuths_of
from solarvent.weather.span import hours_of_need

GREENSBORO = {
    "place": {"latitude": 36.1, "longitude": -79.95, "altitude": "273 m", "timezone": "America/New_York"},
    "weather": {"embedded": "latitude 36.1, longitude -79.95"},
}


def found(loaded, start_light=250.0):
    return orientations(loaded, loaded.record.panel[0], start_light)


def test_afternoons_want_a_panel_that_faces_west_and_the_year_one_that_faces_the_equator(small_plan):
    grid = found(small_plan(GREENSBORO | {"target.start": "15:00"}))
    assert grid.need_light.shape == grid.year_light.shape == grid.above_start.shape == (9, 7)
    tilt, azimuth = grid.best(grid.need_light)
    assert azimuth in (240, 270)
    # Full-sun hours of a year at latitude 36 are most at a tilt some degrees below the latitude (common practice).
    assert grid.best(grid.year_light) == (30.0, 180.0)
    mornings = found(small_plan(GREENSBORO | {"target.start": "06:00", "target.end": "10:00"}))
    assert mornings.best(mornings.need_light)[1] in (60, 90)
    assert tilt in TILTS


def test_south_of_the_equator_it_faces_north(small_plan):
    loaded = small_plan({"place": {"latitude": -36.8, "longitude": 174.8, "timezone": "Pacific/Auckland"}})
    assert set(azimuths_of(-36.8)) == {240, 270, 300, 330, 0, 30, 60, 90, 120}
    grid = found(loaded)
    assert grid.best(grid.year_light)[1] == 0
    assert grid.best(grid.need_light)[1] in (330, 300, 270, 0)


def test_the_panel_as_it_hangs_has_the_light_of_the_chain(small_plan):
    for changes in ({}, {"obstacle": [{"kind": "tree", "azimuth": 225, "distance": "5 m", "height": "4 m"}]}):
        loaded = small_plan(GREENSBORO | changes)
        sun = conditions(loaded)
        need = hours_of_need(loaded, sun.times) & (sun.weather["ghi"].to_numpy() > 0)
        light = sun.panels["roof"].effective_irradiance
        grid = found(loaded)
        # The front of the grid is a table of angles; hours that are dark count in neither.
        assert grid.own_light == pytest.approx(light[need].mean(), rel=1e-3)
        lit = sun.weather["ghi"].to_numpy() > 0
        june_to_august = lit & sun.times.month.isin(loaded.record.months_of_need)
        at_noon = june_to_august & (sun.times.hour == 12)
        # At the panel's own azimuth, between the tilts of the grid.
        row = grid.by_hour[list(grid.hours).index(12)]
        assert np.interp(35.0, grid.tilts, row) == pytest.approx(light[at_noon].mean(), rel=0.02)


def test_time_above_the_start_counts_gaps_and_shadows(small_plan):
    loaded = small_plan(GREENSBORO)
    none, some, all_of_it = (found(loaded, light).above_start for light in (1e4, 250.0, 0.0))
    assert (none == 0).all()
    assert all_of_it == pytest.approx(1.0)
    assert ((some > 0) & (some < 1)).all()
    assert np.isnan(found(loaded, float("nan")).above_start).all()


def test_turning_the_panels_simulates_them_turned(small_plan):
    loaded = small_plan(GREENSBORO | {"panel.0.part": "panel-10w", "panel.0.azimuth": 60, "panel.0.tilt": 60})
    now, run = turned(loaded)
    assert (now.tilt, now.azimuth) == (60, 60)
    better, _ = turned(loaded, 30.0, 240.0)
    assert (better.tilt, better.azimuth) == (30, 240)
    assert better.flow > 1.2 * now.flow
    assert loaded.record.panel[0].azimuth == 60
    start = last_start(run, loaded.record.panel[0])
    assert start == max(limits.start_irradiance for limits in run.bands["typical"].thresholds.values())


def test_hours_of_need_in_the_dark_are_refused(small_plan):
    with pytest.raises(PlanError, match="the weather has no light in the hours of need"):
        found(small_plan(GREENSBORO | {"target.start": "01:00", "target.end": "04:00"}))
