"""Sizing: which panel for how many fans or how many fans on a panel, and what is assumed where the plan is silent."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import chain
from typing import Any

import numpy as np

from solarvent.base.constants import ENOUGH
from solarvent.base.errors import DomainError, require_kind
from solarvent.base.findings import Finding
from solarvent.base.processes import spread
from solarvent.base.quantities import show
from solarvent.findings.air import air_supply, is_enough
from solarvent.findings.verdicts import find
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation, simulate
from solarvent.studies.size_designs import TRADE_WATTS, Design, base_fan, designs, own_designs, plate_watts, usual_watts
from solarvent.studies.size_fans import PlaceLight
from solarvent.studies.size_option import SizedDesign, Sizing, SizingTarget, judge, read_target, usual
from solarvent.studies.size_work import Evaluator
from solarvent.weather.conditions import plan_weather

MANY = 200
"""Designs from which on processes share the work; where each has to import the package, that takes as long as 60."""


def assumptions(plan: Plan, tried: Sequence[Design], system: str, own_plan: bool) -> Iterator[str]:
    """Say how the designs differ from the plan, and what of it they keep; of an example's plan no fans are missed."""
    record = plan.record
    if any(design.own is None for design in tried):
        if own_plan and (left := list(_left_out(record))):
            yield f"Assumed: alike fans side by side on one panel. Left out are {', '.join(left)} of the plan."
    else:
        text = f"The plan's own fans and wiring: {', '.join(fan.id for fan in record.fan)}"
        if (panels := len(record.panel)) > 1:
            text += f" on {panels} panels. Watts are those of the first panel; the others keep their ratio to it"
        yield text + "."
        if record.wiring.layout is None:
            yield "The plan names its runs, so no converters are tried but those that it has."
    if record.battery is not None:
        if record.storage is None:
            yield "The plan's battery has no capacity, so it is not counted: the fans are sized straight on the sun."
        else:
            yield (
                f"On the plan's battery, {record.storage.capacity:g} Wh, which the panel charges; it is full at the"
                " beginning."
            )
    if (line := record.thermostat) is not None:
        closes, opens = (show(value, "temperature", system) for value in (line.closes_at, line.opens_at))
        yield (
            f"The plan's thermostat is in the line of every design: it closes at {closes} inside and opens under"
            f" {opens}. Hours, air, energy and verdict are those with it, by a heat balance of the house for each"
            " design. From when to when the fans turn is worked out for the hottest month alone."
        )


def _left_out(record: Any) -> Iterator[str]:
    """What of a plan alike fans on one panel do not have."""
    kinds = {(fan.part, fan.name, fan.rated_voltage, fan.rated_current) for fan in record.fan}
    if len(kinds) > 1:
        yield f"{len(record.fan)} fans of {len(kinds)} kinds"
    if len(record.panel) > 1:
        yield f"{len(record.panel)} panels"
    if record.wiring.layout is None:
        yield "wiring of its own (runs)"
    elif record.wiring.layout != "shared":
        yield f'the layout "{record.wiring.layout}"'


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
    workers: int = 1,
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
    workers : int
        Processes that share the work where designs are many. A script that asks for more than one has to stand under
        ``if __name__ == "__main__":``, for each of them reads it.

    Returns
    -------
    Sizing
        ``.options``, each with its verdict, and ``.choice``.

    Raises
    ------
    DomainError
        If both `fans` and `panel` are given, or one of them is no such number.
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
    require_kind(plan, Plan)
    if fans is not None and panel is not None:
        raise DomainError.single("fans, panel", "both are given", "give fans, or a panel to find them for")
    if fans is not None and not (isinstance(fans, int) and fans >= 1):
        raise DomainError.single("fans", f"{fans!r} is no number of fans", "give a whole number from 1")
    if panel is not None and not (isinstance(panel, int | float) and panel > 0):
        raise DomainError.single("panel", f"{panel!r} is no panel", "give its watts, like 20")
    for name in wires:
        plan.wire(name)
    if own_plan and fans is None and panel is None and fan is None:
        tried = own_designs(plan, sorted(set(watts)) or usual_watts(plan.record.panel[0]), wires, tilts, azimuths)
    else:
        counts = list(range(1, _MOST_FANS + 1)) if fans is None else [fans]
        sizes = [panel] if panel is not None else sorted(set(watts)) or list(TRADE_WATTS)
        tried = designs(plan, base_fan(plan, fan, own_plan), counts, sizes, wires, tilts, azimuths)
    return size(
        plan, tried, target, enough, system or plan.record.units, panel is not None, progress, own_plan, workers=workers
    )


