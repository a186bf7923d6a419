"""The same plan with smaller and larger panels: what other watts would change, all else left as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from solarvent.electrical.bands import HIGH, TYPICAL, Band
from solarvent.electrical.circuit_parts import THRESHOLD_AIR, fan_electrical
from solarvent.electrical.operation import HIGHEST_IRRADIANCE, Thresholds, operate, point
from solarvent.electrical.panel_model import panel_parameters
from solarvent.plan.parts import Panel
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.worst_case import BRIGHT, CLEAR, EDGE, RECORD_MARGIN
from solarvent.studies.size_designs import TRADE_WATTS, plate_watts, sized_panel
from solarvent.weather.broken_sky import SHADOW_LEVEL
from solarvent.weather.panel_light import cell_temperature
from solarvent.weather.span import hours_of_need
from solarvent.wiring.circuit import Circuit

#: For several panels, whose sizes change together.
_FACTORS = (0.5, 0.75, 1.0, 1.5, 2.0)
#: What is said of a panel that starts all fans often, and hurts none.
ALL_TURN = "all turn"
#: Share of the needed hours in which the fans should at least be able to start (an assumption). [-]
_OFTEN = 0.5
#: Of the sweep for start and run-down; finer than a panel's own spread. [W/m2]
_RESOLUTION = 5.0


@dataclass(frozen=True)
class PanelChoice:
    """The plan with panels of other watts.

    Attributes
    ----------
    watts : float
        Of all panels together. [W]
    planned : bool
        These are the plan's own.
    start_irradiance, run_down_irradiance : float
        From which light all fans turn, and down to which all keep turning; NaN if never. [W/m2]
    start_share : float
        Share of the needed hours whose brightest light would start all fans. [-]
    fan : str
        The fan that comes nearest to its limit, or passes it furthest.
    voltage, limit : float
        At that fan in the coldest bright hour, and what it bears. [V]
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

    Parameters
    ----------
    run : Simulation
        The plan with its own panels, for its hours of light.

    Returns
    -------
    tuple of PanelChoice
        By rising watts, the plan's own among them.
        None of them if a panel's watts are not known.
    """
    if any(panel.watts is None and panel.v_mp is None for panel in run.plan.record.panel):
        return ()
    own = sum(plate_watts(panel) for panel in run.plan.record.panel)
    if len(run.plan.record.panel) > 1:
        tried = [own * factor for factor in _FACTORS]
    else:
        tried = sorted({*(size for size in TRADE_WATTS if abs(size / own - 1) > 0.03), own})
    plans = [_resized(run.plan, size / own) for size in tried]
    limits = _swept(plans, run.circuits)
    volts = _highest_volts(run, plans)
    return tuple(_choice(run, *each) for each in zip(tried, plans, limits, volts, strict=True))


def _resized(plan: Plan, factor: float) -> Plan:
    """The plan with all panels larger or smaller by a factor."""
    if abs(factor - 1) < 1e-9:
        return plan
    panels = [sized_panel(panel, plate_watts(panel) * factor) for panel in plan.record.panel]
    return Plan(plan.record.model_copy(update={"panel": panels}), plan.library, plan.path)


def _choice(
    run: Simulation, watts: float, plan: Plan, limits: Mapping[str, Thresholds], turning: Mapping[str, float]
) -> PanelChoice:
    bears = {fan.id: fan.maximum_voltage for fan in plan.record.fan}
    worst = max(turning, key=lambda name: turning[name] / bears[name])
    return PanelChoice(
        watts=watts,
        planned=plan is run.plan,
        # A maximum with NaN in it is NaN: one fan that never starts is enough.
        start_irradiance=float(np.max([limit.start_irradiance for limit in limits.values()])),
        run_down_irradiance=float(np.max([limit.run_down_irradiance for limit in limits.values()])),
        start_share=_start_share(run, limits),
        fan=worst,
        voltage=turning[worst],
        limit=bears[worst],
    )


def _swept(plans: Sequence[Plan], wired: Sequence[Circuit]) -> list[dict[str, Thresholds]]:
    """Start and run-down light of every fan in each plan, cells as warm as the light makes them at 20 degC outside.

    The light rises from darkness and falls back to it for one plan after the other, as if they were days in a row:
    one pass through time serves them all.
    """
    rising = np.arange(0.0, HIGHEST_IRRADIANCE + 0.5 * _RESOLUTION, _RESOLUTION)
    sweep = np.concatenate([rising, rising[::-1]])
    found: list[dict[str, Thresholds]] = [{} for _ in plans]
    for circuit in wired:
        names = set(circuit.fan_ids)
        fans = {fan.id: fan_electrical(fan) for fan in plans[0].record.fan if fan.id in names}
        panels = {
            name: _in_turn(
                name, plans, sweep, lambda panel: cell_temperature(sweep, THRESHOLD_AIR, panel.noct), TYPICAL
            )
            for name in circuit.panel_ids
        }
        done = operate(circuit, panels, fans)
        for fan, running in zip(done.fan_ids, done.running, strict=True):
            for limits, turns in zip(found, running.reshape(len(plans), -1), strict=True):
                up, down = rising[turns[: len(rising)]], rising[turns[: len(rising) - 1 : -1]]
                limits[fan] = Thresholds(*(float(light[0]) if len(light) else np.nan for light in (up, down)))
    return found


def _in_turn(
    name: str, plans: Sequence[Plan], light: np.ndarray, warmth: Callable[[Panel], np.ndarray], band: Band
) -> tuple[np.ndarray, ...]:
    """Single diode of one panel in the same lights for each plan in turn."""
    every = []
    for plan in plans:
        panel = next(panel for panel in plan.record.panel if panel.id == name)
        every.append(np.broadcast_arrays(light, *panel_parameters(panel, light, warmth(panel), band))[1:])
    return tuple(np.concatenate(parts) for parts in zip(*every, strict=True))


def _highest_volts(run: Simulation, plans: Sequence[Plan]) -> list[dict[str, float]]:
    """Voltage at every turning fan in the coldest bright hour, for all plans at once; see ``simulation.worst_case``."""
    cold = _cold(run)
    light, warmth = np.array([(BRIGHT, BRIGHT), (EDGE, SHADOW_LEVEL * CLEAR)]).T
    found: list[dict[str, float]] = [{} for _ in plans]
    for circuit in run.circuits:
        names = set(circuit.fan_ids)
        fans = {fan.id: fan_electrical(fan, HIGH) for fan in run.plan.record.fan if fan.id in names}
        panels = {
            name: _in_turn(name, plans, light, lambda panel: cell_temperature(warmth, cold, panel.noct), HIGH)
            for name in circuit.panel_ids
        }
        reading = point(circuit, panels, fans, dict.fromkeys(names, "turning"))
        for fan, volts in zip(reading.fan_ids, reading.fan_voltage, strict=True):
            for highest, cases in zip(found, volts.reshape(len(plans), -1), strict=True):
                highest[fan] = float(cases.max())
    return found


def _cold(run: Simulation) -> float:
    """Air of the coldest bright hour. [degC]"""
    lowest = run.plan.record.place.record_low
    return lowest if lowest is not None else float(run.conditions.weather["temp_air"].min()) - RECORD_MARGIN


def _start_share(run: Simulation, limits: Mapping[str, Thresholds]) -> float:
    """Share of the needed hours whose brightest light starts every fan; NaN if there is no such hour."""
    need = hours_of_need(run.plan, run.conditions.times)
    reached = np.ones(len(need), dtype=bool)
    for circuit in run.circuits:
        brightest = run.conditions.brightest_on(circuit.panel_ids)
        for name in circuit.fan_ids:
            reached &= brightest >= np.nan_to_num(limits[name].start_irradiance, nan=np.inf)
    return float(reached[need].mean()) if need.any() else float("nan")
