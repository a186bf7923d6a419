"""What a sizing takes from the plan, and what it assumes in place of it, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from solarvent.base.quantities import show
from solarvent.plan.plan import Plan
from solarvent.studies.size_designs import Design


def assumptions(plan: Plan, tried: Sequence[Design], system: str, own_plan: bool) -> Iterator[str]:
    """Say how the designs differ from the plan, and what of it they keep; of an example's plan no fans are missed."""
    record = plan.record
    if any(design.own is None for design in tried):
        if own_plan and (left := list(_left_out(record))):
            yield f"Assumed: alike fans side by side on one panel. Left out are {', '.join(left)} of the plan."
    else:
        text = f"The plan's own fans and wiring: {', '.join(fan.id for fan in record.fan)}"
        if (panels := len(record.panel)) > 1:
            text += f" on {panels} panels. Watts are those of the first panel; the others keep their ratio to it"
        yield text + "."
        if record.wiring.layout is None:
            yield "It names its runs, so no converters are tried but those that it has."
    if record.battery is not None:
        yield "Its battery is not counted: the fans are sized straight on the sun; run --budget tells of the battery."
    if (line := record.thermostat) is not None:
        closes, opens = (show(value, "temperature", system) for value in (line.closes_at, line.opens_at))
        yield (
            f"The plan's thermostat is in the line of every design: it closes at {closes} inside and opens under"
            f" {opens}. Hours, air, energy and verdict are those with it, by a heat balance of the house for each"
            " design. From when to when the fans turn is worked out for the hottest month alone."
        )


def _left_out(record: Any) -> Iterator[str]:
    """What of a plan alike fans on one panel do not have."""
    kinds = {(fan.part, fan.name, fan.rated_voltage, fan.rated_current) for fan in record.fan}
    if len(kinds) > 1:
        yield f"{len(record.fan)} fans of {len(kinds)} kinds"
    if len(record.panel) > 1:
        yield f"{len(record.panel)} panels"
    if record.wiring.layout is None:
        yield "wiring of its own (runs)"
    elif record.wiring.layout != "shared":
        yield f'the layout "{record.wiring.layout}"'
