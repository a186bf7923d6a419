"""What may be wrong with a circuit: the faults, their causes in words, and their priors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from solarvent.bench.evidence import Evidence
from solarvent.bench.faults import Change
from solarvent.plan.parts import Fan, Panel
from solarvent.wiring.circuit import Branch, Circuit, Joined, Leaf, Through


@dataclass(frozen=True)
class FaultKind:
    """A kind of fault: what it is, what gives it away, and its prior [-] (common practice, no source).

    What sound fans do in weak or strong light has no prior of its own. An `urgent` one damages something while one
    thinks about it.
    """

    what: str
    sign: str
    prior: float = 0.0
    urgent: bool = False


FAULTS = {
    "normal": FaultKind("nothing wrong", "the readings are those of sound parts in this light", 0.40),
    "slow": FaultKind(
        "turns slowly in weak light",
        "it gets less than its start voltage: it keeps turning, but would not start again after a cloud",
    ),
    "stalled": FaultKind(
        "stands, and draws its locked-rotor current",
        "a few steady volts with nearly all the current that the panel has",
        0.08,
    ),
    "retrying": FaultKind(
        "tries to start and falls back, again and again",
        "the meter swings between nearly nothing at full voltage and a short pulse at a few volts",
        0.08,
    ),
    "over-volted": FaultKind(
        "turns with more voltage than it stands", "the voltage is above the fan's limit", urgent=True
    ),
    "open-circuit": FaultKind("no current gets into the fan", "voltage is there, current is not", 0.12),
    "no-voltage": FaultKind("a break before the fan", "no voltage arrives, while the panel has its own", 0.06),
    "short": FaultKind(
        "a short, or a reversed fan without protection",
        "less than about 1.5 V, with nearly all the current that the panel has",
        0.09,
        urgent=True,
    ),
    "swapped": FaultKind(
        "poles swapped between the panel and the fan",
        "a minus sign with the red probe where + should be",
        0.05,
        urgent=True,
    ),
    "resistance": FaultKind(
        "resistance in a lead or contact",
        "voltage is lost on the way: the panel has more than the fan, at the same current",
        0.12,
    ),
    "draws-more": FaultKind(
        "draws more than its plate says", "more amperes than a sound fan takes at these volts", 0.04
    ),
    "other-fan": FaultKind(
        "a fan for other volts than the plan says", "at these volts it takes the current of another winding", 0.03
    ),
    "weak-panel": FaultKind("the panel gives less than its plate", "too little current for this light", 0.10),
    "more-volts": FaultKind(
        "the panel has more volts than its plate", "with nothing joined it shows what its cells cannot give", 0.03, True
    ),
    "fewer-volts": FaultKind(
        "the panel has fewer volts than its plate",
        "with nothing joined it shows a part of the plate's volts, and all of the amperes",
        0.03,
    ),
    "dark": FaultKind("no voltage from the panel", "nothing at all, at the panel's own lead", 0.02),
    "unknown": FaultKind(
        "none of the known faults fits well", "a reading may be a slip, or two things are wrong at once", 0.02
    ),
}

#: Cause -> (what it is, how to be sure, what to do).
CAUSES = {
    "sound": ("sound parts", ""),
    "backwards": (
        "a brushed fan with its poles swapped reads the same",
        "hold a tissue to it: does it blow the right way?",
    ),
    "weak-light": (
        "too little light for it: dull sky, low sun, a shadow on a cell, dirt, or a panel too small",
        "read again in more sun, with nothing shading the panel",
    ),
    "blocked": ("the rotor is blocked, or its bearing is dry", "cover the panel, then turn the blades with a finger"),
    "strong-panel": (
        "a panel too strong for this fan in this light",
        "take it off before it dies; use a regulator, a smaller panel or a 24 V fan",
    ),
    "loose-plug": (
        "a plug that does not make contact: loose, pushed back, or 2.5 mm on a 2.1 mm pin",
        "move the plug while you watch the meter; look at the contacts",
    ),
    "reversed-protected": (
        "poles swapped, and the fan protects itself",
        "meter the sign at the last plug: red on the pole that meets the fan's red wire",
    ),
    "dead-fan": (
        "a dead fan, or a broken wire in its lead",
        "try the fan alone on a battery of its voltage or less, the right way round",
    ),
    "broken-lead": (
        "a broken conductor, a plug not pushed home, an open switch or a blown fuse",
        "follow the lead from the panel, plug by plug, until the voltage is gone",
    ),
    "shorted-lead": (
        "two conductors that touch: a splice, a crushed lead, a stray strand",
        "cover the panel, unplug the fan: if the voltage comes back in the sun, the fan is it; else the lead",
    ),
    "reversed-bare": (
        "poles swapped on a fan without protection",
        "cover the panel at once, meter the sign at the last plug, and do not try again before it is right",
    ),
    "corroded": (
        "a corroded or loose contact, a wire thinner or longer than the plan says, copper-clad aluminium",
        "meter across each plug with the fan on: a good one shows less than 0.1 V",
    ),
    "swapped-leads": (
        "two conductors or contacts that have changed places",
        "cover the panel, unplug the fan, and meter plug by plug from the panel on until the sign turns",
    ),
    "hard-to-turn": (
        "a dry bearing, a hub full of dust, or blades that rub",
        "cover the panel and turn the blades with a finger; clean it, and read again",
    ),
    "stronger-fan": ("a stronger fan than the plan says", "read its label, and write its figures into the plan"),
    "other-winding": (
        "a 24 V fan where the plan has one for 12 V, or the other way round",
        "read the label on its hub, and write it into the plan before anything else",
    ),
    "panels-in-a-row": (
        "two panels in series, or a panel for 24 V",
        "leave the fans off, read the label, and join panels side by side",
    ),
    "shorted-bypass": (
        "a bypass diode that has burnt through and shorts its section",
        "cover the panel, open its box and meter each diode: a good one passes current one way only",
    ),
    "fewer-cells": (
        "a panel of fewer cells than the plan says, or a ribbon that is broken between its halves",
        "read its label; look for dark or burnt ribbons",
    ),
    "covered-up": ("the panel is covered, or it is dark", "uncover it and read again"),
    "broken-panel": ("a broken conductor or joint at the panel", "meter at the panel's own terminals, before any lead"),
    "covered": (
        "shade on a cell, dirt, glass before it, or a plate that promises too much",
        "wash it, look for shadows, and read the short-circuit current again at noon",
    ),
}  # fmt: skip

#: What a fan may draw over its plate, how its volts may differ, and the cells of a panel over those of its plate. [-]
_DRAWS, _WINDINGS, _MORE_CELLS, _FEWER_CELLS = (1.5, 2.0, 3.0), (0.5, 2.0), (1.5, 2.0), (0.5, 2 / 3)
_SHORTS = (0.05, 0.3, 0.9)  # ohm
_RESISTANCES = np.geomspace(0.15, 2.5, 12)  # of the resistance of what lies behind


@dataclass(frozen=True)
class Suspect:
    """One thing that may be wrong, with its probability before any reading (`prior`). [-]

    `fault` is a key of :data:`FAULTS`, empty for sound parts, whose fans tell what to call it; `causes` are keys of
    :data:`CAUSES` that no reading of volts and amperes can tell apart; each of `changes` has its weight [-].
    """

    fault: str
    parts: tuple[str, ...]
    causes: tuple[str, ...]
    prior: float
    changes: tuple[tuple[Change, float], ...]
    weak_panel: bool = False


def suspects(
    circuit: Circuit,
    fans: Mapping[str, Fan],
    evidence: Evidence,
    *,
    weak_panel: bool,
    brief: bool,
) -> tuple[Suspect, ...]:
    """List what may be wrong with a circuit.

    At fans that were not read only what disturbs the whole circuit is looked for; other cells only in panels that were.
    `weak_panel`: the light is known, so that a weak panel differs from weak light; `brief`: try fewer resistances, and
    of the fans that were not read only shorts.
    """
    panels, read = circuit.panel_ids, evidence.fans
    listed = [
        Suspect("", (), (), FAULTS["normal"].prior, _certain(Change("none"))),
        Suspect("dark", panels, ("covered-up", "broken-panel"), FAULTS["dark"].prior, _certain(Change("dark"))),
    ]
    if weak_panel:
        prior = FAULTS["weak-panel"].prior
        listed.append(Suspect("weak-panel", panels, ("covered",), prior, _certain(Change("none")), True))
    for panel in circuit.panels:
        if panel.id in evidence.panels:
            listed += _of_cells(panel, len(panels))
    for name, fan in fans.items() if evidence.joined else ():
        listed += [
            suspect
            for suspect in _of_fan(name, fan, len(fans), resistance_behind(Leaf(name), fans))
            if name in read or suspect.fault == "short" or not (brief or suspect.fault in _SEEN_AT_THE_FAN)
        ]
    if evidence.joined and len(fans) > 1:
        listed += _of_trunk(circuit, resistance_behind(circuit.load, fans))
    # Each change is a circuit to solve; with many fans half of the resistances tell enough.
    if not brief:
        return tuple(listed)
    return tuple(
        replace(suspect, changes=_even([change for change, _ in suspect.changes[::2]]))
        if suspect.fault == "resistance" or (suspect.fault == "short" and not set(suspect.parts) <= set(read))
        else suspect
        for suspect in listed
    )


def name_of_sound(worst: int, fans: Sequence[Fan]) -> tuple[str, tuple[str, ...]]:
    """Name what sound fans do, and why: fault and causes. `worst` is 0 over-volted, 1 standing, 2 slow, 3 normal."""
    if worst == 1:
        # One held rotor is enough to drag the circuit down steadily.
        return "stalled" if any(fan.standing == "held" for fan in fans) else "retrying", ("weak-light",)
    if worst == 3:
        brushed = any(fan.motor == "brushed" for fan in fans)
        return "normal", ("sound", "backwards") if brushed else ("sound",)
    return ("over-volted", ("strong-panel",)) if worst == 0 else ("slow", ("weak-light",))


#: Faults that a reading elsewhere does not show.
_SEEN_AT_THE_FAN = ("no-voltage", "resistance", "swapped", "draws-more", "other-fan")


def _of_cells(panel: Panel, count: int) -> Iterator[Suspect]:
    """Suspect a panel of more or fewer cells than its plate, or with a section shorted."""
    place = (panel.id,)
    more = [Change("cells", panel.id, factor) for factor in _MORE_CELLS]
    yield Suspect("more-volts", place, ("panels-in-a-row",), FAULTS["more-volts"].prior / count, _even(more))
    shorted = [1 - 1 / panel.bypass_diodes] if panel.bypass_diodes > 1 else []
    prior = FAULTS["fewer-volts"].prior / count / (len(_FEWER_CELLS) + len(shorted))
    for factor in (*shorted, *_FEWER_CELLS):
        causes = ("shorted-bypass", "fewer-cells") if factor in shorted else ("fewer-cells",)
        yield Suspect("fewer-volts", place, causes, prior, _certain(Change("cells", panel.id, factor)))


def _of_fan(name: str, fan: Fan, count: int, behind: float) -> Iterator[Suspect]:
    """What may be wrong at one fan or in its own lead."""

    def prior(kind: str, share: float = 1.0) -> float:
        return FAULTS[kind].prior * share / count

    place, alone = (name,), count == 1
    open_causes = tuple(
        cause
        for cause in ("loose-plug", "dead-fan", "reversed-protected")
        if cause != "reversed-protected" or (fan.reverse_protected is not False and fan.motor == "brushless")
    )
    short_causes: tuple[str, ...] = ("shorted-lead",)
    if fan.motor == "brushless" and fan.reverse_protected is not True:
        short_causes += ("reversed-bare",)
    yield Suspect("open-circuit", place, open_causes, prior("open-circuit"), _certain(Change("open", name)))
    yield Suspect(
        "no-voltage",
        place,
        ("broken-lead",),
        prior("no-voltage", 1.0 if alone else 0.5),
        _certain(Change("no-voltage", name)),
    )
    shapes = [Change("resistor", name, ohms) for ohms in _SHORTS]
    if "reversed-bare" in short_causes:
        shapes += [Change("diode", name)] * 2
    yield Suspect("short", place, short_causes, prior("short", 1.0 if alone else 0.7), _even(shapes))
    fault = "retrying" if fan.standing == "retrying" else "stalled"
    yield Suspect(fault, place, ("blocked",), prior(fault), _certain(Change("blocked", name)))
    # What a swapped fan does, its motor decides: a brushed one turns the other way, a brushless one shuts itself off,
    # or shorts the line without protection.
    turned = [Change("none")] if fan.motor == "brushed" else [Change("open", name)] * 2
    if "reversed-bare" in short_causes:
        turned.append(Change("diode", name))
    yield Suspect("swapped", place, ("swapped-leads",), prior("swapped"), _even(turned))
    draws = [Change("draws", name, factor) for factor in _DRAWS]
    yield Suspect("draws-more", place, ("hard-to-turn", "stronger-fan"), prior("draws-more"), _even(draws))
    windings = [Change("volts", name, factor) for factor in _WINDINGS]
    yield Suspect("other-fan", place, ("other-winding",), prior("other-fan"), _even(windings))
    levels = [Change("series", name, float(share * behind)) for share in _RESISTANCES]
    yield Suspect("resistance", place, ("corroded",), prior("resistance", 1.0 if alone else 0.5), _even(levels))


def _of_trunk(circuit: Circuit, behind: float) -> Iterator[Suspect]:
    """What may be wrong in the common lead of several fans."""
    place = trunk(circuit)
    yield Suspect(
        "no-voltage", place, ("broken-lead",), 0.5 * FAULTS["no-voltage"].prior, _certain(Change("no-voltage-all"))
    )
    shapes = [Change("short-all", value=ohms) for ohms in _SHORTS]
    yield Suspect("short", place, ("shorted-lead",), 0.3 * FAULTS["short"].prior, _even(shapes))
    levels = [Change("series-all", value=float(share * behind)) for share in _RESISTANCES]
    yield Suspect("resistance", place, ("corroded",), 0.5 * FAULTS["resistance"].prior, _even(levels))


def trunk(circuit: Circuit) -> tuple[str, ...]:
    """Name the parts of the common lead; without any, the panels."""
    if isinstance(circuit.load, Through) and circuit.load.parts:
        return circuit.load.parts
    return circuit.panel_ids


def resistance_behind(branch: Branch, fans: Mapping[str, Fan]) -> float:
    """Voltage over current of the fans of a branch, at their rating. [ohm]"""
    match branch:
        case Leaf(part):
            return fans[part].rated_voltage / fans[part].rated_current
        case Through(child=child):
            return resistance_behind(child, fans)
        case Joined("series", members):
            return sum(resistance_behind(member, fans) for member in members)
    return 1 / sum(1 / resistance_behind(member, fans) for member in branch.members)


def _certain(change: Change) -> tuple[tuple[Change, float], ...]:
    return ((change, 1.0),)


def _even(changes: list[Change]) -> tuple[tuple[Change, float], ...]:
    """Give each of several changes the same weight."""
    distinct = list(dict.fromkeys(changes))
    return tuple((change, changes.count(change) / len(changes)) for change in distinct)
