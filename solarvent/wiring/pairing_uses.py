"""What can be joined: ends that give power, the ways to use a part, places to splice; and a joint that comes of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from solarvent.plan.connectors import Families
from solarvent.plan.parts import Connector, Fan, Lead, Part, Splitter
from solarvent.wiring.harness import Join, Port
from solarvent.wiring.poles import Polarity, crossing, turned_crossing

#: The family of the ends that a splice gives: bare conductors that go onto whatever is cut open next.
CUT = "cut"
_CUT_END = Connector(family=CUT)


class SupplyEnd(NamedTuple):
    """An end that gives power, and the side that it belongs to (sides differ in voltage)."""

    port: Port
    side: int


class Splice(NamedTuple):
    """A place to cut and splice: one supply, and so many ways on."""

    ways: int


@dataclass(frozen=True)
class Joint(Join):
    """Two ends to be joined, with the poles at the source end against the habit of its connector."""

    leaving: Polarity = Polarity.UNKNOWN


class Use(NamedTuple):
    """A way to use a part: the end that takes power, and those, all alike, that then give it.

    `crosses` is what happens to the poles on the way.
    """

    inlet: str
    connector: Connector
    outlets: tuple[str, ...] = ()
    gives: Connector | None = None
    crosses: Polarity = Polarity.KEPT


def uses(part: Part | Splice, families: Families) -> Iterator[Use]:
    """Yield the ways in which a part can be used; a lead can be turned round."""
    match part:
        case Splice(ways):
            yield Use("", _CUT_END, tuple(f"way {number}" for number in range(1, ways + 1)), _CUT_END)
        case Fan(inlet=Connector() as inlet, outlet=Connector() as outlet):
            yield Use("inlet", inlet, ("outlet",), outlet, crossing(inlet, outlet, part.crosses, families))
        case Fan(inlet=Connector() as inlet):
            yield Use("inlet", inlet)
        case Lead(inlet=Connector() as inlet, outlet=Connector() as outlet) if part.usb_wires != "data":
            forwards = crossing(inlet, outlet, part.crosses, families)
            yield Use("inlet", inlet, ("outlet",), outlet, forwards)
            if part.diode is None:
                back = turned_crossing(forwards, (inlet, outlet), families)
                yield Use("outlet", outlet, ("inlet",), inlet, back)
        case Splitter(trunk=Connector() as trunk, branch=Connector() as branch, arrangement="parallel"):
            branches = tuple(f"branch {number}" for number in range(1, part.branches + 1))
            yield Use("trunk", trunk, branches, branch, crossing(trunk, branch, part.crosses, families))
