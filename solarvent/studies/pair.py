"""Pairing: can the parts in the boxes be joined so that every fan is fed, and if not, what is the least to buy?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isnan, nan
from typing import Any, Literal

from solarvent.base.errors import PlanError, Problem, require_kind
from solarvent.base.findings import Finding, Verdict, listed, sort_findings
from solarvent.electrical.start_light import last_start
from solarvent.findings.joints import (
    joint_findings,
    look_alike,
    part_findings,
    polarity_findings,
    side_findings,
    wiring_findings,
)
from solarvent.findings.verdicts import find_in_wiring, verdict_of
from solarvent.plan.boxes import Box, BoxedBattery, ends_of, with_pieces
from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Connector, Converter, Fan, Panel
from solarvent.plan.plan import Plan, plan_from
from solarvent.simulation.worst_case import coldest_air
from solarvent.studies.box_plan import JoinedBoxes, boxed_content
from solarvent.weather.conditions import plan_weather
from solarvent.wiring.circuit import circuits
from solarvent.wiring.harness import build_harness
from solarvent.wiring.joints import (
    Join,
    Polarity,
    PolarityTrace,
    Port,
    Side,
    feeds,
    fit,
    in_words,
    side_of,
    trouble,
    worst_polarity,
)
from solarvent.wiring.pairing_program import Joint, SupplyEnd
from solarvent.wiring.pairing_search import JoinLine, join_lines, search
from solarvent.wiring.remedies import Cut, Purchase, Remedies, remedies

Feasible = Literal["yes", "after_metering", "no"]

COLD_MORNING = -10.0
"""Air of the coldest bright morning that is assumed for boxes, which stand nowhere yet (our choice). [degC]"""
#: What a plan says besides its parts and wires; nothing that is asked here depends on it.
_AROUND: Mapping[str, Any] = {
    "plan_version": 1,
    "place": {"latitude": 0.0, "longitude": 0.0, "record_low": f"{COLD_MORNING:g} degC"},
    "weather": {"clear_sky": True},
    "house": {"length": "3 m", "width": "2 m", "use": "shed"},
}


@dataclass(frozen=True)
class Pairing:
    """What there is to say about loose parts, or about the joins of a plan, of which nothing to buy is worked out.

    `feasible` is ``"yes"``, ``"after_metering"`` or ``"no"``, the last also where it joins but a pole is reversed;
    `verdict` says so in a sentence, with what to do first; its figure is the light that starts the last fan, if there
    is one. `fits` is the answer for plugs and poles alone. `fed` is how many of the fans can be fed with what is there;
    `buy` is the least to buy, empty if nothing is needed or nothing helps; `splice` is the second choice; `loose` tells
    loose parts, whose joints are in `joints`. Findings are worst first.
    """

    title: str
    feasible: Feasible
    fits: Feasible
    verdict: Verdict
    fans: int
    fed: int
    joins: list[JoinLine]
    left_over: list[str] = field(default_factory=list)
    buy: list[Purchase] = field(default_factory=list)
    after_buying: list[JoinLine] = field(default_factory=list)
    splice: list[Cut] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    loose: bool = True
    joints: Sequence[Join] = ()


def pair(given: Box | Plan, system: str | None = None) -> Pairing:
    """Answer for loose parts, or for a plan whose joins are given.

    Parameters
    ----------
    given : Box or Plan
        From :func:`solarvent.plan.boxes.load_box`.
    system : {"metric", "us"}, optional
        Units in the texts; by default the plan's, and metric for boxes.

    Returns
    -------
    Pairing
        ``.feasible``: ``"yes"``, ``"after_metering"`` or ``"no"``; the joins, and what to buy.

    Examples
    --------
    >>> from solarvent import load_box
    >>> pair(load_box(["pv-pair-barrel-fans"])).feasible
    'yes'
    """
    if isinstance(given, Box):
        return pair_boxes(given, system)
    require_kind(given, Plan)
    return check_joins(given, system)


def pair_boxes(boxes: Box, system: str | None = None) -> Pairing:
    """Find how to join the loose parts of one or more kits.

    If that does not feed every fan rightly, also the least to buy and where to cut instead.
    """
    supplies, sides = _supplies(boxes)
    pieces = {name: part for name, part in boxes.parts.items() if not isinstance(part, Panel | BoxedBattery)}
    fans = {name: part for name, part in pieces.items() if isinstance(part, Fan)}

    gives = {}
    for name, converter in boxes.of(Converter).items():
        assert isinstance(converter, Converter)
        side = Side.held(converter.output_voltage)
        if side not in sides:
            sides.append(side)
        gives[name] = sides.index(side)

    def suits(part: Fan | Converter, side: int) -> bool:
        if isinstance(part, Converter):
            return feeds(part, sides[side])
        return trouble(part, sides[side], boxes.families) is None

    best = search(supplies, pieces, boxes.families, {}, suits, kit_of=boxes.kit_of, gives=gives)
    assert best is not None
    trace = PolarityTrace(boxes.parts, best.joints, boxes.families)
    joined = {name for joint in best.joints for name in (joint.source.part, joint.sink.part)}
    unfed = [name for name in fans if name not in joined]
    polarities = {worst_polarity(arrivals) for arrivals in trace.fans().values()}
    by_end = {f"{supply.port.part}|{supply.port.name}": sides[supply.side] for supply in supplies}
    by_end |= {f"{name}|outlet": sides[side] for name, side in gives.items()}
    wrong_side = list(side_findings(best.joints, boxes.parts, by_end, boxes.families))
    findings = [
        *polarity_findings(trace, boxes.library),
        *wrong_side,
        *joint_findings(trace, boxes.library),
        *part_findings(boxes.parts, boxes.families, joined),
    ]
    helped = Remedies()
    # No lead makes another voltage: a fan that no source suits cannot be helped.
    suited = all(any(suits(fan, side) for side in range(len(sides))) for fan in fans.values())
    if suited and (unfed or wrong_side or Polarity.REVERSED in polarities):
        helped = remedies(boxes, supplies, pieces, suits, gives)
    if unfed:
        findings.append(_not_fed(unfed, boxes, helped))
    if not (best.shared and helped.shared):
        text = "In the time that it is given it was not found out whether the fans can be shared out more evenly."
        do = "Look how many fans hang on each panel, and pair fewer boxes at once."
        findings.append(Finding("note", "shares-not-proved", "", text, do))
    fits = _feasible(not unfed, polarities, findings)
    joins = join_lines(trace)
    volts, start, assumed = _volts_of_boxes(boxes, best.joints, system)
    findings = sort_findings([*findings, *volts])
    return Pairing(
        title=" + ".join(boxes.titles),
        feasible=_feasible(not unfed, polarities, findings),
        fits=fits,
        verdict=_verdict(fits, len(fans), len(fans) - len(unfed), findings, start, assumed),
        fans=len(fans),
        fed=len(fans) - len(unfed),
        joins=joins,
        left_over=[name for name in boxes.parts if name not in joined],
        buy=helped.buy,
        after_buying=helped.after_buying,
        splice=helped.splice,
        findings=findings,
        joints=best.joints,
    )


def check_joins(plan: Plan, system: str | None = None) -> Pairing:
    """Check the joins that a plan gives: whether they mate, the polarity at each fan, and its volts and amperes."""
    families, harness = read_families(plan.library), build_harness(plan)
    trace = PolarityTrace(harness.parts, harness.joins, families)
    findings = wiring_findings(plan, families, harness)
    fans = trace.fans()
    apart = {join.sink.part for join in harness.joins if join.mates(families) is False}
    fed = [name for name in fans if not apart & set(harness.upstream(name))]
    polarities = {worst_polarity(arrivals) for arrivals in fans.values()}
    fits = _feasible(len(fed) == len(fans), polarities, findings)
    wired = circuits(harness, plan)
    findings = sort_findings([*findings, *find_in_wiring(plan, harness, wired, _coldest(plan), system)])
    return Pairing(
        plan.record.title,
        _feasible(len(fed) == len(fans), polarities, findings),
        fits,
        _verdict(fits, len(fans), len(fed), findings, last_start(wired)),
        len(fans),
        len(fed),
        join_lines(trace),
        findings=findings,
        loose=False,
    )


def _coldest(plan: Plan) -> float:
    """Air of the coldest bright morning; where the plan does not name it, its weather is read. [degC]"""
    if plan.record.place.record_low is not None:
        return plan.record.place.record_low
    return coldest_air(plan, plan_weather(plan))


def _volts_of_boxes(boxes: Box, joints: Sequence[Joint], system: str | None) -> tuple[list[Finding], float, list[str]]:
    """Hold volts and amperes of what is joined against the limits of the parts.

    Gives the findings, the light that starts the last fan [W/m2], and the parts of which typical figures were taken.
    """
    if boxes.of(BoxedBattery) or not joints:
        return [], nan, []
    content, assumed = boxed_content(boxes, joints)
    try:
        plan = plan_from({**_AROUND, **content}, boxes.library)
        harness = build_harness(plan)
        wired = circuits(harness, plan)
    except PlanError:
        # What a plan has no words for cannot be worked out.
        return [], nan, []
    return find_in_wiring(plan, harness, wired, COLD_MORNING, system), last_start(wired), assumed


def _verdict(
    fits: Feasible, fans: int, fed: int, findings: Sequence[Finding], start: float, assumed: Sequence[str] = ()
) -> Verdict:
    """Say in a sentence whether it joins, and whether it may be built so."""
    stops = [finding for finding in findings if finding.level == "stop"]
    every = {1: "the fan is", 2: "both fans are"}.get(fans, f"all {fans} fans are")
    codes = {finding.code for finding in stops} | {finding.code for finding in findings} & {"fan-runs-backward"}
    if fed < fans:
        some = "the fan cannot" if fans == 1 else f"{fed or 'none'} of {fans} fans can"
        sentence = f"NO - {some} be fed with what is there."
    elif codes & {"polarity-reversed", "fan-runs-backward"} or (fits == "no" and not stops):
        sentence = "NO, NOT AS IT IS - it joins, but the poles are reversed at a fan."
    elif "voltage-sides" in codes:
        sentence = "NO, NOT AS IT IS - it joins, but a fan is on the wrong voltage."
    elif fits == "no":
        sentence = "NO, NOT AS IT IS - it joins, but see the findings."
    elif stops:
        first = stops[0]
        sentence = f"NO, NOT AS IT IS - plugs and poles fit, but {first.part or 'the whole'}: {first.text}"
    elif fits == "after_metering":
        sentence = f"YES, AFTER METERING - {every} fed, but a pole is not known yet."
    else:
        sentence = f"YES - {every} fed, and every pole is right."
    if assumed:
        sentence += f" (Volts by typical figures of {listed(assumed)}.)"
    answer = verdict_of(findings, start, nan, nan)
    return replace(answer, sentence=sentence, figures=tuple(one for one in answer.figures if not isnan(one.value)))


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


def _not_fed(unfed: list[str], boxes: Box, helped: Remedies) -> Finding:
    """Say which fans stay without power, what is at the two ends, and what to get."""

    def counted(ends: Iterable[Connector | None]) -> str:
        names = Counter(in_words(end, boxes.families) for end in ends if end is not None)
        return ", ".join(f"{count} x {name}" for name, count in names.items())

    given = [end for part in boxes.of(Panel, BoxedBattery).values() for end in ends_of(part).values()]
    wanted = [boxes.of(Fan)[name].inlet for name in unfed]  # type: ignore[attr-defined]
    text = f"{listed(unfed)}: no way to feed. The source ends in {counted(given)}; wanted: {counted(wanted)}."
    bodies = {
        first.body
        for first in given
        for second in wanted
        if first and second and fit(first, second, boxes.families).why_not == "same-body"
    }
    text += "".join(f" Two {body}s do not go together." for body in sorted(bodies))
    alike = [
        first
        for first in given
        for second in wanted
        if first and second and fit(first, second, boxes.families).why_not == "look-alike"
    ]
    do = "No adapter of the library joins these: cut and splice, or get parts that go together."
    if helped.buy:
        names = [f"{item.count} x {item.item.partition(' - ')[0]} ({item.part})" for item in helped.buy]
        do = f"Get {listed(names)}."
    if not alike:
        return Finding("stop", "fan-not-fed", unfed[0], text, do)
    return look_alike(unfed[0], text, do, alike[0])


def joined_boxes(boxes: Box | Plan) -> JoinedBoxes:
    """Join the parts of some boxes, with the least that must be bought if they cannot be joined as they are.

    Raises PlanError if it was a plan already, the parts cannot be joined, or they are fed by a battery.
    """
    if isinstance(boxes, Plan):
        raise PlanError.single("", "this is a plan already", "copy it")
    if boxes.of(BoxedBattery):
        raise PlanError.single(
            "", "a box with a battery has no plan of its own", "write the plan by hand: solarvent new"
        )
    answer = pair(boxes)
    missing = answer.buy if answer.fits == "no" else []
    if missing:
        content: dict[str, Any] = {"kit_version": 1}
        for item in missing:
            piece = {"id": f"new-{item.section}", "part": item.part, "count": item.count, "owned": False}
            content.setdefault(item.section, []).append(piece)
        boxes = with_pieces(boxes, content)
        answer = pair(boxes)
    if answer.fits == "no":
        what = "these parts cannot be joined as they are"
        raise PlanError([Problem("", what, "see what is missing with: solarvent pair, and add it to the box")])
    return JoinedBoxes(boxes, answer.joints, missing)
