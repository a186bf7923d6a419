"""Where the air goes at one moment."""

from datetime import date

import pytest

from solarvent.electrical.panel_model import TYPICAL
from solarvent.simulation.house_summary import flows_at, hottest_moment
from solarvent.simulation.simulate import simulate

MIDSUMMER = date(2001, 6, 21)
HOLE = {"id": "beside", "part": "plain-hole", "area": "0.1 m2"}


def test_what_comes_in_goes_out(default_run):
    moment = hottest_moment(default_run)
    entering, leaving = (sum(getattr(path, way) for path in moment.paths) for way in ("inward", "outward"))
    assert entering == pytest.approx(leaving, rel=1e-6)
    assert entering > 0.05


def test_it_is_the_hottest_hour_of_need(default_run):
    moment = hottest_moment(default_run)
    assert moment.temp_inside == default_run.house.case("both")[moment.step]
    assert moment.temp_inside > 40
    assert 12 <= default_run.hours.index[moment.step].hour < 18


def test_fans_blow_out_and_the_low_vent_lets_in(default_run):
    paths = {path.name: path for path in hottest_moment(default_run).paths}
    assert paths["gable-left"].outward > 0.02
    assert paths["gable-left"].inward == 0
    assert paths["low-vent"].inward > 0.05
    assert paths["low-vent"].outward == 0
    assert hottest_moment(default_run).short_circuit == 0


@pytest.mark.parametrize(("azimuth", "share"), [(90, 0.6), (270, 0.0)])
def test_a_hole_in_the_wall_of_the_fans_short_circuits_them(small_plan, azimuth, share):
    loaded = small_plan(
        {"fan.0.wall_azimuth": 90, "fan.1.wall_azimuth": 90, "opening": [HOLE | {"wall_azimuth": azimuth}]}
    )
    found = hottest_moment(simulate(loaded, MIDSUMMER, bands=(TYPICAL,))).short_circuit
    assert found >= share if share else found == 0


def test_with_the_fans_standing_nothing_is_short_circuited(small_plan):
    loaded = small_plan({"fan.0.wall_azimuth": 90, "fan.1.wall_azimuth": 90, "opening": [HOLE | {"wall_azimuth": 90}]})
    assert flows_at(simulate(loaded, MIDSUMMER, bands=(TYPICAL,)), 2).short_circuit == 0


def test_a_tall_door_lets_air_both_ways(small_plan):
    door = {"id": "door", "part": "plain-hole", "area": "1.4 m2", "height": "1 m", "extent": "2 m"}
    shut = {"fan.0.outlet_opening": "light-shutter", "fan.1.outlet_opening": "light-shutter"}
    run = simulate(small_plan({"opening": [door]} | shut), MIDSUMMER, bands=(TYPICAL,))
    paths = {path.name: path for path in flows_at(run, 5).paths}
    assert paths["door"].inward > 0
    assert paths["door"].outward > 0


def test_a_span_without_hours_of_need_or_without_the_house_has_no_such_moment(small_plan):
    assert hottest_moment(simulate(small_plan(), date(2001, 12, 21), bands=(TYPICAL,))) is None
    assert hottest_moment(simulate(small_plan(), MIDSUMMER, bands=(TYPICAL,), house=False)) is None
