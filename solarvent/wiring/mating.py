"""Whether the ends of a joint mate, and how to tell sizes that look alike."""

from __future__ import annotations

from solarvent.plan.connectors import Families, fit
from solarvent.plan.parts import Connector
from solarvent.wiring.polarity import Joined


def mates(join: Joined, families: Families) -> bool | None:
    """Tell whether a joint fits; None if an end is not described."""
    first, second = join.source.connector, join.sink.connector
    return None if first is None or second is None else fit(first, second, families).mates


def size_test(connector: Connector) -> str:
    """Say how to tell the two common barrels apart without a gauge (common practice); empty for other families."""
    barrel = connector.family in ("barrel-5.5x2.1", "barrel-5.5x2.5")
    return " A toothpick sits tight in a 2.1 mm hole and falls out of a 2.5 mm one." if barrel else ""
