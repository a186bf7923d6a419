"""Connectors as a file describes them: the families of the library, and what is wrong with an end."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from pydantic import ValidationError

from solarvent.base.errors import PartError, Problem, likely_meant, nearest
from solarvent.plan.checking import problems_of
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Family

Families = Mapping[str, Family]


@lru_cache(maxsize=8)
def read_families(library: Library) -> Families:
    """Read the connector families of a library, once.

    Raises PartError with every entry that is wrong: an unknown contact, family or key.
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


def usual_contact(family: Family, at_load: bool) -> str:
    """Name the contact that is usually +; at the end that takes power the one that meets the usual + of a source."""
    usual = family.usual_positive
    return other_contact(family, usual) if at_load and family.mapping == "opposite" else usual


def positive_is_usual(connector: Connector, at_load: bool, families: Families) -> bool | None:
    """Tell whether + sits on the usual contact of an end; None if that is not known."""
    family = families[connector.family]
    # Only a standard makes a habit certain.
    if connector.positive is None:
        return True if family.fixed else None
    return family.any_position or connector.positive == usual_contact(family, at_load)


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
        hint = likely_meant(_TRADE_WORDS.get(connector.family.lower(), connector.family), families)
        what = f'there is no connector "{connector.family[:40]}"'
        return [Problem(f"{where}.family", what, hint or "see: solarvent parts connectors")]
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
    before, after = positive_is_usual(inlet, True, families), positive_is_usual(outlet, False, families)
    # Loose wires have no usual contact that a part could cross.
    free = families[inlet.family].any_position or families[outlet.family].any_position
    if free or before is None or after is None or (before != after) == crosses:
        return []
    what = f"crosses is {str(crosses).lower()}, but the contacts given at its two ends say the contrary"
    return [Problem(f"{where}.crosses", what, "leave out crosses, or positive at one of the ends")]
