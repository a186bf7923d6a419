"""Words of the airflow answers: parts of the day, clocks, directions."""

import pytest

from solarvent.electrical.panel_model import TYPICAL
from solarvent.report.airflow_text import clock_words, part_of_day, sky_sentence
from solarvent.report.choices_text import bearing
from solarvent.studies.sky_day import for_span, under_sky
from solarvent.weather.conditions import plan_weather


@pytest.mark.parametrize(
    ("start", "end", "word"),
    [
        ("08:00", "12:00", "morning"),
        ("12:00", "18:00", "afternoon"),
        ("11:00", "15:00", "afternoon"),
        ("12:00", "13:00", "afternoon"),
        ("06:00", "18:00", "day"),
        ("12:00", "22:00", "day"),
    ],
)
def test_parts_of_the_day(start, end, word):
    assert part_of_day(start, end) == word


@pytest.mark.parametrize(("azimuth", "name"), [(0, "0 N"), (225, "225 SW"), (360, "360 N"), (240, "240")])
def test_directions(azimuth, name):
    assert bearing(azimuth) == name


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"place": {"latitude": 19.0, "longitude": 72.9, "timezone": "Asia/Kolkata"}}, "UTC+5:30 (no daylight saving)"),
        ({"place.timezone": "Europe/London"}, "UTC+1 (daylight saving time)"),
        ({"clock": "solar"}, "the sun's mean time of the place"),
        ({"place.longitude": -52.7, "place.timezone": "America/St_Johns"}, "UTC-2:30 (daylight saving time)"),
    ],
)
def test_the_clock_is_said_with_its_daylight_saving(small_plan, changes, words):
    loaded = for_span(small_plan(changes), 7, "12:00", "14:00")
    answer = under_sky(loaded, plan_weather(loaded), 7, 0, bands=(TYPICAL,))
    assert words in clock_words(answer.run)


def test_the_sentence_has_a_word_for_every_sky(small_plan):
    loaded = for_span(small_plan(), 7, "12:00", "13:00")
    weather = plan_weather(loaded)
    starts = {sky_sentence(under_sky(loaded, weather, 7, oktas), "metric").split(":")[0] for oktas in range(0, 10, 3)}
    assert starts == {
        "On a clear July afternoon",
        "On a partly cloudy July afternoon",
        "On a July afternoon of broken cloud",
        "On a July afternoon in fog",
    }
