"""Ways to mend joints, poles and sources: what to get and where it goes, and the changes in the plan file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from solarvent.base.findings import Edit, Finding, Mending
from solarvent.findings.joints import crosser_joints, crosser_may_go
from solarvent.findings.wires import has_diode
from solarvent.plan.checking import SECTIONS, library_record
from solarvent.plan.connectors import Families, other_contact, power_contacts, usual_contact
from solarvent.plan.parts import WIRED, Connector, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.wiring.harness import Harness
from solarvent.wiring.joints import Join, Polarity, PolarityTrace, counterpart, fit, in_words, worst_polarity
from solarvent.wiring.remedies import Goods, chain, full_name, goods_of


@dataclass(frozen=True)
class Case:
    """A plan with a finding, and what a remedy is chosen from.

    `content` is what its file says, before the library is laid under it; `found` are the findings of one code.
    """

    plan: Plan
    content: dict[str, Any]
    harness: Harness
    families: Families
    found: tuple[Finding, ...]

    @property
    def goods(self) -> Goods:
        """What the library has of leads and splitters with described ends."""
        return goods_of(self.plan.library)

    def free(self, name: str, *also: str) -> str:
        """Give an id that no part has, nor one of the new ones, `also`."""
        taken = {part.id for _, part in self.plan.record.parts()} | self.harness.parts.keys() | set(also)
        number = 2
        free = name
        while free in taken:
            free, number = f"{name}-{number}", number + 1
        return free

    def entries(self, kind: str) -> dict[str, Part]:
        """Read the entries of a kind."""
        library = self.plan.library
        return {name: library_record(kind, name, library) for name in library.entries(kind)}

    def parts(self) -> Iterator[tuple[Finding, Part]]:
        """Yield the findings with the part of each, where it is one that is wired."""
        for finding in self.found:
            part = self.harness.parts.get(finding.part)
            if part is not None:
                yield finding, part

    def written(self, section: str, name: str) -> dict[str, Any] | None:
        """Look up what the file says of a part; None for one that it does not write, like a controller that is meant
        with a battery."""
        return next((one for one in self.content.get(section, ()) if one.get("id") == name), None)

    def instead(self, name: str, entry: str) -> tuple[Edit, ...]:
        """Put another part of the library in the place of one, with its name, its place and its ends.

        Nothing where the file does not write that one.
        """
        part = self.harness.parts[name]
        section = next(section for section, kind in WIRED.items() if isinstance(part, kind))
        if self.plan.record.wiring.layout and section == "converter":
            return (Edit("wiring", "", "converter", entry),)
        own = self.written(section, name)
        if own is None:
            return ()
        record = self.plan.library.get(SECTIONS[section], entry)
        kept = _PLACED & own.keys()
        wrong = [key for key in own if key not in kept and key != "part" and (key in record or key in _PLATE)]
        return (
            Edit(section, name, "part", entry),
            Edit(section, name, "owned", False),
            *(Edit(section, name, key, None) for key in wrong if key != "name"),
        )

    def into_runs(self, new: list[str], source: str, sink: str) -> Edit:
        """Put parts between two neighbours, in every run that joins them."""
        runs = []
        for run in self.plan.record.wiring.runs or ():
            at = next((k for k in range(1, len(run)) if run[k - 1 : k + 1] == [source, sink]), None)
            runs.append(list(run) if at is None else [*run[:at], *new, *run[at:]])
        return Edit("wiring", "", "runs", runs)

    def out_of_runs(self, name: str) -> Edit:
        """Take a part out of every run."""
        runs = [[one for one in run if one != name] for run in self.plan.record.wiring.runs or ()]
        return Edit("wiring", "", "runs", runs)


def where_poles_are_right(case: Case, joins: Iterable[Join]) -> Join | None:
    """Find the first of some joints at which the poles are not known to be crossed."""
    trace = PolarityTrace(case.harness.parts, case.harness.joins, case.families)
    return next((join for join in joins if worst_polarity(trace.leaving(join.source)) is not Polarity.REVERSED), None)


_OF_THE_PLACE = """
    id inlet outlet trunk branch crosses other_outlets tilt azimuth mounting behind soiling_ratio soiling
    lit_share_of_worst_cell outlet_opening duct_length duct_bends blows_in wall_azimuth height length
