"""Sizing: which panel for how many fans, or how many fans on a panel, and how to meet the fans' voltage."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from solarvent.base.quantities import show
from solarvent.findings.air import ENOUGH, is_enough
from solarvent.plan.plan import Plan
from solarvent.studies.size_assumed import assumptions
from solarvent.studies.size_designs import Design, plate_watts
from solarvent.studies.size_option import SizedDesign, Sizing
from solarvent.studies.size_target import SizingTarget, read_target, usual
from solarvent.studies.size_verdict import judge
from solarvent.studies.size_work import Evaluator, option_of
from solarvent.weather.conditions import plan_weather


def size(
    plan: Plan,
    tried: Sequence[Design],
    target: str | None = None,
    enough: float = ENOUGH,
    system: str = "metric",
    more_fans: bool = False,
    progress: Callable[[Iterable[Design]], Iterable[Design]] = iter,
    own_plan: bool = True,
) -> Sizing:
    """Work out what every design does, and choose.

    Parameters
    ----------
    plan : Plan
        Place, weather, house, thermostat, hours of need, and the panels whose curves are scaled.
    tried : sequence of Design
        From :func:`solarvent.studies.size_designs.designs` or :func:`solarvent.studies.size_designs.own_designs`.
    target : str, optional
        As for :func:`solarvent.studies.size_target.read_target`; by default the plan's.
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

    Returns
    -------
    Sizing
    """
    weather = plan_weather(plan)
    evaluator, asked = Evaluator(plan, weather, tried, system), read_target(target, plan, weather, system)
    worked = [evaluator.evaluate(design) for design in progress(tried)]
    results = [option_of(one, asked, evaluator.month) for one in worked]
    notes = list(assumptions(plan, tried, system, own_plan))
    reach = max(result.share_at_target for result in _safe(results) or results)
    if target is None and asked.flow is not None and reach < enough / 2:
        notes.append(
            f"The plan asks for {asked.words}. No safe option lets these fans move that much air often enough, so the"
            " designs are held against the fans' own speed instead; more or stronger fans are wanted for the rest."
        )
        asked = usual()
        results = [option_of(one, asked, evaluator.month) for one in worked]
    if asked.flow is not None and max(result.hours_at_target for result in results) == 0:
        notes.append(_out_of_reach(asked, results, system))
    judged = [_judged(result, enough, plan) for result in results]
    judged = [replace(option, pareto=_is_best(option, judged)) for option in judged]
    choice = _chosen(judged, enough, more_fans)
    meets = choice is not None and is_enough(judged[choice].share_at_target, enough)
    return Sizing(tuple(judged), choice, meets, asked, enough, evaluator.month, tuple(notes))


def _out_of_reach(target: SizingTarget, results: Sequence[SizedDesign], system: str) -> str:
    """Say how many fans the target would take."""
    assert target.flow is not None
    words = f"No option ever reaches the target ({target.words})."
    safe = _safe(results)
    best = max(safe, key=lambda option: option.mean_flow / option.design.fans, default=None)
    if best is None or best.mean_flow <= 0:
        return words
    most = max(option.mean_flow for option in safe)
    fans = int(np.ceil(float(target.flow.max()) * best.design.fans / best.mean_flow))
    return f"{words} They move {show(most, 'flow', system)} at the most; it would take about {fans} such fans."


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


def _chosen(options: Sequence[SizedDesign], enough: float, more_fans: bool) -> int | None:
    """The smallest option that meets the target, or else the one that comes nearest; the plainer one of equals."""
    safe = [k for k, option in enumerate(options) if option.verdict != "stop"]
    meeting = [k for k in safe if is_enough(options[k].share_at_target, enough)]
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
