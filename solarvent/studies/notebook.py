"""The answer as Python objects, for notebooks: a table of hours with its units, the findings, the totals."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding
from solarvent.findings.checks import find
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.simulation.year import totals

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Result:
    """A simulated plan.

    Attributes
    ----------
    hours : pandas.DataFrame
        One row a step, indexed by its start on the plan's clock; columns of :mod:`solarvent.base.columns`, those of a
        fan or panel as ``"voltage.fan-id"``. ``hours.attrs["units"]`` gives the SI unit of each column, ``""`` for a
        pure number; ``attrs["title"]`` and ``attrs["weather"]`` say what it is.
    findings : list of Finding
        Worst first.
    totals : dict
        As in the JSON of ``solarvent run``.
    simulated : Simulation
        Everything else that was worked out.
    """

    hours: pd.DataFrame
    findings: list[Finding]
    totals: dict[str, object]
    simulated: Simulation


def result_of(plan: Plan, day: date | None = None, step: float | None = None) -> Result:
    """Simulate a plan; parameters as for :func:`solarvent.simulation.simulate.simulate`.

    Returns
    -------
    Result
    """
    run = simulate(plan, day, step)
    hours = run.hours.copy()
    hours.attrs = {
        "title": plan.record.title,
        "weather": str(run.conditions.weather.attrs.get("title", "")),
        "units": {name: COLUMNS[name.split(".", 1)[0]].unit_si() for name in hours.columns},
    }
    return Result(hours, find(run), totals(run), run)
