"""The electrical side of the wiring as a tree: sources on one side of the bus, loads on the other.

The harness is reduced to these series and parallel branches once, with the volts that each side of it sees; the
electrical side turns them into current-voltage curves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

from solarvent.base.errors import PlanError
from solarvent.plan.connectors import Families
from solarvent.plan.house_records import Battery
from solarvent.plan.parts import Connector, Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
from solarvent.wiring.cable import loop_resistance
from solarvent.wiring.harness import Harness


@dataclass(frozen=True)
class DiodeLaw:
    """A diode: ``I = saturation_current (exp(V / slope_voltage) - 1)``, saturation current [A].

    The slope voltage [V] is ideality factor times thermal voltage.
    """

    saturation_current: float
    slope_voltage: float


@dataclass(frozen=True)
class Leaf:
    """A panel (on the source side) or a fan (on the load side), named by its id in the plan.

    The bypass diodes of a panel stand in series as one from its minus to its plus; each bridges an equal section.
    """

    part: str
    bypass: DiodeLaw | None = None


@dataclass(frozen=True)
class Through:
    """A branch seen through what lies in line with it.

    `resistance` is that of both conductors and all contacts together [ohm]. The diode points from the source to the
    load, and `parts` are named in that order. With a converter there is neither resistance nor diode.
    """

    child: Branch
    resistance: float = 0.0
    diode: DiodeLaw | None = None
    parts: tuple[str, ...] = ()
    converter: Converter | None = None

    def __hash__(self) -> int:
        # A converter holds lists; where the rest is the same, it is compared.
        return hash((self.child, self.resistance, self.diode, self.parts))


@dataclass(frozen=True)
class Joined:
    """Two or more branches in parallel or in series."""

    arrangement: Literal["parallel", "series"]
    members: tuple[Branch, ...]


Branch = Leaf | Through | Joined


@dataclass(frozen=True)
class Storage:
    """A battery at the bus, and the controller that charges it; `voltage` is that at which it is asked about [V]."""

    battery: Battery
    controller: Converter
    voltage: float | None = None


@dataclass(frozen=True)
class Circuit:
    """One connected circuit: panels on the source side, fans on the load side of one pair of conductors, the bus.

    Panels and fans stand in the order in which the sides name them. With `storage` the bus is at the battery: the
    source side ends at its controller, and the load hangs on it.
    """

    source: Branch
    load: Branch
    panels: tuple[Panel, ...] = ()
    fans: tuple[Fan, ...] = ()
    storage: Storage | None = None

    def __hash__(self) -> int:
        # Panels and fans hold lists; where both sides are the same, they are compared.
        return hash((self.source, self.load))

    @property
    def panel_ids(self) -> tuple[str, ...]:
        """Ids of the panels, in order."""
        return tuple(leaves(self.source))

    @property
    def fan_ids(self) -> tuple[str, ...]:
        """Ids of the fans, in order."""
        return tuple(leaves(self.load))


def has_series(part: Branch | Circuit) -> bool:
    """Tell whether anything in a branch, or on either side of a circuit, is joined in series."""
    match part:
        case Circuit(source, load):
            return has_series(source) or has_series(load)
        case Through(child=child):
            return has_series(child)
        case Joined(arrangement, members):
            return arrangement == "series" or any(has_series(member) for member in members)
    return False


def converters(branch: Branch) -> Iterator[Converter]:
    """Yield the converters of a branch, from the source to the load."""
    match branch:
        case Through(child=child, converter=converter):
            if converter is not None:
                yield converter
            yield from converters(child)
        case Joined(members=members):
            for member in members:
                yield from converters(member)


def ends(branch: Branch) -> Iterator[Leaf]:
    """Yield the panels or fans at the ends of a branch, in order."""
    match branch:
        case Leaf():
            yield branch
        case Through(child=child):
            yield from ends(child)
        case Joined(members=members):
            for member in members:
                yield from ends(member)


def leaves(branch: Branch) -> Iterator[str]:
    """Yield the part ids at the ends of a branch, in order."""
    return (leaf.part for leaf in ends(branch))


def fed_by(branch: Branch, converter: str) -> set[str]:
    """Name the fans behind a converter of a branch."""
    match branch:
        case Through(child=child, converter=part):
            return set(leaves(child)) if part is not None and part.id == converter else fed_by(child, converter)
        case Joined(members=members):
            return {name for member in members for name in fed_by(member, converter)}
    return set()


#: What a diode that is turned round leaves for current: some tens of microamperes at 20 V (typical). [ohm]
_BLOCKED = 500e3
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
    battery = plan.record.storage
    if battery is not None:
        node = _controller(panel, harness) or panel
    while not panels <= set(harness.upstream(node)):
        if len(harness.after(node)) != 1:
            what = f"the panels {', '.join(sorted(panels))} feed the same fans by separate ways"
            raise PlanError.single("wiring.runs", what, "join the panels first, then divide to the fans")
        node = harness.after(node)[0]
    if not fans <= set(harness.downstream(node)):
        what = f"the fans {', '.join(sorted(fans))} are fed by the same panels, but not all of them by each"
        raise PlanError.single("wiring.runs", what, "join the panels first, then divide to the fans")
    load = _side_by_side(node, harness.after, harness, plan)
    controller, storage = harness.parts[node], None
    if battery is not None and isinstance(controller, Converter):
        storage = Storage(battery, controller)
        # The controller is the bus, and not in line: the source side ends before it.
        source = _in_line(_tree(harness.before(node)[0], harness.before, harness, plan), 2 * harness.contact_resistance)
    else:
        source = _tree(node, harness.before, harness, plan)
    _check_converters(source, load)
    ids = Circuit(source, load)
    own_panels = tuple(part for name in ids.panel_ids if isinstance(part := harness.parts[name], Panel))
    own_fans = tuple(part for name in ids.fan_ids if isinstance(part := harness.parts[name], Fan))
    return Circuit(source, load, own_panels, own_fans, storage), panels


def _controller(panel: str, harness: Harness) -> str | None:
    """Name the charge controller behind a panel."""
    behind = ((name, harness.parts[name]) for name in harness.downstream(panel))
    return next((name for name, part in behind if isinstance(part, Converter) and part.needs_battery), None)


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
    if part.diode and part.diode_reversed:
        return _BLOCKED, None
    diode = plan.diode(part.diode) if part.diode else None
    law = DiodeLaw(diode.saturation_current, diode.slope_voltage) if diode else None
    return resistance + part.resistance, law


def _tree(name: str, neighbours: Callable[[str], list[str]], harness: Harness, plan: Plan) -> Branch:
    """Write what lies on one side of a part as a tree, down to the fans or up to the panels."""
    part, joint = harness.parts[name], 2 * harness.contact_resistance
    if isinstance(part, Panel):
        return Leaf(name, bypass_law(part, plan))
    if isinstance(part, Fan):
        # A fan that passes the power on has the next one beside it.
        onward = [_side_by_side(name, neighbours, harness, plan)] if neighbours(name) else []
        return Joined("parallel", (Leaf(name), *onward)) if onward else Leaf(name)
    resistance, diode = _own(part, plan)
    ends = [_in_line(_tree(next_one, neighbours, harness, plan), joint) for next_one in neighbours(name)]
    if isinstance(part, Splitter):
        return _divided(part, name, ends, resistance)
    if isinstance(part, Converter):
        return Through(ends[0], parts=(name,), converter=part)
    return _in_line(ends[0], resistance, diode, (name,))


def _side_by_side(name: str, neighbours: Callable[[str], list[str]], harness: Harness, plan: Plan) -> Branch:
    """Write what hangs on the outlet of a part, or side by side on its several outlets."""
    joint = 2 * harness.contact_resistance
    ways = tuple(_in_line(_tree(next_one, neighbours, harness, plan), joint) for next_one in neighbours(name))
    return ways[0] if len(ways) == 1 else Joined("parallel", ways)


def _divided(part: Splitter, name: str, ends: list[Branch], leg: float) -> Branch:
    """Write a splitter as its trunk leg in line with its branch legs."""
    if len(ends) == 1:
        return _in_line(ends[0], 2 * leg, None, (name,))
    legs = tuple(_in_line(end, leg) for end in ends)
    return _in_line(Joined(part.arrangement, legs), leg, None, (name,))


class Side(NamedTuple):
    """The voltage of a source at work, and with nothing joined. [V]"""

    working: float
    open: float

    @classmethod
    def held(cls, volts: float) -> Side:
        """Of a source that holds its voltage, like a converter or a USB port."""
        return cls(volts, 1.05 * volts)


def side_of(part: Part, end: Connector | None, families: Families) -> Side | None:
    """Tell the voltage of a source at one of its ends, by default the first; None if nothing says it.

    An end may be held at one voltage, like a USB port.
    """
    if isinstance(part, Converter):
        return Side.held(part.output_voltage)
    end = end or getattr(part, "outlet", None)
    held = end and (end.voltage or families[end.family].voltage)
    if held:
        return Side.held(held)
    if isinstance(part, Panel):
        if part.v_mp is not None and part.v_oc is not None:
            return Side(part.v_mp, part.v_oc)
        # Where only watts are given, a panel of 36 cells is meant.
        return Side(18.0, 22.0) if part.watts is not None else None
    volts = getattr(part, "voltage", None)
    return Side(volts, 1.2 * volts) if volts else None


def rated_voltage(fan: Fan, families: Families) -> float | None:
    """Tell the voltage that a fan is made for, from its figures or its plug; None if nothing says it. [V]"""
    return fan.rated_voltage or (families[fan.inlet.family].voltage if fan.inlet else None)


def feeds(converter: Converter, side: Side | None) -> bool:
    """Tell whether a converter works on a side; whether it does so in weak light is a matter of the circuit."""
    if side is None:
        return True
    least = converter.cut_in if converter.kind == "boost" else max(converter.cut_in, converter.output_voltage)
    return side.working >= least and (converter.kind == "clamp" or side.open <= converter.maximum_input)


def trouble(fan: Fan, side: Side | None, families: Families) -> str | None:
    """Say why a fan does not belong on a side; None if it does, or if nobody can tell.

    The limits are coarse on purpose: whether a 12 V fan bears an 18 V panel on a cold bright day is a matter of the
    operating point, and of another command. Common practice, no source: more than twice the rated voltage is another
    side.
    """
    rated = rated_voltage(fan, families)
    if side is None or not rated:
        return None
    if side.open < (fan.start_voltage or rated / 2):
        return f"a {rated:g} V fan on a {side.working:g} V outlet does not start"
    if side.working > 2 * rated and side.open > (fan.maximum_voltage or rated * 1.2):
        return f"a {rated:g} V fan gets up to {side.open:g} V there and may be destroyed"
    return None
