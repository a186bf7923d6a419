"""The same plan with smaller and larger panels: what other watts would change, all else left as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from solarvent.electrical.start_light import Thresholds, start_and_run_down_by_size
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import WorstCase, coldest_air, worst_cases
from solarvent.studies.size_designs import TRADE_WATTS, plate_watts
from solarvent.weather.span import hours_of_need

#: For several panels, whose sizes change together.
_FACTORS = (0.5, 0.75, 1.0, 1.5, 2.0)
#: What is said of a panel that starts all fans often, and hurts none.
ALL_TURN = "all turn"
#: Share of the needed hours in which the fans should at least be able to start (an assumption). [-]
_OFTEN = 0.5


@dataclass(frozen=True)
class PanelChoice:
    """The plan with panels of other watts [W], all together; `planned` are the plan's own.

    All fans turn from `start_irradiance` on and keep turning down to `run_down_irradiance` [W/m2], NaN if never;
    `start_share` is the share of the needed hours whose brightest light would start them all. `fan` comes nearest to
    its limit [V], or passes it furthest, in the coldest bright hour.
    """

    watts: float
    planned: bool
    start_irradiance: float
    run_down_irradiance: float
    start_share: float
    fan: str
    voltage: float
    limit: float

    @property
    def verdict(self) -> str:
        """Say whether all fans turn without too much voltage; whether the air is enough, the verdict of a plan says."""
        if self.voltage > self.limit:
            return "too much voltage"
        if np.isnan(self.start_irradiance):
            return "not all start"
        return "starts too rarely" if self.start_share < _OFTEN else ALL_TURN


def panel_choices(run: Simulation) -> tuple[PanelChoice, ...]:
    """Try the sizes of the trade in place of the plan's panels; voltages stay, currents follow the watts.

    By rising watts, the plan's own among them; none if a panel's watts are not known.
    """
    if any(panel.watts is None and panel.v_mp is None for panel in run.plan.record.panel):
        return ()
    own = sum(plate_watts(panel) for panel in run.plan.record.panel)
    if len(run.plan.record.panel) > 1:
        tried = [own * factor for factor in _FACTORS]
    else:
        tried = sorted({*(size for size in TRADE_WATTS if abs(size / own - 1) > 0.03), own})
    sizes = [size / own for size in tried]
    limits = start_and_run_down_by_size(run.circuits, sizes)
    altitude = run.plan.record.place.altitude
    worst = worst_cases(run.circuits, coldest_air(run.plan, run.conditions.weather), sizes, altitude)
    return tuple(
        _choice(run, watts, watts == own, starts, highest)
        for watts, starts, highest in zip(tried, limits, worst, strict=True)
    )


def _choice(
    run: Simulation, watts: float, planned: bool, limits: Mapping[str, Thresholds], worst: WorstCase
) -> PanelChoice:
    bears = {fan.id: fan.maximum_voltage for fan in run.plan.record.fan}
    tightest = max(worst.turning, key=lambda name: worst.turning[name] / bears[name])
    return PanelChoice(
        watts=watts,
        planned=planned,
        # A maximum with NaN in it is NaN: one fan that never starts is enough.
        start_irradiance=float(np.max([limit.start_irradiance for limit in limits.values()])),
        run_down_irradiance=float(np.max([limit.run_down_irradiance for limit in limits.values()])),
        start_share=_start_share(run, limits),
        fan=tightest,
        voltage=worst.turning[tightest],
        limit=bears[tightest],
    )


def _start_share(run: Simulation, limits: Mapping[str, Thresholds]) -> float:
    """Share of the needed hours whose brightest light starts every fan; NaN if there is no such hour."""
    need = hours_of_need(run.plan, run.conditions.times)
    reached = np.ones(len(need), dtype=bool)
    for circuit in run.circuits:
        brightest = run.conditions.brightest_on(circuit.panel_ids)
        for name in circuit.fan_ids:
            reached &= brightest >= np.nan_to_num(limits[name].start_irradiance, nan=np.inf)
    return float(reached[need].mean()) if need.any() else float("nan")
