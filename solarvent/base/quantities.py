"""One closed table of the trade's units, and a strict reader for numbers that carry one.

A general unit library is not used here on purpose: it evaluates expressions, and it knows far too many units, so that a
slip of the pen becomes a valid quantity of another kind. It serves as the oracle of the tests instead.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from solarvent.base.errors import QuantityError, likely_meant, nearest

#: No quantity is longer; patterns then take no time on what is none. [characters]
LONGEST_TEXT = 64


class Unit(NamedTuple):
    """A unit of the table: ``value in SI = number * factor + offset``."""

    factor: float
    offset: float = 0.0


def _table() -> dict[tuple[str, str], Unit]:
    """Build the table, by dimension and name; definitions are exact (international yard and pound, NIST SP 811) unless
    noted."""
    inch, foot, pound, gallon = 0.0254, 0.3048, 0.45359237, 3.785411784e-3
    rows: dict[str, dict[str, tuple[float, ...]]] = {
        "length": {"m": (1,), "cm": (0.01,), "mm": (0.001,), "in": (inch,), "ft": (foot,), "yd": (3 * foot,)},
        "area": {"m2": (1,), "cm2": (1e-4,), "mm2": (1e-6,), "in2": (inch**2,), "ft2": (foot**2,)},
        "volume": {"m3": (1,), "L": (1e-3,), "ft3": (foot**3,), "gal": (gallon,)},
        "mass": {"kg": (1,), "g": (1e-3,), "lb": (pound,), "oz": (pound / 16,)},
        "temperature": {
            "degC": (1,),
            "degF": (5 / 9, -160 / 9),
            "K": (1, -273.15),
        },
        "temperature difference": {"K": (1,), "degC": (1,), "degF": (5 / 9,)},
        "voltage": {"V": (1,), "mV": (1e-3,)},
        "current": {"A": (1,), "mA": (1e-3,)},
        "resistance": {"ohm": (1,), "mohm": (1e-3,)},
        "resistance per length": {"ohm/m": (1,), "ohm/km": (1e-3,), "ohm/kft": (1e-3 / foot,)},
        "power": {"W": (1,), "mW": (1e-3,), "kW": (1e3,), "Btu/h": (1055.05585262 / 3600,)},
        "energy": {"Wh": (1,), "kWh": (1e3,)},
        "flow": {
            "m3/s": (1,),
            "m3/h": (1 / 3600,),
            "m3/min": (1 / 60,),
            "L/s": (1e-3,),
            "cfm": (foot**3 / 60,),
        },
        # Water of conventional density, 1000 kg/m3 (NIST SP 811); at 4 degC an inch would be 249.082 Pa.
        "pressure": {"Pa": (1,), "hPa": (100,), "kPa": (1e3,), "inH2O": (249.089,), "mmH2O": (9.80665,)},
        "speed": {"m/s": (1,), "km/h": (1 / 3.6,), "mph": (0.44704,), "kn": (1.852 / 3.6,)},
        "irradiance": {"W/m2": (1,), "kW/m2": (1e3,)},
        "heat transfer": {"W/m2K": (1,), "Btu/h ft2 F": (5.678263341113488,)},
        "temperature coefficient": {"%/K": (0.01,), "%/degC": (0.01,)},
        "time": {"s": (1,), "min": (60,), "h": (3600,), "d": (86400,)},
        "rate": {"1/h": (1,)},
        "capacitance": {"F": (1,), "uF": (1e-6,), "mF": (1e-3,)},
    }
    return {(dimension, name): Unit(*numbers) for dimension, units in rows.items() for name, numbers in units.items()}


_TABLE = _table()

#: Other ways of writing a unit, that people and labels use.
_ALIASES = {
    "C": "degC", "°C": "degC", "F": "degF", "°F": "degF", "ohms": "ohm", "Ω": "ohm", "mΩ": "mohm", "l": "L",
    "metre": "m", "meter": "m", "metres": "m", "meters": "m",
    "litre": "L", "liter": "L", "litres": "L", "liters": "L", "m²": "m2", "mm²": "mm2", "cm²": "cm2", "ft²": "ft2",
    "sqft": "ft2", "m³": "m3", "ft³": "ft3", "m³/h": "m3/h", "m³/s": "m3/s", "CFM": "cfm", "watt": "W", "watts": "W",
    "volt": "V", "volts": "V", "amp": "A", "amps": "A", "feet": "ft", "foot": "ft", "inch": "in", "inches": "in",
    "W/m²": "W/m2", "W/m2/K": "W/m2K", "W/(m2 K)": "W/m2K", "Btu/(h ft2 F)": "Btu/h ft2 F", "%/C": "%/K",
    "%/°C": "%/K", "Ω/m": "ohm/m", "Ω/km": "ohm/km", "sec": "s", "hour": "h", "hours": "h", "minutes": "min",
    "gallon": "gal", "gallons": "gal", "in w.g.": "inH2O", "kph": "km/h", "knot": "kn", "µF": "uF",
}  # fmt: skip

#: Feet and inches, as a tape is read: "8 ft 6 in", 8' 6", whole feet and less than twelve inches.
_FEET_AND_INCHES = re.compile(
    r"""([0-9]{1,4})\ ?(?:ft|foot|feet|')\ ?([0-9]{1,2}(?:\.[0-9]{1,3})?)\ ?(?:in|inch|inches|")""", re.ASCII
)
_NUMBER = re.compile(r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)", re.ASCII)

