"""Sizing: which panel for how many fans, or how many fans on a panel, and how to meet the fans' voltage."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.quantities import show
from solarvent.inputs.harness import build_harness
from solarvent.inputs.loading import LoadedPlan
from solarvent.inputs.network import circuits
from solarvent.planning.bands import HIGH, TYPICAL
from solarvent.planning.conditions import plan_weather
from solarvent.planning.converter_checks import heat_and_voltage_findings
from solarvent.planning.findings import Finding, sort_findings
from solarvent.planning.simulate import fan_electrical
from solarvent.planning.size_designs import REFERENCE_WATTS, Design, plan_of, plate_watts
from solarvent.planning.size_grid import Load, course, in_line
from solarvent.planning.size_light import PlaceLight, all_start_and_keep
from solarvent.planning.size_option import Option, Sizing
from solarvent.planning.size_target import Target, read_target, usual
from solarvent.planning.size_verdict import fan_findings, judge
from solarvent.planning.size_worst import WorstPoints
from solarvent.planning.sky_day import hottest_month
from solarvent.planning.ventilation import fan_speed, ventilate
from solarvent.planning.worst_case import RECORD_MARGIN, WorstCase

if TYPE_CHECKING:
    import pandas as pd

ENOUGH = 0.75
"""Share of the needed hours in which the target should be met (an assumption of this program, no source)."""
_AIR_POINTS = 25


def size(
    loaded: LoadedPlan,
    tried: Sequence[Design],
    target: str | None = None,
    enough: float = ENOUGH,
    system: str = "metric",
    more_fans: bool = False,
    progress: Callable[[Iterable[Design]], Iterable[Design]] = iter,
) -> Sizing:
    """Work out what every design does, and choose.

    Parameters
    ----------
    loaded : LoadedPlan
        Place, weather, house, hours of need, and the panel whose curve is scaled.
    tried : sequence of Design
        From :func:`solarvent.planning.size_designs.designs`.
    target : str, optional
        As for :func:`solarvent.planning.size_target.read_target`; by default the plan's.
    enough : float
        Share of the needed hours in which it should be met. [-]
    system : {"metric", "us"}
        Units in the texts.
    more_fans : bool
        Choose the option with most fans, rather than the smallest panel.
    progress : callable
        Wraps the designs, to show a bar.

    Returns
    -------
    Sizing
    """
    weather = plan_weather(loaded)
    span = _Span(loaded, weather, read_target(target, loaded, weather, system))
    worked = [span.work(design, system) for design in progress(tried)]
    results = [span.option(one) for one in worked]
    notes = []
    asked = span.target
    if target is None and asked.flow is not None and max(result.share_at_target for result in results) < enough / 2:
        notes.append(
            f"The plan asks for {asked.words}. No panel lets these fans move that much air, so the designs are held"
            " against the fans' own speed instead; more or stronger fans are wanted for the rest."
        )
        span.target = usual()
        results = [span.option(one) for one in worked]
    if span.target.flow is not None and max(result.hours_at_target for result in results) == 0:
        notes.append(_out_of_reach(span.target, results, system))
    judged = [_judged(result, enough, loaded) for result in results]
    judged = [replace(option, pareto=_is_best(option, judged)) for option in judged]
    choice = _chosen(judged, enough, more_fans)
    meets = choice is not None and judged[choice].share_at_target >= enough
    return Sizing(tuple(judged), choice, meets, span.target, enough, span.month, tuple(notes))


def _out_of_reach(target: Target, results: Sequence[Option], system: str) -> str:
    """Say how many fans the target would take."""
    assert target.flow is not None
    words = f"No option ever reaches the target ({target.words})."
    safe = [option for option in results if all(finding.level != "stop" for finding in option.findings)]
    best = max(safe, key=lambda option: option.mean_flow / option.design.fans, default=None)
    if best is None or best.mean_flow <= 0:
        return words
    most = max(option.mean_flow for option in safe)
    fans = int(np.ceil(float(target.flow.max()) * best.design.fans / best.mean_flow))
    return f"{words} They move {show(most, 'flow', system)} at the most; it would take about {fans} such fans."


def _judged(option: Option, enough: float, loaded: LoadedPlan) -> Option:
    verdict, reason, limit = judge(option, enough)
    return replace(option, verdict=verdict, reason=reason, limit=limit, cost=_cost(option.design, loaded))


def _cost(design: Design, loaded: LoadedPlan) -> float:
    """Price of a design's parts; NaN if one is not given."""
    panels = loaded.library.entries("panels")
    entry = panels.get(f"panel-{design.panel_watts:g}w", {}).get("price")
    if entry is None and (own := loaded.plan.panel[0]).price is not None:
        entry = own.price * design.panel_watts / plate_watts(own)
    prices = [entry, *[design.fan.price] * design.fans]
    if design.converter_part:
        prices.append(loaded.library.get("converters", design.converter_part).get("price"))
    return float("nan") if None in prices else float(sum(prices))


def _is_best(option: Option, others: Sequence[Option]) -> bool:
    """No other option without a stop is at least as good in watts, simplicity and hours, and better in one."""
    if option.verdict == "stop":
        return False

    def figures(one: Option) -> tuple[float, float, float]:
        cost = one.design.panel_watts if np.isnan(one.cost) else one.cost
        return cost, float(one.design.converter_part is not None), -one.hours_at_target

    mine = figures(option)
    rivals = [figures(one) for one in others if one.verdict != "stop" and one.design.fans == option.design.fans]
    return not any(theirs != mine and all(a <= b for a, b in zip(theirs, mine, strict=True)) for theirs in rivals)


