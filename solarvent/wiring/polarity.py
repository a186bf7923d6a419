"""Polarity, followed contact by contact from the + of each panel to the + of each fan: kept, reversed, or not known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from solarvent.plan.connectors import (
    Families,
    crossing,
    fit,
    load_flip,
    other_contact,
    source_flip,
    turned_crossing,
    usual_at_load,
)
from solarvent.plan.parts import Connector, Fan, Part, Splitter
from solarvent.wiring.harness import Port

_WORDS = {0: "kept", 1: "reversed", None: "unknown"}


class Joined(Protocol):
    """Two ends that are put together; the source is the one nearer to the panel."""

    @property
    def source(self) -> Port:
        """The end that gives."""

    @property
    def sink(self) -> Port:
        """The end that takes."""


@dataclass(frozen=True)
class Arrival:
    """What arrives at an end from one source.

    Attributes
    ----------
    source : str
        The id of the panel or battery.
    flip : int or None
        0 as is usual for this connector (at a fan: + on its +), 1 the other way round, None not known.
    flipped_by : frozenset of str
        The parts that changed the poles; those that did it twice cancel.
    unknown_at : frozenset of str
        The parts of which it is not known.
    """

    source: str
    flip: int | None
    flipped_by: frozenset[str] = frozenset()
    unknown_at: frozenset[str] = frozenset()

    def through(self, part: str, across: int | None) -> Arrival:
        """Go through something that crosses (1), does not (0), or nobody knows (None)."""
        if across is None:
            return Arrival(self.source, None, self.flipped_by, self.unknown_at | {part})
        if across == 0:
            return self
        flip = None if self.flip is None else self.flip ^ 1
        return Arrival(self.source, flip, self.flipped_by ^ {part}, self.unknown_at)

    @property
    def word(self) -> str:
        """Say it: ``"kept"``, ``"reversed"`` or ``"unknown"``."""
        return _WORDS[self.flip]


@dataclass
class PolarityTrace:
    """The walk over all joints.

    Attributes
    ----------
    parts : mapping of str to Part
        Everything that is joined.
    joins : tuple of Joined
        The joints.
    families : mapping of str to Family
        The connectors.
    """

    parts: Mapping[str, Part]
    joins: tuple[Joined, ...]
    families: Families
    _at: dict[str, frozenset[Arrival]] = field(default_factory=dict, repr=False)

    def before(self, part: str) -> list[Joined]:
        """Give the joints through which a part is fed."""
        return [join for join in self.joins if join.sink.part == part]

    def arriving(self, join: Joined) -> frozenset[Arrival]:
        """Tell what arrives through one joint; at a fan compared with its own +."""
        leaving = self.leaving(join.source)
        first, second = join.source.connector, join.sink.connector
        part, fan = join.sink.part, isinstance(self.parts[join.sink.part], Fan)
        if first is None or second is None:
            # A joint nobody described is made by hand, with the meter.
            return frozenset(Arrival(item.source, None, unknown_at=item.unknown_at | {part}) for item in leaving)
        own = load_flip(second, self.families) if fan else 0
        if not fit(first, second, self.families).chosen:
            return frozenset(item.through(part, own) for item in leaving)
        # The person puts + where it belongs, if both sides say which it is; the search may want it the other way round.
        wanted = getattr(join, "flip", 0) if not fan else 0
        known = Arrival("", wanted, frozenset({part}) if wanted else frozenset())
        return frozenset(
            Arrival(item.source, known.flip, known.flipped_by)
            if item.flip is not None and own is not None
            else Arrival(item.source, None, unknown_at=item.unknown_at | ({part} if own is None else set()))
            for item in leaving
        )

    def leaving(self, port: Port) -> frozenset[Arrival]:
        """Tell what leaves a part through one of its ends."""
        joins = self.before(port.part)
        if not joins:
            flip = source_flip(port.connector, self.families) if port.connector else None
            return frozenset({Arrival(port.part, 0).through(port.part, flip)})
        return frozenset(
            item.through(port.part, _across(self.parts[port.part], join.sink.name, port.name, self.families))
            for join in joins
            for item in self._into(port.part, join)
        )

    def _into(self, part: str, join: Joined) -> frozenset[Arrival]:
        """Tell what enters a part, against the habit of its connector."""
        key = f"{part}|{join.source.part}|{join.source.name}"
        if key not in self._at:
            arriving = self.arriving(join)
            if isinstance(self.parts[part], Fan) and join.sink.connector is not None:
                # Undo the comparison with the fan's own +: the wire that goes on does not care for it.
                own = load_flip(join.sink.connector, self.families)
                chosen = (
                    join.source.connector is None
                    or fit(join.source.connector, join.sink.connector, self.families).chosen
                )
                if not chosen:
                    arriving = self.leaving(join.source)
                elif own:
                    arriving = frozenset(item.through(part, own) for item in arriving)
            self._at[key] = arriving
        return self._at[key]

    def fans(self) -> dict[str, frozenset[Arrival]]:
        """Tell for each fan what arrives at it, from every source that feeds it."""
        return {
            name: frozenset(item for join in self.before(name) for item in self.arriving(join))
            for name, part in self.parts.items()
            if isinstance(part, Fan) and self.before(name)
        }


def verdict(arrivals: Iterable[Arrival]) -> str:
    """Sum several arrivals up: the worst of them, where reversed is worse than not known."""
    words = {item.word for item in arrivals}
    return next(word for word in ("reversed", "unknown", "kept") if word in words or word == "kept")


def _across(part: Part, taken: str, given: str, families: Families) -> int | None:
    """Tell how a part crosses between two of its ends."""
    names = ("trunk", "branch") if isinstance(part, Splitter) else ("inlet", "outlet")
    ends = tuple(getattr(part, name, None) for name in names)
    crosses = getattr(part, "crosses", None)
    first, second = ends
    if first is None or second is None:
        return None if crosses is None else int(crosses)
    across = crossing(first, second, crosses, families)
    return across if taken.startswith(names[0]) else turned_crossing(across, (first, second), families)


def contact_of(connector: Connector, flip: int | None, at_source: bool, families: Families) -> str | None:
    """Name the contact on which + sits; None if it is not known."""
    if flip is None:
        return None
    family = families[connector.family]
    if family.any_position and connector.positive is not None:
        return connector.positive
    usual = family.usual_positive if at_source else usual_at_load(family)
    return other_contact(family, usual) if flip else usual
