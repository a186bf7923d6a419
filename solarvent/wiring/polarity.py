"""Polarity, followed contact by contact from the + of each panel to the + of each fan: kept, reversed, or not known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from solarvent.plan.connectors import Families
from solarvent.plan.parts import Fan, Part, Splitter
from solarvent.wiring.harness import Join, Port
from solarvent.wiring.mating import Polarity, crossing, fit, load_polarity, source_polarity, turned_crossing


@dataclass(frozen=True)
class Arrival:
    """What arrives at an end from one panel or battery.

    `polarity` is against the habit of this connector, at a fan against its own +; `reversed_by` are the parts that
    changed the poles (those that did it twice cancel), `unknown_at` those of which it is not known.
    """

    source: str
    polarity: Polarity
    reversed_by: frozenset[str] = frozenset()
    unknown_at: frozenset[str] = frozenset()

    def through(self, part: str, crosses: Polarity) -> Arrival:
        """Go through a part that reverses the poles, keeps them, or nobody knows."""
        if crosses is Polarity.KEPT:
            return self
        after = self.polarity.through(crosses)
        if crosses is Polarity.UNKNOWN:
            return Arrival(self.source, after, self.reversed_by, self.unknown_at | {part})
        return Arrival(self.source, after, self.reversed_by ^ {part}, self.unknown_at)


@dataclass
class PolarityTrace:
    """The walk over all joints."""

    parts: Mapping[str, Part]
    joins: tuple[Join, ...]
    families: Families
    _entering: dict[tuple[str, Port], frozenset[Arrival]] = field(default_factory=dict, repr=False)

    def before(self, part: str) -> list[Join]:
        """Give the joints through which a part is fed."""
        return [join for join in self.joins if join.sink.part == part]

    def arriving(self, join: Join) -> frozenset[Arrival]:
        """Tell what arrives through one joint; at a fan compared with its own +."""
        leaving = self.leaving(join.source)
        first, second = join.source.connector, join.sink.connector
        part, at_fan = join.sink.part, isinstance(self.parts[join.sink.part], Fan)
        if first is None or second is None:
            # A joint nobody described is made by hand, with the meter.
            return frozenset(
                Arrival(item.source, Polarity.UNKNOWN, unknown_at=item.unknown_at | {part}) for item in leaving
            )
        own = load_polarity(second, self.families) if at_fan else Polarity.KEPT
        if not fit(first, second, self.families).chosen:
            return frozenset(item.through(part, own) for item in leaving)
        # The person puts + where it belongs, if both sides say which it is.
        wanted = Polarity.KEPT if at_fan else join.wanted
        reversed_by = frozenset({part}) if wanted is Polarity.REVERSED else frozenset[str]()
        own_unknown = {part} if own is Polarity.UNKNOWN else set[str]()
        return frozenset(
            Arrival(item.source, Polarity.UNKNOWN, unknown_at=item.unknown_at | own_unknown)
            if Polarity.UNKNOWN in (item.polarity, own)
            else Arrival(item.source, wanted, reversed_by)
            for item in leaving
        )

    def leaving(self, port: Port) -> frozenset[Arrival]:
        """Tell what leaves a part through one of its ends."""
        joins = self.before(port.part)
        if not joins:
            own = source_polarity(port.connector, self.families) if port.connector else Polarity.UNKNOWN
            return frozenset({Arrival(port.part, Polarity.KEPT).through(port.part, own)})
        return frozenset(
            item.through(port.part, _crossing(self.parts[port.part], join.sink.name, port.name, self.families))
            for join in joins
            for item in self._into(port.part, join)
        )

    def _into(self, part: str, join: Join) -> frozenset[Arrival]:
        """Tell what enters a part, against the habit of its connector."""
        key = part, join.source
        if key not in self._entering:
            self._entering[key] = self._past_the_fan(part, join)
        return self._entering[key]

    def _past_the_fan(self, part: str, join: Join) -> frozenset[Arrival]:
        """Undo the comparison with a fan's own +: the wire that goes on does not care for it."""
        first, second = join.source.connector, join.sink.connector
        if not isinstance(self.parts[part], Fan) or second is None:
            return self.arriving(join)
        if first is not None and not fit(first, second, self.families).chosen:
            return self.leaving(join.source)
        own = load_polarity(second, self.families)
        arriving = self.arriving(join)
        return frozenset(item.through(part, own) for item in arriving) if own is Polarity.REVERSED else arriving

    def fans(self) -> dict[str, frozenset[Arrival]]:
        """Tell for each fan what arrives at it, from every source that feeds it."""
        return {
            name: frozenset(item for join in self.before(name) for item in self.arriving(join))
            for name, part in self.parts.items()
            if isinstance(part, Fan) and self.before(name)
        }


def worst_polarity(arrivals: Iterable[Arrival]) -> Polarity:
    """Sum several arrivals up: the worst of them, where reversed is worse than not known."""
    polarities = {item.polarity for item in arrivals}
    return next((item for item in (Polarity.REVERSED, Polarity.UNKNOWN) if item in polarities), Polarity.KEPT)


def _crossing(part: Part, taken: str, given: str, families: Families) -> Polarity:
    """Tell what a part does to the poles between two of its ends."""
    names = ("trunk", "branch") if isinstance(part, Splitter) else ("inlet", "outlet")
    first, second = (getattr(part, name, None) for name in names)
    crosses = getattr(part, "crosses", None)
    if first is None or second is None:
        return Polarity.of(crosses)
    if taken.startswith("branch") and given.startswith("branch"):
        return turned_crossing(Polarity.KEPT, (second,), families)
    forwards = crossing(first, second, crosses, families)
    return forwards if taken.startswith(names[0]) else turned_crossing(forwards, (first, second), families)
