"""Errors carry their mistakes as data, and say what to write."""

from __future__ import annotations

import pytest

from solarvent.base import errors
from solarvent.base.errors import PlanError, Problem, SolarventError, nearest

CLASSES = [value for value in vars(errors).values() if isinstance(value, type) and issubclass(value, SolarventError)]


def test_a_problem_reads_place_then_mistake_then_remedy() -> None:
    assert str(Problem("fan[2].part", "there is no such part", "see: solarvent parts fans")) == (
        "fan[2].part: there is no such part; see: solarvent parts fans"
    )
    assert str(Problem("", "the plan is empty")) == "the plan is empty"


def test_a_problem_stays_on_one_line() -> None:
    assert str(PlanError.single("a\nb", "c\x1b[31m\td", "e")) == "a b: c [31m d; e"


@pytest.mark.parametrize("kind", CLASSES)
def test_an_error_holds_every_mistake_one_a_line(kind: type[SolarventError]) -> None:
    problems = [Problem("a", "wrong"), Problem("b", "wrong too", "mend it")]
    with pytest.raises(kind, match="a: wrong\nb: wrong too; mend it") as caught:
        raise kind(problems)
    assert caught.value.problems == tuple(problems)


@pytest.mark.parametrize("kind", CLASSES)
def test_an_error_of_one_mistake_is_made_in_one_go(kind: type[SolarventError]) -> None:
    error = kind.single("a", "wrong", "mend it")
    assert type(error) is kind
    assert error.problems == (Problem("a", "wrong", "mend it"),)


def test_each_error_is_also_one_that_python_knows() -> None:
    expected = {
        "QuantityError": ValueError,
        "PlanError": ValueError,
        "PartError": LookupError,
        "WeatherError": ValueError,
        "DomainError": ValueError,
        "OutputError": OSError,
    }
    for name, built_in in expected.items():
        assert issubclass(getattr(errors, name), built_in), name
    assert {kind.__name__ for kind in CLASSES} == {*expected, "SolarventError"}


@pytest.mark.parametrize(
    ("word", "choices", "said"),
    [
        ("fna", ["fan", "panel"], 'did you mean "fan"?'),
        ("zzz", ["fan", "panel"], "known here: fan, panel"),
        ("zzz", ["panel", "fan", "fan"], "known here: fan, panel"),
        ("zzz", [f"part-{number}" for number in range(41)], ""),
        ("zzz", [], ""),
        ("lat", ["climate", "latitude"], 'did you mean "latitude"?'),
        ("rain-hood", ["hood", "plain-hole"], 'did you mean "hood"?'),
    ],
)
def test_the_nearest_known_word_is_named(word: str, choices: list[str], said: str) -> None:
    assert nearest(word, choices) == said
