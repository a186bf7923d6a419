"""Pairing: can the parts in the boxes be joined so that every fan is fed, and if not, what is the least to buy?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from solarvent.inputs.connectors import Families, fit, in_words, load_flip, read_families
from solarvent.inputs.harness import Join, Port, build_harness
from solarvent.inputs.kit import Battery, BoxedLead, BoxedSplitter, Boxes, ends_of
from solarvent.inputs.loading import LoadedPlan
from solarvent.inputs.parts import Connector, Fan, Lead, Panel, Part, Splitter
from solarvent.planning.findings import Finding, sort_findings
from solarvent.planning.joint_checks import joint_findings, mates, part_findings, side_findings
from solarvent.planning.pairing_search import Found, Joint, Source, Splice, search
from solarvent.planning.polarity import Walk, contact_of, polarity_findings, verdict
from solarvent.planning.sides import Side, side_of, trouble
from solarvent.planning.wiring_checks import wiring_findings

Feasible = Literal["yes", "after_metering", "no"]


@dataclass(frozen=True)
class JoinLine:
    """One join of the answer.

    Attributes
    ----------
    source, source_port, sink, sink_port : str
        The ids of the parts, and which of their ends.
    words : str
        The connectors.
    mates : bool
        False if the two ends do not go together.
    polarity : str
        ``"kept"``, ``"reversed"`` or ``"unknown"``: at a fan, of its +; before, against the habit of the connector.
    plus : str or None
        The contact of the source's end that is +; None at a fan, or where it is not known.
    """

    source: str
    source_port: str
    sink: str
    sink_port: str
    words: str
    mates: bool
    polarity: str
    plus: str | None = None

    def as_data(self) -> dict[str, Any]:
        """Give it with the keys of the JSON."""
        return {
            "from": self.source,
            "from_port": self.source_port,
            "to": self.sink,
            "to_port": self.sink_port,
            "connector": self.words,
            "mates": self.mates,
            "polarity": self.polarity,
            "plus": self.plus,
        }


@dataclass(frozen=True)
class Purchase:
    """Something to buy: its library entry, its full name, how many, and why."""

    part: str
    item: str
    count: int
    why: str


@dataclass(frozen=True)
class Cut:
    """A place to cut and splice, and why; with the pole of each conductor."""

    at: str
    why: str


@dataclass(frozen=True)
class Answer:
    """What there is to say about the boxes, or about the joins of a plan.

    Attributes
    ----------
    title : str
        Of the kits or the plan.
    feasible : {"yes", "after_metering", "no"}
        ``"no"`` also where it joins but a pole is reversed.
    fans, fed : int
        How many fans there are, and how many can be fed with what is there.
    joins : list of JoinLine
        The joins to make, in order, with what is there.
    left_over : list of str
        Parts that are not needed.
    buy : list of Purchase
        The least to buy; empty if nothing is needed or nothing helps.
    after_buying : list of JoinLine
        The joins to make then.
    splice : list of Cut
        The second choice.
    findings : list of Finding
        Worst first.
    loose : bool
        True for loose parts, False for the joins of a plan, of which nothing to buy is worked out.
    """

    title: str
    feasible: Feasible
    fans: int
    fed: int
    joins: list[JoinLine]
    left_over: list[str] = field(default_factory=list)
    buy: list[Purchase] = field(default_factory=list)
    after_buying: list[JoinLine] = field(default_factory=list)
    splice: list[Cut] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    loose: bool = True


def pair(given: Boxes | LoadedPlan) -> Answer:
    """Answer for loose parts, or for a plan whose joins are given.

    Parameters
    ----------
    given : Boxes or LoadedPlan
        From :func:`solarvent.inputs.kit.load_boxes`.

    Returns
    -------
    Answer
    """
    if isinstance(given, Boxes):
        return pair_boxes(given)
    return check_joins(given)


def pair_boxes(boxes: Boxes) -> Answer:
    """Find how to join loose parts.

    Parameters
    ----------
    boxes : Boxes
        One or more kits, pooled.

    Returns
    -------
    Answer
        The joins to make, and if they do not feed every fan rightly, the least to buy and where to cut instead.
    """
    sources, sides = _sources(boxes)
    pieces = {
        name: part
        for name, part in boxes.parts.items()
        if not isinstance(part, Panel | Battery) and getattr(part, "usb_wires", None) != "data"
    }
    fans = boxes.of(Fan)

    def suits(fan: Fan, side: int) -> bool:
        return trouble(fan, sides[side], boxes.families) is None

    found = search(sources, pieces, boxes.families, {}, suits, strict=True)
    if found is None:
        found = search(sources, pieces, boxes.families, {}, suits)
    walk = Walk(boxes.parts, found.joints, boxes.families)
    polarity = dict(zip(fans, (verdict(walk.fans().get(name, ())) for name in fans), strict=True))
    fed = {joint.sink.part for joint in found.joints if joint.sink.part in fans}
    by_end = {f"{source.port.part}|{source.port.name}": sides[source.side] for source in sources}
    wrong_side = list(side_findings(found.joints, boxes.parts, by_end, boxes.families))
    used = {name for joint in found.joints for name in (joint.source.part, joint.sink.part)}
    findings = [
        *polarity_findings(walk),
        *wrong_side,
        *joint_findings(walk),
        *part_findings(boxes.parts, boxes.families, used),
    ]
    reversed_fans = [name for name in fed if polarity[name] == "reversed"]
    unsuited = len(fed) < len(fans) or bool(reversed_fans) or bool(wrong_side)
    feasible: Feasible = "yes"
    if unsuited or any(finding.level == "stop" for finding in findings):
        feasible = "no"
    elif any(polarity[name] == "unknown" for name in fans):
        feasible = "after_metering"
    answer: dict[str, Any] = {
        "title": " + ".join(boxes.titles),
        "feasible": feasible,
        "fans": len(fans),
        "fed": len(fed),
        "joins": _lines(walk),
        "left_over": [name for name in boxes.parts if name not in used],
    }
    if unsuited:
        unfed = [name for name in fans if name not in fed]
        if unfed:
            findings.append(_not_fed(unfed, boxes))
        answer |= _remedies(boxes, sources, pieces, suits)
    return Answer(**answer, findings=sort_findings(findings))


def check_joins(loaded: LoadedPlan) -> Answer:
    """Check the joins that a plan gives: whether they mate, and the polarity at each fan.

    Parameters
    ----------
    loaded : LoadedPlan
        The plan.

    Returns
    -------
    Answer
        The joins with what arrives at each, and the findings; nothing to buy is worked out.
    """
    families, harness = read_families(loaded.library), build_harness(loaded)
    walk = Walk(harness.parts, harness.joins, families)
    findings = wiring_findings(loaded, families, harness)
    fans = walk.fans()
    apart = {join.sink.part for join in harness.joins if mates(join, families) is False}
    fed = [name for name in fans if not apart & set(harness.upstream(name))]
    words = {verdict(arrivals) for arrivals in fans.values()}
    feasible: Feasible = "after_metering" if "unknown" in words else "yes"
    if len(fed) < len(fans) or "reversed" in words or any(finding.level == "stop" for finding in findings):
        feasible = "no"
    return Answer(
        loaded.plan.title,
        feasible,
        len(fans),
        len(fed),
        _lines(walk),
        findings=sort_findings(findings),
        loose=False,
    )


def _sources(boxes: Boxes) -> tuple[list[Source], list[Side | None]]:
    """List the ends that give power, with their sides."""
    sides: list[Side | None] = []
    sources = []
    for name, part in boxes.of(Panel, Battery).items():
        assert isinstance(part, Panel | Battery)
        others = part.other_outlets if isinstance(part, Panel) else []
        for number, end in enumerate([part.outlet, *others], start=1):
            if end is not None:
                side = side_of(part, end, boxes.families)
                if side not in sides:
                    sides.append(side)
                port = Port(name, "outlet" if number == 1 else f"outlet {number}", end)
                sources.append(Source(port, sides.index(side)))
    return sources, sides


def _lines(walk: Walk) -> list[JoinLine]:
    """Write the joins down, each branch to its end before the next one."""
    order: list[Any] = []

    def follow(part: str) -> None:
        for join in walk.joins:
            if join.source.part == part and join not in order:
                order.append(join)
                follow(join.sink.part)

    sinks = {join.sink.part for join in walk.joins}
    for join in walk.joins:
        if join.source.part not in sinks:
            follow(join.source.part)
    return [_line(walk, join) for join in order]


def _line(walk: Walk, join: Join | Joint) -> JoinLine:
    fits = mates(join, walk.families)
    both = [end for end in (join.source.connector, join.sink.connector) if end is not None]
    ends = [in_words(end, walk.families) for end in sorted(both, key=lambda end: end.body == "jack")]
    words = " into ".join(dict.fromkeys(ends)) or "not described"
    polarity = verdict(walk.arriving(join))
    plus = None
    if join.source.connector is not None and not isinstance(walk.parts[join.sink.part], Fan) and polarity != "unknown":
        plus = contact_of(join.source.connector, int(polarity == "reversed"), True, walk.families)
    return JoinLine(
        join.source.part, join.source.name, join.sink.part, join.sink.name, words, fits is not False, polarity, plus
    )


def _not_fed(unfed: list[str], boxes: Boxes) -> Finding:
    """Say which fans stay without power, and what is at the two ends."""

    def counted(ends: Iterable[Connector | None]) -> str:
        words = Counter(in_words(end, boxes.families) for end in ends if end is not None)
        return ", ".join(f"{count} x {name}" for name, count in words.items())

    given = [end for part in boxes.of(Panel, Battery).values() for end in ends_of(part).values()]
    wanted = [boxes.of(Fan)[name].inlet for name in unfed]  # type: ignore[attr-defined]
    text = f"{_and(unfed)}: no way to feed. The source ends in {counted(given)}; wanted: {counted(wanted)}."
    alike = any(
        first and second and fit(first, second, boxes.families).why_not == "look-alike"
        for first in given
        for second in wanted
    )
    if alike:
        text += " They look alike, and go together badly or not at all."
    code = "look-alike" if alike else "fan-not-fed"
    return Finding("stop", code, unfed[0], text, "Buy what is named below, or cut and splice.")


def _remedies(boxes: Boxes, sources: list[Source], pieces: Mapping[str, Part], suits: Any) -> dict[str, Any]:
    """Find the least to buy, and where to cut and splice instead."""
    fans = len(boxes.of(Fan))
    goods = {
        f"new-{name}": record.model_validate(entry)
        for kind, record in (("leads", BoxedLead), ("splitters", BoxedSplitter))
        for name, entry in boxes.library.entries(kind).items()
        if {"inlet", "outlet"} <= entry.keys() or {"trunk", "branch"} <= entry.keys()
    }
    bought = search(sources, {**pieces, **goods}, boxes.families, dict.fromkeys(goods, (1, fans)), suits, strict=True)
    splices = {f"splice-{ways}": Splice(ways) for ways in range(1, min(fans, 4) + 1)}
    prices = {name: (splice.ways + 1, fans) for name, splice in splices.items()}
    spliced = search(sources, {**pieces, **splices}, boxes.families, prices, suits, strict=True)
    return {
        "buy": _purchases(bought, goods, boxes) if bought else [],
        "after_buying": _lines(_walk_with(bought, goods, boxes)) if bought else [],
        "splice": _cuts(spliced, boxes) if spliced else [],
    }


def _walk_with(found: Found, goods: Mapping[str, Part], boxes: Boxes) -> Walk:
    """Walk over joints that need parts which are not there yet."""
    extra = {name: goods[_entry(name, goods)] for name in _new(found, "new-")}
    return Walk({**boxes.parts, **extra}, found.joints, boxes.families)


def _new(found: Found, mark: str) -> list[str]:
    return [joint.sink.part for joint in found.joints if joint.sink.part.startswith(mark)]


def _entry(name: str, goods: Mapping[str, Part]) -> str:
    return name if name in goods else name.rpartition("-")[0]


def _purchases(found: Found, goods: Mapping[str, Part], boxes: Boxes) -> list[Purchase]:
    """Count what is bought, named in full."""
    counts = Counter(_entry(name, goods) for name in _new(found, "new-"))
    result = []
    for name, count in counts.items():
        part = goods[name]
        feeds = [joint for joint in found.joints if _entry(joint.sink.part, goods) == name]
        behind = [joint.sink.part for joint in found.joints if _entry(joint.source.part, goods) == name]
        why = f"goes between {_and([joint.source.part for joint in feeds])} and {_and(behind)}"
        result.append(Purchase(name.removeprefix("new-"), full_name(part, boxes.families), count, why))
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


def _cuts(found: Found, boxes: Boxes) -> list[Cut]:
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
            own = load_flip(other.sink.connector, boxes.families) if fan else other.flip
            plus.append(_pole(other.sink, own, False, boxes))
        why = f"cut these connectors off and join + to + and - to -. The + is: {'; '.join(plus)}"
        cuts.append(Cut(at, why))
    return cuts


def _end_words(port: Port, boxes: Boxes) -> str:
    return in_words(port.connector, boxes.families)


def _pole(port: Port, flip: int | None, at_source: bool, boxes: Boxes) -> str:
    """Name the contact whose conductor is +, or say that it must be metered."""
    positive = contact_of(port.connector, flip, at_source, boxes.families)
    return (
        f"{port.part}: the conductor of its {positive} contact"
        if positive
        else f"{port.part}: not known, meter it first"
    )


def _and(names: list[str]) -> str:
    names = list(dict.fromkeys(names))
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
