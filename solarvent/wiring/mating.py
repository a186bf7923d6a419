"""Whether the two ends of a joint mate, what they are called, and how to tell sizes that look alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solarvent.plan.connectors import Families
from solarvent.plan.parts import Connector
from solarvent.wiring.harness import Join


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


def mates(join: Join, families: Families) -> bool | None:
    """Tell whether a joint fits; None if an end is not described."""
    first, second = join.source.connector, join.sink.connector
    return None if first is None or second is None else fit(first, second, families).mates


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
