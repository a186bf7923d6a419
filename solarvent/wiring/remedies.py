"""What helps where the parts do not go together: the least to buy, or where to cut and splice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from solarvent.base.sentences import listed
from solarvent.plan.boxes import Box, BoxedLead, BoxedSplitter
from solarvent.plan.connectors import Families, in_words, load_flip
from solarvent.plan.parts import Connector, Fan, Lead, Part, Splitter
from solarvent.wiring.harness import Port
from solarvent.wiring.join_lines import JoinLine, join_lines
from solarvent.wiring.pairing_search import Found, search
from solarvent.wiring.pairing_uses import Source, Splice
from solarvent.wiring.polarity import PolarityTrace, contact_of


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


class Remedies(NamedTuple):
    """What helps where parts do not join.

    Attributes
    ----------
    buy : list of Purchase
        The least that makes every fan turn.
    after_buying : list of JoinLine
        All joints, once that is there.
    splice : list of Cut
        Where to cut instead.
    proved : bool
        False if a search was cut short, so that less may do.
    """

    buy: list[Purchase]
    after_buying: list[JoinLine]
    splice: list[Cut]
    proved: bool


def remedies(
    boxes: Box, sources: list[Source], pieces: Mapping[str, Part], suits: Callable[[Fan, int], bool]
) -> Remedies:
    """Find the least to buy, and where to cut and splice instead."""
    fans = len(boxes.of(Fan))
    goods = {
        f"new-{name}": record.model_validate(entry)
        for kind, record in (("leads", BoxedLead), ("splitters", BoxedSplitter))
        for name, entry in boxes.library.entries(kind).items()
        if {"inlet", "outlet"} <= entry.keys() or {"trunk", "branch"} <= entry.keys()
    }
    bought = search(sources, {**pieces, **goods}, boxes.families, dict.fromkeys(goods, (1, fans)), suits, strict=True)
    bought = bought and _without_dead_ends(bought, "new-")
    splices = {f"splice-{ways}": Splice(ways) for ways in range(1, min(fans, 12) + 1)}
    prices = {name: (splice.ways + 1, fans) for name, splice in splices.items()}
    spliced = search(sources, {**pieces, **splices}, boxes.families, prices, suits, strict=True)
    spliced = spliced and _without_dead_ends(spliced, "splice-")
    return Remedies(
        buy=_purchases(bought, goods, boxes) if bought and bought.costs else [],
        after_buying=join_lines(_walk_with(bought, goods, boxes)) if bought and bought.costs else [],
        splice=_cuts(spliced, boxes) if spliced and spliced.costs else [],
        proved=all(found is None or found.proved for found in (bought, spliced)),
    )


def _without_dead_ends(found: Found, mark: str) -> Found:
    """Leave out what feeds nothing: a search that was cut short may buy, or cut, more than it needs."""
    joints = found.joints
    while True:
        feeding = {joint.source.part for joint in joints}
        kept = tuple(joint for joint in joints if joint.sink.part in feeding or not joint.sink.part.startswith(mark))
        if kept == joints:
            return replace(found, joints=joints)
        joints = kept


def _walk_with(found: Found, goods: Mapping[str, Part], boxes: Box) -> PolarityTrace:
    """Walk over joints that need parts which are not there yet."""
    extra = {name: goods[_entry(name, goods)] for name in _new(found, "new-")}
    return PolarityTrace({**boxes.parts, **extra}, found.joints, boxes.families)


def _new(found: Found, mark: str) -> list[str]:
    return [joint.sink.part for joint in found.joints if joint.sink.part.startswith(mark)]


def _entry(name: str, goods: Mapping[str, Part]) -> str:
    return name if name in goods else name.rpartition("-")[0]


def _purchases(found: Found, goods: Mapping[str, Part], boxes: Box) -> list[Purchase]:
    """Count what is bought, named in full."""
    counts = Counter(_entry(name, goods) for name in _new(found, "new-"))
    result = []
    for name, count in counts.items():
        part = goods[name]
        feeds = [joint for joint in found.joints if _entry(joint.sink.part, goods) == name]
        behind = [
            joint.sink.part.removeprefix("new-") for joint in found.joints if _entry(joint.source.part, goods) == name
        ]
        why = f"goes from {listed([joint.source.part.removeprefix('new-') for joint in feeds])} to {listed(behind)}"
        section = "splitter" if isinstance(part, Splitter) else "lead"
        result.append(Purchase(name.removeprefix("new-"), full_name(part, boxes.families), count, why, section))
    return result


def full_name(part: Part, families: Families) -> str:
    """Name a lead or splitter in full, with its connectors in both ways of naming."""
    if isinstance(part, Splitter):
        ends: tuple[Connector | None, Connector | None] = (part.trunk, part.branch)
        words = f"in: 1 {{}}; out: {part.branches} {{}}"
    else:
        assert isinstance(part, Lead)
        ends, words = (part.inlet, part.outlet), "in: {}; out: {}"
    return f"{part.name} - " + words.format(*(in_words(end, families, full=True) for end in ends if end is not None))


def _cuts(found: Found, boxes: Box) -> list[Cut]:
    """Say where to cut, and which conductor is which."""
    cuts = []
    for joint in found.joints:
        if not joint.sink.part.startswith("splice-"):
            continue
        onward = [other for other in found.joints if other.source.part == joint.sink.part]
        at = f"behind the {_end_words(joint.source, boxes)} of {joint.source.part}"
        at += " and before the " + "; the ".join(
            f"{_end_words(other.sink, boxes)} of {other.sink.part}" for other in onward
        )
        plus = [_pole(joint.source, joint.before, True, boxes)]
        for other in onward:
            fan = isinstance(boxes.parts[other.sink.part], Fan)
            end = other.sink.connector
            own = load_flip(end, boxes.families) if fan and end is not None else other.flip
            plus.append(_pole(other.sink, own, False, boxes))
        why = f"cut these connectors off and join + to + and - to -. The + is: {'; '.join(plus)}"
        cuts.append(Cut(at, why))
    return cuts


def _end_words(port: Port, boxes: Box) -> str:
    assert port.connector is not None
    return in_words(port.connector, boxes.families)


def _pole(port: Port, flip: int | None, at_source: bool, boxes: Box) -> str:
    """Name the contact whose conductor is +, or say that it must be metered."""
    assert port.connector is not None
    positive = contact_of(port.connector, flip, at_source, boxes.families)
    return (
        f"{port.part}: the conductor of its {positive} contact"
        if positive
        else f"{port.part}: not known, meter it first"
    )
