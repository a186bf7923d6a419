"""The electrical side of the wiring as a tree: sources on one side of the bus, loads on the other.

The harness graph is reduced to these records once; the electrical side turns them into current-voltage curves.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from solarvent.plan.house_records import Battery
    from solarvent.plan.parts import Converter, Fan, Panel


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
