"""The verdict on a plan or a design: whether to build it, and whether the air is enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from solarvent.base.findings import Finding, KeyFigure, Verdict, first_remedy
from solarvent.findings.air import ENOUGH, NEARLY_ALL, air_supply, is_enough
from solarvent.simulation.simulate import Simulation

_SENTENCES = {
    "stop": "Do not build it like this.",
    "short": "It works, but the air is not enough for full sun.",
    "fits": "It works, and the air is enough.",
}


def verdict(run: Simulation, findings: Sequence[Finding]) -> Verdict:
    """Give the verdict on a simulated plan, from its run and what :func:`solarvent.findings.checks.find` says of it.

    Examples
    --------
    >>> from datetime import date
    >>> from solarvent import find, load_plan, simulate
    >>> faulty = simulate(load_plan("faulty"), date(2001, 7, 15))
    >>> verdict(faulty, find(faulty)).sentence
    'Do not build it like this.'
    """
    starts = [limits.start_irradiance for limits in run.bands["typical"].thresholds.values()]
    supply = air_supply(run)
    # The maximum is NaN if one fan never starts.
    return verdict_of(findings, float(np.max(starts)), supply.flow, supply.share)


def verdict_of(
    findings: Iterable[Finding], start_irradiance: float, flow: float, share: float, often: float = ENOUGH
) -> Verdict:
    """Give the verdict that findings and air come to; of one level, causes stand before what follows from them.

    `start_irradiance` is the light on the cells that starts the last fan, NaN if it never starts [W/m2]; `flow` the
    mean air in the hours of need [m3/s]; `share` that of these hours in which it is enough, NaN if there are none [-];
    `often` the share that counts as often enough [-].
    """
    findings = list(findings)
    level = verdict_level(findings, share, often)
    sentence = _SENTENCES[level]
    if level == "short" and flow == 0:
        sentence = "The fans stand in the hours in which air is needed."
    elif level == "fits" and np.isnan(share):
        sentence = "It works."
    elif level == "fits" and share < NEARLY_ALL:
        sentence = "It works, and the air is enough but for the fullest sun."
    figures = (
        KeyFigure("light that starts the last fan", start_irradiance, "irradiance"),
        KeyFigure("air in the hours of need", flow, "flow"),
        KeyFigure("share of the hours of need with enough air", share),
    )
    return Verdict(level, sentence, first_remedy(findings), figures)


def verdict_level(findings: Iterable[Finding], share: float, often: float = ENOUGH) -> str:
    """Decide whether it fits: nothing says stop, and the wanted air is reached often enough; parameters as above."""
    if any(finding.level == "stop" for finding in findings):
        return "stop"
    return "fits" if is_enough(share, often) else "short"
