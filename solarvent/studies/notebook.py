"""The answer as Python objects, for notebooks: a table of hours with its units, the findings, the totals."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from solarvent.base.columns import COLUMNS
from solarvent.base.findings import Finding
from solarvent.findings.verdicts import find
from solarvent.plan.plan import Plan, load_plan
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


def run(plan: Plan | str | Path | None = None, day: date | None = None, step: float | None = None) -> Result:
    """Simulate a plan over its year of weather, or over one day.

    Parameters
    ----------
    plan : Plan, str or Path, optional
        A plan, or the path of one; without one, the embedded example.
    day : date, optional
        One day in place of the year; its year does not matter.
    step : float, optional
        Length of a step within that day. [s]

    Returns
    -------
    Result
        ``.hours``, ``.findings``, ``.totals``, ``.simulated``.

    Raises
    ------
    SolarventError
        For a plan with mistakes, and for weather that cannot be used.

    Examples
    --------
    >>> from datetime import date
    >>> result = run("default", date(2001, 7, 15))
    >>> len(result.hours), result.hours.attrs["units"]["flow"]
    (24, 'm3/s')
    """
    simulated = simulate(plan if isinstance(plan, Plan) else load_plan(plan), day, step)
    hours = simulated.hours.copy()
    hours.attrs = {
        "title": simulated.plan.record.title,
        "weather": str(simulated.conditions.weather.attrs.get("title", "")),
        "units": {name: COLUMNS[name.split(".", 1)[0]].unit_si() for name in hours.columns},
    }
    return Result(hours, find(simulated), totals(simulated), simulated)
