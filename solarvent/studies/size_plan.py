"""Sizing as it is asked for: fans or a panel given, or a plan with its own fans; the designs that are tried follow."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from solarvent.base.errors import DomainError
from solarvent.findings.air import ENOUGH
from solarvent.plan.plan import Plan
from solarvent.studies.size_designs import TRADE_WATTS, Design, base_fan, designs, own_designs, usual_watts
from solarvent.studies.size_option import Sizing
from solarvent.studies.sizing import size

#: Fans that are tried on a panel that is given, at the most.
_MOST_FANS = 8


def size_plan(
    plan: Plan,
    fans: int | None = None,
    *,
    fan: str | None = None,
    panel: float | None = None,
    watts: Sequence[float] = (),
    wires: Sequence[str] = (),
    tilts: Sequence[float] = (),
    azimuths: Sequence[float] = (),
    target: str | None = None,
    enough: float = ENOUGH,
    system: str | None = None,
    own_plan: bool = True,
    progress: Callable[[Iterable[Design]], Iterable[Design]] = iter,
) -> Sizing:
    """Choose panel watts for a number of fans, or a number of fans for a panel.

    Without `fans` and without `panel` the plan's own fans are sized on as many panels as it has, wired as there.

    Parameters
    ----------
    plan : Plan
        Place, weather, house, thermostat, leads and hours of need.
    fans : int, optional
        How many alike fans.
    fan : str, optional
        Fan of the library; by default the plan's first.
    panel : float, optional
        The reverse: how many fans on a panel of so many watts. [W]
    watts : sequence of float, optional
        Panels to try; by default the trade's sizes. [W]
    wires : sequence of str, optional
        Leads to try, like ``"16AWG"``; by default the plan's.
    tilts, azimuths : sequence of float, optional
        To try; by default the plan's. [deg]
    target : str, optional
        What is enough: ``"120 m3/h"``, ``"20 ach"``, ``"6 K"`` ...; by default the plan's.
    enough : float
        Share of the needed hours in which it should be met. [-]
    system : {"metric", "us"}, optional
        Units in the texts; by default the plan's.
    own_plan : bool
        The plan is a person's own, and not the embedded example.
    progress : callable, optional
        Wraps the designs, to show how far it is.

    Returns
    -------
    Sizing
        ``.options``, each with its verdict, and ``.choice``.

    Raises
    ------
    DomainError
        If both `fans` and `panel` are given.
    PartError
        If a fan or a wire is not in the library.
    PlanError
        For a target that cannot be read.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> sizing = size_plan(load_plan().with_(weather={"clear_sky": True}), 1, watts=[10, 50])
    >>> len(sizing.options) > 1
    True
    """
    if fans is not None and panel is not None:
        raise DomainError.single("fans, panel", "both are given", "give fans, or a panel to find them for")
    for name in wires:
        plan.wire(name)
    if own_plan and fans is None and panel is None and fan is None:
        tried = own_designs(plan, sorted(set(watts)) or usual_watts(plan.record.panel[0]), wires, tilts, azimuths)
    else:
        counts = list(range(1, _MOST_FANS + 1)) if fans is None else [fans]
        sizes = [panel] if panel is not None else sorted(set(watts)) or list(TRADE_WATTS)
        tried = designs(plan, base_fan(plan, fan, own_plan), counts, sizes, wires, tilts, azimuths)
    return size(plan, tried, target, enough, system or plan.record.units, panel is not None, progress, own_plan)
