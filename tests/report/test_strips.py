"""Days at a glance, held against the days that the rest of the page tells of."""

from datetime import date

import pytest

from solarvent.report.layout import clock
from solarvent.report.strips import month_strips
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import day_hours, telling_days
from solarvent.studies.overview import days_at_a_glance, turning_span


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
