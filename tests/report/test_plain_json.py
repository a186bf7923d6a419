"""JSON that any reader takes."""

import json
from datetime import date, datetime, time

import pytest

from solarvent.report.data import to_json


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_finite_number_is_null_at_any_depth(value):
    assert json.loads(to_json({"a": value, "b": [value, {"c": (value, 1.5)}]})) == {
        "a": None,
        "b": [None, {"c": [None, 1.5]}],
    }


def test_dates_and_times_of_toml_are_text():
    written = to_json({"a": date(2023, 6, 1), "b": time(12, 30), "c": datetime(2023, 6, 1, 12)})
    assert json.loads(written) == {"a": "2023-06-01", "b": "12:30:00", "c": "2023-06-01T12:00:00"}


def test_letters_of_any_script_come_through_as_ascii():
    written = to_json({"title": "\u00d6d \u6e29\u5ba4 \U0001f331"}, indent=2)
    assert written.isascii()
    assert json.loads(written) == {"title": "\u00d6d \u6e29\u5ba4 \U0001f331"}
