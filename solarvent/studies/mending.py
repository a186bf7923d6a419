"""Mending a plan: the ways to do what a finding asks for, each tried before it is written."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from solarvent.base.errors import PlanError, SolarventError
from solarvent.base.findings import Finding, Mending, Remedy, listed
from solarvent.plan.connectors import read_families
from solarvent.plan.edit import edited
from solarvent.plan.plan import Plan, plan_from
from solarvent.studies.mending_joints import JOINT_WAYS, Case, Ways
from solarvent.studies.mending_volts import VOLT_WAYS
from solarvent.studies.pair import pair
from solarvent.wiring.harness import build_harness

Look = Callable[[Plan], list[Finding]]
NO_WAY = "no way with these parts"
WAYS: dict[str, Ways] = JOINT_WAYS | VOLT_WAYS
"""By code of finding."""


def mendable(remedy: Remedy | None) -> str:
    """Name the first finding of a remedy that a change of the plan file can mend; empty if there is none."""
    return next((code for code in remedy.codes if code in WAYS), "") if remedy is not None else ""


@dataclass(frozen=True)
class Mended:
    """A plan file that was mended.

    `words` say what to get or to do; `text` is the file as it is now and `plan` what it says; `findings` is what is
    left to be found in it, worst first; `passed` are the ways that were tried before, each with what it brings.
    """

    words: str
    text: str
    plan: Plan
    findings: list[Finding]
    passed: tuple[str, ...] = ()


def mend(text: str, plan: Plan, code: str, look: Look) -> Mended:
    """Find a way that rids a plan of a finding, and write it into its text.

    A way is taken if the finding is gone, or stands at fewer parts, and nothing else says stop that did not before. So
    no two deeds ever undo each other. One that leaves its parts without a stop and brings no new warning is taken
    before one that does not.

    Parameters
    ----------
    text : str
        The plan file.
    plan : Plan
        What it says.
    code : str
        Of the finding: ``"over-voltage"``.
    look : callable
        Finds what is to be found in a plan: :func:`solarvent.findings.verdicts.find` of its simulation.

    Returns
    -------
    Mended

    Raises
    ------
    PlanError
        If the plan has no such finding, or no way helps.
    """
    before = look(plan)
    found = tuple(finding for finding in before if finding.code == code)
    if not found:
        codes = ", ".join(dict.fromkeys(finding.code for finding in before)) or "none"
        raise PlanError.single(code[:60], "the plan has no such finding", f"one of: {codes}")
    # The wiring alone is looked at in a fraction of the time: a way that leaves there what it shows is not simulated.
    seen = _marks(pair(plan).findings, code)
    second = None
    passed: list[str] = []
    for mending in _ways(text, plan, found):
        try:
            changed = edited(text, mending.changes)
            mended = replace(plan_from(tomllib.loads(changed), plan.library), path=plan.path)
            if seen and len(_marks(pair(mended).findings, code)) >= len(seen):
                continue
            after = look(mended)
        except SolarventError:
            continue
        if not _is_better(before, after, found[0]):
            continue
        answer = Mended(mending.words, changed, mended, after)
        known = {finding.code for finding in before}
        parts = {finding.part for finding in found if finding.part}
        brings = [
            finding.code
            for finding in after
            if finding.level != "note"
            and (finding.code not in known or (finding.level == "stop" and finding.part in parts))
        ]
        if not brings:
            return replace(answer, passed=tuple(passed))
        passed.append(f"{mending.words} It has {listed(list(dict.fromkeys(brings)))}.")
        second = second or answer
    if second is None:
        raise PlanError.single(code, NO_WAY, found[0].do)
    return second


def _ways(text: str, plan: Plan, found: tuple[Finding, ...]) -> Iterator[Mending]:
    """Yield the ways to mend findings of one code."""
    ways = WAYS.get(found[0].code)
    if ways is not None:
        content = tomllib.loads(text.replace("\r\n", "\n"))
        yield from ways(Case(plan, content, build_harness(plan), read_families(plan.library), found))


def _marks(findings: list[Finding], code: str) -> set[str]:
    """Name the parts at which a finding stands."""
    return {finding.part for finding in findings if finding.code == code}


def _is_better(before: list[Finding], after: list[Finding], mended: Finding) -> bool:
    """Tell whether a finding stands at fewer parts or at a lower level, and no stop is new."""
    stops_before, stops = (
        {(finding.code, finding.part) for finding in findings if finding.level == "stop"}
        for findings in (before, after)
    )
    if mended.level == "stop":
        return stops < stops_before
    return stops <= stops_before and len(_marks(after, mended.code)) < len(_marks(before, mended.code))
