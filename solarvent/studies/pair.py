"""Pairing: can the parts in the boxes be joined so that every fan is fed, and if not, what is the least to buy?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Literal

from solarvent.base.findings import Finding, sort_findings
from solarvent.base.sentences import listed
from solarvent.findings.joints import (
    joint_findings,
    look_alike,
    part_findings,
    polarity_findings,
    side_findings,
    wiring_findings,
)
from solarvent.plan.boxes import Box, BoxedBattery, ends_of
from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Connector, Fan, Panel
from solarvent.plan.plan import Plan
from solarvent.wiring.harness import Port, build_harness
from solarvent.wiring.mating import fit, in_words, mates
from solarvent.wiring.network import Side, side_of, trouble
from solarvent.wiring.pairing_program import SupplyEnd
from solarvent.wiring.pairing_search import JoinLine, join_lines, search
from solarvent.wiring.polarity import PolarityTrace, worst_polarity
from solarvent.wiring.poles import Polarity
from solarvent.wiring.remedies import Cut, Purchase, Remedies, remedies

Feasible = Literal["yes", "after_metering", "no"]


@dataclass(frozen=True)
class Pairing:
    """What there is to say about loose parts, or about the joins of a plan, of which nothing to buy is worked out.

    `feasible` is ``"yes"``, ``"after_metering"`` or ``"no"``, the last also where it joins but a pole is reversed;
    `fed` is how many of the fans can be fed with what is there; `buy` is the least to buy, empty if nothing is needed
    or nothing helps; `splice` is the second choice; `loose` tells loose parts. Findings are worst first.
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
    """Find how to join the loose parts of one or more kits.

    If that does not feed every fan rightly, also the least to buy and where to cut instead.
    """
    supplies, sides = _supplies(boxes)
    pieces = {name: part for name, part in boxes.parts.items() if not isinstance(part, Panel | BoxedBattery)}
    fans = {name: part for name, part in pieces.items() if isinstance(part, Fan)}

    def suits(fan: Fan, side: int) -> bool:
        return trouble(fan, sides[side], boxes.families) is None

    best = search(supplies, pieces, boxes.families, {}, suits, kit_of=boxes.kit_of)
    assert best is not None
    trace = PolarityTrace(boxes.parts, best.joints, boxes.families)
    joined = {name for joint in best.joints for name in (joint.source.part, joint.sink.part)}
    unfed = [name for name in fans if name not in joined]
    polarities = {worst_polarity(arrivals) for arrivals in trace.fans().values()}
    by_end = {f"{supply.port.part}|{supply.port.name}": sides[supply.side] for supply in supplies}
    wrong_side = list(side_findings(best.joints, boxes.parts, by_end, boxes.families))
    findings = [
        *polarity_findings(trace),
        *wrong_side,
        *joint_findings(trace),
        *part_findings(boxes.parts, boxes.families, joined),
        *([_not_fed(unfed, boxes)] if unfed else []),
    ]
    helped = Remedies()
    # No lead makes another voltage: a fan that no source suits cannot be helped.
    suited = all(any(suits(fan, supply.side) for supply in supplies) for fan in fans.values())
    if suited and (unfed or wrong_side or Polarity.REVERSED in polarities):
        helped = remedies(boxes, supplies, pieces, suits)
    return Pairing(
        title=" + ".join(boxes.titles),
        feasible=_feasible(not unfed, polarities, findings),
        fans=len(fans),
        fed=len(fans) - len(unfed),
        joins=join_lines(trace),
        left_over=[name for name in boxes.parts if name not in joined],
        buy=helped.buy,
        after_buying=helped.after_buying,
        splice=helped.splice,
        findings=sort_findings(findings),
    )


def check_joins(plan: Plan) -> Pairing:
    """Check the joins that a plan gives: whether they mate, and the polarity at each fan."""
    families, harness = read_families(plan.library), build_harness(plan)
    trace = PolarityTrace(harness.parts, harness.joins, families)
    findings = wiring_findings(plan, families, harness)
    fans = trace.fans()
    apart = {join.sink.part for join in harness.joins if mates(join, families) is False}
    fed = [name for name in fans if not apart & set(harness.upstream(name))]
    polarities = {worst_polarity(arrivals) for arrivals in fans.values()}
    return Pairing(
        plan.record.title,
        _feasible(len(fed) == len(fans), polarities, findings),
        len(fans),
        len(fed),
        join_lines(trace),
        findings=sort_findings(findings),
        loose=False,
    )


def _feasible(all_fed: bool, polarities: Collection[Polarity], findings: Iterable[Finding]) -> Feasible:
    """Give the answer: what is reversed, or found to be a stop, is a no even where it joins."""
    if not all_fed or Polarity.REVERSED in polarities or any(finding.level == "stop" for finding in findings):
        return "no"
    return "after_metering" if Polarity.UNKNOWN in polarities else "yes"


def _supplies(boxes: Box) -> tuple[list[SupplyEnd], list[Side | None]]:
    """List the ends that give power, with their sides."""
    sides: list[Side | None] = []
    supplies = []
    for name, part in boxes.of(Panel, BoxedBattery).items():
        for number, end in enumerate(ends_of(part).values(), start=1):
            if end is not None:
                side = side_of(part, end, boxes.families)
                if side not in sides:
                    sides.append(side)
                port = Port(name, "outlet" if number == 1 else f"outlet {number}", end)
                supplies.append(SupplyEnd(port, sides.index(side)))
    return supplies, sides


def _not_fed(unfed: list[str], boxes: Box) -> Finding:
    """Say which fans stay without power, and what is at the two ends."""

    def counted(ends: Iterable[Connector | None]) -> str:
        names = Counter(in_words(end, boxes.families) for end in ends if end is not None)
        return ", ".join(f"{count} x {name}" for name, count in names.items())

    given = [end for part in boxes.of(Panel, BoxedBattery).values() for end in ends_of(part).values()]
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
