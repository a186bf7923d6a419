"""Joints: whether two ends mate, whether their volts suit, where + sits, and its way from each panel to each fan.

Habits agree across every joint, so that a joint changes nothing and only parts can change the poles.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, NamedTuple

from solarvent.plan.connectors import Families, other_contact, positive_is_usual, usual_contact
from solarvent.plan.parts import Connector, Converter, Fan, Panel, Part, Splitter


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
    # Of two families that mate, one may have bodies and the other none, like a plug on loose pins.
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


class Side(NamedTuple):
    """The voltage of a source at work, and with nothing joined. [V]"""

    working: float
    open: float

    @classmethod
    def held(cls, volts: float) -> Side:
        """Of a source that holds its voltage, like a converter or a USB port."""
        # USB allows 5 % above its 5 V (USB 2.0: 4.75 to 5.25 V); others are no worse (common practice, no source).
        return cls(volts, 1.05 * volts)


def side_of(part: Part, end: Connector | None, families: Families) -> Side | None:
    """Tell the voltage of a source at one of its ends, by default the first; None if nothing says it.

    An end may be held at one voltage, like a USB port.
    """
    if isinstance(part, Converter):
        return Side.held(part.output_voltage)
    end = end or getattr(part, "outlet", None)
    held = end and (end.voltage or families[end.family].voltage)
    if held:
        return Side.held(held)
    if isinstance(part, Panel):
        if part.v_mp is not None and part.v_oc is not None:
            return Side(part.v_mp, part.v_oc)
        # Where only watts are given, a panel of 36 cells is meant.
        return Side(18.0, 22.0) if part.watts is not None else None
    # A battery while it is charged: 14.4 V of a 12 V one (typical).
    volts = getattr(part, "voltage", None)
    return Side(volts, 1.2 * volts) if volts else None


def rated_voltage(fan: Fan, families: Families) -> float | None:
    """Tell the voltage that a fan is made for, from its figures or its plug; None if nothing says it. [V]"""
    return fan.rated_voltage or (families[fan.inlet.family].voltage if fan.inlet else None)


def feeds(converter: Converter, side: Side | None) -> bool:
    """Tell whether a converter works on a side; whether it does so in weak light is a matter of the circuit."""
    if side is None:
        return True
    # What steps down or burns the excess wants its own output at the least.
    least = converter.cut_in if converter.kind == "boost" else max(converter.cut_in, converter.output_voltage)
    return side.working >= least and (converter.kind == "clamp" or side.open <= converter.maximum_input)


def trouble(fan: Fan, side: Side | None, families: Families) -> str | None:
    """Say why a fan does not belong on a side; None if it does, or if nobody can tell.

    The limits are coarse on purpose: whether a 12 V fan bears an 18 V panel on a cold bright day is a matter of the
    operating point, and of another command. Common practice, no source: more than twice the rated voltage is another
    side.
    """
    rated = rated_voltage(fan, families)
    # What nobody knows is no trouble yet: it is metered first.
    if side is None or not rated:
        return None
    if side.open < (fan.start_voltage or rated / 2):
        return f"a {rated:g} V fan on a {side.working:g} V outlet does not start"
    if side.working > 2 * rated and side.open > (fan.maximum_voltage or rated * 1.2):
        return f"a {rated:g} V fan gets up to {side.open:g} V there and may be destroyed"
    return None


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


@dataclass(frozen=True)
class Port:
    """One end of a part: ``"outlet"``, ``"inlet"``, ``"trunk"`` or ``"branch 1"``."""

    part: str
    name: str
    connector: Connector | None = None


@dataclass(frozen=True)
class Join:
    """Two ports put together; the source is the end nearer to the panel.

    `wanted` is how the person puts the conductors on, where the shape leaves it to them: against the habit of the sink.
    """

    source: Port
    sink: Port
    wanted: Polarity = Polarity.KEPT

    def mates(self, families: Families) -> bool | None:
        """Tell whether the joint fits; None if an end is not described."""
        first, second = self.source.connector, self.sink.connector
        return None if first is None or second is None else fit(first, second, families).mates


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

    def behind(self, part: str) -> list[Join]:
        """Give the joints through which a part feeds others."""
        return [join for join in self.joins if join.source.part == part]

    def arriving(self, join: Join) -> frozenset[Arrival]:
        """Tell what arrives through one joint; at a fan compared with its own +."""
        leaving = self.leaving(join.source)
        first, second = join.source.connector, join.sink.connector
        part, at_fan = join.sink.part, isinstance(self.parts[join.sink.part], Fan)
        if first is None or second is None:
            # A joint nobody described is made by hand, with the meter.
            return frozenset(
                Arrival(arrival.source, Polarity.UNKNOWN, unknown_at=arrival.unknown_at | {part}) for arrival in leaving
            )
        own = load_polarity(second, self.families) if at_fan else Polarity.KEPT
        if not fit(first, second, self.families).chosen:
            return frozenset(arrival.through(part, own) for arrival in leaving)
        # The person puts + where it belongs, if both sides say which it is.
        wanted = Polarity.KEPT if at_fan else join.wanted
        reversed_by = frozenset({part}) if wanted is Polarity.REVERSED else frozenset[str]()
        own_unknown = {part} if own is Polarity.UNKNOWN else set[str]()
        return frozenset(
            Arrival(arrival.source, Polarity.UNKNOWN, unknown_at=arrival.unknown_at | own_unknown)
            if Polarity.UNKNOWN in (arrival.polarity, own)
            else Arrival(arrival.source, wanted, reversed_by)
            for arrival in leaving
        )

    def leaving(self, port: Port) -> frozenset[Arrival]:
        """Tell what leaves a part through one of its ends."""
        joins = self.before(port.part)
        if not joins:
            own = source_polarity(port.connector, self.families) if port.connector else Polarity.UNKNOWN
            return frozenset({Arrival(port.part, Polarity.KEPT).through(port.part, own)})
        return frozenset(
            arrival.through(port.part, _crossing(self.parts[port.part], join.sink.name, port.name, self.families))
            for join in joins
            for arrival in self._into(port.part, join)
        )

    def _into(self, part: str, join: Join) -> frozenset[Arrival]:
        """Tell what enters a part, against the habit of its connector."""
        # Kept: a part before many fans would else be walked to once for each of them, and so on before it.
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
        return frozenset(arrival.through(part, own) for arrival in arriving) if own is Polarity.REVERSED else arriving

    def fans(self) -> dict[str, frozenset[Arrival]]:
        """Tell for each fan what arrives at it, from every source that feeds it."""
        return {
            name: frozenset(arrival for join in self.before(name) for arrival in self.arriving(join))
            for name, part in self.parts.items()
            if isinstance(part, Fan) and self.before(name)
        }


def worst_polarity(arrivals: Iterable[Arrival]) -> Polarity:
    """Sum several arrivals up: the worst of them, where reversed is worse than not known."""
    polarities = {arrival.polarity for arrival in arrivals}
    return next((worst for worst in (Polarity.REVERSED, Polarity.UNKNOWN) if worst in polarities), Polarity.KEPT)


def _crossing(part: Part, taken: str, given: str, families: Families) -> Polarity:
    """Tell what a part does to the poles between two of its ends."""
    names = ("trunk", "branch") if isinstance(part, Splitter) else ("inlet", "outlet")
    first, second = (getattr(part, name, None) for name in names)
    crosses = getattr(part, "crosses", None)
    # Of ends that nobody described only the part itself can say it.
    if first is None or second is None:
        return Polarity.of(crosses)
    # From branch to branch the same wire comes back, and the trunk has no part in it.
    if taken.startswith("branch") and given.startswith("branch"):
        return turned_crossing(Polarity.KEPT, (second,), families)
    forwards = crossing(first, second, crosses, families)
    return forwards if taken.startswith(names[0]) else turned_crossing(forwards, (first, second), families)