#: What to write for a quantity of each kind, used in messages and in the JSON Schema.
EXAMPLES = {
    "length": "3.6 m",
    "area": "0.05 m2",
    "volume": "9 m3",
    "mass": "2 kg",
    "temperature": "21 degC",
    "temperature difference": "5 K",
    "voltage": "12 V",
    "current": "0.25 A",
    "resistance": "0.03 ohm",
    "resistance per length": "21 ohm/km",
    "power": "20 W",
    "energy": "60 Wh",
    "flow": "110 m3/h",
    "pressure": "20 Pa",
    "speed": "3 m/s",
    "irradiance": "600 W/m2",
    "heat transfer": "5.8 W/m2K",
    "temperature coefficient": "-0.33 %/K",
    "time": "10 min",
    "rate": "2 1/h",
    "capacitance": "2200 uF",
}


def units_of(dimension: str) -> tuple[str, ...]:
    """Name the units in which a quantity of this kind may be written."""
    return tuple(name for kind, name in _TABLE if kind == dimension)


def spellings_of(dimension: str) -> tuple[str, ...]:
    """Name all ways of writing the units of this kind, for patterns; the same that :func:`parse` accepts."""
    units = units_of(dimension)
    return units + tuple(word for word, unit in _ALIASES.items() if unit in units and word not in units)


def _article(dimension: str) -> str:
    return ("an " if dimension[0] in "aeiou" else "a ") + dimension


