"""A day as bars of text; days at a glance, held against the days that the rest of the page tells of."""

from datetime import date

import pandas as pd
import pytest

from solarvent.report.days import BLOCKS, PLAIN, bar, day_bars, month_strips
from solarvent.report.layout import WIDTH, clock
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import day_hours, telling_days
from solarvent.studies.overview import days_at_a_glance, turning_span


def a_day(step="1h", periods=15, start="2001-07-15 06:00"):
    index = pd.date_range(start, periods=periods, freq=step)
    return pd.DataFrame({"poa_global": range(0, 60 * periods, 60), "air_changes": 10.0}, index=index)


@pytest.mark.parametrize(("step", "periods"), [("1h", 1), ("1h", 15), ("10min", 90), ("1min", 900)])
@pytest.mark.parametrize("plain", [False, True])
def test_bars_fit_a_plain_terminal_whatever_the_step(step, periods, plain):
    text = day_bars(a_day(step, periods), 20.0, plain)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert len(text.splitlines()) == 3
    assert text.isascii() == plain


def test_higher_is_never_lower():
    for signs, plain in ((BLOCKS, False), (PLAIN, True)):
        heights = [(" " + signs).index(bar(share / 100, plain)) for share in range(0, 121)]
        assert heights == sorted(heights)
        assert (heights[0], heights[50], heights[100], heights[120]) == (0, 4, 8, 8)


def test_the_clock_stands_above_its_bar():
    times, sun, _ = day_bars(a_day(), 20.0).splitlines()
    # From 06:00, four signs an hour: noon is the seventh hour.
    assert times.index("12:00") == 5 + 4 * 6
    assert sun[5 + 4 * 6] == bar(0.36)


def test_a_dark_day_has_no_bars():
    assert day_bars(a_day().iloc[:0], 20.0) == ""


def test_still_air_is_blank():
    assert day_bars(a_day().assign(air_changes=0.0), 0.0).splitlines()[2].split() == ["air", "0", "/h"]


@pytest.fixture(scope="module")
def months(embedded_run):
    return month_strips(days_at_a_glance(embedded_run))


def test_every_month_has_its_three_skies(months):
    assert [month.number for month in months] == list(range(1, 13))
    assert all([strip.sky for strip in month.strips] == ["clear", "broken", "overcast"] for month in months)


@pytest.mark.parametrize("number", [1, 7, 10])
def test_the_days_and_their_hours_are_those_of_the_run(embedded_run, months, number):
    for strip, day in zip(months[number - 1].strips, telling_days(embedded_run, number), strict=True):
        assert strip.sky == day.kind
        assert strip.date == f"{day.day.day} {day.day:%B}"
        span = turning_span(day_hours(embedded_run, day.day), 1.0)
        assert strip.words.startswith(" to ".join(map(clock, span)) if span else "no fan turns")


def test_bars_of_all_months_share_one_scale(embedded_run, months):
    shares = [share for month in months for strip in month.strips for _, share in strip.bars]
    assert max(shares) == pytest.approx(1.0)
    assert min(shares) >= 0
    july = months[6].strips[0]
    hours = day_hours(embedded_run, telling_days(embedded_run, 7)[0].day)
    ratio = hours["air_changes"].iloc[6] / hours["air_changes"].iloc[5]
    assert july.bars[6][1] / july.bars[5][1] == pytest.approx(ratio)


def test_a_single_day_is_one_strip(small_plan):
    [month] = month_strips(days_at_a_glance(simulate(small_plan(), date(2000, 7, 15), house=False)))
    assert (month.number, len(month.strips)) == (7, 1)
    assert month.strips[0].date == "15 July"
