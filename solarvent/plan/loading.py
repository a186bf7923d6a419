"""Reading a plan: a file, or one that ships with the program."""

from __future__ import annotations

from importlib.resources.abc import Traversable
from pathlib import Path

from solarvent.base.errors import PlanError
from solarvent.plan.library import Library, profiles, read_toml
from solarvent.plan.plan import Plan, plan_from


def embedded_plan_path(name: str = "default") -> Traversable:
    """Find a plan that ships with the package: ``"default"``, its faulty twin ``"faulty"``, or ``"coop"``."""
    return profiles() / "plans" / f"{name}.toml"


def _plan_source(path: str | Path | None) -> Path | Traversable:
    """Find a plan's file: the one that is named, or else the shipped plan of that name."""
    if path is None:
        return embedded_plan_path()
    shipped = {entry.name.removesuffix(".toml") for entry in (profiles() / "plans").iterdir()}
    return embedded_plan_path(str(path)) if str(path) in shipped and not Path(path).exists() else Path(path)


def load_plan(path: str | Path | None = None, parts_folder: Path | None = None) -> Plan:
    """Read a plan and check all of it.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file, or the name of a plan that ships; without it, the embedded example.
    parts_folder : Path, optional
        A folder of parts that is laid over the library.

    Returns
    -------
    Plan
        The plan with its library.

    Raises
    ------
    PlanError
        With every mistake in the file, each with its place and what to write.
    PartError
        If the folder of parts, or a file in it, cannot be used.

    Examples
    --------
    >>> load_plan("coop").record.house.use
    'coop'
    """
    source = _plan_source(path)
    content = read_toml(source, PlanError)
    return plan_from(content, Library(parts_folder), source if isinstance(source, Path) else None)
