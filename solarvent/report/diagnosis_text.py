"""What readings mean, as text and as data."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from solarvent.base.findings import called, listed
from solarvent.bench.diagnosis import Diagnosis
from solarvent.bench.evidence import UNITS, KnownLight, NextReading, Ranked
from solarvent.bench.suspects import CAUSES, FAULTS
from solarvent.report.layout import CAUTIONS, Block, Line, next_step, paragraphs, titled

_PLACES = {
    "panel_open": "{part}, nothing joined",
    "panel_short": "{part}, shorted by the meter",
    "panel_voltage": "{part}, fans joined",
    "panel_current": "{part}, fans joined",
    "voltage": "{part}",
    "current": "{part}",
}
_HOW = {
    "panel_open": "volts at {part} with nothing joined",
    "panel_short": "amperes through the meter across {part}, 10 A range, a few seconds",
    "panel_voltage": "volts at {part} with everything joined",
    "panel_current": "amperes out of {part} with everything joined",
    "voltage": "volts at {part} with everything joined",
    "current": "amperes into {part} with everything joined",
}
_SIGHTS = {"turns": "it turns", "stands": "it stands still", "pulses": "it twitches and the meter swings"}


def _at(words: Mapping[str, str], kind: str, part: str) -> str:
    """Put a part into the words for a kind of reading."""
    return words[kind].format(part=called("fan", [part]) if kind in ("voltage", "current") else part)


def render_diagnosis(title: str, found: Sequence[Diagnosis], light: KnownLight, note: str, then: str) -> str:
    """Write what the readings of all circuits mean, in at most 80 columns; a note under the title, and what is next."""
    blocks = [block.on_screen() for block in diagnosis_blocks(found, light)]
    return "\n\n".join([titled(title, note), *blocks, paragraphs(CAUTIONS), next_step(then)])


def diagnosis_blocks(found: Iterable[Diagnosis], light: KnownLight) -> Iterator[Block]:
    """Tell what the readings of all circuits mean, one explanation a block."""
    for one in found:
        yield Block(f"Circuit of {', '.join(one.panels)}", list(_light(one, light)))
        if stops := [*_minus(one), *_over_limit(one), *_too_high(one)]:
            yield Block("", stops, "stop")
        title = "What fits the readings" + (", signs apart" if one.minus else "") + ", best first"
        for lines in _ranking(one):
            yield Block(title, lines)
            title = ""
        if after := list(_afterwards(one)):
            yield Block(title, after)


def is_urgent(found: Iterable[Diagnosis]) -> bool:
    """Tell whether something may be destroyed if the circuit stays as it is."""
    return any(one.minus or one.over_limit or one.too_high or FAULTS[one.ranking[0].fault].urgent for one in found)


def _light(found: Diagnosis, light: KnownLight) -> Iterator[Line]:
    """Say what light was known, and what the readings make of it."""
    if light.irradiance is not None:
        source = "as you measured it" if light.measured else "if the sky was clear; a cloud may have taken most of it"
        yield Line(f"Light on the cells: {light.irradiance:.0f} W/m2, {source}.")
    middle, low, high = (float(f"{level:.2g}") for level in found.light)
    if high < 1.5 * low:
        yield Line(f"By these readings the panel works as a sound one would in {middle:.0f} W/m2, give or take 10 %.")
    elif light.irradiance is None:
        yield Line(
            f"The light was not given, and these readings leave it open ({low:.0f} to {high:.0f} W/m2): weak light and"
            " a weak panel look alike."
        )


def _minus(found: Diagnosis) -> Iterator[Line]:
    for kind, part in found.minus:
        yield Line(
            f"STOP  Minus sign at {_at(_PLACES, kind, part)}: the red probe was on the negative pole. If the"
            " probe was where + should be, the poles are swapped somewhere between the panel's cells and this point."
            " Cover the panel, unplug the fan, and meter plug by plug from the panel on until the sign turns.",
            "      ",
            "",
        )


def _over_limit(found: Diagnosis) -> Iterator[Line]:
    for name, volts, limit in found.over_limit:
        yield Line(
            f"STOP  {name} gets {volts:.1f} V and stands {limit:g} V: cover the panel. Whatever else is wrong, it will"
            " not last so.",
            "      ",
            "",
        )


def _too_high(found: Diagnosis) -> Iterator[Line]:
    for name, volts, most in found.too_high:
        yield Line(
            f"STOP  {name} shows {volts:.1f} V with nothing joined; by its plate it has {most:.1f} V at the most. Leave"
            " the fans off until you know why.",
            "      ",
            "",
        )


def _ranking(found: Diagnosis) -> Iterator[list[Line]]:
    """Write each explanation: what, where, what gives it away, what it would have read, and its causes."""
    first_of: dict[str, int] = {}
    for number, one in enumerate(found.ranking, start=1):
        fault = FAULTS[one.fault]
        where = f"{', '.join(one.parts)}: " if one.parts else ""
        tie = ", tied" if one.tied else ""
        lines = [Line(f"{number}. {where}{fault.what} ({_likeliness(one.posterior)}{tie})", "   ", "")]
        earlier = first_of.setdefault(one.fault, number)
        if earlier == number:
            lines.append(Line(f"Sign of it: {fault.sign}.", "   ", "   "))
        if one.expected:
            lines.append(Line(f"It would read: {_expected(found, one)}.", "   ", "   "))
        if earlier != number:
            lines.append(Line(f"Causes as under {earlier}.", "   "))
        for cause in one.causes if earlier == number else ():
            words, check = CAUSES[cause]
            if check:
                lines.append(Line(f"- {words} -> {check}.", "     ", "   "))
        yield lines


def _likeliness(posterior: float) -> str:
    """Say a posterior in words; never as a certainty."""
    # Where one word ends and the next begins: no source.
    for limit, words in ((0.9, "by far the likeliest"), (0.6, "likely"), (0.3, "quite possible"), (0.1, "possible")):
        if posterior >= limit:
            return words
    return "unlikely"


def _expected(found: Diagnosis, one: Ranked) -> str:
    return "; ".join(
        f"{_at(_PLACES, kind, part)} {_value(kind, value)} (you read {_value(kind, found.readings[kind, part])})"
        for (kind, part), value in one.expected.items()
    )


def _value(kind: str, value: float) -> str:
    return f"{value:.1f} V" if UNITS[kind] == "V" else f"{value:.2f} A"


def _afterwards(found: Diagnosis) -> Iterator[Line]:
    """Say what is tied, what to read next, and what nobody looked at."""
    if not found.explained:
        yield Line(
            "None of these is near all that was read: read once more, with the range and the socket of the meter in"
            " mind, before you change anything."
        )
    tied = [str(number) for number, one in enumerate(found.ranking, start=1) if one.tied]
    if tied:
        yield Line(f"Tied: these readings cannot tell {listed(tied)} apart; the order is only what happens more often.")
    if found.next_reading:
        yield Line(f"Next: {_next(found, found.next_reading)}", "      ", "")
    elif tied:
        yield Line("Next: no other reading of volts or amperes would help; use the checks above.", "      ", "")
    if found.unread:
        yield Line(f"Nothing was read at {listed(found.unread)}: a fault there is not excluded.")


def _next(found: Diagnosis, wanted: NextReading) -> str:
    """Say how to take the next reading, and which outcome speaks for what."""
    number = {(one.fault, one.parts): place for place, one in enumerate(found.ranking, start=1)}
    outcomes: dict[str, list[str]] = {}
    for fault, parts, value in wanted.outcomes:
        words = _SIGHTS[value] if isinstance(value, str) else f"about {_value(wanted.kind, value)}"
        outcomes.setdefault(words, []).append(str(number[fault, parts]))
    if wanted.kind == "seen":
        speaks = "; ".join(f"if {words}, that speaks for {listed(numbers)}" for words, numbers in outcomes.items())
        return f"watch {called('fan', [wanted.part])} and the meter for ten seconds: {speaks}."
    speaks = "; ".join(f"{words} would speak for {listed(numbers)}" for words, numbers in outcomes.items())
    return f"read {_at(_HOW, wanted.kind, wanted.part)}: {speaks}."


def diagnosis_data(title: str, found: Iterable[Diagnosis], light: KnownLight) -> dict[str, Any]:
    """Give the meaning of readings as plain data, schema ``solarvent.diagnosis/1``, in SI units."""
    return {
        "schema": "solarvent.diagnosis/1",
        "title": title,
        "irradiance": light.irradiance,
        "irradiance_measured": light.measured,
        "temp_cell": light.temp_cell,
        "circuits": [_circuit_data(one) for one in found],
    }


def _circuit_data(found: Diagnosis) -> dict[str, Any]:
    middle, low, high = found.light
    wanted = found.next_reading
    return {
        "panels": list(found.panels),
        "readings": [_reading(kind, part, value) for (kind, part), value in found.readings.items()],
        "over_limit": [
            {"part": name, "value": volts, "limit": limit, "unit": "V"} for name, volts, limit in found.over_limit
        ],
        "too_high": [
            {"part": name, "value": volts, "limit": most, "unit": "V"} for name, volts, most in found.too_high
        ],
        "explained": found.explained,
        "minus": [{"kind": kind, "part": part} for kind, part in found.minus],
        "effective_irradiance": {"middle": middle, "low": low, "high": high},
        "ranking": [
            {
                "fault": one.fault,
                "text": FAULTS[one.fault].what,
                "parts": list(one.parts),
                "share": round(one.posterior, 4),
                "tied": one.tied,
                "causes": [
                    {"cause": cause, "text": CAUSES[cause][0], "check": CAUSES[cause][1]} for cause in one.causes
                ],
                "expected": [_reading(kind, part, value) for (kind, part), value in one.expected.items()],
            }
            for one in found.ranking
        ],
        "next": wanted
        and {
            "kind": wanted.kind,
            "part": wanted.part,
            "outcomes": [
                {"fault": fault, "parts": list(parts), "value": value} for fault, parts, value in wanted.outcomes
            ],
        },
        "unread": list(found.unread),
    }


def _reading(kind: str, part: str, value: float) -> dict[str, Any]:
    return {"kind": kind, "part": part, "value": value, "unit": UNITS[kind]}
