"""Poles at a connector: where + sits against the habit of its family, and how parts change that.

Habits agree across every joint, so that a joint changes nothing and only parts can change the poles.
"""

from __future__ import annotations

from enum import StrEnum

from solarvent.plan.connectors import Families, other_contact, positive_is_usual, usual_contact
from solarvent.plan.parts import Connector


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
