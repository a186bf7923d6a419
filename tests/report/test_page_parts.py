"""The words of the page for plans that the worked example is not."""

from datetime import date
from math import isnan

import pytest

from solarvent.report.layout import clock
from solarvent.report.page import answer, cautions
from solarvent.simulation.simulate import simulate
from solarvent.studies.overview import overview, turning_span


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"house.use": "coop"}, "Animals die"),
        ({"heater": {"power": "500 W"}}, "carbon monoxide"),
        ({"mass": [{"id": "drum", "part": "drum-208l"}]}, "Water is heavy"),
        ({"battery": {}}, "hundreds of amperes"),
    ],
)
def test_a_caution_stands_where_there_is_something_to_beware_of(small_plan, changes, words):
    usual = " ".join(cautions(small_plan().record))
    assert words not in usual
    assert words in " ".join(cautions(small_plan(changes).record))


@pytest.fixture(scope="module")
def dark_day(small_plan):
    """A day of the polar night, in a plan that wants air in January too."""
    place = {"place.latitude": 78.0, "place.timezone": "UTC", "target.months": [1, 3]}
    return simulate(small_plan(place), date(2000, 1, 2))


def test_a_day_without_light_says_that_no_fan_turns(dark_day):
    first, air, _ = answer(overview(dark_day, [], month=1), "metric")
    assert first == "There is no lit day in the weather."
    assert "in January, March they move" in air
    assert turning_span(dark_day.hours, 3600.0) is None


def test_a_span_without_hours_of_need_promises_no_air(small_plan):
    winter = overview(simulate(small_plan(), date(2000, 1, 15)), [], month=7)
    assert isnan(winter.air.share_of_sunny_hour)
    sentences = answer(winter, "metric")
    assert sentences == [
        "There is no lit day in the weather.",
        "The weather has none of the hours in which air is needed.",
        "Nothing that was checked speaks against building it.",
    ]


def test_clock_times_round_to_the_minute():
    assert [clock(hours) for hours in (0.0, 9.25, 23.999)] == ["00:00", "09:15", "24:00"]
