"""Pairing: can the parts in the boxes be joined so that every fan is fed, and if not, what is the least to buy?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from solarvent.base.findings import Finding, sort_findings
from solarvent.base.sentences import listed
from solarvent.findings.joints import joint_findings, look_alike, part_findings, side_findings
from solarvent.findings.poles import polarity_findings
from solarvent.findings.wiring import wiring_findings
from solarvent.plan.boxes import Battery, Box, ends_of
from solarvent.plan.connectors import fit, in_words, read_families
from solarvent.plan.parts import Connector, Fan, Panel
from solarvent.plan.plan import Plan
from solarvent.wiring.harness import Port, build_harness
from solarvent.wiring.join_lines import JoinLine, join_lines
from solarvent.wiring.mating import mates
from solarvent.wiring.pairing_search import search
from solarvent.wiring.pairing_uses import Source
from solarvent.wiring.polarity import PolarityTrace, verdict
from solarvent.wiring.remedies import Cut, Purchase, remedies
from solarvent.wiring.sides import Side, side_of, trouble

Feasible = Literal["yes", "after_metering", "no"]


@dataclass(frozen=True)
class Pairing:
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


def pair(given: Box | Plan) -> Pairing:
    """Answer for loose parts, or for a plan whose joins are given.

    Parameters
    ----------
    given : Box or Plan
        From :func:`solarvent.plan.boxes.load_box`.

    Returns
    -------
    Pairing
        ``.feasible``: ``"yes"``, ``"after metering"`` or ``"no"``; the joins, and what to buy.

    Examples
    --------
    >>> from solarvent import load_box
    >>> pair(load_box(["trio-right-splitter"])).feasible
    'yes'
    """
    if isinstance(given, Box):
        return pair_boxes(given)
    return check_joins(given)


def pair_boxes(boxes: Box) -> Pairing:
    """Find how to join loose parts.

    Parameters
    ----------
    boxes : Box
        One or more kits, pooled.

    Returns
    -------
    Pairing
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
    proved = found is None or found.proved
    if found is None or not found.costs:
        found = search(sources, pieces, boxes.families, {}, suits)
        assert found is not None
        proved = proved and found.proved
    trace = PolarityTrace(boxes.parts, found.joints, boxes.families)
    polarity = dict(zip(fans, (verdict(trace.fans().get(name, ())) for name in fans), strict=True))
    fed = {joint.sink.part for joint in found.joints if joint.sink.part in fans}
    by_end = {f"{source.port.part}|{source.port.name}": sides[source.side] for source in sources}
    wrong_side = list(side_findings(found.joints, boxes.parts, by_end, boxes.families))
    used = {name for joint in found.joints for name in (joint.source.part, joint.sink.part)}
    findings = [
        *polarity_findings(trace),
        *wrong_side,
        *joint_findings(trace),
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
        "joins": join_lines(trace),
        "left_over": [name for name in boxes.parts if name not in used],
    }
    if unsuited:
        unfed = [name for name in fans if name not in fed]
        if unfed:
            findings.append(_not_fed(unfed, boxes))
        # No lead makes another voltage: a fan that no source suits cannot be helped, and the search would be long.
        if all(any(suits(fan, source.side) for source in sources) for fan in fans.values() if isinstance(fan, Fan)):
            helped = remedies(boxes, sources, pieces, suits)
            answer |= {"buy": helped.buy, "after_buying": helped.after_buying, "splice": helped.splice}
            proved = proved and helped.proved
    if not proved:
        text = "There are too many ways to join these parts to try all; there may be a better one, or less to buy."
        do = "Leave out the parts that you do not want to use, and ask again."
        findings.append(Finding("warn" if feasible == "no" else "note", "search-cut-short", "", text, do))
    return Pairing(**answer, findings=sort_findings(findings))


def check_joins(plan: Plan) -> Pairing:
    """Check the joins that a plan gives: whether they mate, and the polarity at each fan.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Pairing
        The joins with what arrives at each, and the findings; nothing to buy is worked out.
    """
    families, harness = read_families(plan.library), build_harness(plan)
    trace = PolarityTrace(harness.parts, harness.joins, families)
    findings = wiring_findings(plan, families, harness)
    fans = trace.fans()
    apart = {join.sink.part for join in harness.joins if mates(join, families) is False}
    fed = [name for name in fans if not apart & set(harness.upstream(name))]
    words = {verdict(arrivals) for arrivals in fans.values()}
    feasible: Feasible = "after_metering" if "unknown" in words else "yes"
    if len(fed) < len(fans) or "reversed" in words or any(finding.level == "stop" for finding in findings):
        feasible = "no"
    return Pairing(
        plan.record.title,
        feasible,
        len(fans),
        len(fed),
        join_lines(trace),
        findings=sort_findings(findings),
        loose=False,
    )


def _sources(boxes: Box) -> tuple[list[Source], list[Side | None]]:
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


def _not_fed(unfed: list[str], boxes: Box) -> Finding:
    """Say which fans stay without power, and what is at the two ends."""

    def counted(ends: Iterable[Connector | None]) -> str:
        words = Counter(in_words(end, boxes.families) for end in ends if end is not None)
        return ", ".join(f"{count} x {name}" for name, count in words.items())

    given = [end for part in boxes.of(Panel, Battery).values() for end in ends_of(part).values()]
    wanted = [boxes.of(Fan)[name].inlet for name in unfed]  # type: ignore[attr-defined]
    text = f"{listed(unfed)}: no way to feed. The source ends in {counted(given)}; wanted: {counted(wanted)}."
    alike = [
        first
        for first in given
        for second in wanted
        if first and second and fit(first, second, boxes.families).why_not == "look-alike"
    ]
    do = "Buy what is named below, or cut and splice."
    if not alike:
        return Finding("stop", "fan-not-fed", unfed[0], text, do)
    return look_alike(unfed[0], text, do, alike[0])
