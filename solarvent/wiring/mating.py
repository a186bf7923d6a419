"""Connectors at a joint: whether two ends mate, what they are called, and where + sits on them.

Habits agree across every joint, so that a joint changes nothing and only parts can change the poles.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from solarvent.plan.connectors import Families, other_contact, positive_is_usual, usual_contact
from solarvent.plan.parts import Connector


@dataclass(frozen=True)
class Fit:
    """Whether two ends go together in a proper contact, and if not, what keeps them apart.

    `chosen`: the person puts each conductor where it belongs, rather than the shape deciding it.
    """

    mates: bool
    chosen: bool = False
    why_not: Literal["", "same-body", "look-alike", "family"] = ""


def fit(outlet: Connector, inlet: Connector, families: Families) -> Fit:
    """Tell whether an end that gives power goes together with one that takes it; the order does not matter."""
    first, second = families[outlet.family], families[inlet.family]
    if outlet.family != inlet.family:
        related = inlet.family in first.mates_with or outlet.family in second.mates_with
        if not related:
            alike = inlet.family in first.look_alikes or outlet.family in second.look_alikes
            return Fit(False, why_not="look-alike" if alike else "family")
    elif first.halves == "single":
        return Fit(False, why_not="family")
    if "plug-jack" in (first.halves, second.halves) and outlet.body == inlet.body:
        return Fit(False, why_not="same-body")
    return Fit(True, chosen="chosen" in (first.mapping, second.mapping))


def in_words(connector: Connector, families: Families, full: bool = False) -> str:
    """Name a connector for people: ``"barrel 5.5 x 2.1 mm plug"``.

    In full it says what the contact inside is, since "male" and "female" are used in opposite senses:
    ``"barrel 5.5 x 2.1 mm plug (hole, a female contact; ...)"``.
    """
    family = families[connector.family]
    if family.halves != "plug-jack":
        return family.name
    contact = family.plug_words if connector.body == "plug" else family.jack_words
    return f"{family.name} {connector.body}" + (f" ({contact})" if full and contact else "")


def size_test(connector: Connector) -> str:
    """Say how to tell the two common barrels apart without a gauge (common practice); empty for other families."""
    barrel = connector.family in ("barrel-5.5x2.1", "barrel-5.5x2.5")
    return " A toothpick sits tight in a 2.1 mm hole and falls out of a 2.5 mm one." if barrel else ""


def counterpart(end: Connector, families: Families) -> Connector:
    """Describe the end that goes together with one: of a part that is put in line behind it."""
    family = families[end.family]
    if family.halves == "plug-jack":
        return Connector(family=end.family, body="jack" if end.body == "plug" else "plug")
    if family.halves == "alike":
        return Connector(family=end.family)
    return Connector(family=family.mates_with[0], positive=families[family.mates_with[0]].usual_positive)


class Polarity(StrEnum):
    """The poles against the habit of a connector, or at a fan against its own +; also what a part does to them."""

    KEPT = "kept"
    REVERSED = "reversed"
    UNKNOWN = "unknown"

    @classmethod
    def of(cls, reverses: bool | None) -> Polarity:
        """Give the polarity behind something that reverses the poles, does not, or nobody knows."""
        return cls.UNKNOWN if reverses is None else cls.REVERSED if reverses else cls.KEPT

    def through(self, crossing: Polarity) -> Polarity:
        """Give the poles behind something that crosses: twice reversed is kept, and unknown stays so.

        Examples
        --------
        >>> Polarity.REVERSED.through(Polarity.REVERSED)
        <Polarity.KEPT: 'kept'>
        """
        if Polarity.UNKNOWN in (self, crossing):
            return Polarity.UNKNOWN
        return Polarity.of(self is not crossing)


def source_polarity(connector: Connector, families: Families) -> Polarity:
    """Compare an end that gives power with the habit of its family."""
    return _against_habit(positive_is_usual(connector, False, families))


def load_polarity(connector: Connector, families: Families) -> Polarity:
    """Compare an end that takes power with the habit of its family."""
    return _against_habit(positive_is_usual(connector, True, families))


def _against_habit(usual: bool | None) -> Polarity:
    return Polarity.of(None if usual is None else not usual)


def crossing(inlet: Connector, outlet: Connector, crosses: bool | None, families: Families) -> Polarity:
    """Tell what a part with two ends does to the poles, against the habit of both ends.

    It is not known if neither `crosses` nor the contacts of both ends say it.
    """
    if crosses is not None:
        return Polarity.of(crosses)
    return load_polarity(inlet, families).through(source_polarity(outlet, families))


def turned_crossing(forwards: Polarity, ends: tuple[Connector, ...], families: Families) -> Polarity:
    """Tell what a part does to the poles when power goes through it backwards.

    A conductor of an adapter from a flat two-pin to a barrel joins the same two contacts either way, but the usual + of
    the flat two-pin is another contact at a source than at a load.
    """
    for end in ends:
        forwards = forwards.through(Polarity.of(families[end.family].mapping == "opposite"))
    return forwards


def positive_contact(connector: Connector, polarity: Polarity, at_load: bool, families: Families) -> str | None:
    """Name the contact on which + sits; None if it is not known."""
    if polarity is Polarity.UNKNOWN:
        return None
    family = families[connector.family]
    if family.any_position and connector.positive is not None:
        return connector.positive
    usual = usual_contact(family, at_load)
    return usual if polarity is Polarity.KEPT else other_contact(family, usual)
