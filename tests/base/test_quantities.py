"""Units against a general unit library, and the slips of the pen that such a library would swallow."""

from __future__ import annotations

import math
import re

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import (
    EXAMPLES,
    SHOWN,
    convert,
    parse,
    show,
    shown_unit,
    units_of,
)

REGISTRY = pint.UnitRegistry()

#: How the oracle writes those of our units that it names otherwise; "cfm" alone it would read as centi-femtometre.
PINT_NAMES = {
    "m2": "m**2", "cm2": "cm**2", "mm2": "mm**2", "in2": "inch**2", "ft2": "ft**2", "m3": "m**3", "ft3": "ft**3",
    "in": "inch", "ohm/kft": "ohm/kilofoot", "Btu/h": "Btu_it/hour", "m3/s": "m**3/s", "m3/h": "m**3/hour",
    "m3/min": "m**3/min", "L/s": "L/s", "cfm": "ft**3/min", "mmH2O": "kgf/m**2",
    "inH2O": "inch * g / cm**3 * standard_gravity",
    "km/h": "km/hour", "mph": "mile/hour", "kn": "knot", "W/m2": "W/m**2", "kW/m2": "kW/m**2", "W/m2K": "W/m**2/K",
    "Btu/h ft2 F": "Btu_it/hour/ft**2/delta_degF", "h": "hour", "d": "day", "1/h": "1/hour", "gal": "US_liquid_gallon",
    "Wh": "W*hour", "kWh": "kW*hour", "L": "liter", "oz": "ounce",
}  # fmt: skip
#: The unit in which parse() answers, for the oracle.
ANSWERS = {
    "length": "m", "area": "m**2", "volume": "m**3", "mass": "kg", "temperature": "degC",
    "temperature difference": "delta_degC", "voltage": "V", "current": "A", "resistance": "ohm",
    "resistance per length": "ohm/m", "power": "W", "energy": "W*hour", "flow": "m**3/s", "pressure": "Pa",
    "speed": "m/s", "irradiance": "W/m**2", "heat transfer": "W/m**2/K", "time": "s", "rate": "1/hour",
    "capacitance": "F",
}  # fmt: skip
EVERY_UNIT = [(dimension, unit) for dimension in EXAMPLES for unit in units_of(dimension)]


def oracle(number: float, dimension: str, unit: str) -> float:
    name = PINT_NAMES.get(unit, unit)
    if dimension == "temperature difference":
        name = {"K": "K", "degC": "delta_degC", "degF": "delta_degF"}[unit]
    return REGISTRY.Quantity(number, name).to(ANSWERS[dimension]).magnitude


@pytest.mark.parametrize(("dimension", "unit"), [pair for pair in EVERY_UNIT if "coefficient" not in pair[0]])
@pytest.mark.parametrize("number", [1.0, 12.5])
def test_every_unit_agrees_with_pint(dimension: str, unit: str, number: float) -> None:
    # Definitions are exact, but our inch of water has six digits.
    assert parse(f"{number} {unit}", dimension) == pytest.approx(oracle(number, dimension, unit), rel=2e-6)


def test_a_coefficient_is_a_share_per_kelvin() -> None:
    assert parse("-0.33 %/K", "temperature coefficient") == pytest.approx(-0.0033, rel=1e-12)
    assert parse("0.05 %/degC", "temperature coefficient") == parse("0.05 %/K", "temperature coefficient")


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("32 degF", "temperature", 0.0),
        ("-40 degF", "temperature", -40.0),
        ("212 °F", "temperature", 100.0),
        ("70 F", "temperature", 190 / 9),
        ("70 F", "capacitance", 70.0),
        ("273.15 K", "temperature", 0.0),
        ("9 degF", "temperature difference", 5.0),
        ("250 cfm", "flow", 250 * 0.3048**3 / 60),
        ("250 CFM", "flow", 250 * 0.3048**3 / 60),
        ("5ft", "length", 1.524),
        ("  .5 m ", "length", 0.5),
        ("+3. m", "length", 3.0),
        ("1e-2 m", "length", 0.01),
        ("0.82 mm²", "area", 0.82e-6),
        ("0 m", "length", 0.0),
    ],
)
def test_what_people_write_is_read(text: str, dimension: str, expected: float) -> None:
    assert parse(text, dimension) == pytest.approx(expected, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("9**9**9 m", "not one decimal number with one unit"),
        ("9**9**9**9 m", "not one decimal number with one unit"),
        ("2*3 m", "not one decimal number with one unit"),
        ("1/2 ft", "not one decimal number with one unit"),
        ("1e400 m", "is too large"),
        ("1_000 m", "not one decimal number with one unit"),
        ("3..5 m", "not one decimal number with one unit"),
        ("0x10 m", 'the unit "x10 m" is not known'),
        ("8,5 ft", "has a comma; use a decimal point"),
        ("1,000 m", "has a comma; use a decimal point"),
        ("250 cfm", "is a flow; a length is wanted"),
        ("70 F", "is a temperature; a length is wanted"),
        ("3 V", "is a voltage; a length is wanted"),
        ("3 fathom", 'the unit "fathom" is not known'),
        ("3 cmm", 'did you mean "mm"?'),
        ("3", "has no unit"),
        ("-", "does not begin with a number"),
        ("", "does not begin with a number"),
        ("m 3", "does not begin with a number"),
        ("\u0663 m", "does not begin with a number"),  # ARABIC-INDIC DIGIT THREE
        ("\uff13 m", "does not begin with a number"),  # FULLWIDTH DIGIT THREE
        ("\u00bd ft", "does not begin with a number"),  # VULGAR FRACTION ONE HALF
        ("nan m", "does not begin with a number"),
        ("inf m", "does not begin with a number"),
        ("-inf m", "does not begin with a number"),
        pytest.param("3" * 10_000 + " m", "is too long for a quantity", id="ten thousand digits"),
        pytest.param("x" * 1_000_000, "is too long for a quantity", id="a million letters"),
        (3, "3 has no unit; a length is wanted"),
        (3.5, "3.5 has no unit; a length is wanted"),
        (math.nan, "has no unit"),
        (math.inf, "has no unit"),
        pytest.param(10**5000, "this number has no unit", id="five thousand digits"),
        (True, "a length is wanted here"),
        (None, "a length is wanted here"),
        (b"3 m", "a length is wanted here"),
        (["3 m"], "a length is wanted here"),
        ({}, "a length is wanted here"),
    ],
)
def test_what_cannot_be_read_is_refused(text: object, message: str) -> None:
    with pytest.raises(QuantityError, match=re.escape(message)) as caught:
        parse(text, "length")
    assert len(str(caught.value)) < 300


