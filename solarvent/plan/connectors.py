"""Connectors: what mates with what, which contact meets which, and how to call them in words.

A pole is followed as a comparison with the habit of the family ("usual"): 0 where + sits on the usual contact, 1 where
it sits on the other one, None where that is not known. Habits agree across every joint, so that a joint changes nothing
and only parts can flip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pydantic import ValidationError

from solarvent.base.errors import PartError, Problem, nearest
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Family
from solarvent.plan.wording import problems_of

Families = Mapping[str, Family]


@dataclass(frozen=True)
class Fit:
    """Whether two ends go together.

    Attributes
    ----------
    mates : bool
        True if they make a proper contact.
    chosen : bool
        True if the person puts each conductor where it belongs, rather than the shape deciding it.
    why_not : {"", "same-body", "look-alike", "family"}
        What keeps them apart.
    """

    mates: bool
    chosen: bool = False
    why_not: Literal["", "same-body", "look-alike", "family"] = ""


def read_families(library: Library) -> dict[str, Family]:
    """Read the connector families of the library.

    Raises
    ------
    PartError
        With every entry that is wrong: a contact or a family is named that does not exist, a key is not known ...
    """
    entries = library.entries("connectors")
    families: dict[str, Family] = {}
    problems: list[Problem] = []
    for name, entry in entries.items():
        where = f'connectors "{name}"'
        try:
            families[name] = family = Family.model_validate(entry)
        except ValidationError as error:
            problems += [problem for _, problem in problems_of(error, Family, entry, where)]
            continue
        for contact in (family.usual_positive, *(family.power or ())):
            if contact not in family.positions:
                problems.append(
                    Problem(where, f'it has no contact "{contact}"', f"one of: {', '.join(family.positions)}")
                )
        for other in (*family.mates_with, *family.look_alikes):
            if other not in entries:
                problems.append(Problem(where, f'there is no family "{other}"', nearest(other, entries)))
    if problems:
        raise PartError(problems)
    return families


def power_contacts(family: Family) -> tuple[str, str]:
    """Name the two contacts that carry power."""
    first, second = family.power or family.positions[:2]
    return first, second


def other_contact(family: Family, contact: str) -> str:
    """Name the power contact that is not this one."""
    first, second = power_contacts(family)
    return second if contact == first else first


def usual_at_load(family: Family) -> str:
    """Name the contact that is usually + at the end that takes power: the one that meets the source's usual +."""
    usual = family.usual_positive
    return other_contact(family, usual) if family.mapping == "opposite" else usual


def fit(outlet: Connector, inlet: Connector, families: Families) -> Fit:
    """Tell whether an end that gives power goes together with one that takes it.

    Parameters
    ----------
    outlet, inlet : Connector
        The two ends; the order does not matter.
    families : mapping of str to Family
        From :func:`read_families`.

    Returns
    -------
    Fit
        Whether they mate, and if not, why.
    """
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


def _flip(connector: Connector, family: Family, usual: str) -> int | None:
    """Compare an end with the habit of its family."""
    if family.fixed and connector.positive is None:
        return 0
    if connector.positive is None:
        return None
    return 0 if family.any_position else int(connector.positive != usual)


def source_flip(connector: Connector, families: Families) -> int | None:
    """Compare an end that gives power with the habit: 0 as usual, 1 the other way round, None not known."""
    family = families[connector.family]
    return _flip(connector, family, family.usual_positive)


def load_flip(connector: Connector, families: Families) -> int | None:
    """Compare an end that takes power with the habit: 0 as usual, 1 the other way round, None not known."""
    family = families[connector.family]
    return _flip(connector, family, usual_at_load(family))


def crossing(inlet: Connector, outlet: Connector, crosses: bool | None, families: Families) -> int | None:
    """Tell whether a part with two ends lets the poles change places, against the habit of both ends.

    Returns
    -------
    int or None
        0 straight, 1 crossing, None if neither `crosses` nor the contacts of both ends say it.
    """
    if crosses is not None:
        return int(crosses)
    before, after = load_flip(inlet, families), source_flip(outlet, families)
    return None if before is None or after is None else before ^ after


