"""What helps where the parts do not go together: the least to buy, or where to cut and splice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from solarvent.base.errors import PartError, Problem
from solarvent.base.findings import listed
from solarvent.plan.boxes import Box, end_problems
from solarvent.plan.checking import library_record
from solarvent.plan.connectors import Families, read_families
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Part, Splitter
from solarvent.wiring.joints import Polarity, PolarityTrace, Port, fit, in_words, load_polarity, positive_contact
from solarvent.wiring.pairing_program import Costs, Joint, Splice, SupplyEnd, Use, uses
from solarvent.wiring.pairing_search import Assignment, JoinLine, join_lines, search

#: Parts that can be bought, by the name of their entry in the library.
Goods = Mapping[str, Part]


@dataclass(frozen=True)
class Purchase:
    """Something to buy: its library entry, its full name, how many, why, and the section of a box file it goes into."""

    part: str
    item: str
    count: int
    why: str
    section: str = "lead"


@dataclass(frozen=True)
class Cut:
    """A place to cut and splice, and why; with the pole of each conductor."""

    at: str
    why: str


@dataclass(frozen=True)
class Remedies:
    """What helps where parts do not join.

    The least to buy that makes every fan turn, with even shares where they can be had, and all joints once that is
    there; or where to cut instead. `shared` is false if the time did not do to share the fans out.
    """

    buy: list[Purchase] = field(default_factory=list)
    after_buying: list[JoinLine] = field(default_factory=list)
    splice: list[Cut] = field(default_factory=list)
    shared: bool = True


def remedies(
    boxes: Box,
    supplies: Sequence[SupplyEnd],
    pieces: Mapping[str, Part],
    suits: Callable[[Fan | Converter, int], bool],
    gives: Mapping[str, int] | None = None,
) -> Remedies:
    """Find the least to buy, and where to cut and splice instead; parameters as of the search."""
    # No answer needs more of one thing than there are fans.
    fans = len(boxes.of(Fan))
    goods = {f"new-{name}": part for name, part in goods_of(boxes.library).items()}
    # A cut costs each end that is cut off: that of the supply, and one for each way on.
    splices = {f"splice-{ways}": Splice(ways) for ways in range(1, min(fans, 12) + 1)}
    cuts = {name: (splice.ways + 1, fans) for name, splice in splices.items()}

    def least(extra: Mapping[str, Part | Splice], prices: Mapping[str, tuple[int, int]]) -> Assignment:
        best = search(supplies, {**pieces, **extra}, boxes.families, prices, suits, True, boxes.kit_of, gives)
        return best or Assignment((), Costs())

    buying = least(goods, dict.fromkeys(goods, (1, fans)))
    bought = buying.joints
    new = {name: goods[_entry(name, goods)] for name in _sinks(bought, "new-")}
    return Remedies(
        buy=_purchases(bought, goods, boxes),
        after_buying=join_lines(PolarityTrace({**boxes.parts, **new}, bought, boxes.families)),
        splice=_cuts(least(splices, cuts).joints, boxes),
        shared=buying.shared,
    )


@lru_cache(maxsize=8)
def goods_of(library: Library) -> Goods:
    """Read the leads and splitters of a library whose ends are described, once: what can be bought to fit.

    Raises PartError with every entry of own parts that is wrong.
    """
    families = read_families(library)
    goods: dict[str, Part] = {}
    problems: list[Problem] = []
    for kind in ("leads", "splitters"):
        for name, entry in library.entries(kind).items():
            if {"inlet", "outlet"} <= entry.keys() or {"trunk", "branch"} <= entry.keys():
                try:
                    goods[name] = library_record(kind, name, library)
                except PartError as error:
                    problems += error.problems
                else:
                    problems += end_problems(f'{kind} "{name[:40]}"', goods[name], families)
    if problems:
        raise PartError(problems)
    return goods


def chain(
    first: Connector, second: Connector, crosses: Polarity, families: Families, goods: Goods, most: int = 2
) -> list[list[tuple[str, Use]]]:
    """Find what goes between two ends so that both fit: the shortest rows of leads, each with the way that it is used.

    `crosses` is what the row does to the poles. What is for the bench only is left out. All rows of the least number of
    pieces, up to `most`, those of the shortest leads first; empty if there is none.
    """
    usable = [
        (name, use, part.length)
        for name, part in goods.items()
        if isinstance(part, Lead) and part.diode is None
        for use in uses(part, families)
        if use.gives and not any(families[end.family].temporary for end in (use.connector, use.gives))
    ]
    # Breadth first, so that the fewest pieces are found first.
    rows: list[tuple[list[tuple[str, Use]], Connector, Polarity, float]] = [([], first, Polarity.KEPT, 0.0)]
    for _ in range(most):
        rows = [
            ([*row, (name, use)], use.gives, poles.through(use.crosses), metres + length)
            for row, end, poles, metres in rows
            for name, use, length in usable
            if use.gives and fit(end, use.connector, families).mates
        ]
        reaching = [
            (metres, row) for row, end, poles, metres in rows if poles is crosses and fit(end, second, families).mates
        ]
        if reaching:
            return [row for _, row in sorted(reaching, key=lambda way: way[0])]
    return []


def _sinks(joints: Sequence[Joint], mark: str) -> list[str]:
    """Name the parts put in whose names begin with a mark, piece by piece."""
    return [joint.sink.part for joint in joints if joint.sink.part.startswith(mark)]


def _entry(name: str, goods: Mapping[str, Part]) -> str:
    """Give the goods of which a part is a piece: the search counts the pieces out behind their name."""
    return name if name in goods else name.rpartition("-")[0]


def _purchases(joints: Sequence[Joint], goods: Mapping[str, Part], boxes: Box) -> list[Purchase]:
    """Count what is bought, named in full."""
    counts = Counter(_entry(name, goods) for name in _sinks(joints, "new-"))
    result = []
    for name, count in counts.items():
        part = goods[name]
        feeds = [joint for joint in joints if _entry(joint.sink.part, goods) == name]
        behind = [joint.sink.part.removeprefix("new-") for joint in joints if _entry(joint.source.part, goods) == name]
        why = f"goes from {listed([joint.source.part.removeprefix('new-') for joint in feeds])} to {listed(behind)}"
        section = "splitter" if isinstance(part, Splitter) else "lead"
        result.append(Purchase(name.removeprefix("new-"), full_name(part, boxes.families), count, why, section))
    return result


def full_name(part: Part, families: Families) -> str:
    """Name a lead or splitter in full, with its connectors in both ways of naming."""
    if isinstance(part, Splitter):
        ends: tuple[Connector | None, Connector | None] = (part.trunk, part.branch)
        pattern = f"in: 1 {{}}; out: {part.branches} {{}}"
    else:
        assert isinstance(part, Lead)
        ends, pattern = (part.inlet, part.outlet), "in: {}; out: {}"
    return f"{part.name} - " + pattern.format(*(in_words(end, families, full=True) for end in ends if end is not None))


def _cuts(joints: Sequence[Joint], boxes: Box) -> list[Cut]:
    """Say where to cut, and which conductor is which."""
    cuts = []
    for joint in joints:
        if not joint.sink.part.startswith("splice-"):
            continue
        onward = [other for other in joints if other.source.part == joint.sink.part]
        at = f"behind the {_end_words(joint.source, boxes)} of {joint.source.part}"
        at += " and before the " + "; the ".join(
            f"{_end_words(other.sink, boxes)} of {other.sink.part}" for other in onward
        )
        plus = [_pole(joint.source, joint.leaving, False, boxes)]
        for other in onward:
            fan = isinstance(boxes.parts[other.sink.part], Fan)
            end = other.sink.connector
            # At a fan its own + counts, whatever came before; elsewhere the habit that the search kept or turned.
            own = load_polarity(end, boxes.families) if fan and end is not None else other.wanted
            plus.append(_pole(other.sink, own, True, boxes))
        why = f"cut these connectors off and join + to + and - to -. The + is: {'; '.join(plus)}"
        cuts.append(Cut(at, why))
    return cuts


def _end_words(port: Port, boxes: Box) -> str:
    assert port.connector is not None
    return in_words(port.connector, boxes.families)


def _pole(port: Port, polarity: Polarity, at_load: bool, boxes: Box) -> str:
    """Name the contact whose conductor is +, or say that it must be metered."""
    assert port.connector is not None
    positive = positive_contact(port.connector, polarity, at_load, boxes.families)
    return f"{port.part}: {f'the conductor of its {positive} contact' if positive else 'not known, meter it first'}"
