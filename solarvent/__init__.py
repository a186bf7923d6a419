"""Off-grid solar ventilation power-budget planner.

For notebooks and programs::

    import solarvent

    plan = solarvent.load_plan("my-plan.toml")
    result = solarvent.run(plan)
    result.hours[["poa_global", "air_changes"]].loc["2001-07-15"]
    steeper = plan.with_({"panel.tilt": 60})
    solarvent.verdict(result.simulated, result.findings).sentence

Every name of ``solarvent.__all__`` is loaded when it is asked for, so that the command line starts at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from solarvent.base.errors import (
        DomainError,
        OutputError,
        PartError,
        PlanError,
        QuantityError,
        SolarventError,
        WeatherError,
    )
    from solarvent.bench.diagnosis import diagnose
    from solarvent.bench.evidence import KnownLight
    from solarvent.bench.metering import Measurement, Readings
    from solarvent.bench.steps import checklist
    from solarvent.findings.verdicts import find, verdict
    from solarvent.plan.boxes import load_box
    from solarvent.plan.plan import Plan, load_plan, plan_from
    from solarvent.simulation.cold_night import cold_night as night
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.airflow import airflow
    from solarvent.studies.notebook import run
    from solarvent.studies.pair import pair
    from solarvent.studies.sizing import size_plan as size

__version__ = "0.1.0"
__all__ = [
    "DomainError",
    "KnownLight",
    "Measurement",
    "OutputError",
    "PartError",
    "Plan",
    "PlanError",
    "QuantityError",
    "Readings",
    "SolarventError",
    "WeatherError",
    "airflow",
    "checklist",
    "diagnose",
    "find",
    "load_box",
    "load_plan",
    "night",
    "pair",
    "plan_from",
    "report_page",
    "run",
    "simulate",
    "size",
    "verdict",
]

#: Module -> the public names in it; ``name=there`` where it has another name there.
_HOMES = {
    "base.errors": "DomainError OutputError PartError PlanError QuantityError SolarventError WeatherError",
    "bench.diagnosis": "diagnose",
    "bench.evidence": "KnownLight",
    "bench.metering": "Measurement Readings",
    "bench.steps": "checklist",
    "findings.verdicts": "find verdict",
    "plan.boxes": "load_box",
    "plan.plan": "Plan load_plan plan_from",
    "simulation.cold_night": "night=cold_night",
    "simulation.simulate": "simulate",
    "studies.airflow": "airflow",
    "studies.notebook": "run",
    "studies.pair": "pair",
    "studies.sizing": "size=size_plan",
}


def __getattr__(name: str) -> Any:
    for module, names in _HOMES.items():
        for public in names.split():
            outside, _, inside = public.partition("=")
            if outside == name:
                return getattr(import_module(f"solarvent.{module}"), inside or name)
    raise AttributeError(f"solarvent has no public name {name!r}; it has {', '.join(__all__)}")


def __dir__() -> list[str]:
    return [*__all__, "__version__"]


def report_page(plan: Plan, month: int | None = None, system: str | None = None) -> str:
    """Write the whole answer on a plan as one HTML page that needs nothing else.

    Parameters
    ----------
    plan : Plan
        From :func:`load_plan` or :func:`plan_from`.
    month : int, optional
        Whose days are shown; by default the hottest of those in which air is needed.
    system : {"metric", "us"}, optional
        Units; by default the plan's.

    Returns
    -------
    str
        HTML, to be written to a file.

    Raises
    ------
    SolarventError
        For weather that cannot be used.
    """
    from solarvent.bench.steps import checklist
    from solarvent.findings.verdicts import find
    from solarvent.report.page import render_page
    from solarvent.simulation.simulate import simulate
    from solarvent.studies.overview import overview

    units = system or plan.record.units
    simulated = simulate(plan)
    whole = overview(simulated, find(simulated, units), units, month)
    return render_page(whole, checklist(plan, system=units), units)
