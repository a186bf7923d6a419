"""Readings taken with a meter, as they are written on the command line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from solarvent.base.errors import PlanError, Problem, QuantityError, nearest
from solarvent.base.quantities import parse

#: What a person can see a fan do.
SEEN = ("turns", "stands", "pulses")

_HIGHEST = {"voltage": 600.0, "current": 100.0}


@dataclass(frozen=True)
class Measurement:
    """What was read at one place with everything joined; None for what was not read.

    Attributes
    ----------
    voltage, current : float or None
        [V], [A]; a voltage below zero means that the red probe was on the negative pole.
    seen : str
        One of :data:`SEEN`, or empty.
    """

    voltage: float | None = None
    current: float | None = None
    seen: str = ""


@dataclass(frozen=True)
class Readings:
    """All readings of one visit with the meter, by the id of the part.

    `panel_open` [V] and `panel_short` [A] are of a panel alone; the others are taken with everything joined.
    """

    panel_open: dict[str, float] = field(default_factory=dict)
    panel_short: dict[str, float] = field(default_factory=dict)
    panel_joined: dict[str, Measurement] = field(default_factory=dict)
    fans: dict[str, Measurement] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.panel_open or self.panel_short or self.panel_joined or self.fans)


def parse_readings(
    panels: Sequence[str],
    fans: Sequence[str],
    *,
    panel_open: Iterable[str] = (),
    panel_short: Iterable[str] = (),
    panel_joined: Iterable[str] = (),
    fan: Iterable[str] = (),
) -> Readings:
    """Read the words of the command line; ids before ``=`` are needed only where there are several panels.

    `panel_open` and `panel_short` are like ``"20.4V"`` or ``"roof=20.4V"``; `panel_joined` like ``"17.8V/0.45A"``,
    either alone; `fan` like ``"east=11.2V/0.23A"``, either alone, and what was seen: ``"east=3V/0.6A/pulses"``.

    Raises
    ------
    PlanError
        With every reading that cannot be understood, and how to write it.
    """
    problems: list[Problem] = []
    by_option: list[dict] = []
    for option, texts, ids, reader in (
        ("--panel-open", panel_open, panels, _voltage),
        ("--panel-short", panel_short, panels, _current),
        ("--panel-joined", panel_joined, panels, _measurement),
        ("--fan", fan, fans, _measurement_and_sight),
    ):
        by_place: dict = {}
        for text in texts:
            try:
                name, value = _named(text, ids)
                if name in by_place:
                    raise QuantityError.single("", f'"{name}" is given twice', "give each place one reading")
                by_place[name] = reader(value)
            except (PlanError, QuantityError) as error:
                problems += [Problem(option, problem.what, problem.write) for problem in error.problems]
        by_option.append(by_place)
    if problems:
        raise PlanError(problems)
    return Readings(*by_option)


def _named(text: str, ids: Sequence[str]) -> tuple[str, str]:
    """Part a reading from the id before it, which may be left out where there is only one."""
    name, sign, value = text.partition("=")
    if not sign:
        if len(ids) == 1:
            return ids[0], text
        raise PlanError.single("", f'"{text[:40]}" does not say where', f'write it like "{ids[0]}=..."')
    name = name.strip()
    if name not in ids:
        raise PlanError.single("", f'there is no "{name[:40]}" in the plan', nearest(name, ids))
    return name, value


def _voltage(text: str) -> float:
    return _bounded(parse(text, "voltage"), "voltage", text)


def _current(text: str) -> float:
    value = _bounded(parse(text, "current"), "current", text)
    if value < 0:
        raise QuantityError.single(
            "", f'"{text.strip()}" is below zero', "give the size; a minus sign counts for volts"
        )
    return value


def _bounded(value: float, dimension: str, text: str) -> float:
    if abs(value) > _HIGHEST[dimension]:
        what = f'"{text.strip()}" is more than such a circuit can have'
        raise QuantityError.single("", what, "look at the unit and the range of the meter again")
    return value


def _measurement(text: str) -> Measurement:
    """Read volts and amperes in either order."""
    pair = _measurement_and_sight(text)
    if pair.seen:
        raise QuantityError.single("", f'"{pair.seen}" is for a fan', 'write it like "17.8V/0.45A"')
    return pair


def _measurement_and_sight(text: str) -> Measurement:
    """Read volts, amperes and what was seen, each at most once, in any order."""
    read: dict[str, Any] = {}
    for piece in text.split("/"):
        word = piece.strip()
        value: float | str
        if word in SEEN:
            key, value = "seen", word
        elif word.endswith(("V", "volt", "volts")):
            key, value = "voltage", _voltage(word)
        elif word.endswith(("A", "amp", "amps")):
            key, value = "current", _current(word)
        else:
            what = f'"{word[:40]}" is no volts, no amperes and nothing that a fan is seen to do'
            raise QuantityError.single("", what, f'write it like "11.2V/0.23A", and one of {", ".join(SEEN)}')
        if key in read:
            raise QuantityError.single("", f'"{text[:60]}" has two of a kind', 'write it like "11.2V/0.23A"')
        read[key] = value
    return Measurement(**read)
