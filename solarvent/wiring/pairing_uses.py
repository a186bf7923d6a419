"""What can be joined: sources, the ways to use a part, places to splice, and the joints that come of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from solarvent.plan.connectors import Families, crossing, turned_crossing
from solarvent.plan.parts import Connector, Fan, Lead, Part, Splitter
from solarvent.wiring.harness import Port

#: The family of the ends that a splice gives: bare conductors that go onto whatever is cut open next.
CUT = "cut"
_CUT_END = Connector(family=CUT)


class Source(NamedTuple):
    """An end that gives power, and the side that it belongs to (sides differ in voltage)."""

    port: Port
    side: int


class Splice(NamedTuple):
    """A place to cut and splice: one supply, and so many ways on."""

    ways: int


class Joint(NamedTuple):
    """Two ends to be joined.

    Attributes
    ----------
    source, sink : Port
        The end nearer to the panel, and the other one.
    flip : int or None
        At a fan: 0 kept, 1 reversed, None not known. Before a fan, the same against the habit of the connector.
    chosen : bool
        True if the person puts each conductor where it belongs.
    side : int
        The side that feeds it.
    before : int or None
        The poles at the source end, against the habit of its connector.
    """

    source: Port
    sink: Port
    flip: int | None
    chosen: bool
    side: int
    before: int | None


class Use(NamedTuple):
    """A way to use a part: the end that takes power, and the ends that then give it, with their crossing."""

    inlet: str
    connector: Connector
    outlets: tuple[tuple[str, Connector, int | None], ...]


def uses(part: Part | Splice, families: Families) -> Iterator[Use]:
    """Yield the ways in which a part can be used; a lead can be turned round."""
    if isinstance(part, Splice):
        yield Use("", _CUT_END, tuple((f"way {number}", _CUT_END, 0) for number in range(1, part.ways + 1)))
    elif isinstance(part, Fan) and part.inlet is not None:
        passed = (
            (("outlet", part.outlet, crossing(part.inlet, part.outlet, part.crosses, families)),) if part.outlet else ()
        )
        yield Use("inlet", part.inlet, passed)
    elif isinstance(part, Lead) and part.inlet is not None and part.outlet is not None and part.usb_wires != "data":
        across = crossing(part.inlet, part.outlet, part.crosses, families)
        yield Use("inlet", part.inlet, (("outlet", part.outlet, across),))
        if part.diode is None:
            back = turned_crossing(across, (part.inlet, part.outlet), families)
            yield Use("outlet", part.outlet, (("inlet", part.inlet, back),))
    elif isinstance(part, Splitter) and part.trunk and part.branch and part.arrangement == "parallel":
        across = crossing(part.trunk, part.branch, part.crosses, families)
        legs = [(f"branch {number}", part.branch, across) for number in range(1, part.branches + 1)]
        yield Use("trunk", part.trunk, tuple(legs))
