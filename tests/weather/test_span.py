"""Spans of weather by the clock of a plan."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from solarvent.plan.plan import load_plan
from solarvent.weather.conditions import conditions, plan_weather
from solarvent.weather.span import hottest_month, within_clock

TIMES = pd.date_range("2001-07-01", periods=24, freq="h", tz="UTC")


@pytest.mark.parametrize(
    ("start", "end", "hours"),
    [("12:00", "15:00", [12, 13, 14]), ("12:30", "15:30", [13, 14, 15]), ("22:00", "02:00", [0, 1, 22, 23])],
)
def test_a_span_of_the_clock_may_run_over_midnight(start, end, hours):
    assert np.flatnonzero(within_clock(TIMES, start, end)).tolist() == hours


def test_the_hottest_month_is_that_of_the_hours_of_need():
    plan = load_plan()
    weather = plan_weather(plan)
    assert hottest_month(plan, weather) == 7
    assert hottest_month(plan.with_({"target.months": [1, 2, 4]}), weather) == 4
    # The weather has none of these hours: then all of its hours count.
    january = weather[weather.index.month == 1]
    january.attrs = weather.attrs
    assert hottest_month(plan, january) == 1


def test_finer_steps_say_how_long_they_are():
    fine = conditions(load_plan(), date(2001, 7, 15), 600.0)
    assert fine.step == fine.weather.attrs["step"] == 600.0
