"""Findings on the place: whether its clock and its record low are believable."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from solarvent.base.quantities import show
from solarvent.planning.findings import Finding
from solarvent.planning.simulate import Run

#: Zones stray from the sun by up to three hours; more is a slip. [h]
_CLOCK_SLACK = 3.5


def place_findings(run: Run, system: str) -> Iterator[Finding]:
    """Say whether the clock belongs to another longitude, or the record low to a warmer place."""
    place = run.loaded.plan.place
    if run.loaded.plan.clock == "local":
        offset = place.zone.utcoffset(datetime(2001, 1, 1))
        hours = offset.total_seconds() / 3600 if offset is not None else 0.0
        if abs((hours - place.longitude / 15 + 12) % 24 - 12) > _CLOCK_SLACK:
            text = (
                f"The clock of {place.timezone} does not fit the longitude {place.longitude:g}: noon would be far off."
            )
            do = 'Write the zone of the place, like timezone = "America/New_York"; west longitudes are negative.'
            yield Finding("warn", "clock-far", "", text, do, hours, round(place.longitude / 15, 1), "h")
    coldest = float(run.conditions.weather["temp_air"].min())
    if place.record_low is not None and place.record_low > coldest:
        text = (
            f"The record low of the plan, {show(place.record_low, 'temperature', system)}, is warmer than the coldest"
            f" hour of its weather, {show(coldest, 'temperature', system)}."
        )
        do = "Correct record_low: the voltage limits are checked with it."
        yield Finding("warn", "record-low-warm", "", text, do, place.record_low, coldest, "degC")
