"""Off-grid solar ventilation power-budget planner.

For notebooks::

    import solarvent

    plan = solarvent.load_plan("my-plan.toml")
    result = solarvent.run(plan)
    result.hours[["poa_global", "air_changes"]].loc["2001-07-15"]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from solarvent.plan.plan import Plan
    from solarvent.studies.notebook import Result

__version__ = "0.1.0"


# Both load what they need when they are called, so that the command line starts at once.
def load_plan(path: str | Path | None = None, parts_folder: Path | None = None) -> Plan:
    """Read and check a plan.

    Parameters
    ----------
    path : str or Path, optional
        The plan file; without one, the embedded example.
    parts_folder : Path, optional
        Own parts, laid over the library.

    Returns
    -------
    Plan
        The plan as ``.plan``, and the library with it.

    Raises
    ------
    SolarventError
        With every mistake of the file, each with its place and what to write.
    """
    from solarvent.plan.loading import load_plan as load

    return load(path, parts_folder)


def run(plan: Plan | str | Path | None = None, day: date | None = None, step: float | None = None) -> Result:
    """Simulate a plan over its year of weather, or over one day.

    Parameters
    ----------
    plan : Plan, str or Path, optional
        From :func:`load_plan`, or a path; without one, the embedded example.
    day : date, optional
        One day in place of the year; its year does not matter.
    step : float, optional
        Length of a step within that day. [s]

    Returns
    -------
    Result
        ``.hours``, ``.findings``, ``.totals``.

    Raises
    ------
    SolarventError
        As :func:`load_plan`, and for weather that cannot be used.
    """
    from solarvent.plan.plan import Plan
    from solarvent.studies.notebook import result_of

    return result_of(plan if isinstance(plan, Plan) else load_plan(plan), day, step)
