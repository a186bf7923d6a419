"""The electrical side of the wiring as a tree: sources on one side of the bus, loads on the other.

The harness is reduced to these series and parallel branches once, with the volts that each side of it sees; the
electrical side turns them into current-voltage curves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from solarvent.base.errors import PlanError
from solarvent.plan.house_records import Battery
from solarvent.plan.parts import Converter, Fan, Lead, Panel, Part, Splitter
from solarvent.plan.plan import Plan
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


#: Rise of the resistance of annealed copper, of that at 20 degC (IEC 60028; IEC 60228 rounds it to 0.004; from memory).
#: [1/K]
_COPPER_COEFFICIENT = 0.00393
#: At which tables of wires give their resistance. [degC]
_TABLE_TEMPERATURE = 20.0


def temperature_factor(temp_conductor: float) -> float:
    """Resistance of copper at its temperature [degC] over that at 20 degC; the line serves from -40 to 105 degC. [-]"""
    return 1.0 + _COPPER_COEFFICIENT * (temp_conductor - _TABLE_TEMPERATURE)


def loop_resistance(
    length: float, resistance_per_metre: float, quality: float = 1.0, temp_conductor: float = _TABLE_TEMPERATURE
) -> float:
    """Resistance of both conductors of a cable, there and back. [ohm]

    `length` is one way [m], `resistance_per_metre` that of one conductor at 20 degC [ohm/m], `quality` its resistance
    over that of good copper: 1.5 to 1.6 for copper-clad aluminium [-].
    """
    return 2.0 * length * resistance_per_metre * quality * temperature_factor(temp_conductor)


def conductor_current_basis(i_sc: float) -> float:
    """Current that a panel's conductor must bear, of its short-circuit current; of panels in parallel, the sum. [A]

    1.25 for bright sky times 1.25 for hours on end (NEC 690.8(A) and (B), from memory).
    """
    return 1.56 * i_sc


#: What a diode that is turned round leaves for current: some tens of microamperes at 20 V (typical). [ohm]
_BLOCKED = 500e3
#: Entry of the diodes library that stands for every bypass diode (typical).
BYPASS_DIODE = "schottky-3a"


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
    # The bus is the first part towards the fans that all panels lie before.
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
    _check_converters(source, load, storage)
    own_panels = tuple(part for name in leaves(source) if isinstance(part := harness.parts[name], Panel))
    own_fans = tuple(part for name in leaves(load) if isinstance(part := harness.parts[name], Fan))
    return Circuit(source, load, own_panels, own_fans, storage), panels


def _controller(panel: str, harness: Harness) -> str | None:
    """Name the charge controller behind a panel."""
    behind = ((name, harness.parts[name]) for name in harness.downstream(panel))
    return next((name for name, part in behind if isinstance(part, Converter) and part.needs_battery), None)


def _check_converters(source: Branch, load: Branch, storage: Storage | None) -> None:
    """Refuse converters in places where the circuit cannot be worked out."""
    for converter in converters(source):
        if storage is not None:
            what = f'the converter "{converter.id}" lies between the panels and the charge controller of the battery'
            write = 'charge from the panels themselves; for the fans, a converter behind the controller, like "buck-5v"'
            raise PlanError.single("wiring", what, write)
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
    # Down to the fans and up again to other panels that feed them, until nothing more is found.
    while len(panels) + len(fans) > reached:
        reached = len(panels) + len(fans)
        fans |= {name for other in panels for name in harness.downstream(other) if isinstance(harness.parts[name], Fan)}
        panels |= {name for other in fans for name in harness.upstream(other) if isinstance(harness.parts[name], Panel)}
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
    # A joint has a contact in each conductor.
    joint = 2 * harness.contact_resistance
    ways = tuple(_in_line(_tree(next_one, neighbours, harness, plan), joint) for next_one in neighbours(name))
    return ways[0] if len(ways) == 1 else Joined("parallel", ways)


def _divided(part: Splitter, name: str, ends: list[Branch], leg: float) -> Branch:
    """Write a splitter as its trunk leg in line with its branch legs."""
    # With one branch in use it is a lead of two legs.
    if len(ends) == 1:
        return _in_line(ends[0], 2 * leg, None, (name,))
    legs = tuple(_in_line(end, leg) for end in ends)
    return _in_line(Joined(part.arrangement, legs), leg, None, (name,))
