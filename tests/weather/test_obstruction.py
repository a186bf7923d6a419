"""Skyline, trees, walls and ridges in front of a plan's panels."""

from datetime import date

import numpy as np
import pytest

from solarvent.weather.conditions import conditions

MIDSUMMER, MIDWINTER = date(2001, 6, 21), date(2001, 12, 21)


def noon_light(loaded, day=MIDSUMMER):
    light = conditions(loaded, day).panels["roof"].poa_global
    return light, light[12]


def test_a_high_wall_in_the_south_leaves_a_share_of_the_sky_at_noon(small_plan):
    wall = {"kind": "wall", "azimuth": 180, "distance": "2 m", "height": "6 m"}
    open_light, open_noon = noon_light(small_plan())
    walled, noon = noon_light(small_plan({"obstacle": [wall]}))
    # The wall stands 72 degrees high; the midsummer sun at 51 north 62.
    assert 0.02 < noon / open_noon < 0.15
    assert (walled <= open_light + 1e-9).all()
    low = wall | {"height": "0.5 m"}
    _, noon = noon_light(small_plan({"obstacle": [low]}))
    # 14 degrees: the sun passes over it, and a few per cent of the sky are gone.
    assert 0.97 < noon / open_noon < 1.0


def test_a_wall_in_the_west_takes_the_evening_only(small_plan):
    wall = {"kind": "wall", "azimuth": 270, "distance": "3 m", "height": "4 m", "width": "10 m"}
    open_light, _ = noon_light(small_plan())
    walled, _ = noon_light(small_plan({"obstacle": [wall]}))
    share = walled[5:19] / open_light[5:19]
    assert share[:7].min() > 0.75
    assert share[11:13].max() < 0.5


def test_a_skyline_is_a_list_of_points(small_plan):
    _, open_noon = noon_light(small_plan())
    _, noon = noon_light(small_plan({"place.skyline": [[135, 70], [225, 70]]}))
    assert noon < 0.2 * open_noon
    _, none = noon_light(small_plan({"place.skyline": [[135, 0], [225, 0]]}))
    assert none == pytest.approx(open_noon)


def test_a_tree_passes_more_light_without_its_leaves(small_plan):
    tree = {"kind": "tree", "azimuth": 180, "distance": "2 m", "height": "9 m"}

    def left(changes, day):
        return noon_light(small_plan(changes | {"obstacle": [tree]}), day)[1] / noon_light(small_plan(changes), day)[1]

    assert left({}, MIDSUMMER) < 0.4 < left({}, MIDWINTER)
    # South of the equator the leaves come half a year later; the sun stands in the north there.
    south = {"place": {"latitude": -51.0, "longitude": 0.0}, "panel.0.azimuth": 0}
    tree["azimuth"] = 0
    assert left(south, MIDSUMMER) > 0.4 > left(south, MIDWINTER)
    tree["leaf_months"] = list(range(1, 13))
    assert left(south, MIDSUMMER) < 0.4


def test_the_ridge_of_the_house_is_as_long_as_the_house(small_plan):
    ridge = {"kind": "ridge", "azimuth": 0, "distance": "1 m", "height": "1 m"}
    long = small_plan({"obstacle": [ridge], "house.length": "12 m"})
    short = small_plan({"obstacle": [ridge], "house.length": "1 m"})
    given = small_plan({"obstacle": [ridge | {"width": "12 m"}], "house.length": "1 m"})
    assert noon_light(long)[1] < noon_light(short)[1]
    assert noon_light(long)[1] == pytest.approx(noon_light(given)[1])


def test_nothing_in_the_way_changes_nothing(small_plan):
    far = {"kind": "tree", "azimuth": 180, "distance": "400 m", "height": "0.01 m"}
    np.testing.assert_allclose(noon_light(small_plan({"obstacle": [far]}))[0], noon_light(small_plan())[0], rtol=1e-4)
