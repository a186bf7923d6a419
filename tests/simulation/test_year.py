"""Where the air goes at one moment."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from solarvent.electrical.panel_model import TYPICAL
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import (
    day_hours,
    flows_at,
    hottest_moment,
    months_table,
    telling_days,
    totals,
    used_power,
)


@pytest.fixture(scope="module")
def clear_year(small_plan):
    changes = {"place": {"latitude": 51.0, "longitude": -75.0, "timezone": "America/New_York"}}
    return simulate(small_plan(changes), bands=(TYPICAL,))


def test_the_three_days_are_the_brightest_the_middle_and_the_dullest(default_run):
    light = default_run.hours["poa_global"]
    for month in range(1, 13):
        daily = (
            light[default_run.hours["month"] == month]
            .groupby(default_run.hours.index.date[default_run.hours["month"] == month])
            .sum()
        )
        clear, broken, overcast = telling_days(default_run, month)
        assert (clear.kind, broken.kind, overcast.kind) == ("clear", "broken", "overcast")
        assert clear.irradiation == pytest.approx(daily.max())
        assert overcast.irradiation == pytest.approx(daily.min())
        above = int((daily > broken.irradiation).sum())
        assert abs(2 * above - len(daily)) <= 2
        assert daily[clear.day] == pytest.approx(clear.irradiation)


def test_no_day_is_cut_in_two_by_new_year(clear_year):
    # Under a sky that is always clear a winter month's light changes by a third at most; a cut day has half or none.
    for month in (1, 12):
        clear, _, overcast = telling_days(clear_year, month)
        assert overcast.irradiation > 0.7 * clear.irradiation


def test_a_single_day_tells_only_of_itself(small_plan):
    run = simulate(small_plan(), date(2001, 6, 21), bands=(TYPICAL,))
    (only,) = telling_days(run, 6)
    assert only.kind == "clear"
    assert telling_days(run, 7) == ()
    hours = day_hours(run, only.day)
    assert (hours["poa_global"] > 0).all()
    assert 14 <= len(hours) <= 18


def test_a_day_of_which_only_dark_hours_are_there_tells_of_nothing(small_plan):
    run = simulate(small_plan(), date(2001, 6, 21), bands=(TYPICAL,))
    dark = run.hours.iloc[[0]].set_axis(run.hours.index[[0]] + timedelta(days=1))
    longer = replace(run, hours=pd.concat([run.hours, dark.assign(poa_global=0.0)]))
    assert telling_days(longer, 6) == telling_days(run, 6)


def test_the_months_add_up_to_the_year(default_run):
    table, result = months_table(default_run), totals(default_run)
    assert table.index.tolist() == list(range(1, 13))
    assert table["energy_made"].sum() == pytest.approx(result["energy_made"])
    assert table["energy_used"].sum() == pytest.approx(result["energy_used"])
    fans = result["bands"]["typical"]["fans"]
    assert table["hours_running"].sum() == pytest.approx(sum(fan["hours_running"] for fan in fans))
    assert (table["energy_used"] < table["energy_made"]).all()


def test_noon_and_three_o_clock_are_those_of_the_clock(default_run):
    table, hours = months_table(default_run), default_run.hours
    july = hours[hours["month"] == 7]
    assert table.loc[7, "air_changes_noon"] == pytest.approx(july["air_changes"][july.index.hour == 12].mean())
    assert table.loc[7, "air_changes_15"] == pytest.approx(july["air_changes"][july.index.hour == 15].mean())


def test_the_usual_start_and_stop_follow_the_season(clear_year):
    table = months_table(clear_year)
    assert (
        table.loc[6, "last_stop"] - table.loc[6, "first_start"]
        > table.loc[12, "last_stop"] - table.loc[12, "first_start"]
    )
    assert (table["first_start"] < 12).all()
    assert (table["last_stop"] > 13).all()


def test_months_without_a_turning_fan_have_neither_start_nor_stop(small_plan):
    arctic = {"place": {"latitude": 78.0, "longitude": 15.0, "timezone": "UTC"}}
    table = months_table(simulate(small_plan(arctic), bands=(TYPICAL,)))
    assert table.loc[12, ["first_start", "last_stop"]].isna().all()
    assert table.loc[12, "energy_made"] == 0
    assert table.loc[6, "hours_running"] > 0


def test_shorter_steps_count_shorter_hours(small_plan):
    loaded, day = small_plan(), date(2001, 6, 21)
    hourly, fine = (simulate(loaded, day, step, bands=(TYPICAL,)) for step in (3600, 600))
    for key in ("energy_made", "energy_used"):
        assert totals(fine)[key] == pytest.approx(totals(hourly)[key], rel=0.03)
    assert fine.bands["typical"].hours_running["east"] == pytest.approx(
        hourly.bands["typical"].hours_running["east"], abs=1.5
    )
    assert months_table(fine).loc[6, "hours_running"] == pytest.approx(
        months_table(hourly).loc[6, "hours_running"], abs=3
    )


def test_a_standing_fan_uses_nothing(default_run):
    used = used_power(default_run)
    standing = default_run.hours["fans_running"] == 0
    assert (used[standing.to_numpy()] == 0).all()
    assert (used <= default_run.hours["panel_power"].to_numpy() + 1e-9).all()


def test_the_bands_stand_beside_each_other(default_run):
    bands = totals(default_run)["bands"]
    assert list(bands) == ["typical", "low", "high"]
    assert bands["low"]["target_flow"] < bands["typical"]["target_flow"] < bands["high"]["target_flow"]
    for low, typical, high in zip(*(bands[name]["fans"] for name in ("low", "typical", "high")), strict=True):
        assert low["id"] == typical["id"] == high["id"]
        assert low["start_irradiance"] > typical["start_irradiance"] > high["start_irradiance"]
        assert low["hours_running"] < typical["hours_running"] < high["hours_running"]
        assert np.isfinite(low["run_down_irradiance"])


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
