"""Findings on batteries, charge controllers and power banks."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.findings.joints import unfused_battery
from solarvent.plan.parts import Converter, Fan
from solarvent.plan.plan import Plan
from solarvent.simulation.battery_budget import battery_budget
from solarvent.simulation.simulate import Simulation
from solarvent.wiring.harness import Harness

FLAT_SHARE = 0.1


def controller_findings(plan: Plan, harness: Harness) -> Iterator[Finding]:
    """Say which controllers lack their battery, and which power banks switch themselves off."""
    battery = plan.record.battery
    for name, part in harness.parts.items():
        if not isinstance(part, Converter):
            continue
        if part.needs_battery and (battery is None or battery.capacity is None):
            text = "A charge controller takes its supply from the battery: without one its load terminals give nothing."
            do = (
                'Take it out; or add a battery with a fuse, [battery] capacity = "84 Wh", fuse = "5 A", which in a plan'
                " brings its own controller."
            )
            yield Finding("stop", "controller-without-battery", name, text, do)
        drawn = sum(
            float(fan_electrical(fan).running_current(part.output_voltage))
            for other in harness.downstream(name)
            if isinstance(fan := harness.parts[other], Fan)
        )
        if 0 < drawn < part.least_load:
            text = (
                f"The fans draw {drawn * 1000:.0f} mA; under {part.least_load * 1000:.0f} mA it takes them for a full"
                " telephone and switches itself off."
            )
            do = "Use one with an always-on mode, a larger fan, or a converter without a battery."
            yield Finding("stop", "power-bank-switches-off", name, text, do, drawn, part.least_load, "A")


def battery_findings(run: Simulation) -> Iterator[Finding]:
    """Say what the battery lacks: a fuse, a cut-off, capacity."""
    battery, budget = run.plan.record.battery, battery_budget(run)
    if battery is None or budget is None:
        return
    if battery.fuse is None:
        yield unfused_battery("battery")
    if not battery.cut_off:
        text = "Nothing takes the fans off before the battery is flat; once or twice like that ruins it."
        yield Finding("warn", "battery-no-cut-off", "battery", text, "Use a controller with a low-voltage cut-off.")
    share = budget.flat_days / budget.wanted_days if budget.wanted_days else 0.0
    if share > FLAT_SHARE:
        text = (
            f"It goes flat on {budget.flat_days} of {budget.wanted_days} days on which the fans are wanted, up to"
            f" {budget.longest_flat} in a row."
        )
        do = "A larger panel, fewer hours, fewer fans, or, if it lasts too short a time, a larger battery."
        yield Finding("warn", "battery-runs-flat", "battery", text, do, share, FLAT_SHARE)
    if budget.autonomy < battery.days:
        text = f"Full, it lasts {budget.autonomy:.1f} days without sun; {battery.days:g} are wanted."
        label = battery.days * budget.a_day * (battery.capacity or 0.0) / battery.usable
        do = f"Use one of about {label:.0f} Wh by its label."
        yield Finding("warn", "battery-small", "battery", text, do, budget.autonomy, battery.days)
