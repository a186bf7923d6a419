"""The one graph of everything that is wired: parts with ports, joined from the panels to the fans.

A plan's runs, or its layout word, become the same graph. The electrical network, and whatever else follows the wires,
is read from it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise, takewhile
from typing import Literal

from solarvent.base.errors import PlanError, Problem, nearest
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.plan.plan_record import Cable
from solarvent.wiring.joints import Join, Port


@dataclass(frozen=True)
class Harness:
    """The graph: every wired part by id, those of a layout word too, and the joins in the order of the runs.

    `contact_resistance` is that of one contact. [ohm]
    """

    parts: dict[str, Part]
    joins: tuple[Join, ...]
    contact_resistance: float
    _after: dict[str, list[str]] = field(default_factory=dict, init=False, repr=False)
    _before: dict[str, list[str]] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        for join in self.joins:
            self._after.setdefault(join.source.part, []).append(join.sink.part)
            self._before.setdefault(join.sink.part, []).append(join.source.part)

    def after(self, part: str) -> list[str]:
        """Name the parts that are joined to this one on the side of the fans."""
        return self._after.get(part, [])

    def before(self, part: str) -> list[str]:
        """Name the parts that are joined to this one on the side of the panels."""
        return self._before.get(part, [])

    def downstream(self, part: str) -> Iterator[str]:
        """Yield a part and everything behind it, towards the fans."""
        yield part
        for following in self.after(part):
            yield from self.downstream(following)

    def upstream(self, part: str) -> Iterator[str]:
        """Yield a part and everything before it, towards the panels."""
        yield part
        for previous in self.before(part):
            yield from self.upstream(previous)

    def ids(self, kind: type[Part]) -> list[str]:
        """Name the parts of one kind, in the order of the plan."""
        return [name for name, part in self.parts.items() if isinstance(part, kind)]


def build_harness(plan: Plan) -> Harness:
    """Make the graph of a plan, with every part joined.

    Raises
    ------
    PlanError
        With every mistake in the wiring: unknown part, loop, two sources back to back, a lead with three ends ...
    """
    record = plan.record
    parts: dict[str, Part] = {part.id: part for _, part in record.parts() if part.id}
    runs = record.wiring.runs if record.wiring.layout is None else _layout_runs(plan, parts)
    problems = [problem for number, run in enumerate(runs, start=1) for problem in _run_problems(number, run, parts)]
    if problems:
        raise PlanError(problems)
    # After the runs are known to be sound: a controller takes its place from them.
    if record.storage is not None:
        runs = _with_controllers(plan, runs, parts)
    joins, problems = _joins(runs, parts)
    joined = {name for run in runs for name in run}
    problems += [
        Problem(
            f'{"panel" if isinstance(part, Panel) else "fan"} "{name}"', "it is on no run", "add a run, or leave it out"
        )
        for name, part in parts.items()
        if isinstance(part, Panel | Fan) and name not in joined
    ]
    if problems:
        raise PlanError(problems)
    used = {name: part for name, part in parts.items() if name in joined}
    return Harness(used, joins, record.wiring.contact_resistance)


def _layout_runs(plan: Plan, parts: dict[str, Part]) -> list[list[str]]:
    """Expand a layout word: add its leads and splitters to the parts and give the runs through them."""
    record, wiring = plan.record, plan.record.wiring
    if record.lead or record.splitter or record.converter:
        write = "use runs to say where they go, or leave them out and set wiring.lead, wiring.branch, wiring.converter"
        raise PlanError.single("wiring.layout", "a layout word brings its own leads, splitters and converters", write)

    def lead(name: str, cable: Cable) -> str:
        parts[name] = Lead(
            wire=cable.wire,
            length=f"{cable.length:.12g} m",
            wire_quality=cable.wire_quality,
            name=f"lead {cable.length:g} m {cable.wire}",
        )
        return name

    def splitter(name: str, branches: int, arrangement: Literal["parallel", "series"]) -> list[str]:
        if branches == 1:
            return []
        parts[name] = Splitter(
            branches=branches, arrangement=arrangement, length="0 m", name=f"splitter 1 to {branches}"
        )
        return [name]

    def from_panel(panel: Panel) -> list[str]:
        if wiring.blocking_diode is None:
            return [panel.id]
        name = f"diode-{panel.id}"
        parts[name] = Lead(diode=wiring.blocking_diode, name="blocking diode")
        return [panel.id, name]

    def converter(name: str) -> list[str]:
        if wiring.converter is None:
            return []
        parts[name] = plan.converter(wiring.converter).model_copy(update={"id": name})
        return [name]

    if wiring.layout == "one-each":
        if len(record.panel) != len(record.fan):
            what = f"one-each wants as many panels as fans; there are {len(record.panel)} and {len(record.fan)}"
            raise PlanError.single("wiring.layout", what, 'add panels, or write layout = "shared"')
        return [
            [
                *from_panel(panel),
                lead(f"lead-{fan.id}", wiring.lead),
                *converter(f"converter-{fan.id}"),
                fan.id,
            ]
            for panel, fan in zip(record.panel, record.fan, strict=True)
        ]
    trunk = [
        *splitter("panel-joint", len(record.panel), wiring.panels),
        lead("main-lead", wiring.lead),
        *converter("converter"),
        *splitter("fan-split", len(record.fan), "series" if wiring.layout == "series" else "parallel"),
    ]
    ends = [
        [lead(f"branch-{fan.id}", wiring.branch), fan.id] if len(record.fan) > 1 else [fan.id] for fan in record.fan
    ]
    return [[*from_panel(panel), *trunk, *end] for panel in record.panel for end in ends]


def _with_controllers(plan: Plan, runs: list[list[str]], parts: dict[str, Part]) -> list[list[str]]:
    """Put a charge controller into every circuit of a plan with a battery that names none, before it divides."""
    # Runs that have a part in common are of one circuit; a run may join several that were apart so far.
    groups: list[tuple[set[str], list[int]]] = []
    for number, run in enumerate(runs):
        touching = [group for group in groups if group[0] & set(run)]
        names = set(run).union(*(group[0] for group in touching))
        numbers = [number, *(other for group in touching for other in group[1])]
        groups = [group for group in groups if group not in touching] + [(names, sorted(numbers))]
    found = list(runs)
    for names, numbers in groups:
        if any(isinstance(part := parts[name], Converter) and part.needs_battery for name in names):
            continue
        # The way that all runs of the circuit go together, as far as it does not divide.
        own = [runs[number] for number in numbers]
        way = [name for name in own[0] if all(name in run for run in own)]
        trunk = list(takewhile(partial(_is_trunk, parts, own), way))
        if not trunk:
            continue
        name = "controller" if len(groups) == 1 else f"controller-{own[0][-1]}"
        parts[name] = plan.controller(name)
        for number in numbers:
            run = runs[number]
            at = run.index(trunk[-1]) + 1
            found[number] = [*run[:at], name, *run[at:]]
    return found


def _is_trunk(parts: dict[str, Part], runs: list[list[str]], name: str) -> bool:
    """Whether a part that all runs of a circuit pass is a place for a charge controller behind it."""
    part = parts[name]
    divides = isinstance(part, Splitter) and len({run[run.index(name) + 1] for run in runs}) > 1
    return not (divides or isinstance(part, Fan) or (isinstance(part, Converter) and not part.built_in))


def _run_problems(number: int, run: list[str], parts: dict[str, Part]) -> list[Problem]:
    """Find what is wrong with one run taken by itself."""
    where = f"wiring.runs[{number}]"
    unknown = [name for name in run if name not in parts]
    if unknown:
        return [
            Problem(where, f'there is no part "{name[:40]}" in the plan', _instead(name, parts)) for name in unknown
        ]
    if len(run) < 2:
        return [Problem(where, "a run needs a panel and a fan at least", 'like ["panel-id", "lead-id", "fan-id"]')]
    twice = sorted({name for name in run if run.count(name) > 1})
    if twice:
        return [Problem(where, f'the run is a loop: it comes to "{twice[0]}" twice', "name each part once")]
    problems = []
    if not isinstance(parts[run[0]], Panel):
        problems.append(Problem(where, f'"{run[0]}" is not a panel', "a run begins at a panel and ends at a fan"))
    for name in run[1:]:
        if isinstance(parts[name], Panel):
            what = f'two sources back to back: "{run[0]}" feeds into the panel "{name}"'
            problems.append(Problem(where, what, "join panels with a splitter: a run from each panel through it"))
    for name in run[:-1]:
        part = parts[name]
        if isinstance(part, Fan) and part.outlet is None:
            what = f'the run goes on behind the fan "{name}"'
            write = "branch with a splitter before it; or describe the outlet of a fan that passes the power on"
            problems.append(Problem(where, what, write))
    if not isinstance(parts[run[-1]], Fan | Panel):
        problems.append(Problem(where, f'"{run[-1]}" is not a fan', "a run begins at a panel and ends at a fan"))
    return problems


def _instead(name: str, parts: dict[str, Part]) -> str:
    """Say what to write in place of a name that is not in the plan."""
    if name == "battery":
        return 'leave it out: it hangs on its controller by itself; fans on its poles: fans_at = "battery" in [battery]'
    return nearest(name, parts)


def _joins(runs: list[list[str]], parts: dict[str, Part]) -> tuple[tuple[Join, ...], list[Problem]]:
    """Join neighbours in the runs; a pair that several runs share is one joint."""
    # A set would lose the order of the runs, in which joints are told and drawn.
    pairs = list(dict.fromkeys(pair for run in runs for pair in pairwise(run)))
    after: dict[str, list[str]] = {}
    before: dict[str, list[str]] = {}
    for source, sink in pairs:
        after.setdefault(source, []).append(sink)
        before.setdefault(sink, []).append(source)
    problems = []
    try:
        TopologicalSorter(before).prepare()
    except CycleError as error:
        loop = " - ".join(reversed(error.args[1]))
        problems.append(Problem("wiring.runs", f"the wiring is a loop: {loop}", "each run goes from a panel to a fan"))
    for name, part in parts.items():
        problems += _neighbour_problems(name, part, before.get(name, []), after.get(name, []))
    if problems:
        return (), problems
    joins = tuple(
        Join(
            _port(source, parts, (before.get(source, []), after[source]), sink, True),
            _port(sink, parts, (before[sink], after.get(sink, [])), source, False),
        )
        for source, sink in pairs
    )
    return joins, problems


def _neighbour_problems(name: str, part: Part, before: list[str], after: list[str]) -> list[Problem]:
    """Find a part that is joined to more neighbours than it has ends."""
    most = part.branches if isinstance(part, Splitter) else 1
    if isinstance(part, Panel):
        most += len(part.other_outlets)
    if len(before) > 1 and len(after) > 1:
        what = f'"{name}" joins {len(before)} parts to {len(after)}'
        return [Problem("wiring.runs", what, "use one splitter to join and one to divide")]
    many = after if len(after) > most else before
    if len(many) <= most:
        return []
    ends = f"{most} end{'s' if most > 1 else ''}"
    what = f'"{name}" is joined to {len(many)} parts on one side ({", ".join(many[:4])}), and has {ends} there'
    return [Problem("wiring.runs", what, "put a splitter between, or one with more branches")]


def _port(
    name: str, parts: dict[str, Part], neighbours: tuple[list[str], list[str]], other: str, source_side: bool
) -> Port:
    """Name the port of a part that meets its neighbour; its neighbours are those before it, and those after it."""
    part = parts[name]
    if isinstance(part, Splitter):
        return _splitter_port(name, part, parts, neighbours, other)
    if source_side:
        return _outlet(name, part, parts, neighbours[1], other)
    return Port(name, "inlet", part.inlet if isinstance(part, Fan | Lead | Converter) else None)


def _outlet(name: str, part: Part, parts: dict[str, Part], neighbours: list[str], other: str) -> Port:
    """Name the outlet that a neighbour hangs on; of several, each takes one of its own kind that is free."""
    ends = _outlets(part)
    free = list(range(len(ends)))
    for neighbour in neighbours:
        wanted = _inlet(parts[neighbour])
        # The first of equals, as the plan lists them.
        number = max(free, key=lambda at: (_meets(ends[at], wanted), -at))
        if neighbour == other:
            return Port(name, "outlet" if number == 0 else f"outlet {number + 1}", ends[number])
        free.remove(number)
    raise AssertionError(f"{other} is a neighbour of {name}")


def _splitter_port(
    name: str, part: Splitter, parts: dict[str, Part], neighbours: tuple[list[str], list[str]], other: str
) -> Port:
    """Name the end of a splitter that meets a neighbour.

    Its trunk is the end that is alone, unless it fits only the other way round: all its ends are one pair of
    conductors, so that any of them may take the power.
    """
    before, after = neighbours
    # A splitter that divides has one part before it, one that joins has one behind it.
    lone, many = (before, after) if len(before) == 1 else (after, before)
    order: list[str | None] = [*lone, *many]
    # Where one end stays empty, it may be the trunk as well as a branch.
    empty: list[list[str | None]] = [[None, *order]] if len(order) <= part.branches else []
    ways = [order, *empty, *([first, *(name for name in order if name != first)] for first in many)]
    at_trunk, *branches = max(ways, key=lambda way: _fitting(part, parts, before, way))
    if at_trunk == other:
        return Port(name, "trunk", part.trunk)
    return Port(name, f"branch {branches.index(other) + 1}", part.branch)


def _fitting(part: Splitter, parts: dict[str, Part], before: list[str], order: list[str | None]) -> int:
    """Count the neighbours that meet an end of their kind, the first of them at the trunk; None is an empty end."""
    return sum(
        _meets(_outlets(parts[name])[0] if name in before else _inlet(parts[name]), part.branch if at else part.trunk)
        for at, name in enumerate(order)
        if name is not None
    )


def _outlets(part: Part) -> list[Connector | None]:
    """The ends of a part that meet a load."""
    if isinstance(part, Splitter):
        return [part.branch]
    own = part.outlet if isinstance(part, Panel | Lead | Converter | Fan) else None
    return [own, *(part.other_outlets if isinstance(part, Panel) else [])]


def _inlet(part: Part) -> Connector | None:
    """The end of a part that meets a source."""
    if isinstance(part, Splitter):
        return part.trunk
    return part.inlet if isinstance(part, Fan | Lead | Converter) else None


def _meets(end: Connector | None, wanted: Connector | None) -> bool:
    """Tell whether an outlet is of the kind that a part wants."""
    if end is None or wanted is None or end.family != wanted.family:
        return False
    return end.body != wanted.body or "either" in (end.body, wanted.body)
