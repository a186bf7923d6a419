"""The real afternoons of a weather year."""

import numpy as np
import pytest

from solarvent.house.air_need import need
from solarvent.studies.airflow import HOTTEST, Afternoons, afternoons


@pytest.fixture(scope="module")
def days(default_run):
    return afternoons(default_run, "12:00", "18:00")


def test_every_day_of_the_year_is_there_with_its_own_means(default_run, days):
    assert len(days) == 365
    day = days.index[200]
    hours = default_run.hours[
        (default_run.hours.index.date == day)
        & (default_run.hours.index.hour >= 12)
        & (default_run.hours.index.hour < 18)
    ]
    assert len(hours) == 6
    for name in ("temp_air", "poa_global", "flow", "air_changes"):
        assert days.loc[day, name] == pytest.approx(hours[name].mean())
    assert ((days["running"] >= 0) & (days["running"] <= 1)).all()
    wanted = need(default_run.plan, days.loc[day, "ghi"], days.loc[day, "temp_air"]).wanted
    assert days.loc[day, "flow_wanted"] == pytest.approx(wanted)


def test_the_mean_of_the_months_of_need_is_that_of_the_run(default_run, days):
    summer = days[days["month"].isin(default_run.plan.record.months_of_need)]
    assert summer["flow"].mean() == pytest.approx(default_run.bands["typical"].target_flow)


def test_months_count_the_days_that_get_enough(days):
    months = Afternoons(None, days, 7).months
    assert months["days"].sum() == 365
    july = days[days["month"] == 7]
    assert months.loc[7, "reached"] == sum(july["flow"] >= july["flow_wanted"])
    assert months.loc[7, "middle"] == pytest.approx(np.median(july["air_changes"]))
    assert (months["low"] <= months["middle"]).all()
    assert (months["middle"] <= months["high"]).all()


def test_the_hottest_and_the_dull_hot_ones(days):
    july = days[days["month"] == 7]
    told = Afternoons(None, days, 7)
    hot = told.hottest
    assert len(hot) == HOTTEST
    assert hot["temp_air"].is_monotonic_decreasing
    assert hot["temp_air"].iloc[-1] >= july["temp_air"].drop(hot.index).max()
    dull = told.dull_and_hot
    assert (dull["ghi"] < july["ghi"].median()).all()
    assert dull["air_changes"].is_monotonic_increasing
    assert Afternoons(None, july.iloc[:0], 7).dull_and_hot.empty
