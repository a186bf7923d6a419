"""All findings that the graph of a plan gives by itself: joints, poles, sources, and what lies in the line."""

from __future__ import annotations

from solarvent.base.findings import Finding
from solarvent.findings.joints import joint_findings, part_findings, side_findings
from solarvent.findings.poles import polarity_findings
from solarvent.findings.sources import source_findings
from solarvent.findings.wires import line_findings
from solarvent.plan.connectors import Families
from solarvent.plan.parts import Converter, Panel
from solarvent.plan.plan import Plan
from solarvent.wiring.harness import Harness, build_harness
from solarvent.wiring.mating import mates
from solarvent.wiring.polarity import PolarityTrace
from solarvent.wiring.sides import Side, side_of


def wiring_findings(
    plan: Plan, families: Families, harness: Harness | None = None, every_joint: bool = True
) -> list[Finding]:
    """Check the wiring that a plan gives.

    Parameters
    ----------
    plan : Plan
        The plan.
    families : mapping of str to Family
        The connectors.
    harness : Harness, optional
        Its graph, if it has been built already.
    every_joint : bool
        False leaves joints and poles out where no joint of the plan says what its two ends are: such a plan is about
        voltages and air, and its joints are made by hand, with the meter.

    Returns
    -------
    list of Finding
        In the order of the checks.
    """
    harness = harness or build_harness(plan)
    trace = PolarityTrace(harness.parts, harness.joins, families)
    sides = {f"{name}|outlet": side for name, part in harness.parts.items() if (side := _side(part, families))}
    alone = list(part_findings(harness.parts, families, set(harness.parts)))
    findings = [
        *source_findings(trace),
        *side_findings(harness.joins, harness.parts, sides, families),
        *line_findings(plan, harness),
    ]
    if every_joint or any(mates(join, families) is not None for join in harness.joins):
        findings = [*polarity_findings(trace), *joint_findings(trace), *findings]
    # A part that is wrong in itself is told before the joints that it spoils.
    return [*alone, *findings]


def _side(part: object, families: Families) -> Side | None:
    """Tell what a panel or a converter gives."""
    if isinstance(part, Converter):
        return Side(part.output_voltage, 1.05 * part.output_voltage)
    return side_of(part, None, families) if isinstance(part, Panel) else None
