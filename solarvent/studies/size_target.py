"""What a sizing is held against: a flow, air changes, a rise in temperature, a rule of the trade, or speed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air.ventilation import geometry, volume
from solarvent.base.errors import PlanError, QuantityError
from solarvent.base.quantities import parse, show
from solarvent.house import ventilation_rates as rates
from solarvent.house.air_need import wanted_flow
from solarvent.plan.plan import Plan

if TYPE_CHECKING:
    import pandas as pd

USUAL_SPEED = 2 / 3
"""Share of its rated air that a fan should give, where nothing better is asked for or can be had."""
_WRITE = 'like "250 cfm", "120 m3/h", "20 ach", "6 K", "70 % speed", "volume" (one a minute) or "floor" (8 cfm/ft2)'


@dataclass(frozen=True, eq=False)
class SizingTarget:
    """What would be enough: fresh air at every step [m3/s], shape (steps,), or else a share of the fans' rated air.

    The flow is None if the share, which every fan should give, is the target.
    """

    words: str
    flow: np.ndarray | None
    speed: float = USUAL_SPEED


def read_target(text: str | None, plan: Plan, weather: pd.DataFrame, system: str) -> SizingTarget:
    """Read what would be enough; None for the plan's own target. PlanError if the text is no target.

    The text is a flow, air changes ("20 ach"), a rise ("6 K"), "volume", "floor", or a share of the fans' speed. The
    weather has ghi [W/m2], one row a step.
    """
    steps = len(weather)
    own = plan.record.target
    if text is None:
        if own.flow is not None:
            return _constant(own.flow, show(own.flow, "flow", system), steps)
        if own.air_changes is not None:
            return _by_changes(own.air_changes, plan, steps)
        return _by_rise(own.rise, plan, weather, system)
    word = text.strip().lower()
    if word == "volume":
        wanted = float(rates.flow_by_volume(volume(plan)))
        return _constant(wanted, f"one volume a minute, {show(wanted, 'flow', system)}", steps)
    if word == "floor":
        wanted = float(rates.flow_by_floor(geometry(plan).floor_area))
        return _constant(wanted, f"8 cfm for each ft2 of floor, {show(wanted, 'flow', system)}", steps)
    if found := re.fullmatch(r"([0-9.]+) ?% ?(?:of )?speed", word):
        return usual(float(found.group(1)) / 100)
    if found := re.fullmatch(r"([0-9.]+) ?(?:ach|1/h|air changes)", word):
        return _by_changes(float(found.group(1)), plan, steps)
    for dimension in ("flow", "temperature difference"):
        try:
            value = parse(text, dimension)
        except QuantityError:
            continue
        if value <= 0:
            break
        if dimension == "flow":
            return _constant(value, show(value, "flow", system), steps)
        return _by_rise(value, plan, weather, system)
    raise PlanError.single("--target", f'"{text[:40]}" is no target', _WRITE)


def usual(speed: float = USUAL_SPEED) -> SizingTarget:
    """The fans' own speed as the target."""
    if not 0 < speed <= 1:
        raise PlanError.single("--target", f"{speed:.0%} of the speed is no target", _WRITE)
    return SizingTarget(f"every fan gives {speed:.0%} of its rated air", None, speed)


def _constant(flow: float, words: str, steps: int) -> SizingTarget:
    return SizingTarget(words, np.full(steps, flow))


def _by_changes(changes: float, plan: Plan, steps: int) -> SizingTarget:
    return _constant(changes * volume(plan) / 3600.0, f"{changes:g} air changes an hour", steps)


def _by_rise(rise: float, plan: Plan, weather: pd.DataFrame, system: str) -> SizingTarget:
    """The flow of the steady heat balance for the sun of each step."""
    record = plan.record.model_copy(
        update={"target": plan.record.target.model_copy(update={"rise": rise, "flow": None, "air_changes": None})}
    )
    asked = Plan(record, plan.library, plan.path)
    wanted = wanted_flow(asked, weather["ghi"].to_numpy())
    return SizingTarget(f"no more than {show(rise, 'temperature difference', system)} above outside", wanted)
