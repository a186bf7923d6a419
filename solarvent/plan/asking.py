"""Questions in plain words, and how an answer becomes something that a plan may hold."""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import TypeAdapter, ValidationError

from solarvent.base.errors import QuantityError, SolarventError, likely_meant
from solarvent.base.quantities import COMPASS, convert, parse, units_of
from solarvent.plan.fields import AreaOrZero, HeightOrZero, Length, Voltage, zones_called
from solarvent.plan.house_records import Energy
from solarvent.plan.library import Library
from solarvent.plan.plan_record import Place

#: Points of the compass and their azimuths in degrees.
_AZIMUTHS = {name: 45.0 * number for number, name in enumerate(COMPASS)}
_SHORT = {"".join(half[0] for half in name.split("-")): name for name in COMPASS}
NOTHING = ("none", "nothing", "-", "0")


@dataclass(frozen=True)
class Question:
    """One thing to ask a person, in plain words without the question mark; an empty answer stands for `default`.

    `read` turns the words of the answer into a value, or raises a :class:`SolarventError` that says what to write;
    `help` says what to do if one does not know; an answer may be a number of `choices`, from 1.
    """

    text: str
    default: str
    help: str
    read: Callable[[str], Any]
    choices: Sequence[str] = ()


#: A conversation: it gives a question, takes the value of its answer, and in the end returns what it was about.
Asking = Generator[Question, Any, Any]


def answer_of(question: Question, words: str) -> Any:
    """Turn the words of an answer into a value.

    Raises
    ------
    QuantityError
        If it cannot be used; its problem says what to write, with the question's own example.
    """
    try:
        return question.read(words.strip() or question.default)
    except SolarventError as error:
        problem = error.problems[0]
        # The reader of one quantity shows an example of its own; the default fits the question and the person's units.
        own = "write it like" in problem.write and question.default.lower() not in NOTHING
        help_on = "" if own else problem.write
        example = f'write it like "{question.default}"'
        raise QuantityError.single("", problem.what, help_on or example) from None


def choose(text: str, default: str, help_on: str, options: Mapping[str, str]) -> Question:
    """Make a question with a list to choose from: words of a plan, and what they mean.

    Examples
    --------
    >>> question = choose("Its roof", "dome", "", {"gable": "two slopes", "dome": "a dome"})
    >>> question.default, answer_of(question, ""), answer_of(question, "1")
    ('2', 'dome', 'gable')
    """
    keys, lines = list(options), list(options.values())
    return Question(text, str(keys.index(default) + 1), help_on, one_of(keys, lines), lines)


def one_of(words: Sequence[str], lines: Sequence[str] = ()) -> Callable[[str], str]:
    """Read a choice: its number in the list, from 1, its word, or some words that only one line of the list has.

    Examples
    --------
    >>> read = one_of(["shed", "coop"], ["shed or workshop", "coop for hens or other animals"])
    >>> read("2"), read("Shed"), read("hens")
    ('coop', 'shed', 'coop')
    """

    def read(text: str) -> str:
        if text.isdecimal() and text.isascii():
            if not 1 <= int(text) <= len(words):
                raise QuantityError.single(
                    "", f"there is no {text} in the list", f"write a number from 1 to {len(words)}"
                )
            return words[int(text) - 1]
        word = text.lower()
        if word in words:
            return word
        # By words alone: a measure like "120 mm" may stand in one line and be meant for another.
        meant = [own for own, line in zip(words, lines, strict=False) if word[:1].isalpha() and word in line.lower()]
        if len(meant) == 1:
            return meant[0]
        if meant:
            what = f'"{text[:40]}" stands in {len(meant)} lines of the list'
            numbers = ", ".join(str(words.index(own) + 1) for own in meant)
            raise QuantityError.single("", what, f"write the number of the one: {numbers}")
        close = get_close_matches(word, words, n=1)
        hint = f'did you mean "{close[0]}"?' if close else _with_all(word, lines)
        hint = hint or f"write a number from 1 to {len(words)}"
        raise QuantityError.single("", f'"{text[:40]}" is not in the list', hint)

    return read


def _with_all(text: str, lines: Sequence[str]) -> str:
    """Ask whether a line is meant that has all words and measures of a text: ``"30 w"``; empty if none or many have."""
    words = re.compile(r"[^\s,;()]+")
    wanted = set(words.findall(text))
    found = [number for number, line in enumerate(lines, 1) if wanted and wanted <= set(words.findall(line.lower()))]
    if not 0 < len(found) < 4:
        return ""
    return "write its number: " + " or ".join(f"{number} for {lines[number - 1]}" for number in found)


