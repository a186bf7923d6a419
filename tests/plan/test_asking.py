"""Answers in a person's own words, and what is said to one that cannot be used."""

import pytest

from solarvent.base.errors import QuantityError
from solarvent.plan.asking import (
    Question,
    answer_of,
    area,
    cable,
    choose,
    facing,
    field,
    one_of,
    position,
    several,
    whole,
    zone,
)
from solarvent.plan.fields import Length, Voltage
from solarvent.plan.library import Library

READERS = {
    "choice": one_of(["shed", "coop"]),
    "hens": one_of(["shed", "coop"], ["shed or workshop", "coop for hens, 120 mm"]),
    "volts": field(Voltage, "V"),
    "length": field(Length),
    "two lengths": several(Length, 2, "length x width"),
    "area": area,
    "count": whole(1, 12),
    "position": position,
    "zone": zone,
    "facing": facing,
    "cable": cable(Library()),
}


@pytest.mark.parametrize(
    ("reader", "words", "value"),
    [
        ("choice", "2", "coop"),
        ("choice", "Shed", "shed"),
        ("hens", "hens", "coop"),
        ("hens", "WORKSHOP", "shed"),
        ("volts", "19.8", "19.8 V"),
        ("volts", "900 mV", "900 mV"),
        ("length", "8  ft", "8 ft"),
        ("two lengths", "10 ft x 2.5 m", ["10 ft", "2.5 m"]),
        ("two lengths", "10 x 8 ft", ["10 ft", "8 ft"]),
        ("two lengths", "3 m by 2 m", ["3 m", "2 m"]),
        ("area", "0.5 ft2", "0.5 ft2"),
        ("area", "20 x 30 cm", "600 cm2"),
        ("area", "6 in x 8 in", "48 in2"),
        ("area", "1 ft x 0.5 m", "0.1524 m2"),
        ("area", "none", "0 m2"),
        ("count", "12", 12),
        ("position", "51.5, -2.6", (51.5, -2.6)),
        ("position", "51.5N 2.6W", (51.5, -2.6)),
        ("position", "36.8 S, 174.7 E", (-36.8, 174.7)),
        ("zone", "UTC", "UTC"),
        ("zone", "new york", "America/New_York"),
        ("zone", "Etc/GMT-10", "Etc/GMT-10"),
        ("facing", "north west 20", (315.0, 20.0)),
        ("facing", "Southwest, 35", (225.0, 35.0)),
        ("facing", "s 0", (180.0, 0.0)),
        ("facing", "200, 30", (200.0, 30.0)),
        ("cable", "13 ft, 18 AWG", ("13 ft", "18 AWG")),
        ("cable", "4 m,0.75 mm2", ("4 m", "0.75 mm2")),
    ],
)
def test_an_answer_is_read(reader, words, value):
    assert READERS[reader](words) == value


@pytest.mark.parametrize(
    ("reader", "words", "complaint"),
    [
        ("choice", "3", "there is no 3 in the list"),
        ("choice", "0", "there is no 0 in the list"),
        ("choice", "²", "not in the list"),
        ("choice", "shd", "not in the list"),
        ("hens", "o", "stands in 2 lines"),
        ("hens", "120 mm", "not in the list"),
        ("volts", "-3", "no unit"),
        ("length", "8", "no unit"),
        ("length", "8,5 ft", "has a comma"),
        ("length", "600 m", "out of range"),
        ("two lengths", "3 m", "2 measures are wanted, length x width; here is 1"),
        ("two lengths", "3 x 2", "no unit"),
        ("area", "5 m", "is a length"),
        ("area", "1 m x 2 m x 3 m", "not known"),
        ("count", "0", "will not do"),
        ("count", "two", "will not do"),
        ("position", "here", "no place"),
        ("position", "91, 0", "latitude goes"),
        ("position", "0, 181", "latitude goes"),
        ("zone", "londn", "no time zone"),
        ("facing", "up", "not a direction and a steepness"),
        ("facing", "norht 20", "no direction"),
        ("facing", "361 20", "no direction"),
        ("facing", "south 91", "steeper than a wall"),
        ("cable", "4 m", "a comma between"),
        ("cable", "4 m, 17 AWG", "there is no"),
    ],
)
def test_an_answer_that_will_not_do_is_told(reader, words, complaint):
    with pytest.raises((QuantityError, LookupError), match=complaint):
        READERS[reader](words)


def test_what_to_write_is_shown_in_the_units_of_the_question():
    question = Question("How long", "13 ft", "", field(Length))
    with pytest.raises(QuantityError, match=r'^"9" has no unit; write it like "13 ft"$'):
        answer_of(question, "9")
    with pytest.raises(QuantityError, match="use one of: m, cm, mm, in, ft, yd"):
        answer_of(question, "9 V")
    with pytest.raises(QuantityError, match=r'write it like "12 V" \(V, mV\)$'):
        answer_of(Question("Volts", "none", "", field(Voltage)), "9")
    with pytest.raises(QuantityError, match=r"it must be at most 600 V"):
        answer_of(Question("Volts", "12 V", "", field(Voltage)), "900 V")


def test_an_empty_answer_takes_the_default():
    assert answer_of(choose("Its roof", "dome", "", {"gable": "two slopes", "dome": "a dome"}), "  ") == "dome"
    assert answer_of(Question("How long", "13 ft", "", field(Length)), "") == "13 ft"


def test_a_word_that_is_nearly_right_is_guessed():
    with pytest.raises(QuantityError, match='did you mean "shed"'):
        one_of(["shed", "coop"])("shd")
    with pytest.raises(QuantityError, match="write a number from 1 to 2"):
        one_of(["shed", "coop"])("igloo")
    with pytest.raises(QuantityError, match='did you mean "london"'):
        zone("londn")
