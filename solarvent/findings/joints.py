"""Findings that the graph of a plan gives by itself: joints, poles, sources, and what lies in the line."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache

from solarvent.base.errors import PartError
from solarvent.base.findings import Finding, listed
from solarvent.findings.wires import fuse_findings, line_findings, source_findings
from solarvent.plan.boxes import BoxedBattery, ends_of
from solarvent.plan.connectors import Families, power_contacts
from solarvent.plan.library import Library
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.wiring.harness import Harness, build_harness
from solarvent.wiring.joints import (
    Join,
    Polarity,
    PolarityTrace,
    Port,
    Side,
    fit,
    in_words,
    side_of,
    size_test,
    trouble,
)

#: A lead up to this length is an adapter, and not there for the distance (our choice). [m]
_ADAPTER = 0.5
_BACKWARD = "blows the wrong way, and weakly"


def polarity_findings(trace: PolarityTrace, library: Library | None = None) -> Iterator[Finding]:
    """Report reversed, unknown and opposed poles, one finding for each cause.

    ``polarity-reversed`` names the part that changes the poles and every fan behind it; ``fan-runs-backward`` is the
    same where it only turns brushed fans the wrong way; ``polarity-unknown`` says where to meter; ``sources-opposed``
    is two sources joined + to -. From `library` the crosser is named that goes in line.
    """
    reversed_by: dict[frozenset[str], list[str]] = {}
    unknown_at: dict[frozenset[str], list[str]] = {}
    opposed: dict[str, str] = {}
    for fan, arrivals in trace.fans().items():
        # A set of arrivals has no order of its own, and an answer should be the same every time.
        for arrival in sorted(arrivals, key=lambda arrival: arrival.source):
            if arrival.polarity is Polarity.REVERSED:
                fans = reversed_by.setdefault(arrival.reversed_by, [])
            elif arrival.polarity is Polarity.UNKNOWN:
                # Alike fans of unknown poles behind the same wires are one matter.
                fans = unknown_at.setdefault(arrival.unknown_at - {fan}, [])
            else:
                continue
            if fan not in fans:
                fans.append(fan)
        if {Polarity.KEPT, Polarity.REVERSED} <= {item.polarity for item in arrivals}:
            opposed.setdefault(" and ".join(sorted({item.source for item in arrivals})), fan)
    for names, fan in opposed.items():
        text = f"{names} are joined + to -: they work against each other."
        yield Finding("stop", "sources-opposed", fan, text, "Turn one of them round: swap its two conductors.")
    order = list(trace.parts)
    for parts, fans in reversed_by.items():
        yield _reversed(trace, sorted(parts, key=order.index), fans, library)
    for parts, fans in unknown_at.items():
        yield _unknown(trace, sorted(parts, key=order.index), fans)


def _reversed(trace: PolarityTrace, parts: list[str], fans: list[str], library: Library | None) -> Finding:
    """Word a reversal by what it does to the fans behind it."""
    effects: dict[str, list[str]] = {}
    for name in fans:
        fan = trace.parts[name]
        assert isinstance(fan, Fan)
        if fan.motor == "brushed":
            effect = _BACKWARD
        elif fan.reverse_protected:
            effect = "is protected and will not turn"
        else:
            effect = "may be destroyed, for no protection is known"
        effects.setdefault(effect, []).append(name)
    what = "; ".join(
        f"{listed(names)}{': each' if len(names) > 1 else ''} {effect}" for effect, names in effects.items()
    )
    severe = any("destroyed" in effect for effect in effects)
    where = listed(parts) + (" together" if len(parts) > 1 else "")
    plural = "s" if len(fans) > 1 else ""
    text = f"The poles change places at {where}: + reaches the - of {len(fans)} fan{plural} ({what})."
    do = f"{_uncrossed(trace, parts[0], library)} Meter at the last plug."
    if list(effects) == [_BACKWARD]:
        return Finding("warn", "fan-runs-backward", parts[0], text, f"{do} A tissue shows which way it blows.")
    return Finding("stop" if severe else "warn", "polarity-reversed", parts[0], text, do)


def _uncrossed(trace: PolarityTrace, name: str, library: Library | None) -> str:
    """Say how the poles are put right at the part that changes them: without it, with a crosser, or by swapping."""
    part = trace.parts[name]
    # Swapping always helps, and wants a soldering iron: it is told last.
    swap = f"swap the two conductors of {name}"
    if crosser_may_go(part, name, trace.joins, trace.families):
        return f"Take {name} out of the line, which crosses; or {swap}."
    for join in crosser_joints(trace.joins, name):
        if got := _between(trace, join, Polarity.REVERSED, library):
            return f"{got} Or {swap}."
    return f"{swap[0].upper()}{swap[1:]}."


def crosser_may_go(part: Part, name: str, joins: Sequence[Join], families: Families) -> bool:
    """Tell whether a part is an adapter that crosses and the two ends that it joins fit without it."""
    if not (isinstance(part, Lead) and part.crosses and part.length <= _ADAPTER):
        return False
    before = [join.source.connector for join in joins if join.sink.part == name]
    behind = [join.sink.connector for join in joins if join.source.part == name]
    if len(before) != 1 or len(behind) != 1 or before[0] is None or behind[0] is None:
        return False
    return fit(before[0], behind[0], families).mates


def crosser_joints(joins: Sequence[Join], name: str) -> list[Join]:
    """Give the joints at which a crosser puts right what a part changes: behind it if it feeds one other, or before."""
    behind = [join for join in joins if join.source.part == name]
    return behind if len(behind) == 1 else [join for join in joins if join.sink.part == name]


def _between(trace: PolarityTrace, join: Join, crosses: Polarity, library: Library | None) -> str:
    """Name what the library has to go between the two ends of a joint; empty if it has nothing."""
    from solarvent.wiring.remedies import chain, full_name, goods_of

    first, second = join.source.connector, join.sink.connector
    if library is None or first is None or second is None:
        return ""
    try:
        goods = goods_of(library)
    except PartError:
        # A broken entry of own parts is told by the commands that buy.
        return ""
    rows = chain(first, second, crosses, trace.families, goods)
    # The first of them has the shortest leads.
    if not rows:
        return ""
    names = [f"{full_name(goods[entry], trace.families)} ({entry})" for entry, _ in rows[0]]
    return f"Put between {join.source.part} and {join.sink.part}: {'; then '.join(names)}."


def _unknown(trace: PolarityTrace, wires: list[str], fans: list[str]) -> Finding:
    """Say what is not known, and where to find out."""
    own = [name for name in fans if any(name in arrival.unknown_at for arrival in trace.fans()[name])]
    last = next(join for join in trace.joins if join.sink.part == fans[0]).source
    steps = []
    if wires:
        end = f", {in_words(last.connector, trace.families)}" if last.connector else ""
        steps.append(
            f"Meter at the last plug before {listed(fans)} ({last.part}{end}): positive reading = red probe on +."
        )
    if own:
        which = listed(own) if len(own) < 3 else "one fan"
        steps.append(f"Find the + of {which}: the sign on its label, or its data sheet.{_trial(trace, own)}")
        if len(own) >= 3:
            steps.append("Look whether all are alike.")
    text = (
        f"It is not known which contact is + at {listed([*wires, *own])}, so the poles at {listed(fans)} are not known."
    )
    return Finding("warn", "polarity-unknown", (wires or own)[0], text, " ".join(steps))


def _trial(trace: PolarityTrace, own: list[str]) -> str:
    """Say whether a fan may be tried both ways round."""
    fans = [fan for name in own if isinstance(fan := trace.parts[name], Fan)]
    if all(fan.motor == "brushed" or fan.reverse_protected for fan in fans):
        return " Or try it on its rated voltage: it does no harm."
    return " Do not just try both ways: a fan that is not protected may die of the wrong one."


#: Families of which the colours, which everybody takes for a sign of the poles, prove nothing.
_LOOSE_WIRES = ("bare", "fan-wires-3", "fan-wires-4")


def joint_findings(trace: PolarityTrace, library: Library | None = None) -> Iterator[Finding]:
    """Report joints that do not mate, carry too much, or want care; from `library` what goes between is named."""
    unnamed = [join for join in trace.joins if join.mates(trace.families) is None]
    if unnamed:
        names = ", ".join(f"{join.source.part} - {join.sink.part}" for join in unnamed[:6])
        text = f"The connectors of {len(unnamed)} of {len(trace.joins)} joints are not described: {names}."
        do = "Give the ends in the plan (inlet, outlet, trunk, branch), or meter each of these joints."
        yield Finding("warn", "connectors-not-described", unnamed[0].sink.part, text, do)
    for join in trace.joins:
        if join.mates(trace.families) is False:
            yield _misfit(trace, join, library)
    yield from _overloaded(trace)
    yield from _of_families(trace)


def _misfit(trace: PolarityTrace, join: Join, library: Library | None) -> Finding:
    """Say why two ends do not go together."""
    ends = (join.source, join.sink)
    assert join.source.connector is not None
    assert join.sink.connector is not None
    reason = fit(join.source.connector, join.sink.connector, trace.families).why_not
    between = _between(trace, join, Polarity.KEPT, library)
    if reason == "same-body":
        return _same_body(trace, ends, join.source.connector, join.sink.connector, between)
    first, second = (in_words(end, trace.families) for end in (join.source.connector, join.sink.connector))
    both = f"{join.source.part} ends in a {first}, {join.sink.part} in a {second}"
    if reason == "look-alike":
        do = between or "Change one of the two plugs: the library has no adapter."
        return look_alike(join.sink.part, f"{both}.", do, join.source.connector)
    text = f"{both}: these do not go together."
    do = between or "Cut both off and splice them, + to + and - to -: the library has nothing that goes between."
    return Finding("stop", "connector-mismatch", join.sink.part, text, do)


def look_alike(part: str, ends: str, do: str, end: Connector) -> Finding:
    """Say that two ends, of which a sentence tells, only look as if they mate; one of them tells how to measure."""
    text = f"{ends} They look alike, and go together badly or not at all, so that the fan cuts out."
    return Finding("stop", "look-alike", part, text, f"{do}{size_test(end)}")


def _same_body(
    trace: PolarityTrace, ends: tuple[Port, Port], first: Connector, second: Connector, between: str
) -> Finding:
    """Say which of the two plugs, or jacks, should have been the other one."""
    body, other = first.body, "jack" if first.body == "plug" else "plug"
    end_names = dict.fromkeys(in_words(end, trace.families, full=True) for end in (first, second))
    text = (
        f"{ends[0].part} and {ends[1].part} both end in a {' and a '.join(end_names)}: two {body}s do not go together."
    )
    splitter = next((end for end in ends if isinstance(trace.parts[end.part], Splitter)), None)
    if splitter is None:
        return Finding("stop", "same-sex", ends[1].part, text, between or f"Get a coupler with two {other}s for it.")
    trunk = splitter.name.startswith("trunk")
    wanted = f"a {other} at its trunk" if trunk else f"{other}s at its branches"
    do = f"The splitter is made for the other way round: get one that has {wanted}."
    return Finding("stop", "splitter-wrong-way", splitter.part, text, do)


def _overloaded(trace: PolarityTrace) -> Iterator[Finding]:
    """Report contacts that carry more than they are made for."""

    @cache
    def current(name: str) -> float:
        part = trace.parts[name]
        # A fan in a box may not say what it draws.
        own = part.rated_current or 0.0 if isinstance(part, Fan) else 0.0
        return own + sum(current(join.sink.part) for join in trace.behind(name))

    for join in trace.joins:
        ends = [end for end in (join.source.connector, join.sink.connector) if end is not None]
        if ends:
            # The weaker half of a joint of two families decides.
            end = min(ends, key=lambda end: trace.families[end.family].contact_rating)
            limit, amps = trace.families[end.family].contact_rating, current(join.sink.part)
            if amps > limit:
                text = f"{amps:.2g} A run through a {in_words(end, trace.families)}, which is made for {limit:g} A."
                do = "Divide the fans over two leads, or use a stronger connector."
                yield Finding("warn", "contact-overloaded", join.sink.part, text, do, amps, limit, "A")


def _of_families(trace: PolarityTrace) -> Iterator[Finding]:
    """Give the cautions of the families that are in use, once each."""
    used: dict[str, str] = {}
    for join in trace.joins:
        for port in (join.source, join.sink):
            if port.connector is not None:
                used.setdefault(port.connector.family, port.part)
    for name, part in used.items():
        family = trace.families[name]
        if name.startswith("pv-"):
            text = f"{family.name}: only two halves of the same maker and type are rated to mate."
            do = "Compare the marks on both halves; never part them in the sun."
            yield Finding("note", "same-maker-only", part, text, do)
        if family.temporary:
            text = f"{family.name} are for a test on the bench."
            yield Finding("warn", "clips-in-use", part, text, "Replace them before it goes outside.")
    for join in trace.joins:
        yield from _resistors(trace, join)


def _resistors(trace: PolarityTrace, join: Join) -> Iterator[Finding]:
    """Say whether a USB-C outlet finds the two resistors of a device; a USB-A one looks for none."""
    end, taker = join.source.connector, trace.parts[join.sink.part]
    # A lead from USB-A to USB-C is no source of its own: what stands before it decides.
    if end is None or end.family != "usb-c" or isinstance(trace.parts[join.source.part], Lead | Splitter):
        return
    if isinstance(taker, Converter) and taker.built_in:
        return
    own = getattr(taker, "usb_c_resistors", None)
    onward = taker.outlet if isinstance(taker, Lead) else None
    straight = onward is not None and onward.family == "usb-c"
    device = join.sink.part
    # A lead that is USB-C at both ends only hands the question on to what is plugged into it.
    if straight and not own:
        device = next((other.sink.part for other in trace.behind(device)), device)
        own = getattr(trace.parts[device], "usb_c_resistors", None)
    if own:
        return
    text = "A USB-C outlet gives nothing until it finds the two resistors of a device"
    if own is False or straight or not isinstance(taker, Lead):
        do = "Use a lead from a USB-A outlet, or a device that has them, and write usb_c_resistors = true at it."
        what = "has none" if own is False else "is not known to have any, and cheap ones have none"
        yield Finding("stop", "usb-c-resistors", device, f"{text}; {device} {what}.", do)
    else:
        do = "Use a lead that has them, or a USB-A outlet."
        yield Finding("note", "usb-c-resistors", join.source.part, f"{text}.", do)


def part_findings(parts: Mapping[str, Part], families: Families, used: Collection[str]) -> Iterator[Finding]:
    """Report parts that are wrong in themselves, wherever they are put."""
    for name, part in parts.items():
        level = "stop" if name in used else "note"
        for end in ends_of(part).values():
            if end is not None:
                yield from _end_findings(name, end, families, name in used)
        if isinstance(part, Lead) and part.usb_wires == "data":
            yield Finding(level, "usb-data-only", name, "This USB lead has no power wires.", "Use one with power.")
        if isinstance(part, Lead) and part.inlet and part.outlet and _two_sources(part):
            text = "This USB lead has a plug that wants a source at both ends: it would join two sources back to back."
            do = "Use a lead with a receptacle, or the plug of the fan, at one end."
            yield Finding(level, "usb-two-sources", name, text, do)
        if isinstance(part, BoxedBattery) and part.fuse is None:
            yield unfused_battery(name)


def _end_findings(name: str, end: Connector, families: Families, used: bool) -> Iterator[Finding]:
    """Report contacts that carry no power, and wires of which nobody knows which is +."""
    family = families[end.family]
    power = power_contacts(family)
    wrong = [contact for contact in (end.positive, end.negative) if contact and contact not in power]
    if wrong and not family.any_position:
        text = (
            f"The contact {', '.join(wrong)} carries no power: of the {family.name} only {power[0]} (+) and"
            f" {power[1]} (-) do."
        )
        yield Finding("stop", "wrong-pair", name, text, f"Use {power[0]} and {power[1]}; cap the others.")
    if end.positive is None and end.family in _LOOSE_WIRES and used:
        text = "Colours are no proof: either conductor may be +."
        do = 'Meter it, tag the + with red tape, and write its colour in the file, like positive = "brown".'
        yield Finding("warn", "bare-wire-unmarked", name, text, do)


def unfused_battery(name: str) -> Finding:
    """Say that a battery lacks its fuse."""
    text = "Nothing limits the current of the battery: a short circuit sets a lead on fire."
    do = 'Put a fuse at its + pole, of two to three times the current of the fans, and write it: fuse = "5 A".'
    return Finding("stop", "battery-without-fuse", name, text, do)


def _two_sources(lead: Lead) -> bool:
    """Tell a lead with a USB-A plug at both ends."""
    return all(end is not None and end.family == "usb-a" and end.body == "plug" for end in (lead.inlet, lead.outlet))


def side_findings(
    joins: Sequence[Join], parts: Mapping[str, Part], sides: Mapping[str, Side | None], families: Families
) -> Iterator[Finding]:
    """Report fans on the wrong side of a system that has 5 V and 12 V sides.

    `sides` is what each end of a source gives, by ``"part|port"``.
    """
    feeding: dict[str, set[str]] = {}
    for join in joins:
        key = f"{join.source.part}|{join.source.name}"
        feeding.setdefault(join.sink.part, set()).update({key} if key in sides else feeding.get(join.source.part, ()))
    fans_by_trouble: dict[str, list[str]] = {}
    for name, keys in feeding.items():
        fan = parts.get(name)
        if isinstance(fan, Fan):
            for key in sorted(keys):
                if what := trouble(fan, sides[key], families):
                    fans_by_trouble.setdefault(what, []).append(name)
    for what, names in fans_by_trouble.items():
        text = f"{', '.join(names)}: {what}."
        do = "Feed it from an outlet of its own voltage, or get a fan for this one."
        yield Finding("stop", "voltage-sides", names[0], text, do)


def wiring_findings(
    plan: Plan, families: Families, harness: Harness | None = None, every_joint: bool = True
) -> list[Finding]:
    """Check the wiring that a plan gives.

    Without `every_joint`, joints and poles are left out where no joint of the plan says what its two ends are: such a
    plan is about voltages and air, and its joints are made by hand, with the meter.
    """
    harness = harness or build_harness(plan)
    trace = PolarityTrace(harness.parts, harness.joins, families)
    sides = {
        f"{name}|outlet": side
        for name, part in harness.parts.items()
        if isinstance(part, Panel | Converter) and (side := side_of(part, None, families))
    }
    findings = [
        *source_findings(trace, plan.record.battery is not None),
        *side_findings(harness.joins, harness.parts, sides, families),
        *line_findings(plan, harness),
        *fuse_findings(plan, harness),
    ]
    if every_joint or any(join.mates(families) is not None for join in harness.joins):
        findings = [*polarity_findings(trace, plan.library), *joint_findings(trace, plan.library), *findings]
    # A part that is wrong in itself is told before the joints that it spoils.
    return [*part_findings(harness.parts, families, set(harness.parts)), *findings]