def field(kind: Any, unit: str = "") -> Callable[[str], str]:
    """Read a quantity with the bounds of a plan's field, and keep it as it was written.

    Where the question itself names a unit ("Volts on its label"), a bare number is in that `unit`.
    """
    checker = TypeAdapter(kind)

    def read(text: str) -> str:
        if unit and re.fullmatch(r"[0-9]*\.?[0-9]+", text, re.ASCII):
            text = f"{text} {unit}"
        try:
            checker.validate_python(text)
        except ValidationError as error:
            detail = error.errors()[0]
            raise QuantityError.single("", detail["msg"], str(detail.get("ctx", {}).get("write", ""))) from None
        return " ".join(text.split())

    return read


def below(kind: Any, dimension: str, unit: str, limit: str) -> Callable[[str], str]:
    """Read a quantity that is smaller than another one."""
    read = field(kind, unit)

    def checked(text: str) -> str:
        value = read(text)
        if parse(value, dimension) >= parse(limit, dimension):
            raise QuantityError.single("", f"{value} is not below {limit}", "it is the smaller one on a label")
        return value

    return checked


def several(kind: Any, count: int, names: str) -> Callable[[str], list[str]]:
    """Read some quantities with an x between them: ``"10 ft x 8 ft"``.

    Examples
    --------
    >>> from solarvent.plan.fields import Length
    >>> several(Length, 2, "length x width")("10 ft x 8 ft")
    ['10 ft', '8 ft']
    """
    one = field(kind)

    def read(text: str) -> list[str]:
        parts = _by_x(text)
        if len(parts) != count:
            raise QuantityError.single("", f"{count} measures are wanted, {names}; here is {len(parts)}")
        # A unit that is said once holds for both: "10 x 8 ft", "3 m x 2".
        if unit := next((found.group() for part in parts if (found := re.search(r"[a-zA-Z]+$", part))), ""):
            parts = [f"{part} {unit}" if re.fullmatch(r"[0-9.]+", part, re.ASCII) else part for part in parts]
        return [one(part) for part in parts]

    return read


def heights(text: str) -> list[str]:
    """Read the heights of a low wall and of the top: ``"1.7 m x 2.4 m"``."""
    low, top = several(HeightOrZero, 2, "height of the low wall x height at the top")(text)
    if not 0 < parse(top, "length") >= parse(low, "length"):
        raise QuantityError.single("", "the top is not above the wall", "give the wall first")
    return [low, top]


def area(text: str) -> str:
    """Read an area, as such or as two sides; no area at all is ``"0 m2"``.

    Examples
    --------
    >>> area("20 cm x 30 cm"), area("0.5 ft2"), area("none")
    ('600 cm2', '0.5 ft2', '0 m2')
    """
    if text.lower() in NOTHING:
        return "0 m2"
    sides = _by_x(text)
    if len(sides) == 2:
        written = several(Length, 2, "two sides")(text)
        units = {re.sub(r"[^a-zA-Z]", "", side) for side in written}
        unit = units.pop() if len(units) == 1 else "m"
        unit = unit if f"{unit}2" in units_of("area") else "m"
        first, second = (convert(parse(side, "length"), "length", unit) for side in written)
        return field(AreaOrZero)(f"{first * second:.4g} {unit}2")
    return field(AreaOrZero)(text)


def whole(least: int, most: int) -> Callable[[str], int]:
    """Read a count."""

    def read(text: str) -> int:
        if not (text.isdecimal() and text.isascii() and least <= int(text) <= most):
            raise QuantityError.single("", f'"{text[:40]}" will not do', f"write a number from {least} to {most}")
        return int(text)

    return read


def position(text: str) -> tuple[float, float]:
    """Read latitude and longitude: signed, or with N, S, E, W behind them.

    Examples
    --------
    >>> position("51.5, -2.6"), position("36.8 S 174.7 E")
    ((51.5, -2.6), (-36.8, 174.7))
    """
    number = r"([+-]?[0-9]{1,3}(?:\.[0-9]{1,8})?)\s*°?\s*"
    # ASCII alone: digits of other scripts would be read as numbers too.
    found = re.fullmatch(rf"{number}([NS]?)\s*[,; ]\s*{number}([EW]?)", text, re.IGNORECASE | re.ASCII)
    if found is None:
        raise QuantityError.single("", f'"{text[:40]}" is no place')
    latitude = float(found[1]) * (-1 if found[2].upper() == "S" else 1)
    longitude = float(found[3]) * (-1 if found[4].upper() == "W" else 1)
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise QuantityError.single("", "latitude goes from -90 to 90 and longitude from -180 to 180")
    return latitude, longitude