def _chosen(options: Sequence[Option], enough: float, more_fans: bool) -> int | None:
    """The smallest option that meets the target, or else the one that comes nearest; the plainer one of equals."""
    safe = [k for k, option in enumerate(options) if option.verdict != "stop"]
    meeting = [k for k in safe if options[k].share_at_target >= enough]
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


class _Span:
    """The months of need and the named skies, with the light on the panel for each place that a design gives it."""

    def __init__(self, loaded: LoadedPlan, weather: pd.DataFrame, target: Target) -> None:
        self.loaded, self.weather, self.target = loaded, weather, target
        self.month = hottest_month(loaded, weather)
        record = loaded.plan.place.record_low
        self.cold = float(weather["temp_air"].min()) - RECORD_MARGIN if record is None else record
        self._places: dict[tuple[float, float], PlaceLight] = {}
        self._loads: dict[Any, _Wired] = {}
        self._air: dict[Any, tuple[np.ndarray, np.ndarray]] = {}

    def work(self, design: Design, system: str) -> _Worked:
        """Work one design out."""
        place = (design.tilt, design.azimuth)
        if place not in self._places:
            reference = replace(design, panel_watts=REFERENCE_WATTS)
            self._places[place] = PlaceLight(plan_of(reference, self.loaded), self.weather)
        light = self._places[place]
        key = (design.fans, design.fan.model_dump_json(), design.converter_part, design.wire)
        if key not in self._loads:
            self._loads[key] = _Wired(plan_of(design, self.loaded), light.open_circuit)
        wired = self._loads[key]
        load, planned = wired.load, wired.planned
        size_share = design.panel_watts / REFERENCE_WATTS
        done = course(load, light.light, size_share)
        worst = wired.worst.at(light.light.reference, self.loaded.plan.panel[0], size_share, self.cold)
        start, stop = all_start_and_keep(load, light, size_share)
        turning, voltage = done.turning[0], done.voltage[0]
        flow = self._flow(key, planned, turning, voltage)
        findings = [
            *fan_findings(planned, worst, start, system),
            *heat_and_voltage_findings(wired.harness, worst),
        ]
        return _Worked(design, light, turning, voltage, flow, worst, (start, stop), tuple(sort_findings(findings)))

    def option(self, done: _Worked) -> Option:
        """Hold a design against the target."""
        light, every = done.light, np.ones(len(done.turning))
        needed = light.needed_hours(every)
        return Option(
            design=done.design,
            **light.days(done.turning > 0, self.month),
            hours_needed=needed,
            hours_at_target=light.needed_hours(self._met(done)),
            hours_running=light.needed_hours(done.turning > 0),
            mean_flow=light.needed_hours(done.flow) / needed if needed else float("nan"),
            fan_voltage_max=max(done.worst.turning.values()),
            fan_voltage_limit=done.design.fan.maximum_voltage,
            start_irradiance=done.thresholds[0],
            run_down_irradiance=done.thresholds[1],
            findings=done.findings,
        )

    def _flow(self, key: Any, planned: LoadedPlan, turning: np.ndarray, voltage: np.ndarray) -> np.ndarray:
        """Fresh air at every moment, in calm air. [m3/s]"""
        import pandas as pd

        flow = np.zeros(len(turning))
        fan = planned.plan.fan[0]
        volts = np.linspace(fan.run_down_voltage * 0.8, 1.6 * fan.rated_voltage, _AIR_POINTS)
        for count in np.unique(turning[turning > 0]):
            if (key[:2], count) not in self._air:
                calm = pd.DataFrame({"wind_speed": np.zeros(len(volts)), "wind_direction": 0.0})
                runs = np.repeat(np.arange(len(planned.plan.fan)) < count, len(volts)).reshape(-1, len(volts))
                by_fan = {str(one.id): volts for one in planned.plan.fan}
                air = ventilate(planned, calm, by_fan, runs, TYPICAL)
                self._air[key[:2], count] = volts, air.flow
            here = turning == count
            flow[here] = np.interp(voltage[here], *self._air[key[:2], count])
        return flow

    def _met(self, done: _Worked) -> np.ndarray:
        """Whether the target is met, at every moment of the year."""
        fan, light = done.design.fan, done.light
        if self.target.flow is None:
            speed = fan_speed(fan, done.voltage)
            return (done.turning == done.design.fans) & (speed >= self.target.speed)
        wanted = np.full(len(done.turning), np.inf)
        wanted[: light.year_moments] = self.target.flow[light.year.spells.moment_step[light.kept]]
        return done.flow >= wanted * (1 - 1e-9)


@dataclass(frozen=True, eq=False)
class _Worked:
    """A design and what it does, before it is held against a target."""

    design: Design
    light: PlaceLight
    turning: np.ndarray
    voltage: np.ndarray
    flow: np.ndarray
    worst: WorstCase
    thresholds: tuple[float, float]
    findings: tuple[Finding, ...]


class _Wired:
    """The load of some designs, for panels of any size."""

    def __init__(self, planned: LoadedPlan, highest: float) -> None:
        self.planned, self.harness = planned, build_harness(planned)
        (circuit,) = circuits(self.harness, planned)
        branch = in_line(circuit.source, circuit.load)
        assert branch is not None  # one panel, whatever lies in line with it
        typical, strong = (
            {str(fan.id): fan_electrical(fan, band) for fan in planned.plan.fan} for band in (TYPICAL, HIGH)
        )
        self.load, self.worst = Load(branch, typical, highest), WorstPoints(branch, strong, highest)
