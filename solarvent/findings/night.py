"""Findings on a cold night."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding, sort_findings
from solarvent.base.quantities import show
from solarvent.findings.house import house_findings
from solarvent.house.model import crop_of
from solarvent.plan.plan import Plan
from solarvent.simulation.cold_night import Night


def night_findings(night: Night, system: str | None = None) -> list[Finding]:
    """Say what stands in the house, and what the coldest night does to plants, water and a battery.

    Parameters
    ----------
    night : Night
        From :func:`solarvent.simulation.cold_night.cold_night`.
    system : {"metric", "us"}, optional
        Units in the texts; by default the plan's.

    Returns
    -------
    list of Finding
        Worst first.
    """
    plan = night.run.plan
    units = system or plan.record.units
    return sort_findings([*house_findings(plan, units), *_frost(plan, night, units)])


def _frost(plan: Plan, night: Night, units: str) -> Iterator[Finding]:
    """Say what frost does."""
    crop = crop_of(plan)
    lowest = night.minimum_inside
    if lowest < crop.least:
        text = (
            f"On the coldest night it falls to {show(lowest, 'temperature', units, 1)} inside; {crop.name} are harmed"
            f" below {show(crop.least, 'temperature', units, 1)}."
        )
        do = "Move them in, wrap them, or hold the house by water and a heater as told below."
        yield Finding("warn", "night-cold", "", text, do, lowest, crop.least, "degC")
    water = [mass for mass in plan.record.mass if mass.freezes]
    if water and float(night.temp_mass.min()) < 0:
        text = (
            "The water begins to freeze on that night. Each 208 L would give another 19 kWh in doing so, which is not"
            " counted here; a full shut drum bursts."
        )
        do = "Leave a hand's breadth of air in each drum, and the bungs loose."
        yield Finding("warn", "water-freezes", "", text, do, float(night.temp_mass.min()), 0.0, "degC")
    battery = plan.record.battery
    if battery is not None:
        limit, harm = (0.0, "must not be charged below 0 degC") if battery.kind == "lithium" else (
            -7.0, "freezes at -7 to -12 degC when it is discharged (at -50 when full)"
        )  # fmt: skip
        if lowest < limit:
            coldest = show(lowest, "temperature", units, 1)
            text = f"A {battery.kind} battery in the house {harm}; it gets {coldest} there."
            do = "Take it in for the winter, or insulate and hold it charged; fuse it at the post."
            yield Finding("warn", "battery-frost", "battery", text, do, lowest, limit, "degC")