def size(
    plan: Plan,
    tried: Sequence[Design],
    target: str | None = None,
    enough: float = ENOUGH,
    system: str = "metric",
    more_fans: bool = False,
    progress: Callable[[Iterable[Design]], Iterable[Design]] = iter,
    own_plan: bool = True,
    known: tuple[Simulation, Sequence[Finding]] | None = None,
    workers: int = 1,
    light: PlaceLight | None = None,
) -> Sizing:
    """Work out what every design does, and choose.

    Parameters
    ----------
    plan : Plan
        Place, weather, house, thermostat, hours of need, and the panels whose curves are scaled.
    tried : sequence of Design
        From :func:`solarvent.studies.size_designs.designs` or :func:`solarvent.studies.size_designs.own_designs`.
    target : str, optional
        As for :func:`solarvent.studies.size_option.read_target`; by default the plan's.
    enough : float
        Share of the needed hours in which it should be met. [-]
    system : {"metric", "us"}
        Units in the texts.
    more_fans : bool
        Choose the option with most fans, rather than the smallest panel.
    progress : callable
        Wraps the designs, to show a bar.
    own_plan : bool
        The plan is a person's own, so it is said what of it is left out.
    known : tuple of Simulation and sequence of Finding, optional
        Run of the plan and what is found of it, by which a design that is the plan itself is judged; worked out where
        they are wanted.
    workers : int
        Processes that share the work where designs are many.
    light : PlaceLight, optional
        That on the panels of every design, where it is known already.

    Returns
    -------
    Sizing
        The verdict on each design hangs on it and on the target alone, never on the others.
    """
    evaluator = Evaluator(plan, plan_weather(plan), tried, system, light)
    # Step by step as the designs have it: New Year may come at another hour by the clock of the weather.
    asked = read_target(target, plan, evaluator.place(tried[0]).year.weather, system)
    results = _options(evaluator, asked, progress, workers)
    if any(design.as_planned for design in tried):
        if known is None:
            run = simulate(plan)
            known = run, find(run, system)
        results = [as_it_runs(one, *known, target is None) if one.design.as_planned else one for one in results]
    judged = [_judged(result, enough, plan) for result in results]
    judged = [replace(option, pareto=_is_best(option, judged)) for option in judged]
    choice = _chosen(judged, enough, more_fans)
    meets = choice is not None and is_enough(judged[choice].share_at_target, enough) and _lasts(judged[choice])
    notes = list(assumptions(plan, tried, system, own_plan))
    if asked.flow is not None and not any(is_enough(option.share_at_target, enough) for option in _safe(judged)):
        notes.append(_out_of_reach(asked, asked.flow[evaluator.place(tried[0]).need], enough, judged, system))
    return Sizing(tuple(judged), choice, meets, asked, enough, evaluator.month, tuple(notes))


def _options(
    evaluator: Evaluator,
    target: SizingTarget,
    progress: Callable[[Iterable[Design]], Iterable[Design]],
    workers: int,
) -> list[SizedDesign]:
    """What every design does, in the order in which they are tried."""
    tried, groups = evaluator.tried, evaluator.groups
    # The light of the first place, mostly the only one, goes to all processes.
    evaluator.place(tried[0])
    work = partial(evaluator.options, target)
    every = chain.from_iterable(spread(work, groups, workers if len(tried) >= MANY else 1))
    order = [number for group in groups for number in group]
    options = {}
    for number, _ in zip(order, progress([tried[number] for number in order]), strict=True):
        # A process gives back a copy of the design.
        options[number] = replace(next(every), design=tried[number])
    return [options[number] for number in range(len(tried))]


def as_it_runs(option: SizedDesign, run: Simulation, findings: Sequence[Finding], own_target: bool) -> SizedDesign:
    """Give the design that is the plan itself what is found of a run, its air, and how often that is enough."""
    supply = air_supply(run)
    option = replace(option, findings=tuple(findings), mean_flow=supply.flow)
    if not own_target or np.isnan(supply.share):
        return option
    return replace(option, hours_at_target=supply.share * option.hours_wanting)