def turned_crossing(across: int | None, ends: tuple[Connector, Connector], families: Families) -> int | None:
    """Tell how a part crosses when power goes through it backwards, from how it crosses forwards.

    A conductor of an adapter from a flat two-pin to a barrel joins the same two contacts either way, but the usual + of
    the flat two-pin is another contact at a source than at a load.
    """
    if across is None:
        return None
    return across ^ opposite(ends[0], families) ^ opposite(ends[1], families)


def opposite(connector: Connector, families: Families) -> int:
    """Tell whether each contact of this kind meets the other one (1) or its namesake (0)."""
    return int(families[connector.family].mapping == "opposite")


#: What people call a connector, beside the names of the library.
_TRADE_WORDS = {
    "sae": "flat-two-pin", "barrel": "barrel-5.5x2.1", "dc": "barrel-5.5x2.1", "dc-jack": "barrel-5.5x2.1",
    "usb": "usb-a", "solar": "pv-4mm", "pv": "pv-4mm", "cigarette": "vehicle-21mm", "car": "vehicle-21mm",
    "wires": "bare", "croc": "clips",
}  # fmt: skip


def connector_problems(where: str, connector: Connector, families: Families) -> list[Problem]:
    """Find what is wrong with the description of one end."""
    family = families.get(connector.family)
    if family is None:
        hint = nearest(_TRADE_WORDS.get(connector.family.lower(), connector.family), families)
        what = f'there is no connector "{connector.family[:40]}"'
        return [Problem(f"{where}.family", what, hint if hint.startswith("did") else "see: solarvent parts connectors")]
    problems = []
    if family.halves == "plug-jack" and connector.body == "either":
        write = f'write body = "plug" ({family.plug_words}) or body = "jack" ({family.jack_words})'
        problems.append(Problem(f"{where}.body", "plug or jack is missing", write))
    if family.halves != "plug-jack" and connector.body != "either":
        what = f"both halves of a {family.name} are alike" if family.halves == "alike" else "it has no body"
        problems.append(Problem(f"{where}.body", what, "leave body out"))
    for key in ("positive", "negative"):
        contact = getattr(connector, key)
        if contact is not None and not family.any_position and contact not in family.positions:
            what = f'a {family.name} has no contact "{contact[:40]}"'
            problems.append(Problem(f"{where}.{key}", what, f"write one of: {', '.join(family.positions)}"))
    return problems


def crossing_problems(
    where: str, ends: tuple[Connector | None, Connector | None], crosses: bool | None, families: Families
) -> list[Problem]:
    """Find a part whose ``crosses`` says one thing and whose two ends say another."""
    inlet, outlet = ends
    if inlet is None or outlet is None or crosses is None:
        return []
    before, after = load_flip(inlet, families), source_flip(outlet, families)
    free = families[inlet.family].any_position or families[outlet.family].any_position
    if free or before is None or after is None or before ^ after == int(crosses):
        return []
    what = f"crosses is {str(crosses).lower()}, but the contacts given at its two ends say the contrary"
    return [Problem(f"{where}.crosses", what, "leave out crosses, or positive at one of the ends")]


def in_words(connector: Connector, families: Families, full: bool = False) -> str:
    """Name a connector for people.

    Parameters
    ----------
    connector : Connector
        The end.
    families : mapping of str to Family
        From :func:`read_families`.
    full : bool
        Say also what the contact inside is, since "male" and "female" are used in opposite senses.

    Returns
    -------
    str
        ``"barrel 5.5 x 2.1 mm plug"``; in full ``"barrel 5.5 x 2.1 mm plug (hole, a female contact; ...)"``.
    """
    family = families[connector.family]
    if family.halves != "plug-jack":
        return family.name
    words = family.plug_words if connector.body == "plug" else family.jack_words
    return f"{family.name} {connector.body}" + (f" ({words})" if full and words else "")
