"""The checklist of a plan: its steps by phase, with what the meter should show, and its wiring row by row."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import groupby
from typing import Literal

from solarvent.base.errors import require_kind
from solarvent.base.findings import Finding, listed, says
from solarvent.base.quantities import show
from solarvent.bench.joining import far_ends, first_sun, joints
from solarvent.bench.mounting import on_the_wall, seasons
from solarvent.bench.parts_alone import labels, on_the_bench, panels_alone
from solarvent.bench.preparation import Bench, Item, Step, panel_alone, prepare, shopping
from solarvent.electrical.panel_model import TYPICAL
from solarvent.findings.verdicts import find
from solarvent.plan.connectors import Families, read_families
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate
from solarvent.wiring.circuit import Circuit, circuits
from solarvent.wiring.joints import (
    Arrival,
    Join,
    Polarity,
    PolarityTrace,
    fit,
    in_words,
    positive_contact,
    worst_polarity,
)

#: The phases of the work, in order, and what writes their steps.
PHASES: dict[str, tuple[Callable[[Bench], Iterator[Step]], ...]] = {
    "before opening the box": (labels,),
    "on the bench": (on_the_bench,),
    "on the panel": (panels_alone, far_ends),
    "wiring, from the fans to the panel": (joints,),
    "first sun": (first_sun,),
    "on the wall": (on_the_wall,),
    "each season": (seasons,),
}


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
        return [Step(text, phase=CHANGE_FIRST) for text in self.stops] or building_steps(self.bench)

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
    return [replace(step, phase=phase) for phase, parts in PHASES.items() for part in parts for step in part(bench)]


def stops(findings: Sequence[Finding]) -> list[str]:
    """Say what must be changed before a plan is built: each remedy of a stop once, with what asks for it."""
    by_remedy: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.level == "stop":
            by_remedy.setdefault(finding.do, []).append(finding)
    return [_change(do, same) for do, same in by_remedy.items()]


def _change(do: str, findings: Sequence[Finding]) -> str:
    """One thing to change, and why."""
    parts = [finding.part for finding in findings if finding.part]
    return f"{do} ({f'{listed(parts)}: ' if parts else ''}{findings[0].text})"


# --- the wiring, row by row -------------------------------------------------------------------------------

_FAULTS = {
    "same-body": "two halves of the same kind",
    "look-alike": "they look alike but make no proper contact",
    "family": "two different kinds of connector",
}


@dataclass
class WiringRow:
    """One part, or one joint above it (then without `title`), `column` steps to the right.

    `mark` is ``""``, ``"bad"`` (does not fit), ``"flip"`` (the poles change places here) or ``"unknown"``; `probe` the
    letter of the place for the meter, empty if there is none; `above` the rows from which conductors come down to this
    one. Of a joint, `bodies` are those of its two halves, and `step` the number of the step that joins it, 0 for none.
    """

    kind: Literal["panel", "lead", "splitter", "converter", "fan", "joint"]
    column: int
    title: str = ""
    words: list[str] = field(default_factory=list)
    mark: str = ""
    mark_words: str = ""
    probe: str = ""
    probe_words: str = ""
    above: list[int] = field(default_factory=list)
    bodies: tuple[str, str] = ("either", "either")
    step: int = 0


def wiring_rows(bench: Bench, steps: Mapping[tuple[str, str], int] | None = None) -> list[WiringRow]:
    """Lay the harness of a plan out in rows: each circuit from its panels down, each branch a step to the right.

    `steps` are the numbers of the steps that join two parts, source and sink.
    """
    layout = _Layout(bench, steps or {})
    for circuit in circuits(bench.harness, bench.plan):
        layout.add(circuit)
    return layout.rows


class _Layout:
    """Collects the rows of all circuits."""

    def __init__(self, bench: Bench, steps: Mapping[tuple[str, str], int]) -> None:
        self.bench, self.harness, self.steps = bench, bench.harness, steps
        self.families: Families = read_families(bench.plan.library)
        self.walk = PolarityTrace(self.harness.parts, self.harness.joins, self.families)
        self.arrivals = self.walk.fans()
        self.rows: list[WiringRow] = []
        self._join = {(join.source.part, join.sink.part): join for join in self.harness.joins}
        self._probes = 0

    def add(self, circuit: Circuit) -> None:
        """Add one circuit: down to where all its panels have met, then on to every fan."""
        panels = set(circuit.panel_ids)
        node = next(iter(circuit.panel_ids))
        while not panels <= set(self.harness.upstream(node)):
            node = self.harness.after(node)[0]
        end = self._sources(node, 0)
        self._loads(node, end, 0)

    def _sources(self, name: str, column: int) -> int:
        """Rows of everything before a part, and its own; gives the row of the part."""
        before = self.harness.before(name)
        aside = column + (len(before) > 1)
        joints = [self._joint(self._join[one, name], self._sources(one, aside)) for one in before]
        return self._part(name, column, joints)

    def _loads(self, name: str, row: int, column: int) -> None:
        """Rows of everything behind a part."""
        after = self.harness.after(name)
        for one in after:
            aside = column + (len(after) > 1)
            joint = self._joint(self._join[name, one], row, aside)
            self._loads(one, self._part(one, aside, [joint]), aside)

    def _joint(self, join: Join, above: int, column: int | None = None) -> int:
        first, second = join.source.connector, join.sink.connector
        row = WiringRow("joint", self.rows[above].column if column is None else column, above=[above])
        row.step = self.steps.get((join.source.part, join.sink.part), 0)
        if first is not None and second is not None:
            row.bodies = (first.body, second.body)
            leaving = worst_polarity(self.walk.leaving(join.source))
            row.words = [self._end(first, leaving, False), f"into {self._end(second, leaving, True)}"]
            found = fit(first, second, self.families)
            if not found.mates:
                row.mark, row.mark_words = "bad", f"DOES NOT FIT: {_FAULTS.get(found.why_not, 'other kinds')}"
        sink = self.harness.parts[join.sink.part]
        if isinstance(sink, Fan) and not isinstance(self.harness.parts[join.source.part], Fan):
            self._fan_probe(row, sink.id)
        self.rows.append(row)
        return len(self.rows) - 1

    def _end(self, connector: Connector, arriving: Polarity, at_load: bool) -> str:
        """Name an end with its +: as it is described, by its standard, or by what comes from the panel."""
        family, pole = self.families[connector.family], "+ not known"
        followed = positive_contact(connector, arriving, at_load, self.families)
        if connector.positive:
            pole = f"+ on the {connector.positive}"
        elif family.fixed:
            pole = f"+ on the {family.usual_positive}, by its standard"
        elif followed is not None:
            pole = f"+ on the {followed}"
        return f"{in_words(connector, self.families)}, {pole}"

    def _fan_probe(self, row: WiringRow, fan: str) -> None:
        readings = [reading for expected in self.bench.bands["typical"] for reading in expected.turning.fans]
        volts = next(reading.voltage for reading in readings if reading.id == fan)
        row.probe = self._letter()
        row.probe_words = f"sign as at the panel; {volts:.1f} V when it turns"

    def _letter(self) -> str:
        self._probes += 1
        return chr(64 + self._probes) if self._probes <= 26 else str(self._probes)

    def _part(self, name: str, column: int, above: list[int]) -> int:
        part = self.harness.parts[name]
        row = WiringRow(_kind(part), column, name, list(self._words(name, part)), above=above)
        if isinstance(part, Panel):
            bench = self.bench
            volts, _ = panel_alone(bench.plan, part, bench.irradiance, bench.temp_cell, TYPICAL)
            row.probe, row.probe_words = self._letter(), f"{volts:.1f} V with nothing joined"
            if (regulator := bench.built_in(part)) is not None:
                row.probe_words = f"{regulator.output_voltage:.1f} V at its socket with nothing joined"
        if isinstance(part, Fan):
            row.mark, row.mark_words = _arriving(self.arrivals.get(name, frozenset()))
        elif self._reverses(name):
            row.mark, row.mark_words = "flip", "POLES CHANGE PLACES HERE"
        elif not isinstance(part, Panel) and self._is_unknown(name, part):
            row.mark, row.mark_words = "unknown", "not known whether it crosses: meter it"
        self.rows.append(row)
        return len(self.rows) - 1

    def _reverses(self, name: str) -> bool:
        arrivals = (item for fan in self.arrivals.values() for item in fan)
        return any(name in item.reversed_by for item in arrivals if item.polarity is Polarity.REVERSED)

    def _is_unknown(self, name: str, part: Part) -> bool:
        """Only of a part whose ends are described; leads joined by hand are metered anyway."""
        described = any(getattr(part, end, None) for end in ("inlet", "outlet", "trunk", "branch"))
        return described and any(name in item.unknown_at for fan in self.arrivals.values() for item in fan)

    def _words(self, name: str, part: Part) -> Iterator[str]:
        system = self.bench.system
        called = " ".join(part.name.split())[:60]
        kind = "" if says(name, _kind(part)) else f"{_kind(part)}: "
        if isinstance(part, Panel):
            if part.v_oc is not None and part.i_sc is not None:
                yield f"{kind}{part.v_oc:.4g} V open, {part.i_sc:.3g} A short by its plate"
            else:
                yield f"{kind}{part.watts:g} W, no more is known"
        elif isinstance(part, Lead):
            if part.length:
                yield f"{kind}{show(part.length, 'length', system)}, {part.wire}, two conductors"
            elif called:
                yield called
            if part.diode:
                where = "PANEL: turn it round" if part.diode_reversed else "fans"
                yield f"a diode in the + conductor, its ring towards the {where}"
            if part.fuse:
                yield f"a fuse of {part.fuse:g} A in the + conductor"
        elif isinstance(part, Splitter):
            many = max(len(self.harness.before(name)), len(self.harness.after(name)))
            joins = len(self.harness.before(name)) > 1
            how = "+ to +, - to -" if part.arrangement == "parallel" else "in a chain, - of one to + of the next"
            yield f"{f'joins {many}' if joins else f'divides to {many}'}: {how}"
        elif isinstance(part, Converter) and (battery := self.bench.plan.record.storage) and part.needs_battery:
            fuse = "its fuse" if battery.fuse is None else f"a fuse of {battery.fuse:g} A"
            yield f"charge controller; on it the {battery.voltage:g} V battery, {fuse} at its +"
        elif isinstance(part, Converter):
            yield f"{part.kind} regulator: gives {part.output_voltage:g} V"
        elif isinstance(part, Fan):
            rated = f"{part.rated_voltage:g} V, {part.rated_current:.3g} A"
            yield f"{kind}{rated}, rated maximum {part.maximum_voltage:.3g} V"


def _kind(part: Part) -> Literal["panel", "lead", "splitter", "converter", "fan"]:
    for record, kind in ((Panel, "panel"), (Splitter, "splitter"), (Converter, "converter"), (Fan, "fan")):
        if isinstance(part, record):
            return kind  # type: ignore[return-value]
    return "lead"


def _arriving(arrivals: frozenset[Arrival]) -> tuple[str, str]:
    """Mark a fan by the poles that come to it."""
    if worst_polarity(arrivals) is Polarity.REVERSED:
        return "bad", "+ COMES TO ITS - HERE"
    return "", ""
