"""Field types: bounds, clock times, ids, and the JSON Schema that editors read."""

from __future__ import annotations

import re

import pytest
from pydantic import ValidationError

from solarvent.base.quantities import EXAMPLES, parse, units_of
from solarvent.plan import fields
from solarvent.plan.fields import ClockTime, Identifier, Record, quantity


class Sample(Record):
    length: quantity("length", above=0, most=500) = "1 m"
    pressure: quantity("pressure", least=0, most=5000) = "0 Pa"
    clock: ClockTime = "12:00"
    id: Identifier = "x"


def test_a_quantity_is_kept_in_si() -> None:
    assert Sample(length="10 ft", pressure="1 inH2O").length == pytest.approx(3.048)


@pytest.mark.parametrize(
    ("given", "words", "write"),
    [
        ({"length": "-3 m"}, "-3 m is out of range", "more than 0 m"),
        ({"length": "0 m"}, "0 m is out of range", "more than 0 m"),
        ({"length": "2000 ft"}, "2000 ft is out of range", "at most 500 m"),
        ({"pressure": "-1 Pa"}, "-1 Pa is out of range", "at least 0 Pa"),
        ({"length": 3}, "3 has no unit", "3.6 m"),
        ({"length": None}, "a length is wanted here", "3.6 m"),
        ({"clock": "noon"}, '"noon" is not a time of day', "15:00"),
        ({"clock": "24:30"}, "is not a time of day", "15:00"),
        ({"clock": "7:30"}, "is not a time of day", "15:00"),
        ({"clock": "12:60"}, "is not a time of day", "15:00"),
        ({"clock": "12:00\n"}, "is not a time of day", "15:00"),
        ({"clock": "\u0661\u0662:00"}, "is not a time of day", "15:00"),
        ({"id": "West fan"}, "cannot serve as an id", "fan-east"),
        ({"id": ""}, "cannot serve as an id", "fan-east"),
        ({"id": "-x"}, "cannot serve as an id", "fan-east"),
        ({"id": "x" * 41}, "cannot serve as an id", "fan-east"),
        ({"id": "x\n"}, "cannot serve as an id", "fan-east"),
    ],
)
def test_a_value_out_of_bounds_is_told_with_what_to_write(given: dict, words: str, write: str) -> None:
    with pytest.raises(ValidationError, match=re.escape(words.splitlines()[0])) as caught:
        Sample(**given)
    (detail,) = caught.value.errors()
    assert write in detail["ctx"]["write"]


@pytest.mark.parametrize("text", ["00:00", "09:59", "23:59", "24:00"])
def test_a_clock_time_runs_from_midnight_to_midnight(text: str) -> None:
    assert Sample(clock=text).clock == text


def test_a_record_cannot_be_changed_and_knows_its_keys() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        Sample().length = 2.0
    with pytest.raises(ValidationError, match="Extra inputs"):
        Sample(lenght="2 m")


@pytest.mark.parametrize("dimension", EXAMPLES)
def test_the_schema_accepts_what_the_reader_accepts(dimension: str) -> None:
    class One(Record):
        value: quantity(dimension)

    schema = One.model_json_schema()["properties"]["value"]
    assert schema["examples"] == [EXAMPLES[dimension]]
    for text in (EXAMPLES[dimension], *(f"{number} {unit}" for unit in units_of(dimension) for number in ("2", "-.5"))):
        assert re.search(schema["pattern"], text), text
        parse(text, dimension)
    for text in ("3", "m", "3,5 m", "3 furlong"):
        assert not re.search(schema["pattern"], text), text


def test_every_ready_made_field_reads_its_own_example() -> None:
    names = [name for name in vars(fields) if name[0].isupper() and hasattr(getattr(fields, name), "__metadata__")]
    assert len(names) > 20
    for name in names:
        if name in ("Share", "Positive", "ClockTime", "Identifier", "Azimuth"):
            continue

        class One(Record):
            value: getattr(fields, name)

        (example,) = One.model_json_schema()["properties"]["value"]["examples"]
        One(value=example)
