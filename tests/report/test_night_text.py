"""The sentences about a cold night, for nights that end in each way."""

from dataclasses import replace
from math import nan

import numpy as np
import pytest

from solarvent.report.night_text import short_answer
from solarvent.simulation.cold_night import cold_night


@pytest.fixture(scope="module")
def night(embedded_run):
    return cold_night(embedded_run.plan, run=embedded_run)


def told(night, system="metric", **changes):
    return " ".join(short_answer(replace(night, **changes), system))


def test_frost_and_what_is_above_it_are_told_apart(night):
    assert "That is 2 K above frost." in told(night, minimum_inside=2.0)
    assert "That is 2 K of frost." in told(night, minimum_inside=-2.0)


def test_that_it_gets_colder_than_outside_has_its_reason(night):
    outside = float(night.temp_air.min())
    assert "colder than outside, for the cover radiates" in told(night, minimum_inside=outside - 2.0)
    assert "colder than outside" not in told(night, minimum_inside=outside)


def test_a_little_heat_is_no_nought(night):
    assert "and 22 Wh in all" in told(night, minimum_inside=1.0, wanted=1.1, heater_energy=22.0)


@pytest.mark.parametrize(
    ("litres", "words"),
    [
        (nan, "no amount of water that finds room would hold it"),
        (0.0, "shut at night, it is held without more water"),
        (416.4, "shut at night, 416 L more water would hold it: 2.0 sunlit drums of 208 L"),
    ],
)
def test_the_water_that_holds_the_wanted_temperature_is_told(night, litres, words):
    assert words in told(night, minimum_inside=1.0, wanted=5.0, litres=litres)


def test_a_night_that_is_warm_enough_asks_for_no_heater(night):
    text = told(night, minimum_inside=6.0, wanted=5.0)
    assert "nothing more is needed" in text
    assert "heater would need" not in text


@pytest.mark.parametrize(
    ("energy", "words"),
    [
        (4000.0, "makes 400 Wh, 10% of what the heater wants, even if all were kept"),
        (200.0, "makes 400 Wh, for which there is no battery."),
    ],
)
def test_the_heat_is_held_against_what_the_panel_makes(night, energy, words):
    assert words in told(night, minimum_inside=1.0, wanted=5.0, heater_energy=energy, panel_energy=400.0)


@pytest.mark.parametrize(
    ("days", "words"),
    [(nan, "need more than a month to settle"), (6.0, "in step with")],
)
def test_new_masses_take_their_time(night, days, words):
    spell = np.array([3.0, 2.0, 1.5, 1.0, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2])
    assert words in told(night, spell=spell, filling_days=days)
    assert "masses" not in told(night, spell=np.array([]), filling_days=days)