def _out_of_reach(
    target: SizingTarget, wanted: np.ndarray, enough: float, results: Sequence[SizedDesign], system: str
) -> str:
    """Say that no safe design reaches the target often enough, what the choice goes by, and how many fans it takes."""
    words = f"No safe option reaches the target ({target.words}) often enough."
    safe = _safe(results)
    best = max(safe, key=lambda option: option.mean_flow / option.design.fans, default=None)
    if best is None or not best.mean_flow > 0:
        return words
    most = show(max(option.mean_flow for option in safe), "flow", system)
    words += f" They move {most} at the most"
    # The flow that is enough in that share of the hours; what fans move grows with their number.
    often = float(np.quantile(wanted, enough))
    if not np.isnan(often):
        words += f"; it would take about {int(np.ceil(often * best.design.fans / best.mean_flow))} such fans"
    if any(is_enough(option.share_at_speed, enough) for option in safe):
        words += f". The choice is the smallest with which {usual().words} in {enough:.0%} of the needed hours"
    return f"{words}."


def _safe(results: Sequence[SizedDesign]) -> list[SizedDesign]:
    """The options without a stop."""
    return [option for option in results if all(finding.level != "stop" for finding in option.findings)]


def _judged(option: SizedDesign, enough: float, plan: Plan) -> SizedDesign:
    verdict, reason, limit = judge(option, enough)
    return replace(option, verdict=verdict, reason=reason, limit=limit, cost=_cost(option.design, plan))


def _cost(design: Design, plan: Plan) -> float:
    """Price of a design's panels, fans and converters; NaN if one is not given."""
    entries = plan.library.entries("panels")
    panels = plan.record.panel[:1] if design.own is None else design.own.record.panel
    prices: list[Any] = [fan.price for fan in design.every_fan]
    for panel, watts in zip(panels, design.every_watts, strict=True):
        price = entries.get(f"panel-{watts:g}w", {}).get("price")
        if price is None and panel.price is not None:
            price = panel.price * watts / plate_watts(panel)
        prices.append(price)
    if design.own is not None:
        prices += [part.price for part in design.own.record.converter]
    if design.converter_part:
        alone = design.own is not None and design.own.record.wiring.layout == "one-each"
        price = plan.library.get("converters", design.converter_part).get("price")
        prices += [price] * (design.fans if alone else 1)
    return float("nan") if None in prices else float(sum(prices))


def _is_best(option: SizedDesign, others: Sequence[SizedDesign]) -> bool:
    """No other option without a stop is at least as good in watts, simplicity and hours, and better in one."""
    if option.verdict == "stop":
        return False

    def figures(one: SizedDesign) -> tuple[float, float, float]:
        cost = one.design.panel_watts if np.isnan(one.cost) else one.cost
        return cost, float(one.design.converter_part is not None), -one.hours_at_target

    mine = figures(option)
    rivals = [figures(one) for one in others if one.verdict != "stop" and one.design.fans == option.design.fans]
    return not any(theirs != mine and all(a <= b for a, b in zip(theirs, mine, strict=True)) for theirs in rivals)


def _lasts(option: SizedDesign) -> bool:
    """Whether its battery, if it has one, does not run flat too often."""
    return all(finding.code != "battery-runs-flat" for finding in option.findings)


def _chosen(options: Sequence[SizedDesign], enough: float, more_fans: bool) -> int | None:
    """The smallest option that meets the target, or else the one that comes nearest; the plainer one of equals.

    Where none meets it, the smallest on which the fans give most of their air comes nearest: more panel is no help.
    """
    safe = [k for k, option in enumerate(options) if option.verdict != "stop"]
    meeting = [k for k in safe if is_enough(options[k].share_at_target, enough) and _lasts(options[k])] or [
        k for k in safe if is_enough(options[k].share_at_speed, enough) and _lasts(options[k])
    ]
    if not safe:
        return None

    def key(k: int) -> tuple[float, ...]:
        option = options[k]
        cost = option.design.panel_watts if np.isnan(option.cost) else option.cost
        warns = sum(finding.level == "warn" for finding in option.findings)
        plain = float(option.design.converter_part is not None)
        fans = -option.design.fans if more_fans else 0
        return fans, cost, plain, warns, -option.hours_at_target

    if meeting:
        return min(meeting, key=key)
    # Where the target is out of reach for all of them, the air that they move tells which comes nearest.
    reached = [options[k].hours_at_target for k in safe]
    merit = reached if max(reached) > 0 else [options[k].mean_flow for k in safe]
    # Two parts in a hundred are not worth a larger panel.
    return min((k for k, value in zip(safe, merit, strict=True) if value >= 0.98 * max(merit)), key=key)
