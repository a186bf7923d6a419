"""Field types of the plan and part records: quantities with units, shares, angles and clock times."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema
from pydantic_core import PydanticCustomError

from solarvent.base.errors import QuantityError
from solarvent.base.quantities import EXAMPLES, convert, parse, shown_unit, spellings_of, units_of


class Record(BaseModel):
    """Base of all records: unknown keys are mistakes, types are strict, values cannot be changed afterwards."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, validate_default=True, allow_inf_nan=False)


def mistake(what: str, write: str) -> PydanticCustomError:
    """Make the error of a field that a person can mend: what is wrong there, and what to write."""
    return PydanticCustomError("mistake", "{what}", {"what": what, "write": write})


def quantity(
    dimension: str, *, above: float | None = None, least: float | None = None, most: float | None = None
) -> Any:
    """Make a field type of a :class:`Record` that reads text such as ``"3.6 m"`` into the SI value.

    `dimension` is a kind of quantity of :mod:`solarvent.base.quantities`; the bounds, more than (`above`), at least and
    at most, are in its SI unit.
    """

    limits: list[tuple[Callable[[float, float], bool], str, float | None]] = [
        (operator.gt, "more than", above),
        (operator.ge, "at least", least),
        (operator.le, "at most", most),
    ]

    def read(text: object) -> float:
        try:
            value = parse(text, dimension)
        except QuantityError as error:
            raise mistake(error.problems[0].what, error.problems[0].write) from None
        for holds, words, limit in limits:
            if limit is not None and not holds(value, limit):
                shown = shown_unit(dimension, "metric")
                write = f"it must be {words} {convert(limit, dimension, shown):g} {shown}"
                raise mistake(f"{str(text).strip()} is out of range", write)
        return value

    # For editors alone: a pattern cannot know the bounds, nor feet and inches.
    units = "|".join(re.escape(unit) for unit in spellings_of(dimension))
    schema = {
        "type": "string",
        "pattern": rf"^\s*[+-]?[0-9]*\.?[0-9]+([eE][+-]?[0-9]+)?\s*({units})\s*$",
        "examples": [EXAMPLES[dimension]],
        "description": f"{dimension} with its unit: {', '.join(units_of(dimension))}",
    }
    unit = units_of(dimension)[0]
    written = PlainSerializer(
        lambda value: f"{convert(value, dimension, unit):.12g} {unit}", return_type=str, when_used="json-unless-none"
    )
    return Annotated[float, BeforeValidator(read), written, WithJsonSchema(schema)]


Length = quantity("length", above=0, most=500)
LengthOrZero = quantity("length", least=0, most=500)
#: Of small houses and what goes into them: a measure in centimetres or millimetres that is taken for metres is told.
FloorLength = quantity("length", above=0, most=100)
Height = quantity("length", above=0, most=20)
HeightOrZero = quantity("length", least=0, most=20)
PartLength = quantity("length", above=0, most=5)
AreaOrZero = quantity("area", least=0, most=1000)
Volume = quantity("volume", above=0, most=1e5)
Weight = quantity("mass", above=0, most=1e5)
Temperature = quantity("temperature", least=-60, most=100)
WireTemperature = quantity("temperature", least=-40, most=100)
TemperatureDifference = quantity("temperature difference", above=0, most=60)
Voltage = quantity("voltage", above=0, most=600)
VoltageOrZero = quantity("voltage", least=0, most=600)
Current = quantity("current", above=0, most=100)
CurrentOrZero = quantity("current", least=0, most=100)
Resistance = quantity("resistance", least=0, most=1e6)
ResistancePerLength = quantity("resistance per length", above=0, most=10)
Power = quantity("power", above=0, most=2000)
Flow = quantity("flow", above=0, most=10)
Pressure = quantity("pressure", above=0, most=5000)
PressureOrZero = quantity("pressure", least=0, most=5000)
HeatTransfer = quantity("heat transfer", above=0, most=20)
Coefficient = quantity("temperature coefficient", least=-0.02, most=0.02)
Altitude = quantity("length", least=-450, most=6000)
Capacitance = quantity("capacitance", above=0, most=5)
Seconds = quantity("time", above=0, most=3600)

Share = Annotated[float, Field(ge=0, le=1)]
Azimuth = Annotated[float, Field(ge=0, le=360, description="degrees clockwise from north")]


def _clock(text: str) -> str:
    """Accept a time of day as HH:MM."""
    if not re.fullmatch(r"([01][0-9]|2[0-4]):[0-5][0-9]", text) or text > "24:00":
        raise mistake(f'"{text}" is not a time of day', 'write it like "15:00"')
    return text


def _ip_code(text: str) -> str:
    """Accept a code of IEC 60529: a figure for dust, one for water, or X where it is not said."""
    if not re.fullmatch(r"IP[0-6X][0-9X]", text.upper()):
        raise mistake(f'"{text[:20]}" is no IP code', 'write it as on the label, like "IP54"')
    return text.upper()


IpCode = Annotated[str, AfterValidator(_ip_code), Field(json_schema_extra={"examples": ["IP54"]})]

ClockTime = Annotated[str, AfterValidator(_clock), Field(json_schema_extra={"examples": ["15:00"]})]


def zones_called(words: str) -> list[str]:
    """Name the time zones that go by these words or by this town, the likeliest first."""
    from zoneinfo import available_timezones

    word = words.strip().replace(" ", "_").lower()
    # "Europe/London" and "london"; of several towns of a name the one in a folder of its continent comes first.
    known = (name for name in available_timezones() if word in (name.lower(), name.lower().split("/")[-1]))
    return sorted(known, key=lambda name: (name.lower() != word, name.count("/") != 1, name))


def minutes_of(clock: str) -> int:
    """Minutes from midnight to a time of day like ``"15:30"``. [min]"""
    hours, minutes = clock.split(":")
    return 60 * int(hours) + int(minutes)


def _identifier(text: str) -> str:
    """Accept a short name for a part, to be used in runs and messages."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9._-]{0,39}", text):
        write = 'use up to 40 small letters, digits, "-", "_" or ".", like "fan-east"'
        raise mistake(f'"{text[:50]}" cannot serve as an id', write)
    return text


Identifier = Annotated[str, AfterValidator(_identifier)]


class Part(Record):
    """What every part has.

    ``part`` names the library entry on which a plan's part is based; keys beside it win over the entry's.
    """

    id: Identifier = Field("", validate_default=False)
    part: str | None = None
    name: str = ""
    source: str = "typical"
    price: Annotated[float, Field(ge=0)] | None = None
    owned: bool = Field(True, description="false: it is still to be bought")
