"""The wiring checklist of a plan, step by step with what the meter should show; and its shopping list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from math import ceil

from solarvent.base.errors import require_kind
from solarvent.base.findings import Finding, called, listed
from solarvent.base.quantities import convert, shown_unit
from solarvent.bench.joining import far_ends, first_sun, joints
from solarvent.bench.mounting import on_the_wall, seasons
from solarvent.bench.parts_alone import labels, on_the_bench, panels_alone
from solarvent.bench.preparation import Bench, Step, alike, prepare
from solarvent.bench.wiring_rows import WiringRow, wiring_rows
from solarvent.electrical.panel_model import single_diode
from solarvent.findings.verdicts import find
from solarvent.plan.connectors import read_families
from solarvent.plan.parts import Converter, Lead, Splitter
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate
from solarvent.wiring.circuit import conductor_current_basis
from solarvent.wiring.joints import in_words

#: Sizes in which small fuses are sold. [A]
_FUSES = (1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30)
_SPARE = 1.1
_CLIP_EACH = 0.3


@dataclass(frozen=True)
class Item:
    """One line of the list: what it is, what it is for, and how many or how much; `unit` is empty for pieces.

    `owned` is what the plan says is there; the rest is to be bought, or found.
    """

    item: str
    count: float
    why: str
    unit: str = ""
    owned: bool = False


def shopping(bench: Bench) -> list[Item]:
    """List what a plan needs."""
    return [*_parts(bench), *_cable(bench), *_joints(bench), *_fuses(bench), *_mounting(bench), *_tools(bench)]


def _parts(bench: Bench) -> Iterator[Item]:
    """Panels, fans, ready-made leads and splitters, converters, battery: those that a person wrote down are there."""
    record = bench.plan.record
    for kind, parts in (("panel", record.panel), ("fan", record.fan)):
        for names, one in alike(parts):
            words = called(kind, names)
            yield Item(one.name or f"{kind} as {listed(names)}", len(names), words, owned=one.owned)
    for word, kept in (("lead", record.lead), ("splitter", record.splitter)):
        groups: dict[tuple[str, bool], list[str]] = {}
        for own in kept:
            if own.id in bench.harness.parts:
                groups.setdefault((own.name or f"{word} {own.id}", own.owned), []).append(own.id)
        for (name, owned), ids in groups.items():
            yield Item(name, len(ids), called(word, ids), owned=owned)
    for name, part in bench.harness.parts.items():
        if isinstance(part, Lead) and part.diode and part not in record.lead:
            yield Item("blocking diode", 1, f"in line: {name}")
        if isinstance(part, Converter) and not part.built_in:
            written = part in record.converter
            what = "charge controller" if part.needs_battery else "converter"
            yield Item(part.name or what, 1, called(what, [name]), owned=written and part.owned)
    if (battery := record.storage) is not None:
        amp_hours = (battery.capacity or 0.0) / battery.voltage
        name = f"{battery.kind} battery, {battery.voltage:g} V, {amp_hours:.3g} Ah"
        yield Item(name, 1, "battery; in a box that breathes, where no spark is", owned=True)
        if record.thermostat is None and battery.fed == "when-needed":
            yield Item("switch, or a timer for direct current", 1, "in the + lead of the fans: on in the hours of need")
    if record.thermostat is not None:
        yield Item("thermostat for direct current", 1, "in the + lead of the fans", owned=True)


def _cable(bench: Bench) -> Iterator[Item]:
    """Two-core cable by gauge, for the leads that a layout word asks for."""
    ready = {part.id for part in bench.plan.record.lead}
    lengths: dict[str, dict[str, float]] = {}
    for name, part in bench.harness.parts.items():
        if isinstance(part, Lead) and name not in ready and part.length > 0:
            lengths.setdefault(part.wire, {})[name] = part.length
    unit = shown_unit("length", bench.system)
    for gauge, by_name in lengths.items():
        total = ceil(convert(_SPARE * sum(by_name.values()), "length", unit))
        names = ", ".join(by_name)
        yield Item(f"two-core cable {gauge}, copper, for outdoors", total, f"{names}; a tenth to spare", unit)


def _joints(bench: Bench) -> Iterator[Item]:
    """Plugs by family where the plan knows them; else pairs of plugs or terminals."""
    families = read_families(bench.plan.library)
    record = bench.plan.record
    built_in = (part for part in record.converter if part.built_in)
    ready = {part.id for part in (*record.panel, *record.fan, *built_in)}
    known: dict[str, int] = {}
    unknown = 0
    for join in bench.harness.joins:
        ends = [port for port in (join.source, join.sink) if port.connector is not None]
        if len(ends) < 2:
            unknown += 1
        for port in ends:
            if port.part not in ready:
                words = in_words(port.connector, families)  # type: ignore[arg-type]
                known[words] = known.get(words, 0) + 1
    for words, count in known.items():
        yield Item(words, count, "on leads and splitters, if these come without")
    if unknown:
        why = "one a joint; the plan does not say what the ends are"
        yield Item("pair of plugs, or a two-pole lever or screw terminal in a box", unknown, why)
    splits = [name for name, part in bench.harness.parts.items() if isinstance(part, Splitter)]
    made = [name for name in splits if name not in {part.id for part in bench.plan.record.splitter}]
    if made:
        yield Item("splitter, or a terminal block in a box", len(made), f"joints: {', '.join(made)}")


def _fuses(bench: Bench) -> Iterator[Item]:
    """Fuses where they protect something: from three panels side by side, each needs its own."""
    battery = bench.plan.record.storage
    if battery is not None and battery.fuse is not None:
        yield Item(
            f"{battery.fuse:g} A fuse with holder",
            1,
            "a hand's breadth from the + pole of the battery, before all else",
        )
    for typical in bench.bands["typical"]:
        panels = [panel for panel in bench.plan.record.panel if panel.id in typical.panels]
        each = max(float(conductor_current_basis(single_diode(panel).I_L_ref)) for panel in panels)
        size = next((size for size in _FUSES if size >= each), None)
        if size is None or all(bench.built_in(panel) for panel in panels):
            continue
        side_by_side = len(panels) > 2 and bench.plan.record.wiring.panels == "parallel"
        if side_by_side:
            yield Item(
                f"{size:g} A fuse with holder", len(panels), "one in the + lead of each panel: the others feed a fault"
            )
        else:
            yield Item(
                f"{size:g} A fuse with holder, or a plug that can be reached",
                1,
                f"a way to part {' and '.join(typical.panels)} from the rest. One panel cannot blow it: the protection"
                f" is wire that bears {each:.1f} A, 1.56 times its short-circuit current",
            )


def _mounting(bench: Bench) -> Iterator[Item]:
    """What holds and protects."""
    record = bench.plan.record
    cable = sum(part.length for part in bench.harness.parts.values() if isinstance(part, Lead))
    yield Item("finger guard", 2 * len(record.fan), "both sides of each fan")
    openings: dict[str, list[str]] = {}
    for fan in record.fan:
        openings.setdefault(fan.outlet_opening, []).append(fan.id)
    for kind, names in openings.items():
        if kind != "straight-out":
            yield Item(bench.plan.opening(kind).name, len(names), f"behind {', '.join(names)}")
    yield Item("bracket set", len(record.panel), "the panel comes down for cleaning")
    yield Item("cable gland or rubber bush", len(record.fan) + 1, "where a lead goes through a wall")
    if cable:
        yield Item("cable clip", ceil(cable / _CLIP_EACH), f"one each {_CLIP_EACH * 100:.0f} cm")
    yield Item("adhesive-lined sleeve", 2 * len(bench.harness.joins), "over splices and crimps")


def _tools(bench: Bench) -> Iterator[Item]:
    """What the checklist needs at hand."""
    yield Item("multimeter with a DC 10 A range", 1, "every reading of the list")
    starts = max(fan.start_voltage for fan in bench.plan.record.fan)
    if starts < 4.5:
        yield Item("USB port with a lead that can be spared", 1, "to try the fans")
    else:
        yield Item("9 V battery with a clip", ceil(1.1 * starts / 9), "to try the fans one by one")
    yield Item("cardboard as large as the panel", len(bench.plan.record.panel), "covers it while you join")
    yield Item("roll of tape, red and black, and a pen", 1, "tags for the poles")
    yield Item("packet of tissues", 1, "show where air goes")


_PARTS = (labels, on_the_bench, panels_alone, far_ends, joints, first_sun, on_the_wall, seasons)


@dataclass(frozen=True, eq=False)
class Checklist:
    """What is needed on the bench, each part of it worked out when it is asked for.

    `known` are the findings on the plan, where they are known already.
    """

    bench: Bench
    known: Sequence[Finding] | None = None

    @cached_property
    def stops(self) -> list[str]:
        """What must be changed before anything is built; empty if nothing speaks against it."""
        findings = self.known
        if findings is None:
            findings = find(simulate(self.bench.plan), self.bench.system)
        return stops(findings)

    @cached_property
    def steps(self) -> list[Step]:
        """What to do, in that order; of a plan that must not be built so, what to change."""
        return [Step(CHANGE_FIRST, text) for text in self.stops] or building_steps(self.bench)

    @property
    def phases(self) -> list[tuple[str, list[tuple[int, Step]]]]:
        """The steps by phase, numbered through: the heading of each, and its steps with their numbers."""
        numbered = groupby(enumerate(self.steps, start=1), key=lambda pair: pair[1].phase)
        return [(phase[0].upper() + phase[1:], list(steps)) for phase, steps in numbered]

    @cached_property
    def shopping(self) -> list[Item]:
        """What to have at hand, and what to buy; nothing for a plan that must not be built so."""
        return [] if self.stops else shopping(self.bench)

    @cached_property
    def wiring(self) -> list[WiringRow]:
        """The wiring from the panels down to the fans, row by row; each joint with the number of its step."""
        numbers = {join: number for number, step in enumerate(self.steps, 1) for join in step.joins}
        return wiring_rows(self.bench, numbers)


#: Phase of a list that only says what to change.
CHANGE_FIRST = "before anything is bought or joined"


def checklist(
    plan: Plan,
    irradiance: float | None = None,
    temp_cell: float | None = None,
    system: str | None = None,
    known: Sequence[Finding] | None = None,
) -> Checklist:
    """Write the steps and the shopping list for building a plan; of one with a stop, what to change first.

    Parameters
    ----------
    irradiance, temp_cell : float, optional
        For which the figures hold; by default a clear noon. [W/m2], [degC]
    system : {"metric", "us"}, optional
        Units of lengths; by default the plan's.
    known : sequence of Finding, optional
        The findings on the plan, where it was simulated already.

    Returns
    -------
    Checklist
        ``.steps``, ``.shopping``, ``.stops``, ``.wiring``.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> steps = checklist(load_plan()).steps
    >>> steps[0].phase
    'before opening the box'
    """
    require_kind(plan, Plan)
    return Checklist(prepare(plan, irradiance, temp_cell, system), known)


def building_steps(bench: Bench) -> list[Step]:
    """Give every step of building a plan, in order."""
    return [step for part in _PARTS for step in part(bench)]


def stops(findings: Sequence[Finding]) -> list[str]:
    """Say what must be changed before a plan is built: each remedy of a stop once, with what asks for it."""
    by_remedy: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.level == "stop":
            by_remedy.setdefault(finding.do, []).append(finding)
    return [_change(do, same) for do, same in by_remedy.items()]


def _change(do: str, same: Sequence[Finding]) -> str:
    """One thing to change, and why."""
    parts = [finding.part for finding in same if finding.part]
    return f"{do} ({f'{listed(parts)}: ' if parts else ''}{same[0].text})"