def test_a_refusal_says_what_to_write() -> None:
    for dimension in EXAMPLES:
        with pytest.raises(QuantityError, match=re.escape(EXAMPLES[dimension])):
            parse(3, dimension)


def test_every_example_can_be_read() -> None:
    for dimension, example in EXAMPLES.items():
        assert math.isfinite(parse(example, dimension))


def test_the_kinds_of_quantity_all_have_units() -> None:
    for dimension in EXAMPLES:
        assert units_of(dimension)
        for system in SHOWN:
            assert shown_unit(dimension, system) in units_of(dimension)


@given(st.text(max_size=80))
@settings(max_examples=300, deadline=None)
def test_any_text_is_a_finite_number_or_a_told_mistake(text: str) -> None:
    for dimension in ("length", "temperature", "rate"):
        try:
            value = parse(text, dimension)
        except QuantityError:
            continue
        assert math.isfinite(value)


@given(
    st.sampled_from(EVERY_UNIT), st.one_of(st.just(0.0), st.floats(1e-6, 1e6), st.floats(-1e6, -1e-6)), st.booleans()
)
@settings(max_examples=200, deadline=None)
def test_what_is_shown_can_be_read_again(pair: tuple[str, str], number: float, us: bool) -> None:
    dimension, unit = pair
    system = "us" if us else "metric"
    value = parse(f"{number:.9f} {unit}", dimension)
    again = parse(show(value, dimension, system, decimals=9), dimension)
    # Nine decimals in the unit of display, turned back into SI.
    unit_size = abs(parse(f"1 {shown_unit(dimension, system)}", dimension)) + 1
    assert again == pytest.approx(value, rel=1e-12, abs=1e-8 * unit_size)


@given(st.floats(0.01, 9e5))
@settings(max_examples=100, deadline=None)
def test_three_digits_are_kept_by_default(value: float) -> None:
    assert parse(show(value, "power"), "power") == pytest.approx(value, rel=5.1e-3)


def test_converting_back_undoes_reading() -> None:
    for dimension, unit in EVERY_UNIT:
        assert convert(parse(f"7.5 {unit}", dimension), dimension, unit) == pytest.approx(7.5, rel=1e-12)


def test_a_unit_of_another_kind_cannot_be_shown() -> None:
    with pytest.raises(KeyError, match="length"):
        convert(1.0, "length", "V")


def test_what_is_not_a_number_is_shown_as_a_dash() -> None:
    assert show(math.nan, "length") == "-"


@pytest.mark.parametrize(
    ("value", "dimension", "system", "shown"),
    [
        (0.0305, "flow", "metric", "110 m3/h"),
        (21.0, "temperature", "us", "70 degF"),
        (0.0, "length", "metric", "0 m"),
        (1234.0, "irradiance", "metric", "1230 W/m2"),
        (0.00123, "resistance", "metric", "0.0012 ohm"),
        (-5.0, "temperature", "metric", "-5 degC"),
    ],
)
def test_values_are_shown_as_people_write_them(value: float, dimension: str, system: str, shown: str) -> None:
    assert show(value, dimension, system) == shown


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("8 ft 6 in", 2.5908),
        ("8ft 6in", 2.5908),
        ("8' 6\"", 2.5908),
        ("5 feet 11.5 inches", 1.8161),
        ("0 ft 9 in", 0.2286),
    ],
)
def test_feet_and_inches_are_read_as_on_a_tape(text, metres):
    assert parse(text, "length") == pytest.approx(metres)


@pytest.mark.parametrize("text", ["8.5 ft 6 in", "8 ft 12 in", "8 ft 6 ft", "6 in 8 ft", "8 ft -6 in", "8 ft 6"])
def test_what_is_no_length_on_a_tape_is_refused(text):
    with pytest.raises(QuantityError, match=f'"{text}"'):
        parse(text, "length")


def test_us_units_are_those_that_people_read():
    shown = [
        (-21.7, "temperature"),
        (6.0, "temperature difference"),
        (0.12, "length"),
        (3.0, "length"),
        (0.2, "volume"),
    ]
    assert [show(*one, "us") for one in shown] == ["-7 degF", "11 degF", "4.72 in", "9.84 ft", "52.8 gal"]
