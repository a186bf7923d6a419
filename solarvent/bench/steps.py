"""The wiring checklist of a plan: what to do in which order, what the meter should show, and what it means if not."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from solarvent.base.sentences import listed
from solarvent.bench.joining import far_ends, first_sun, joints
from solarvent.bench.mounting import on_the_wall, seasons
from solarvent.bench.parts_alone import labels, on_the_bench, panels_alone
from solarvent.bench.preparation import Bench, Step, prepare
from solarvent.bench.shopping import Item, shopping
from solarvent.bench.wiring_rows import WiringRow, wiring_rows
from solarvent.plan.plan import Plan

_PARTS = (labels, on_the_bench, panels_alone, far_ends, joints, first_sun, on_the_wall, seasons)


@dataclass(frozen=True, eq=False)
class Checklist:
    """What is needed on the bench, each part of it worked out when it is asked for."""

    bench: Bench

    @cached_property
    def steps(self) -> list[Step]:
        """What to do, in that order."""
        return [step for part in _PARTS for step in part(self.bench)]

    @cached_property
    def stops(self) -> list[str]:
        """What must not be built as the plan has it; empty if nothing speaks against building it."""
        return stops(self.bench)

    @cached_property
    def shopping(self) -> list[Item]:
        """What to have at hand."""
        return shopping(self.bench)

    @cached_property
    def wiring(self) -> list[WiringRow]:
        """The wiring from the panels down to the fans, row by row."""
        return wiring_rows(self.bench)


def checklist(
    plan: Plan, irradiance: float | None = None, temp_cell: float | None = None, system: str | None = None
) -> Checklist:
    """Write the steps and the shopping list for building a plan.

    Parameters
    ----------
    irradiance, temp_cell : float, optional
        For which the figures hold; by default a clear noon. [W/m2], [degC]
    system : {"metric", "us"}, optional
        Units of lengths; by default the plan's.

    Returns
    -------
    Checklist
        ``.steps``, ``.shopping``, ``.stops``, ``.wiring``.

    Examples
    --------
    >>> from solarvent import load_plan
    >>> steps = checklist(load_plan()).steps
    >>> steps[0].phase
    'before opening the box'
    """
    return Checklist(prepare(plan, irradiance, temp_cell, system))


def stops(bench: Bench) -> list[str]:
    """Say what must not be built as the plan has it: wrong poles, and more voltage in this light than a fan stands."""
    limits = {fan.id: fan.maximum_voltage for fan in bench.plan.record.fan}
    too_much: dict[str, list[str]] = {}
    for typical in bench.bands["typical"]:
        for fan in typical.turning.fans:
            if fan.voltage > limits[fan.id]:
                text = f"{fan.voltage:.1f} V in {bench.irradiance:.0f} W/m2; the limit is {limits[fan.id]:g} V"
                too_much.setdefault(text, []).append(fan.id)
    return [
        *bench.wrong_poles,
        *(
            f"Do not build it so: {listed(names)} would get {text}. Change the plan first; solarvent run says how."
            for text, names in too_much.items()
        ),
    ]
