"""Findings on the place: whether its clock and its record low are believable, and the panels face its sun."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.plan.parts import FLAT_TILT
from solarvent.simulation.simulate import Simulation

#: Zones stray from the sun by up to three hours; more is a slip. [h]
_CLOCK_SLACK = 3.5
#: Nearer to the equator the sun stands on either side; flatter, it hardly matters; east and west are a choice. [deg]
_TROPIC, _SIDEWAYS = 23.5, 100.0


def place_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether clock and record low belong to another place, or a panel is turned from the sun."""
    for old, new in run.plan.older_keys:
        yield Finding(
            "note", "older-key", "", f"The plan says {old}; that key is {new} now.", f"Write {new} in its place."
        )
    place = run.plan.record.place
    if run.plan.record.clock == "local":
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
    noon, side = (180.0, "south") if place.latitude > 0 else (0.0, "north")
    for panel in run.plan.record.panel:
        away = abs((panel.azimuth - noon + 180) % 360 - 180)
        if abs(place.latitude) > _TROPIC and panel.tilt >= FLAT_TILT and away > _SIDEWAYS:
            text = (
                f"The panel faces {panel.azimuth:g} degrees, away from the noon sun, which stands in the {side} at"
                f" latitude {place.latitude:g}."
            )
            do = f"Turn it towards {noon:g} degrees by the compass, or see what it costs: solarvent airflow --orient."
            yield Finding("warn", "panel-faces-pole", panel.id, text, do, away, _SIDEWAYS, "deg")
