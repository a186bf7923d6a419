"""Off-grid solar ventilation power-budget planner.

For notebooks and programs::

    import solarvent

    plan = solarvent.load_plan("my-plan.toml")
    result = solarvent.run(plan)
    result.hours[["poa_global", "air_changes"]].loc["2023-07-15"]
    steeper = plan.with_({"panel.tilt": 60})
    solarvent.verdict(result.simulated, result.findings).sentence

Every name of ``solarvent.__all__`` is loaded when it is asked for, so that the command line starts at once.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import date

    from matplotlib.figure import Figure

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
    from solarvent.simulation.simulate import Simulation, simulate
    from solarvent.studies.airflow import airflow
    from solarvent.studies.calibrate import calibrate
    from solarvent.studies.overview import run
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
    "Simulation",
    "SolarventError",
    "WeatherError",
    "airflow",
    "calibrate",
    "checklist",
    "diagnose",
    "find",
    "load_box",
    "load_plan",
    "many",
    "night",
    "pair",
    "plan_from",
    "plot_day",
    "plot_start",
    "plot_wiring",
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
    "simulation.simulate": "Simulation simulate",
    "studies.airflow": "airflow",
    "studies.calibrate": "calibrate",
    "studies.overview": "run",
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


def many(
    plan: Plan | str | Path | None,
    places: Any,
    designs: Any = None,
    folder: str | Path | None = None,
    *,
    weather: str | Path | None = None,
    within: float = 100_000.0,
    whole: bool | None = None,
    strict: bool = False,
    scheduler: str | None = None,
    workers: int | None = None,
    on: str = "processes",
    lazy: bool = False,
) -> Any:
    """Work a plan, or many designs, out at many places, through dask.

    Parameters
    ----------
    plan : Plan, str or Path, optional
        A plan, or the path of one; None for the embedded example. What a row does not say stays as it is here.
    places : path, pandas.DataFrame or sequence of mappings
        A row a place: ``id``, ``latitude`` and ``longitude`` [deg], perhaps ``climate`` or ``weather_file``, and any
        field of the plan by its place, ``"panel.tilt"``, ``"house.length [m]"``, ``"fan.bench.part"``. A row with a
        mistake stays, with its reason.
    designs : path, pandas.DataFrame or sequence of mappings, optional
        A row a design: ``id``, perhaps ``watts`` of the first panel, and fields of the plan.
    folder : str or Path, optional
        Where the rows are kept as Parquet; the same call again does only what is missing.
    weather : str or Path, optional
        A folder of weather files, of which each place takes the nearest; without it a place near that of the plan takes
        the plan's own weather, and one further off a climate by its latitude. The row tells which.
    within : float
        How far weather is taken from. [m]
    whole : bool, optional
        Each row by the whole of `run`, house and all findings, or else by `size`, held against the plan's own target;
        by default the whole where there are no designs.
    strict : bool
        Refuse places with a mistake.
    scheduler : str, optional
        Address of a running dask cluster; the packages and the weather files must be where its workers are.
    workers : int, optional
        On this machine; by default one a core.
    on : {"processes", "threads", "one"}
        On this machine: what a worker is. A script that uses processes calls this under ``if __name__ == "__main__":``.
    lazy : bool
        Give a dask DataFrame on the folder, for more rows than fit in memory.

    Returns
    -------
    pandas.DataFrame or dask.dataframe.DataFrame
        A row a place and design, in the order of the tables; columns of :mod:`solarvent.base.columns`, with the SI unit
        of each in ``attrs["units"]`` (pandas).

    Raises
    ------
    SolarventError
        For tables, plans and folders that cannot be used, and for workers out of reach or of other versions.

    Examples
    --------
    >>> places = [{"id": "home", "latitude": 36.1, "longitude": -79.9}, {"id": "typo", "latitude": 361, "longitude": 0}]
    >>> rows = many(None, places, [{"id": "30w", "watts": "30 W"}, {"id": "100w", "watts": 100}], on="one")
    >>> rows[["id", "design", "verdict"]].to_records(index=False).tolist()
    [('home', '30w', 'short'), ('home', '100w', 'stop'), ('typo', '30w', 'failed'), ('typo', '100w', 'failed')]
    """
    from solarvent.base.errors import DomainError
    from solarvent.plan.plan import Plan, load_plan
    from solarvent.report.many_text import kept_in
    from solarvent.studies.many import engine, prepare, work

    if lazy and folder is None:
        raise DomainError.single("lazy", "there is no folder to read from", "give a folder")
    loaded = plan if isinstance(plan, Plan) else load_plan(plan)
    near = None if weather is None else Path(weather)
    asked = prepare(loaded, places, designs, near, within, whole, strict)
    with kept_in(None if folder is None else Path(folder), asked.manifest) as kept:
        if missing := kept.missing(asked.chunks):
            with engine(scheduler, workers, on) as client:
                work(asked, missing, kept.keep, client)
        return kept.lazy() if lazy else kept.table()


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

    simulated = simulate(plan)
    units = system or plan.record.units
    findings = find(simulated, units)
    whole = overview(simulated, findings, units, month)
    return render_page(whole, checklist(plan, system=units, known=findings), units)


def plot_day(run: Simulation, day: date | None = None, system: str | None = None) -> Figure:
    """Draw a day: sun, fan volts with their limits, air changes, temperatures, and when each fan turns.

    Parameters
    ----------
    run : Simulation
        From :func:`solarvent.simulate`, or ``.simulated`` of :func:`solarvent.run`.
    day : date, optional
        A day of the run; by default the brightest of the hottest month of need.
    system : {"metric", "us"}, optional
        Units; by default the plan's.

    Returns
    -------
    matplotlib.figure.Figure
        To be shown or saved; nothing of the settings of matplotlib is changed.

    Raises
    ------
    PlanError
        If the run has no light on that day.

    Examples
    --------
    >>> from datetime import date
    >>> import solarvent
    >>> len(plot_day(solarvent.simulate(solarvent.load_plan(), date(2001, 7, 15))).axes)
    5
    """
    from solarvent.base.errors import require_kind
    from solarvent.report.days import day_figure
    from solarvent.report.page import day_picture
    from solarvent.simulation.simulate import Simulation
    from solarvent.studies.overview import overview

    require_kind(run, Simulation)
    whole = overview(run, [])
    return day_figure(day_picture(whole, whole.day(day)), system or run.plan.record.units)


def plot_start(run: Simulation, circuit: int = 0) -> Figure:
    """Draw why the fans of a circuit start: what the panels offer in rising light, and what standing fans ask for.

    Parameters
    ----------
    run : Simulation
        From :func:`solarvent.simulate`.
    circuit : int
        Which circuit, in the order of the plan; a shared plan has one.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> from datetime import date
    >>> import solarvent
    >>> plot_start(solarvent.simulate(solarvent.load_plan(), date(2001, 7, 15))).axes[0].get_ylabel()
    'current [A]'
    """
    from solarvent.base.errors import require_kind
    from solarvent.report.charts import operating_figure
    from solarvent.simulation.simulate import Simulation
    from solarvent.studies.operating_curves import operating_curves

    require_kind(run, Simulation)
    return operating_figure(operating_curves(run)[circuit])


def plot_wiring(plan: Plan) -> Figure:
    """Draw how the parts of a plan are joined, each joint with its poles, each place for the meter with its reading.

    Parameters
    ----------
    plan : Plan
        From :func:`solarvent.load_plan`.

    Returns
    -------
    matplotlib.figure.Figure

    Examples
    --------
    >>> import solarvent
    >>> "main-lead" in [text.get_text() for text in plot_wiring(solarvent.load_plan()).axes[0].texts]
    True
    """
    from solarvent.bench.steps import checklist
    from solarvent.report.drawing import wiring_figure

    return wiring_figure(checklist(plan).wiring)
