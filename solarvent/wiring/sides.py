"""The voltage sides of a harness: what a source gives, and whether a fan can live with it at all."""

from __future__ import annotations

from typing import NamedTuple

from solarvent.plan.connectors import Families
from solarvent.plan.parts import Connector, Fan, Panel, Part


class Side(NamedTuple):
    """The voltage of a source at work, and with nothing joined. [V]"""

    working: float
    open: float


def side_of(part: Part, end: Connector | None, families: Families) -> Side | None:
    """Tell the voltage of a source at one of its ends, by default the first; None if nothing says it.

    An end may be held at one voltage, like a USB port.
    """
    end = end or getattr(part, "outlet", None)
    held = end and (end.voltage or families[end.family].voltage)
    if held:
        return Side(held, 1.05 * held)
    if isinstance(part, Panel):
        if part.v_mp is not None and part.v_oc is not None:
            return Side(part.v_mp, part.v_oc)
        # Where only watts are given, a panel of 36 cells is meant.
        return Side(18.0, 22.0) if part.watts is not None else None
    volts = getattr(part, "voltage", None)
    return Side(volts, 1.2 * volts) if volts else None


def trouble(fan: Fan, side: Side | None, families: Families) -> str | None:
    """Say why a fan does not belong on a side; None if it does, or if nobody can tell.

    The limits are coarse on purpose: whether a 12 V fan bears an 18 V panel on a cold bright day is a matter of the
    operating point, and of another command. Common practice, no source: more than twice the rated voltage is another
    side.
    """
    rated = fan.rated_voltage or (fan.inlet and families[fan.inlet.family].voltage)
    if side is None or not rated:
        return None
    if side.open < (fan.start_voltage or rated / 2):
        return f"a {rated:g} V fan on a {side.working:g} V outlet does not start"
    if side.working > 2 * rated and side.open > (fan.maximum_voltage or rated * 1.2):
        return f"a {rated:g} V fan gets up to {side.open:g} V there and may be destroyed"
    return None