def zone(text: str) -> str:
    """Read the name of a time zone; a town that has one will do.

    Examples
    --------
    >>> zone("Europe/London"), zone("denver")
    ('Europe/London', 'America/Denver')
    """
    from zoneinfo import available_timezones

    towns = zones_called(text)
    if not towns:
        # Towns only: of the whole names, half a continent would be near.
        word = text.strip().replace(" ", "_").lower()
        hint = likely_meant(word, sorted(name.lower().split("/")[-1] for name in available_timezones()))
        raise QuantityError.single("", f'"{text[:40]}" is no time zone', hint)
    return Place(latitude=0.0, longitude=0.0, timezone=towns[0]).timezone


def facing(text: str) -> tuple[float, float]:
    """Read where a panel looks and how steep it stands: azimuth and tilt. [deg]

    Examples
    --------
    >>> facing("south-west, 35"), facing("SE 20"), facing("200 30")
    ((225.0, 35.0), (135.0, 20.0), (200.0, 30.0))
    """
    if text.lower() == "flat":
        return _AZIMUTHS["south"], 0.0
    way = r"([a-z]+(?:[- ]?[a-z]+)?|[0-9]{1,3})\s*[,; ]\s*([0-9]{1,2}(?:\.[0-9]+)?)\s*(?:°|deg|degrees)?"
    found = re.fullmatch(way, text.lower())
    if found is None:
        raise QuantityError.single("", f'"{text[:40]}" is not a direction and a steepness')
    word = found[1].replace(" ", "-")
    for name in COMPASS:
        if word.replace("-", "") == name.replace("-", ""):
            word = name
    word = _SHORT.get(word, word)
    if word not in _AZIMUTHS and not (word.isdigit() and int(word) <= 360):
        raise QuantityError.single("", f'"{found[1]}" is no direction', "use north, NE, east ... or degrees from north")
    if float(found[2]) > 90:
        raise QuantityError.single("", f"{found[2]} degrees is steeper than a wall", "0 lies flat, 90 stands upright")
    return _AZIMUTHS[word] if word in _AZIMUTHS else float(word), float(found[2])


def battery_label(text: str) -> tuple[str, str]:
    """Read the volts of a battery with its ampere hours or watt hours: ``"12 V, 7 Ah"``; both as written."""
    label = re.fullmatch(r"([0-9]*\.?[0-9]+ *V)[ ,]+([0-9]*\.?[0-9]+ *[AW]h)", text.strip(), re.ASCII)
    if label is None:
        what = f'"{text[:30]}" does not tell the volts and the ampere hours of a battery'
        raise QuantityError.single("", what, 'write both, like "12 V, 7 Ah"')
    volts, capacity = field(Voltage)(label[1]), label[2]
    amp_hours = capacity[:-2]
    # The energy is what a plan bounds; 1 Ah at so many volts is so many watt hours.
    field(Energy)(f"{float(amp_hours) * parse(volts, 'voltage'):g} Wh" if capacity.endswith("Ah") else capacity)
    return volts, capacity


def cable(library: Library) -> Callable[[str], tuple[str, str]]:
    """Read a length and a gauge: ``"4 m, 18 AWG"``."""

    def read(text: str) -> tuple[str, str]:
        length, comma, gauge = text.partition(",")
        if not comma and (found := re.fullmatch(r"(.*\S)\s+([0-9.]+ ?(?:AWG|mm2))", text, re.IGNORECASE | re.ASCII)):
            length, gauge = found.groups()
        if not gauge.strip():
            raise QuantityError.single("", "length and thickness are wanted, with a comma between")
        library.get("wires", gauge.strip())
        return field(Length)(length), gauge.strip()

    return read


def _by_x(text: str) -> list[str]:
    """Part a text at its x, times sign or "by"."""
    return [part.strip() for part in re.split(r"\s*(?:[x×X]|\bby\b)\s*", text)]
