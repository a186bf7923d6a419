"""The pairing asked again and again, from free to bought to cut; and its joins in the order they are made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Literal, NamedTuple

from solarvent.plan.connectors import Families
from solarvent.plan.parts import Connector, Converter, Fan, Part
from solarvent.wiring.joints import (
    Join,
    Polarity,
    PolarityTrace,
    Port,
    fit,
    in_words,
    load_polarity,
    positive_contact,
    source_polarity,
    worst_polarity,
)
from solarvent.wiring.pairing_program import (
    CUT,
    Choice,
    Costs,
    Joint,
    OutOfTimeError,
    Splice,
    SupplyEnd,
    Use,
    least_cost,
    uses,
)

#: What a joint costs by the weather that its connectors bear.
_WEATHER = {"outdoor": 0, "sheltered": 1, "dry": 2}
#: The costs that do not depend on which panel feeds a fan.
_SETTLED = ("bought", "unfed", "wrong", "unknown")
#: For each objective of the shares; kits as they are sold take some hundredths, and where it does not do, the fewest
#: joints decide. [s]
_SECONDS = 4.0


class _Kind(NamedTuple):
    """What matters of an open end; those of one panel (or battery) are told from those of another."""

    family: str
    body: Literal["plug", "jack", "either"]
    polarity: Polarity
    side: int
    panel: str


class _Lot(NamedTuple):
    """Pieces that do the same."""

    part: Part | Splice
    uses: tuple[Use, ...]
    price: int
    names: list[str]


class _Way(NamedTuple):
    """A lot, used in one way, on one kind of open end."""

    lot: int
    use: Use
    taken: _Kind
    arriving: Polarity
    given: _Kind | None
    costs: Costs


@dataclass(frozen=True)
class Assignment:
    """The answer of the search: joints in an order in which they can be made, from the sources on; their costs.

    `shared` is false where the time did not do to find out whether the fans can be shared out more evenly.
    """

    joints: tuple[Joint, ...]
    costs: Costs
    shared: bool = True


def search(
    supplies: Sequence[SupplyEnd],
    pieces: Mapping[str, Part | Splice],
    families: Families,
    prices: Mapping[str, tuple[int, int]],
    suits: Callable[[Fan | Converter, int], bool],
    strict: bool = False,
    kit_of: Mapping[str, int] | None = None,
    gives: Mapping[str, int] | None = None,
) -> Assignment | None:
    """Find the joints of least cost, by the first of :class:`Costs` first; None if `strict` and impossible.

    `pieces` that are in `prices` are not there yet: what one costs, and how many can be had at most. `suits` says
    whether a fan, or the inlet of a converter, suits a side. `strict` accepts only that every fan is fed and none is
    reversed or on a wrong side. `kit_of` is the kit that a panel or a piece came from, where kits are pooled; `gives`
    the side behind each converter.
    """
    given = supplies, pieces, families, prices, suits, kit_of or {}, gives or {}
    alone = len({supply.port.part for supply in supplies}) < 2
    # Which panel feeds a fan matters for ties alone, and makes a program of several times the size: it comes second.
    ways = _Ways(*given, apart=alone)
    # A fan that is fed counts -1 unfed, so that the sum of all fed is the least that there can be.
    best = ways.least({"unfed": -len(ways.fans), "wrong": 0} if strict else {})
    if best is None or alone:
        return best
    held = {name: getattr(best.costs, name) for name in _SETTLED} | {"unfed": best.costs.unfed - len(ways.fans)}
    apart = _Ways(*given, apart=True)
    try:
        if best.costs.bought:
            # Where something must be bought, a few pieces more are well spent on even shares.
            panels = len({supply.port.part for supply in supplies})
            evenly = {"bought": best.costs.bought + 2 * panels, "crowded": _even(len(ways.fans), panels)}
            del held["bought"]
            found = apart.least(held, _SECONDS, evenly)
            if found is not None:
                return found
            held["bought"] = best.costs.bought
        return apart.least(held, _SECONDS) or best
    except OutOfTimeError:
        return replace(best, shared=False)


def _even(fans: int, panels: int) -> int:
    """Count the pairs of fans that share a panel where the shares are as even as can be."""
    each, more = divmod(fans, panels)
    return more * each + panels * each * (each - 1) // 2


class _Ways:
    """All ways to put the pieces on, and the way back from their numbers to joints."""

    def __init__(
        self,
        supplies: Sequence[SupplyEnd],
        pieces: Mapping[str, Part | Splice],
        families: Families,
        prices: Mapping[str, tuple[int, int]],
        suits: Callable[[Fan | Converter, int], bool],
        kit_of: Mapping[str, int],
        gives: Mapping[str, int],
        apart: bool,
    ) -> None:
        self.families, self.suits, self.kit_of, self.gives = families, suits, kit_of, gives
        self.open: dict[_Kind, list[Port]] = {}
        for port, side in supplies:
            end = port.connector
            assert end is not None
            # Without a name of its own panel, an end stands for all that are alike: far fewer variables.
            panel = port.part if apart else ""
            kind = _Kind(end.family, end.body, source_polarity(end, families), side, panel)
            self.open.setdefault(kind, []).append(port)
        self.fans = {name for name, part in pieces.items() if isinstance(part, Fan)}
        self.lots = self._alike(pieces, prices)
        self.ways = self._useful()

    def _alike(self, pieces: Mapping[str, Part | Splice], prices: Mapping[str, tuple[int, int]]) -> list[_Lot]:
        """Put pieces together that do the same."""
        lots: dict[tuple, _Lot] = {}
        for name, part in pieces.items():
            ways, (price, most) = tuple(uses(part, self.families)), prices.get(name, (0, 1))
            # Alike pieces are one variable with a count, or else the program would try them in every order.
            mark: tuple = (price, *(_mark(use) for use in ways))
            if isinstance(part, Fan):
                own = part.inlet and load_polarity(part.inlet, self.families)
                sides = {kind.side for kind in self.open} | set(self.gives.values())
                suited = sorted(side for side in sides if self.suits(part, side))
                mark += ("fan", own, self.kit_of.get(name), *suited)
            if isinstance(part, Converter):
                # Each gives a side of its own.
                mark += ("converter", name)
            lot = lots.setdefault(mark, _Lot(part, ways, price, []))
            lot.names.extend([name] if most == 1 else [f"{name}-{number}" for number in range(1, most + 1)])
        return list(lots.values())

    def _useful(self) -> list[_Way]:
        """Follow every way on from the sources, and keep those that lead to a fan."""
        kinds = list(self.open)
        ways: list[_Way] = []
        # The list grows as the ways are followed.
        for kind in kinds:
            for number, lot in enumerate(self.lots):
                for use in lot.uses:
                    for way in self._on(kind, number, lot, use):
                        ways.append(way)
                        if way.given is not None and way.given not in kinds:
                            kinds.append(way.given)
        leading: set[_Kind] = set()
        while more := {
            way.taken
            for way in ways
            if way.taken not in leading and (isinstance(self.lots[way.lot].part, Fan) or way.given in leading)
        }:
            leading |= more
        return [way for way in ways if isinstance(self.lots[way.lot].part, Fan) or way.given in leading]

    def _on(self, kind: _Kind, number: int, lot: _Lot, use: Use) -> Iterator[_Way]:
        """Yield the ways to put one use of a part on one kind of open end."""
        families = kind.family, use.connector.family
        chosen, weather = True, 0
        if isinstance(lot.part, Splice):
            if kind.family == CUT:
                return
        elif kind.family != CUT:
            meeting = fit(Connector(family=kind.family, body=kind.body), use.connector, self.families)
            if not meeting.mates:
                return
            chosen = meeting.chosen
            weather = max(_WEATHER[self.families[name].weather] for name in families)
        if isinstance(lot.part, Fan):
            yield self._fan_on(kind, number, lot, use, chosen, weather)
            return
        side = kind.side
        if isinstance(lot.part, Converter):
            if not self.suits(lot.part, side):
                return
            side = self.gives.get(lot.names[0], side)
        costs = Costs(bought=lot.price, joints=1, weather=weather, spare=len(use.outlets) if lot.price else 0)
        # Both ways round are tried: the crossed one may put right what comes behind it.
        free = chosen and kind.polarity is not Polarity.UNKNOWN
        for arriving in (Polarity.KEPT, Polarity.REVERSED) if free else (kind.polarity,):
            turned = costs._replace(turned=int(free and arriving is Polarity.REVERSED))
            yield _Way(number, use, kind, arriving, _given(use, arriving, kind, side), turned)

    def _fan_on(self, kind: _Kind, number: int, lot: _Lot, use: Use, chosen: bool, weather: int) -> _Way:
        """Put a fan on an open end."""
        assert isinstance(lot.part, Fan)
        own = load_polarity(use.connector, self.families)
        at_fan, onward = kind.polarity.through(own), kind.polarity
        # Where the person puts the wires on, they go on rightly, if both poles are known; if not, either may be wrong.
        if chosen and at_fan is not Polarity.UNKNOWN:
            at_fan, onward = Polarity.KEPT, own
        elif chosen:
            onward = Polarity.UNKNOWN
        costs = Costs(
            bought=lot.price,
            unfed=-1,
            wrong=int(at_fan is Polarity.REVERSED or not self.suits(lot.part, kind.side)),
            unknown=int(at_fan is Polarity.UNKNOWN),
            strange=int(self._is_strange(lot.names[0], kind.panel)),
            joints=1,
            weather=weather,
        )
        return _Way(number, use, kind, Polarity.KEPT, _given(use, onward, kind, kind.side), costs)

    def _is_strange(self, fan: str, panel: str) -> bool:
        """Tell a fan out of another box than the panel."""
        return self.kit_of.get(fan) != self.kit_of.get(panel, self.kit_of.get(fan))

    def least(
        self, held: Mapping[str, int], seconds: float = inf, within: Mapping[str, int] | None = None
    ) -> Assignment | None:
        """Find the counts of least cost, and turn them into joints."""
        ends = (*self.open, *(kind for way in self.ways for kind in (way.taken, way.given)))
        kinds: dict[_Kind | None, int] = {None: -1}
        for kind in ends:
            kinds.setdefault(kind, len(kinds) - 1)
        panels = list(dict.fromkeys(kind.panel for kind in self.open))
        choices = [
            Choice(way.lot, kinds[way.taken], kinds[way.given], len(way.use.outlets),
                   panels.index(way.taken.panel), way.costs)
            for way in self.ways
        ]  # fmt: skip
        pieces = [len(lot.names) for lot in self.lots]
        supplies = [len(self.open.get(kind, ())) for kind in kinds if kind is not None]
        counts = least_cost(choices, pieces, supplies, held, seconds, within)
        if counts is None:
            return None
        joints = tuple(self._joints(counts))
        return Assignment(joints, self._costs(counts, joints))

    def _costs(self, counts: Counter[int], joints: Sequence[Joint]) -> Costs:
        """Count what all of it costs."""
        total = Counter(unfed=len(self.fans))
        for number, times in counts.items():
            total.update({name: times * cost for name, cost in self.ways[number].costs._asdict().items()})
        panel_of: dict[str, str] = {}
        for joint in joints:
            panel_of[joint.sink.part] = panel_of.get(joint.source.part, joint.source.part)
        fed = {name: panel for name, panel in panel_of.items() if name in self.fans}
        total["crowded"] = sum(fans * (fans - 1) // 2 for fans in Counter(fed.values()).values())
        total["strange"] = sum(self._is_strange(name, panel) for name, panel in fed.items())
        return Costs(**total)

    def _reach(self, reached: set[_Kind], counts: Counter[int]) -> set[_Kind]:
        """Find the kinds of end that are there once everything counted is put on, as far as it can be reached."""
        ways = [self.ways[number] for number in counts]
        while more := {way.given for way in ways if way.taken in reached and way.given} - reached:
            reached = reached | more
        return reached

    def _joints(self, counts: Counter[int]) -> Iterator[Joint]:
        """Put the counted ways on, one by one, never closing off what is still to come."""
        open_ends = {kind: list(ports) for kind, ports in self.open.items()}
        names = [list(lot.names) for lot in self.lots]
        while counts := +counts:
            number = next(number for number in sorted(counts) if self._leaves_a_way(number, counts, open_ends))
            way = self.ways[number]
            counts -= Counter({number: 1})
            source = open_ends[way.taken].pop(0)
            # Of alike pieces one out of the panel's own kit is taken, if there is one.
            own = self.kit_of.get(way.taken.panel)
            left = names[way.lot]
            sink = left.pop(next((place for place, name in enumerate(left) if self.kit_of.get(name) == own), 0))
            yield Joint(source, Port(sink, way.use.inlet, way.use.connector), way.arriving, way.taken.polarity)
            if way.given is not None:
                open_ends.setdefault(way.given, []).extend(Port(sink, end, way.use.gives) for end in way.use.outlets)

    def _leaves_a_way(self, number: int, counts: Counter[int], open_ends: Mapping[_Kind, list[Port]]) -> bool:
        """Tell whether everything else can still be reached once this one is put on."""
        # The program knows counts and no order: a fan on the last open end would leave a splitter nowhere to go.
        way = self.ways[number]
        if not open_ends.get(way.taken):
            return False
        rest = counts - Counter({number: 1})
        left = {kind for kind, ports in open_ends.items() if len(ports) > (kind == way.taken)}
        reached = self._reach(left | ({way.given} if way.given else set()), rest)
        return all(self.ways[other].taken in reached for other in rest)


def _mark(use: Use) -> tuple:
    """Say what matters of a use."""
    ends = [end and (end.family, end.body) for end in (use.connector, use.gives)]
    return (*ends, len(use.outlets), use.crosses)


def _given(use: Use, arriving: Polarity, taken: _Kind, side: int) -> _Kind | None:
    """Name the kind of end that a use gives, if + arrives so."""
    if use.gives is None:
        return None
    leaving = arriving.through(use.crosses)
    return _Kind(use.gives.family, use.gives.body, leaving, side, taken.panel)


@dataclass(frozen=True)
class JoinLine:
    """One join of the answer: parts and ends by id, both connectors in words.

    `polarity` at a fan is against its own +, before that against the habit of the connector; `plus` is the contact of
    the source's end that is +, None at a fan or where it is not known.
    """

    source: str
    source_port: str
    sink: str
    sink_port: str
    connectors: str
    mates: bool
    polarity: Polarity
    plus: str | None = None


def join_lines(trace: PolarityTrace) -> list[JoinLine]:
    """Write the joins down, each branch to its end before the next one."""
    order: list[Join] = []

    def follow(part: str) -> None:
        for join in trace.behind(part):
            if join not in order:
                order.append(join)
                follow(join.sink.part)

    sinks = {join.sink.part for join in trace.joins}
    for join in trace.joins:
        if join.source.part not in sinks:
            follow(join.source.part)
    return [_line(trace, join) for join in order]


def _line(trace: PolarityTrace, join: Join) -> JoinLine:
    families, end = trace.families, join.source.connector
    both = [own for own in (end, join.sink.connector) if own is not None]
    # "A plug into a jack", whichever of them gives the power.
    names = [in_words(own, families) for own in sorted(both, key=lambda own: own.body == "jack")]
    polarity = worst_polarity(trace.arriving(join))
    at_fan = isinstance(trace.parts[join.sink.part], Fan)
    return JoinLine(
        join.source.part,
        join.source.name,
        join.sink.part,
        join.sink.name,
        " into ".join(dict.fromkeys(names)) or "not described",
        join.mates(families) is not False,
        polarity,
        None if end is None or at_fan else positive_contact(end, polarity, False, families),
    )
