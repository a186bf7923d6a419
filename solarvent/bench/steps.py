"""The wiring checklist of a plan: what to do in which order, what the meter should show, and what it means if not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from solarvent.base.findings import Finding
from solarvent.base.sentences import listed
from solarvent.bench.joining import far_ends, first_sun, joints
from solarvent.bench.mounting import on_the_wall, seasons
from solarvent.bench.parts_alone import labels, on_the_bench, panels_alone
from solarvent.bench.preparation import Bench, Step, prepare
from solarvent.bench.shopping import Item, shopping
from solarvent.bench.wiring_rows import WiringRow, wiring_rows
from solarvent.findings.verdicts import find
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import simulate

_PARTS = (labels, on_the_bench, panels_alone, far_ends, joints, first_sun, on_the_wall, seasons)


@dataclass(frozen=True, eq=False)
class Checklist:
    """What is needed on the bench, each part of it worked out when it is asked for.

    `known` are the findings on the plan, where they are known already.
    """

    bench: Bench
    known: Sequence[Finding] | None = None

    @cached_property
    def stops(self) -> list[str]:
        """What must be changed before anything is built; empty if nothing speaks against it."""
        findings = self.known
        if findings is None:
            findings = find(simulate(self.bench.plan), self.bench.system)
        return stops(findings)

    @cached_property
    def steps(self) -> list[Step]:
        """What to do, in that order; of a plan that must not be built so, what to change."""
        return [Step(CHANGE_FIRST, text) for text in self.stops] or building_steps(self.bench)

    @cached_property
    def shopping(self) -> list[Item]:
        """What to have at hand, and what to buy; nothing for a plan that must not be built so."""
        return [] if self.stops else shopping(self.bench)

    @cached_property
    def wiring(self) -> list[WiringRow]:
        """The wiring from the panels down to the fans, row by row; each joint with the number of its step."""
        numbers = {join: number for number, step in enumerate(self.steps, 1) for join in step.joins}
        return wiring_rows(self.bench, numbers)


#: Phase of a list that only says what to change.
CHANGE_FIRST = "before anything is bought or joined"


def checklist(
    plan: Plan,
    irradiance: float | None = None,
    temp_cell: float | None = None,
    system: str | None = None,
    known: Sequence[Finding] | None = None,
) -> Checklist:
    """Write the steps and the shopping list for building a plan; of one with a stop, what to change first.

    Parameters
    ----------
    irradiance, temp_cell : float, optional
        For which the figures hold; by default a clear noon. [W/m2], [degC]
    system : {"metric", "us"}, optional
        Units of lengths; by default the plan's.
    known : sequence of Finding, optional
        The findings on the plan, where it was simulated already.

    Returns
    -------
    Checklist
        ``.steps``, ``.shopping``, ``.stops``, ``.wiring``.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> steps = checklist(load_plan()).steps
    >>> steps[0].phase
    'before opening the box'
    """
    return Checklist(prepare(plan, irradiance, temp_cell, system), known)


def building_steps(bench: Bench) -> list[Step]:
    """Give every step of building a plan, in order."""
    return [step for part in _PARTS for step in part(bench)]


def stops(findings: Sequence[Finding]) -> list[str]:
    """Say what must be changed before a plan is built: each remedy of a stop once, with what asks for it."""
    by_remedy: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.level == "stop":
            by_remedy.setdefault(finding.do, []).append(finding)
    return [_change(do, same) for do, same in by_remedy.items()]


def _change(do: str, same: Sequence[Finding]) -> str:
    """One thing to change, and why."""
    parts = [finding.part for finding in same if finding.part]
    return f"{do} ({f'{listed(parts)}: ' if parts else ''}{same[0].text})"
