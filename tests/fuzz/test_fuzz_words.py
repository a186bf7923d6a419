"""Words: quantities, meter readings and command lines, sound and spoilt."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from fuzzing import SHARES, cases, check_error, check_outcome, guard, run
from hypothesis import given
from hypothesis import strategies as st
from mutations import MEASURES, TEXTS, VALUES

from solarvent.base.errors import PlanError, QuantityError
from solarvent.base.quantities import EXAMPLES, convert, parse, show, units_of
from solarvent.bench.metering import Readings, parse_readings

DIMENSIONS = st.sampled_from(list(EXAMPLES))


def test_five_thousand_cases_are_promised():
    assert sum(SHARES.values()) == 5000


@cases("quantities")
@given(st.one_of(MEASURES, TEXTS, VALUES), DIMENSIONS)
def test_a_quantity_is_a_finite_number_or_a_mistake_in_words(text, dimension):
    with guard("quantities"):
        try:
            value = parse(text, dimension)
        except QuantityError as error:
            check_error(error)
        else:
            assert math.isfinite(value)
            assert isinstance(show(value, dimension), str)


@cases("shown quantities")
@given(st.floats(-1e300, 1e300), DIMENSIONS, st.sampled_from(["metric", "us"]))
def test_what_is_shown_can_be_read_again(value, dimension, system):
    with guard("shown quantities"):
        number, _, unit = show(value, dimension, system).partition(" ")
        assert unit in units_of(dimension)
        for exact in units_of(dimension):
            if abs(value) < 1e200:
                assert parse(f"{convert(value, dimension, exact):.17g} {exact}", dimension) == pytest.approx(
                    value, rel=1e-12, abs=1e-9
                )
        # A thermometer is read to a tenth, in degF to a whole degree.
        least = {"degC": 0.051, "K": 0.051, "degF": 0.51}.get(unit, 0.6e-4)
        assert float(number) == pytest.approx(convert(value, dimension, unit), rel=0.006, abs=least)


_READINGS = st.lists(
    st.builds(
        "{}{}".format,
        st.sampled_from(["", "roof=", "east=", "west=", "east =", "=", "rof=", "east==", "EAST="]),
        st.one_of(
            MEASURES,
            TEXTS,
            st.builds(
                "{}/{}/{}".format,
                MEASURES,
                MEASURES,
                st.sampled_from(["turns", "stands", "pulses", "", "0.2A", "hums"]),
            ),
        ),
    ),
    max_size=3,
)


@cases("readings")
@given(_READINGS, _READINGS, _READINGS, _READINGS)
def test_readings_are_taken_or_told(panel_open, panel_short, panel_joined, fan):
    with guard("readings"):
        try:
            taken = parse_readings(
                ["roof"], ["east", "west"],
                panel_open=panel_open, panel_short=panel_short, panel_joined=panel_joined, fan=fan,
            )  # fmt: skip
        except PlanError as error:
            check_error(error)
        else:
            assert isinstance(taken, Readings)
            numbers = [*taken.panel_open.values(), *taken.panel_short.values()]
            for pair in (*taken.panel_joined.values(), *taken.fans.values()):
                numbers += [value for value in (pair.voltage, pair.current) if value is not None]
            assert all(math.isfinite(number) for number in numbers)


class Reached(BaseException):
    """A command line was taken, and the plan would be loaded now."""


_OPTIONS: dict[str, list[str]] = {
    "run": ["--month", "--day", "--step", "--ascii", "--budget"],
    "airflow": ["--month", "--oktas", "--cover", "--from", "--to", "--step", "--year", "--orient"],
    "size": ["--fans", "--fan", "--panel", "--watts", "--target", "--share", "--wire", "--tilt", "--azimuth"],
    "meter": ["--irradiance", "--temp-cell", "--at", "--temp-air", "--panel-open", "--fan", "--write"],
    "checklist": ["--irradiance", "--temp-cell"],
    "need": ["--below", "--outside", "--month", "--sun"],
    "night": ["--date", "--nights", "--hold"],
    "report": ["--month"],
    "compare": ["--all"],
    "pair": [],
    "parts": [],
    "weather": ["look", "fetch", "--lat", "--lon", "--year"],
    "new": ["--box"],
    "schema": [],
    "about": ["models"],
    "runn": [],
    "--version": [],
}
_SHARED = ["--parts", "--units", "--format", "-o", "--force", "--help", "-h", "--", "-", "-x", "--nonsense", "--form"]
_FLAGS = {
    "--ascii",
    "--budget",
    "--year",
    "--orient",
    "--write",
    "--all",
    "--force",
    "--help",
    "-h",
    "--",
    "look",
    "fetch",
}
_ARGUMENTS = st.one_of(
    st.sampled_from([
        "7", "13", "0", "-1", "07-15", "02-29", "0001-01-01", "9999-12-31", "2023-13-01", "10 min", "61 min",
        "7 parsecs", "nan", "inf", "1e999", "12", "12:30", "24:00", "25", "metric", "us", "imperial", "json", "csv",
        "text", "xml", "default", "faulty", "plan.toml", "nowhere.toml", ".", "..", "/", "", "32 degC", "20 W",
        "700 W/m2", "fans", "fan-12v-120x25", "18 AWG", "2024-06-21 13:00", "trio-right-splitter", "20.4V",
        "bench=11V/0.2A", "thin", "models", "120 m3/h", "50 % speed",
    ]),
    TEXTS,
)  # fmt: skip


@st.composite
def command_lines(draw: st.DrawFn) -> list[str]:
    """Give a command with some of its options, and of others, in any order, twice or against each other."""
    command = draw(st.sampled_from(sorted(_OPTIONS)))
    words = [command]
    for _ in range(draw(st.integers(0, 6))):
        option = draw(st.sampled_from([*_OPTIONS[command] * 3, *_SHARED, "--fans", "--year"]))
        words.append(option)
        if option not in _FLAGS or draw(st.integers(0, 9)) == 0:
            words.append(draw(_ARGUMENTS).replace("\0", ""))
        if draw(st.integers(0, 4)) == 0:
            words.append(draw(_ARGUMENTS).replace("\0", ""))
    return words


@pytest.fixture
def no_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stop every command where its work would begin, so that only the command line is tried."""

    def reached(*args: object, **options: object) -> None:
        raise Reached

    for place in (
        "solarvent.plan.plan.load_plan",
        "solarvent.plan.boxes.load_box",
        "solarvent.weather.reading.read_weather",
        "solarvent.weather.reading.embedded_weather",
        "solarvent.weather.fetch.fetch_weather",
        "solarvent.report.files.write_whole",
    ):
        monkeypatch.setattr(place, reached)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plan.toml").write_text('plan_version = 1\ntitle = "no plan"\n', encoding="utf-8")
    return tmp_path


@cases("command lines")
@given(words=command_lines())
def test_a_command_line_is_taken_or_told(no_work, folder, words):
    with guard("command lines"):
        try:
            outcome = run(words, folder)
        except Reached:
            return
        check_outcome(words, outcome, folder)
