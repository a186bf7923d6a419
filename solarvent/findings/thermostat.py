"""Findings on fans that know light but not heat, and on the thermostat that tells them."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.base.quantities import show
from solarvent.simulation.simulate import Simulation

#: A greenhouse cooler than this wants no fan, and so many hours in a year are worth a thermostat (common practice, no
#: source). [degC], [h]
COOL_INSIDE, COLD_HOURS = 15.0, 100.0
#: Share of the steps in doubt from which it is told. [-]
HUNTING_SHARE = 0.02


def thermostat_findings(run: Simulation, system: str) -> Iterator[Finding]:
    """Say whether fans of a greenhouse turn in cold sun, or a thermostat switches faster than the steps show."""
    record = run.plan.record
    if record.thermostat is not None:
        yield from doubt_findings(run.thermostat_residual)
    elif run.house is not None and record.house.use == "greenhouse":
        cool = run.house.case("both") < COOL_INSIDE
        hours = float(run.electrical.any_running[cool].sum()) * run.conditions.step / 3600.0
        if hours > COLD_HOURS:
            text = (
                f"For {hours:.0f} h the fans turn while it is under {show(COOL_INSIDE, 'temperature', system)} inside:"
                " straight on a panel they know light, not heat, and blow out warmth that plants could use."
            )
            do = (
                "A switch, or a bimetal thermostat in series that is rated for direct current at the panel's"
                " open-circuit voltage; try it with [thermostat] in the plan."
            )
            yield Finding("note", "runs-in-cold-sun", "", text, do, hours, COLD_HOURS, "h")


def doubt_findings(share: float) -> Iterator[Finding]:
    """Say that a thermostat switches faster than the steps show, in that share of those in which fans could turn."""
    if share > HUNTING_SHARE:
        text = (
            f"In {share:.0%} of the hours in which the fans could turn they cool the house so far that the thermostat"
            " opens, and it closes again within the hour; such hours count as standing, so the air is more than is"
            " shown."
        )
        do = "Set closes_at and opens_at further apart."
        yield Finding("note", "thermostat-hunts", "thermostat", text, do, share, HUNTING_SHARE)