def parse(text: object, dimension: str) -> float:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
        ASCII digits with a decimal point, then one unit of the table: ``"3.6 m"``, ``"250 cfm"``, ``"72 degF"``; a
        length also in feet and inches, ``"8 ft 6 in"``.
    dimension : str
        The kind of quantity that is wanted, a key of `EXAMPLES`.

    Returns
    -------
    float
        The value in the SI unit of that kind; temperatures in degC, energy in Wh, rates per hour.

    Raises
    ------
    QuantityError
        If it is not text, has no unit, has a unit of another kind, or is not a finite number.

    Examples
    --------
    >>> parse("8 ft", "length")
    2.4384
    >>> round(parse("8 ft 6 in", "length"), 4)
    2.5908
    >>> round(parse("72 degF", "temperature"), 3)
    22.222
    """
    example = f'write it like "{EXAMPLES[dimension]}"'
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError.single("", f"{_article(dimension)} is wanted here", example)
    if not isinstance(text, str):
        units = ", ".join(units_of(dimension))
        number = str(text) if abs(text) < 1e15 else "this number"
        raise QuantityError.single("", f"{number} has no unit; {_article(dimension)} is wanted", f"{example} ({units})")
    stripped = text.strip()
    if len(stripped) > LONGEST_TEXT:
        raise QuantityError.single("", f'"{stripped[:LONGEST_TEXT]}..." is too long for a quantity', example)
    tape = _FEET_AND_INCHES.fullmatch(stripped) if dimension == "length" else None
    # Twelve inches or more on a tape are a slip, and are told as one below.
    if tape is not None and float(tape[2]) < 12:
        return (12 * float(tape[1]) + float(tape[2])) * _TABLE["length", "in"].factor
    found = _NUMBER.match(stripped)
    if found is None:
        raise QuantityError.single("", f'"{stripped}" does not begin with a number', example)
    rest = stripped[found.end() :].strip()
    if rest.startswith(","):
        raise QuantityError.single("", f'"{stripped}" has a comma', f"use a decimal point; {example}")
    if not rest:
        raise QuantityError.single("", f'"{stripped}" has no unit', f"{example} ({', '.join(units_of(dimension))})")
    unit = _find_unit(rest, dimension, stripped)
    value = float(found.group(1)) * unit.factor + unit.offset
    if not math.isfinite(value):
        raise QuantityError.single("", f'"{stripped}" is too large', example)
    return value


def _find_unit(name: str, dimension: str, shown: str) -> Unit:
    """Look a unit up among those of the wanted dimension; say what it is if it belongs to another."""
    # A name goes before what people write for it: "F" is farad, and of a temperature degF.
    for word in (name, _ALIASES.get(name, name)):
        if unit := _TABLE.get((dimension, word)):
            return unit
    # The likeliest slip first: a sound quantity of another kind.
    word = _ALIASES.get(name, name)
    others = sorted(kind for kind, known in _TABLE if known == word)
    units = ", ".join(units_of(dimension))
    if others:
        raise QuantityError.single(
            "", f'"{shown}" is {_article(others[0])}; {_article(dimension)} is wanted', f"use one of: {units}"
        )
    if not re.match(r"[A-Za-z°%µΩ]", name):
        raise QuantityError.single(
            "", f'"{shown}" is not one decimal number with one unit', f'write it like "{EXAMPLES[dimension]}"'
        )
    meant = likely_meant(name, units_of(dimension))
    write = f"{meant} Units of {dimension}: {units}." if meant else nearest(name, units_of(dimension))
    raise QuantityError.single("", f'"{shown}": the unit "{name}" is not known', write or f"use one of: {units}")


def convert(value: float, dimension: str, unit: str) -> float:
    """Turn an SI value, or an array of them, into a unit for display; KeyError if the unit is not one of that kind.

    Examples
    --------
    >>> round(convert(0.0306, "flow", "cfm"), 1)
    64.8
    """
    entry = _TABLE[dimension, unit]
    return (value - entry.offset) / entry.factor


#: The unit in which each kind of quantity is shown, in the two systems that a plan may ask for.
SHOWN = {
    "metric": {"flow": "m3/h", "temperature": "degC", "temperature difference": "K", "length": "m", "area": "m2",
               "volume": "m3", "speed": "m/s", "pressure": "Pa", "heat transfer": "W/m2K", "mass": "kg"},
    "us": {"flow": "cfm", "temperature": "degF", "temperature difference": "degF", "length": "ft", "area": "ft2",
           "volume": "ft3", "speed": "mph", "pressure": "inH2O", "heat transfer": "Btu/h ft2 F", "mass": "lb"},
}  # fmt: skip


#: Holes and vents below this are spoken of in cm2 or in2. [m2]
_SMALL_AREA = 0.2
#: In US units shorter lengths are inches, and less water is gallons. [m], [m3]
_INCHES, _GALLONS = 0.5, 2.0
#: What a thermometer of a house tells, which knows no hundredths.
_OF_A_THERMOMETER = ("temperature", "temperature difference")


def shown_unit(dimension: str, system: str) -> str:
    """Name the unit in which a quantity is shown in the ``"metric"`` or the ``"us"`` system."""
    return SHOWN[system].get(dimension) or units_of(dimension)[0]


def show(value: float, dimension: str, system: str = "metric", decimals: int | None = None) -> str:
    """Write an SI value with its unit, for people; ``"-"`` for a value that is not a number.

    Without `decimals`: three significant digits without noughts at the end, of temperatures at most one after the
    point, and whole degrees Fahrenheit.

    Examples
    --------
    >>> show(0.0305, "flow"), show(0.0305, "flow", "us")
    ('110 m3/h', '64.6 cfm')
    >>> show(-0.03, "temperature"), show(0.26, "temperature difference"), show(0.1, "area")
    ('0 degC', '0.3 K', '1000 cm2')
    >>> show(-21.7, "temperature", "us"), show(0.12, "length", "us"), show(0.2, "volume", "us")
    ('-7 degF', '4.72 in', '52.8 gal')
    """
    if value is None or math.isnan(value):
        return "-"
    unit = shown_unit(dimension, system)
    if dimension == "area" and abs(value) < _SMALL_AREA:
        unit = {"metric": "cm2", "us": "in2"}[system]
    elif system == "us" and dimension in ("length", "volume"):
        small = {"length": ("in", _INCHES), "volume": ("gal", _GALLONS)}[dimension]
        unit = small[0] if abs(value) < small[1] else unit
    number = convert(value, dimension, unit)
    if decimals is None:
        size = math.floor(math.log10(abs(number))) if number else 0
        if unit == "degF" and abs(number) >= 1:
            return f"{round(number):d} {unit}"
        # Three significant digits, as a plate has them.
        decimals = min(max(2 - size, 0), 1 if dimension in _OF_A_THERMOMETER else 4)
        # Nobody says 0.300 m or 20.0 degC.
        written = f"{round(number, 2 - size):z.{decimals}f}"
        return f"{written.rstrip('0').rstrip('.') if decimals else written} {unit}"
    return f"{number:z.{decimals}f} {unit}"


#: The eight points of the compass, from north on.
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def compass(azimuth: float) -> str:
    """Name the one of :data:`COMPASS` that is nearest to a direction, in degrees from north by east.

    Examples
    --------
    >>> compass(200.0), compass(-90.0)
    ('south', 'west')
    """
    return COMPASS[round(azimuth / 45) % 8]
