"""The charts: readable, small, the same every time, and told in words too."""

import re
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from solarvent.report import charts, days
from solarvent.report.charts import operating_chart, operating_words
from solarvent.report.days import DayPicture, day_chart, day_words
from solarvent.simulation.simulate import simulate
from solarvent.simulation.year import day_hours, telling_days
from solarvent.studies.operating_curves import operating_curves

SVG = "{http://www.w3.org/2000/svg}"
LIMIT = 60_000


def picture_of(run, kind="clear", month=7, **changes):
    telling = next(day for day in telling_days(run, month) if day.kind == kind)
    day = DayPicture(
        f"day-{kind}", "a day", day_hours(run, telling.day), 1.0, tuple(run.plan.record.fan), 75.0, (12.0, 18.0)
    )
    return replace(day, **changes)


@pytest.fixture(scope="module")
def day(embedded_run):
    return picture_of(embedded_run)


def words_of(svg):
    return [text for element in ET.fromstring(svg).iter(f"{SVG}text") for text in element.itertext() if text.strip()]


@pytest.mark.parametrize("kind", ["clear", "broken", "overcast"])
def test_a_day_is_small_well_formed_and_fetches_nothing(embedded_run, kind):
    svg = day_chart(picture_of(embedded_run, kind), "metric")
    ET.fromstring(svg)
    assert len(svg.encode()) < LIMIT
    assert "<script" not in svg
    assert "<style" not in svg
    assert "<image" not in svg
    assert set(re.findall(r"https?://[^\"<]*", svg)) <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def test_the_same_day_gives_the_same_picture(day):
    assert day_chart(day, "metric") == day_chart(day, "metric")


def test_a_picture_has_a_title_and_a_description_that_it_points_to(day):
    root = ET.fromstring(day_chart(day, "metric"))
    assert root.get("role") == "img"
    named = [root.find(f".//*[@id='{name}']") for name in root.get("aria-labelledby").split()]
    assert [element.tag for element in named] == [f"{SVG}title", f"{SVG}desc"]
    assert all(element.text for element in named)


def test_axes_carry_units_and_limits_their_words(day):
    words = words_of(day_chart(day, "metric"))
    assert {"W/m²", "V", "per hour", "°C"} <= set(words)
    assert any(text.strip().startswith("starts at 13") for text in words)
    assert "°F" in words_of(day_chart(day, "us"))


def test_every_fan_has_its_bar_and_its_name(day):
    words = words_of(day_chart(day, "metric"))
    assert {str(fan.id) for fan in day.fans} <= {text.strip() for text in words}


def test_ids_of_two_pictures_do_not_meet(day):
    first, second = (
        set(re.findall(r'\bid="([^"]*)"', day_chart(replace(day, name=name), "metric"))) for name in ("one", "two")
    )
    assert first
    assert not first & second
    svg = day_chart(day, "metric")
    used = set(re.findall(r'(?:href="#|url\(#)([^")]*)', svg))
    assert used <= set(re.findall(r'\bid="([^"]*)"', svg))


def test_every_line_of_a_day_differs_in_more_than_colour():
    assert len({str(dash) for dash in days.FAN_DASHES}) == len(days.FAN_DASHES)


def luminance(colour):
    """Relative luminance of the Web Content Accessibility Guidelines 2.1."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize("colour", [charts.INK, charts.MUTED, charts.BLUE, charts.RED, charts.GREEN])
def test_colours_of_words_stand_out_from_white(colour):
    # Contrast 4.5 to 1: level AA of the same guidelines.
    assert 1.05 / (luminance(colour) + 0.05) >= 4.5


def test_a_day_of_four_and_twenty_fans_still_fits(small_plan):
    fans = [{"id": f"fan-number-{number}", "part": "fan-24v-120x25"} for number in range(24)]
    run = simulate(small_plan({"fan": fans}), date(2000, 7, 15), house=False)
    hours = run.hours[run.hours["poa_global"] > 0].assign(temp_inside=25.0)
    day = DayPicture("many", "a day", hours, 1.0, tuple(run.plan.record.fan), float("nan"), (12.0, 18.0))
    assert len(day_chart(day, "metric").encode()) < LIMIT


def test_a_dark_standing_day_can_be_drawn(day):
    hours = day.hours.copy()
    hours[[name for name in hours if not name.startswith("temp")]] *= 0
    still = replace(day, hours=hours)
    ET.fromstring(day_chart(still, "metric"))
    assert "gable-left does not turn." in day_words(still, "metric")


def test_the_words_of_a_day_are_its_figures(day):
    words = day_words(day, "metric")
    turning = day.hours[day.hours["running.bench"] > 0]
    assert f"bench turns from {turning.index[0]:%H:%M}" in words
    assert f"{day.hours['air_changes'].max():.0f} air changes" in words


@pytest.mark.parametrize("which", ["embedded_run", "faulty_day"])
def test_operating_points_are_small_well_formed_and_the_same_every_time(which, request):
    for curves in operating_curves(request.getfixturevalue(which)):
        svg = operating_chart(curves, "curves")
        ET.fromstring(svg)
        assert len(svg.encode()) < LIMIT
        assert svg == operating_chart(curves, "curves")
        assert "current [A]" in words_of(svg)


def test_too_much_voltage_is_said_and_shaded(faulty_day, embedded_run):
    [faulty], [sound] = operating_curves(faulty_day), operating_curves(embedded_run)
    assert "above the" in operating_words(faulty)
    assert "above the" not in operating_words(sound)
    shaded = [any("rated maximum" in text for text in words_of(operating_chart(c, "c"))) for c in (faulty, sound)]
    assert shaded == [True, False]


def test_a_fan_that_never_starts_is_said_to(small_plan):
    loaded = small_plan({"fan.0.start_voltage": "23.5 V"})
    [curves] = operating_curves(simulate(loaded, date(2000, 7, 15), house=False))
    assert "In no sun" in operating_words(curves)
    ET.fromstring(operating_chart(curves, "never"))