"""
_OF_THE_PLATE = """
    watts v_oc i_sc v_mp i_mp single_diode plate_factor width readings curve maximum_voltage latches least_load
    locked_rotor_ratio rated_voltage rated_current start_voltage stop_voltage run_down_voltage start_capacitor
"""
#: What belongs to the place of a part, and so stays when another one takes it; and what is on its plate.
_PLACED, _PLATE = frozenset(_OF_THE_PLACE.split()), frozenset(_OF_THE_PLATE.split())

Ways = Callable[[Case], Iterator[Mending]]


# --- joints and poles -----------------------------------------------------------------------------------


def _line(case: Case, join: Join, crosses: Polarity) -> Iterator[Mending]:
    """Put the fewest parts of the library between two ends, so that both fit and the poles come out so."""
    first, second = join.source.connector, join.sink.connector
    if first is None or second is None or not case.plan.record.wiring.runs:
        return
    for goods in chain(first, second, crosses, case.families, case.goods):
        names, changes, words = list[str](), [], []
        for entry, use in goods:
            name = case.free(entry.replace(".", "-"), *names)
            part = case.goods[entry]
            row: dict[str, Any] = {"id": name, "part": entry, "owned": False}
            if use.inlet == "outlet":
                # It goes in the other way round: what is written is its ends as the power meets them.
                row |= {"inlet": _written(use.connector), "outlet": _written(use.gives)}
                row["crosses"] = use.crosses is Polarity.REVERSED
            names.append(name)
            changes.append(Edit("lead", "", "", row))
            words.append(f"{full_name(part, case.families)} ({entry})")
        where = f"between {join.source.part} and {join.sink.part}"
        yield Mending(
            f"Get and put {where}: {'; then '.join(words)}.",
            (*changes, case.into_runs(names, join.source.part, join.sink.part)),
        )


def _written(end: Connector | None) -> dict[str, Any]:
    """Write an end as a file has it."""
    assert end is not None
    return end.model_dump(exclude_defaults=True)


def _joint(case: Case) -> Iterator[Mending]:
    """Get the splitter that is made for the place, or an adapter."""
    names = {finding.part for finding in case.found}
    for join in case.harness.joins:
        if join.mates(case.families) is False and names & {join.source.part, join.sink.part}:
            for name in names & {join.source.part, join.sink.part}:
                yield from _other_splitter(case, name)
            yield from _line(case, join, Polarity.KEPT)
            yield from _line(case, join, Polarity.REVERSED)


def _other_splitter(case: Case, name: str) -> Iterator[Mending]:
    """Get a splitter whose trunk and branches fit what they are joined to."""
    own = case.written("splitter", name)
    if own is None:
        return
    around = [
        (port.name.partition(" ")[0], other.connector)
        for join in case.harness.joins
        for port, other in ((join.source, join.sink), (join.sink, join.source))
        if port.part == name
    ]
    wanted = max(sum(1 for where, _ in around if where == "branch"), 2)
    for entry, good in case.goods.items():
        if not isinstance(good, Splitter) or good.branches < wanted or good.crosses or good.arrangement == "series":
            continue
        ends = {"trunk": good.trunk, "branch": good.branch}
        if all(end is not None and _fit(ends[where], end, case.families) for where, end in around):
            changes = [Edit("splitter", name, "part", entry), Edit("splitter", name, "owned", False)]
            changes += [Edit("splitter", name, key, None) for key in ("trunk", "branch", "branches", "crosses")
                        if key in own]  # fmt: skip
            yield Mending(
                f"Get another splitter in the place of {name}: {full_name(good, case.families)} ({entry}).",
                tuple(changes),
            )
            return


def _fit(first: Connector | None, second: Connector, families: Families) -> bool:
    return first is not None and fit(first, second, families).mates


def _poles(case: Case) -> Iterator[Mending]:
    """Take a crosser out, put one in, or swap the two conductors of what crosses."""
    for finding, part in case.parts():
        name = finding.part
        if case.plan.record.wiring.runs and crosser_may_go(part, name, case.harness.joins, case.families):
            yield Mending(
                f"Take {name} out of the line: it changes the poles, and they are right without it.",
                (case.out_of_runs(name), Edit("lead", name, "", None)),
            )
        for join in crosser_joints(case.harness.joins, name):
            yield from _line(case, join, Polarity.REVERSED)
        yield from _swapped(case, name, part)


def _swapped(case: Case, name: str, part: Part) -> Iterator[Mending]:
    """Swap the two conductors of a part where it is joined."""
    if isinstance(part, Lead | Splitter) and part.crosses is not None:
        section = "lead" if isinstance(part, Lead) else "splitter"
        words = f"Open one plug of {name} and swap its two conductors; meter it, then close it."
        yield Mending(words, (Edit(section, name, "crosses", not part.crosses),))
    elif isinstance(part, Panel | Fan):
        section, key, end = (
            ("panel", "outlet", part.outlet) if isinstance(part, Panel) else ("fan", "inlet", part.inlet)
        )
        if end is not None and not case.families[end.family].fixed:
            family = case.families[end.family]
            usual = usual_contact(family, isinstance(part, Fan))
            now = end.positive if end.positive in family.positions else usual
            words = f"Swap the two conductors in the {in_words(end, case.families)} of {name}; meter it."
            yield Mending(words, (Edit(section, name, f"{key}.positive", other_contact(family, str(now))),))


def _opposed(case: Case) -> Iterator[Mending]:
    """Put the poles of one source right."""
    for name in case.harness.ids(Panel):
        for join in case.harness.joins:
            if join.source.part == name:
                yield from _line(case, join, Polarity.REVERSED)
        yield from _swapped(case, name, case.harness.parts[name])


def _pair(case: Case) -> Iterator[Mending]:
    """Use the two wires that carry power."""
    for finding, part in case.parts():
        if isinstance(part, Fan) and part.inlet is not None:
            plus, minus = power_contacts(case.families[part.inlet.family])
            yield Mending(
                f"Join {plus} (+) and {minus} (-) of {finding.part}, and cap its other wires.",
                (
                    Edit("fan", finding.part, "inlet.positive", plus),
                    Edit("fan", finding.part, "inlet.negative", minus),
                ),
            )


def edited_each(section: str, key: str, value: object, words: str) -> Ways:
    """Make the way that changes one key of each part that is found, told by words with a gap for its name."""

    def way(case: Case) -> Iterator[Mending]:
        for finding, _ in case.parts():
            yield Mending(words.format(finding.part), (Edit(section, finding.part, key, value),))

    return way


def _resistors(case: Case) -> Iterator[Mending]:
    """Get a lead, or a fan, with the resistors of a device."""
    for finding, part in case.parts():
        if isinstance(part, Lead | Fan):
            section = "lead" if isinstance(part, Lead) else "fan"
            words = (
                f"Get a USB-C {section} with the two 5.1 kohm resistors of a device, in the place of {finding.part}."
            )
            yield Mending(words, (Edit(section, finding.part, "usb_c_resistors", True),))


def _without_diode(case: Case) -> Iterator[Mending]:
    """Leave a diode out that nothing needs."""
    for finding, part in case.parts():
        if case.plan.record.wiring.layout:
            yield Mending("Leave the blocking diode out.", (Edit("wiring", "", "blocking_diode", None),))
        elif isinstance(part, Lead) and part.length == 0 and part.inlet is None:
            words = f"Leave the diode {finding.part} out."
            yield Mending(words, (case.out_of_runs(finding.part), Edit("lead", finding.part, "", None)))
        else:
            yield Mending(f"Leave the diode of {finding.part} out.", (Edit("lead", finding.part, "diode", None),))


def ends_in_line(end: Connector | None, families: Families) -> dict[str, Any]:
    """Write the ends of something that goes in line behind an end; nothing where that is not described."""
    if end is None:
        return {}
    given = end.model_copy(update={"positive": None})
    return {"inlet": _written(counterpart(end, families)), "outlet": _written(given), "crosses": False}


# --- sources --------------------------------------------------------------------------------------------


def _side_by_side(case: Case) -> Iterator[Mending]:
    """Join side by side what was in series."""
    fans = case.found[0].code == "fans-in-series"
    what = "fans" if fans else "panels"
    if case.plan.record.wiring.layout:
        key, word = ("layout", "shared") if fans else ("panels", "parallel")
        yield Mending(f"Join the {what} side by side.", (Edit("wiring", "", key, word),))
        return
    for name in case.harness.ids(Splitter):
        part, own = case.harness.parts[name], case.written("splitter", name)
        if own is not None and isinstance(part, Splitter) and part.arrangement == "series":
            based = "part" in own and "arrangement" not in own
            change = Edit("splitter", name, "arrangement", "parallel" if based else None)
            yield Mending(f"Put a parallel splitter in the place of {name}, so that the {what} are side by side.",
                          (change,))  # fmt: skip


def _alike(case: Case) -> Iterator[Mending]:
    """Give the fans panels of their own, or take panels that are alike."""
    record = case.plan.record
    if record.wiring.layout and len(record.panel) == len(record.fan):
        yield Mending("Give each fan a panel of its own.", (Edit("wiring", "", "layout", "one-each"),))
    for entry in dict.fromkeys(one.get("part") for one in case.content.get("panel", ())):
        if entry is not None:
            others = [one["id"] for one in case.content["panel"] if one.get("part") != entry]
            changes = [change for name in others for change in case.instead(name, entry)]
            yield Mending(f"Get alike panels: {entry} in the place of {', '.join(others)}.", tuple(changes))


def _guarded(case: Case) -> Iterator[Mending]:
    """Put a diode in the line of each panel that has none."""
    if case.plan.record.wiring.layout:
        yield Mending("Put a blocking diode (schottky-3a) in the line of each panel.",
                      (Edit("wiring", "", "blocking_diode", "schottky-3a"),))  # fmt: skip
        return
    harness, names, changes = case.harness, list[str](), list[Edit]()
    runs = [list(run) for run in case.plan.record.wiring.runs or ()]
    panels = dict.fromkeys(run[0] for run in runs)
    for panel in panels:
        alone = (join for join in harness.joins if set(harness.upstream(join.source.part)) & set(panels) == {panel})
        # In crossed poles a diode blocks the way back, and the fans with it: it stands behind what puts them right.
        spot = None if has_diode(harness.parts, harness.joins, panel) else where_poles_are_right(case, alone)
        if spot is None:
            continue
        source, name = spot.source, case.free(f"diode-{panel}", *names)
        names.append(name)
        row = {"id": name, "part": "inline-diode", "owned": False}
        changes.append(Edit("lead", "", "", row | ends_in_line(source.connector, case.families)))
        runs = [[one for part in run for one in ([part, name] if part == source.part else [part])] for run in runs]
    if changes:
        yield Mending("Put a blocking diode (inline-diode) behind each panel that has none, its ring to the fans.",
                      (*changes, Edit("wiring", "", "runs", runs)))  # fmt: skip


#: By code of finding.
JOINT_WAYS: dict[str, Ways] = {
    "connector-mismatch": _joint,
    "look-alike": _joint,
    "same-sex": _joint,
    "splitter-wrong-way": _joint,
    "polarity-reversed": _poles,
    "fan-runs-backward": _poles,
    "sources-opposed": _opposed,
    "wrong-pair": _pair,
    "usb-data-only": edited_each(
        "lead", "usb_wires", "power-and-data",
        "Get a USB lead with power wires in the place of {}, with the same two ends.",
    ),
    "usb-two-sources": edited_each(
        "lead", "outlet.body", "jack",
        "Get a USB-A lead with one plug and one receptacle (extension-usb-a-1m) in the place of {}.",
    ),
    "usb-c-resistors": _resistors,
    "diode-reversed": edited_each(
        "lead", "diode_reversed", None, "Turn the diode {} round: its ring looks to the fans."
    ),
    "diode-drop": _without_diode,
    "panels-in-series": _side_by_side,
    "above-safe-voltage": _side_by_side,
    "fans-in-series": _side_by_side,
    "panels-unlike": _alike,
    "panels-without-fuse": _guarded,
    "no-blocking-diode": _guarded,
}  # fmt: skip
