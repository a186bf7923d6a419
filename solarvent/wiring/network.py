"""The electrical network of a harness: the graph reduced to circuits of series and parallel branches."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from solarvent.base.errors import PlanError
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.wiring.cable import loop_resistance
from solarvent.wiring.circuit import Branch, Circuit, DiodeLaw, Joined, Leaf, Through, converters
from solarvent.wiring.harness import Harness

BYPASS_DIODE = "schottky-3a"
"""Entry of the diodes library that stands for every bypass diode (typical)."""


def circuits(harness: Harness, plan: Plan) -> tuple[Circuit, ...]:
    """Reduce the graph to electrical circuits, one for each set of panels and fans that hang together.

    Raises
    ------
    PlanError
        If panels and fans are meshed, so that no single pair of conductors carries all the current.
    """
    remaining = harness.ids(Panel)
    found = []
    while remaining:
        circuit, panels = _circuit_from(remaining[0], harness, plan)
        found.append(circuit)
        remaining = [name for name in remaining if name not in panels]
    return tuple(found)


def _circuit_from(panel: str, harness: Harness, plan: Plan) -> tuple[Circuit, set[str]]:
    """Follow one panel to the pair of conductors that carries everything."""
    panels, fans = _hanging_together(panel, harness)
    node = panel
    while not panels <= set(harness.upstream(node)):
        if len(harness.after(node)) != 1:
            what = f"the panels {', '.join(sorted(panels))} feed the same fans by separate ways"
            raise PlanError.single("wiring.runs", what, "join the panels first, then divide to the fans")
        node = harness.after(node)[0]
    if not fans <= set(harness.downstream(node)):
        what = f"the fans {', '.join(sorted(fans))} are fed by the same panels, but not all of them by each"
        raise PlanError.single("wiring.runs", what, "join the panels first, then divide to the fans")
    behind = harness.after(node)[0]
    load = _in_line(_tree(behind, harness.after, harness, plan), 2 * harness.contact_resistance)
    source = _tree(node, harness.before, harness, plan)
    _check_converters(source, load)
    ids = Circuit(source, load)
    own_panels = tuple(part for name in ids.panel_ids if isinstance(part := harness.parts[name], Panel))
    own_fans = tuple(part for name in ids.fan_ids if isinstance(part := harness.parts[name], Fan))
    return Circuit(source, load, own_panels, own_fans), panels


def _check_converters(source: Branch, load: Branch) -> None:
    """Refuse converters in places where the circuit cannot be worked out."""
    for converter in converters(source):
        what = f'the converter "{converter.id}" lies between one panel and the joint of several'
        raise PlanError.single("wiring.runs", what, "join the panels first and put one converter behind the joint")
    for branch in _series_strings(load):
        for converter in converters(branch):
            what = f'the converter "{converter.id}" lies within a chain of fans in series'
            raise PlanError.single("wiring.runs", what, "put it before the whole chain, or join the fans side by side")


def _series_strings(branch: Branch) -> Iterator[Branch]:
    """Yield the branches that are joined in series."""
    match branch:
        case Through(child=child):
            yield from _series_strings(child)
        case Joined("series", _):
            yield branch
        case Joined(members=members):
            for member in members:
                yield from _series_strings(member)


def _hanging_together(panel: str, harness: Harness) -> tuple[set[str], set[str]]:
    """Name the panels and the fans that are wired to a panel, on whichever way."""
    panels, fans, reached = {panel}, set[str](), 0
    while len(panels) + len(fans) > reached:
        reached = len(panels) + len(fans)
        fans |= {name for one in panels for name in harness.downstream(one) if isinstance(harness.parts[name], Fan)}
        panels |= {name for one in fans for name in harness.upstream(one) if isinstance(harness.parts[name], Panel)}
    return panels, fans


def _in_line(child: Branch, resistance: float, diode: DiodeLaw | None = None, parts: tuple[str, ...] = ()) -> Branch:
    """Put something in line with a branch; plain resistances next to each other become one."""
    if isinstance(child, Through) and child.diode is None and diode is None and child.converter is None:
        return Through(child.child, child.resistance + resistance, None, parts + child.parts)
    return Through(child, resistance, diode, parts)


def bypass_law(panel: Panel, plan: Plan) -> DiodeLaw | None:
    """Give the bypass diodes of a panel as one diode from end to end; None if it has none."""
    if not panel.bypass_diodes:
        return None
    diode = plan.diode(BYPASS_DIODE)
    return DiodeLaw(diode.saturation_current, panel.bypass_diodes * diode.slope_voltage)


def _own(part: Part, plan: Plan) -> tuple[float, DiodeLaw | None]:
    """Give the loop resistance of a lead (or of one leg of a splitter), and its diode."""
    if not isinstance(part, Lead | Splitter):
        return 0.0, None
    per_metre, warmth = plan.wire(part.wire).resistance_per_metre, plan.record.wiring.wire_temperature
    resistance = loop_resistance(part.length, per_metre, part.wire_quality, warmth)
    if isinstance(part, Splitter):
        return resistance, None
    diode = plan.diode(part.diode) if part.diode else None
    law = DiodeLaw(diode.saturation_current, diode.slope_voltage) if diode else None
    return resistance + part.resistance, law


def _tree(name: str, neighbours: Callable[[str], list[str]], harness: Harness, plan: Plan) -> Branch:
    """Write what lies on one side of a part as a tree, down to the fans or up to the panels."""
    part, joint = harness.parts[name], 2 * harness.contact_resistance
    if isinstance(part, Panel):
        return Leaf(name, bypass_law(part, plan))
    if isinstance(part, Fan):
        return Leaf(name)
    resistance, diode = _own(part, plan)
    ends = [_in_line(_tree(next_one, neighbours, harness, plan), joint) for next_one in neighbours(name)]
    if isinstance(part, Splitter):
        return _divided(part, name, ends, resistance)
    if isinstance(part, Converter):
        return Through(ends[0], parts=(name,), converter=part)
    return _in_line(ends[0], resistance, diode, (name,))


def _divided(part: Splitter, name: str, ends: list[Branch], leg: float) -> Branch:
    """Write a splitter as its trunk leg in line with its branch legs."""
    if len(ends) == 1:
        return _in_line(ends[0], 2 * leg, None, (name,))
    legs = tuple(_in_line(end, leg) for end in ends)
    return _in_line(Joined(part.arrangement, legs), leg, None, (name,))
