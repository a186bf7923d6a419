"""What a sizing answers: its target, the options, the verdict on each with the reason, and the one chosen."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import inf, isnan
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air.network import geometry, volume
from solarvent.base.errors import PlanError, QuantityError
from solarvent.base.findings import Finding, KeyFigure, Verdict, first_remedy, sort_findings
from solarvent.base.quantities import parse, show
from solarvent.electrical.start_light import Thresholds
from solarvent.findings.air import is_enough
from solarvent.findings.starting import LATE_START, start_finding, starved_by
from solarvent.findings.supply import fan_voltage_findings
from solarvent.findings.verdicts import verdict_level
from solarvent.house import air_need
from solarvent.house.air_need import wanted_flow
from solarvent.plan.plan import Plan
from solarvent.simulation.power_budget import ServedDays
from solarvent.simulation.worst_case import WorstCase
from solarvent.studies.size_designs import Design
from solarvent.wiring.harness import Harness

if TYPE_CHECKING:
    import pandas as pd


USUAL_SPEED = 2 / 3
"""Share of its rated air that a fan should give, where nothing better is asked for or can be had."""
_WRITE = 'like "250 cfm", "120 m3/h", "20 ach", "6 K", "70 % speed", "volume" (one a minute) or "floor" (8 cfm/ft2)'


@dataclass(frozen=True, eq=False)
class SizingTarget:
    """What would be enough: fresh air at every step [m3/s], shape (steps,), or else a share of the fans' rated air.

    The flow is None if the share, which every fan should give, is the target. `short` names it in the row of a table.
    """

    words: str
    short: str
    flow: np.ndarray | None
    speed: float = USUAL_SPEED


def read_target(text: str | None, plan: Plan, weather: pd.DataFrame, system: str) -> SizingTarget:
    """Read what would be enough; None for the plan's own target. PlanError if the text is no target.

    The text is a flow, air changes ("20 ach"), a rise ("6 K"), "volume", "floor", or a share of the fans' speed. The
    weather has ghi [W/m2] and temp_air [degC], one row a step.
    """
    steps = len(weather)
    own = plan.record.target
    if text is None:
        if own.flow is not None:
            return _constant(own.flow, "", steps, system)
        if own.air_changes is not None:
            return _by_changes(own.air_changes, plan, steps)
        return _by_rise(own.rise, plan, weather, system)
    word = text.strip().lower()
    if word == "volume":
        wanted = float(air_need.flow_by_volume(volume(plan)))
        return _constant(wanted, "one volume a minute, ", steps, system)
    if word == "floor":
        wanted = float(air_need.flow_by_floor(geometry(plan).floor_area))
        return _constant(wanted, "8 cfm for each ft2 of floor, ", steps, system)
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
            return _constant(value, "", steps, system)
        return _by_rise(value, plan, weather, system)
    raise PlanError.single("--target", f'"{text[:40]}" is no target', _WRITE)


def usual(speed: float = USUAL_SPEED) -> SizingTarget:
    """The fans' own speed as the target."""
    if not 0 < speed <= 1:
        raise PlanError.single("--target", f"{speed:.0%} of the speed is no target", _WRITE)
    return SizingTarget(f"every fan gives {speed:.0%} of its rated air", f"{speed:.0%} speed", None, speed)


def _constant(flow: float, rule: str, steps: int, system: str) -> SizingTarget:
    words = show(flow, "flow", system)
    return SizingTarget(rule + words, words, np.full(steps, flow))


def _by_changes(changes: float, plan: Plan, steps: int) -> SizingTarget:
    wanted = np.full(steps, changes * volume(plan) / 3600.0)
    return SizingTarget(f"{changes:g} air changes an hour", f"{changes:g}/h", wanted)


def _by_rise(rise: float, plan: Plan, weather: pd.DataFrame, system: str) -> SizingTarget:
    """The flow of the steady heat balance for the sun of each step."""
    record = plan.record.model_copy(
        update={"target": plan.record.target.model_copy(update={"rise": rise, "flow": None, "air_changes": None})}
    )
    asked = Plan(record, plan.library, plan.path)
    wanted = wanted_flow(asked, weather["ghi"].to_numpy(), weather["temp_air"].to_numpy())
    words = show(rise, "temperature difference", system)
    return SizingTarget(f"no more than {words} above outside", words, wanted)


@dataclass(frozen=True)
class SizedDesign:
    """A design and what it does.

    Attributes
    ----------
    design : Design
    starts, stops : dict of str to float
        First start and last stop by the clock on the mean day of the hottest month of need, by sky; NaN if no fan
        turns. [h]
    by_month : dict of int to dict
        The same by month of need, with a thermostat for that month only: sky to (start, stop).
    hours_needed, hours_wanting, hours_running : float
        In the months and hours of need of the weather year; wanting: the target asks for air; running: at least one fan
        turns. [h]
    hours_at_target, hours_at_speed : float
        Of those that want air, in which the target is met; of all, in which every fan gives two thirds of its rated
        air, whatever the target. The mean of a step counts, as in a run. [h]
    hours_line_open : float
        Of these hours, those in which a thermostat leaves the fans off. [h]
    mean_flow : float
        Fresh air in these hours, in the wind of the year. [m3/s]
    energy_used : float
        Into the turning fans in these hours. [Wh]
    fan_voltage_max, fan_voltage_limit, fan_voltage_rated : float
        Highest at a turning fan in cold bright light, its rated maximum, and its rated voltage; of unlike fans those of
        the one that comes nearest to its limit. [V]
    start_irradiance, run_down_irradiance : float
        At which the last fan starts, and down to which all of them keep turning, at 20 degC outside; NaN if never.
        [W/m2]
    findings : tuple of Finding
        Worst first.
    nights : ServedDays, optional
        How long the battery lasts.
    verdict, reason, limit : str
        ``"fits"``, ``"short"`` or ``"stop"``; one sentence; and what limits it: ``"voltage"``, ``"start"``,
        ``"air"``, ``"converter"``, ``"wiring"``, ``"thermostat"``, ``"light"`` or ``"nothing"``.
    cost : float
        Of panel, fans and converter, in the plan's money; NaN if a price is not given.
    pareto : bool
        No option without a stop is as small, as cheap and as often at the target, and better in one of these.
    """

    design: Design
    starts: dict[str, float]
    stops: dict[str, float]
    by_month: dict[int, dict[str, tuple[float, float]]]
    hours_needed: float
    hours_wanting: float
    hours_at_target: float
    hours_at_speed: float
    hours_running: float
    hours_line_open: float
    mean_flow: float
    energy_used: float
    fan_voltage_max: float
    fan_voltage_limit: float
    fan_voltage_rated: float
    start_irradiance: float
    run_down_irradiance: float
    findings: tuple[Finding, ...]
    nights: ServedDays | None = None
    verdict: str = ""
    reason: str = ""
    limit: str = ""
    cost: float = float("nan")
    pareto: bool = False

    @property
    def title(self) -> str:
        """What it is, in words."""
        design = self.design
        between = f", {design.converter} between" if design.converter_part else ""
        watts = " + ".join(f"{value:.0f}" if value > 20 else f"{value:.3g}" for value in design.every_watts)
        return f"{watts} W {'panels' if len(design.every_watts) > 1 else 'panel'}, {design.fan_words}{between}"

    @property
    def share_at_target(self) -> float:
        """Share of the hours that want air in which the target is met. [-]"""
        return self.hours_at_target / self.hours_wanting if self.hours_wanting else float("nan")

    @property
    def share_at_speed(self) -> float:
        """Share of the needed hours in which every fan gives two thirds of its rated air. [-]"""
        return self.hours_at_speed / self.hours_needed if self.hours_needed else float("nan")

    def by_month_words(self, month: int, name: str) -> str:
        """Say from when to when the fans turn under a sky."""
        start, stop = self.by_month[month][name]
        if np.isnan(start):
            return "not at all"
        return " to ".join(f"{int(hour):02d}:{round(hour % 1 * 60):02d}" for hour in (start, stop))


@dataclass(frozen=True)
class Sizing:
    """All options and the one that is chosen.

    Attributes
    ----------
    options : tuple of SizedDesign
    choice : int or None
        Index of the chosen one; None if all say stop.
    choice_meets : bool
        It meets the target often enough.
    target : SizingTarget
    enough : float
        Share of the hours that want air which counts as often enough. [-]
    month : int
        The hottest month of need, whose skies are shown.
    notes : tuple of str
        What was assumed.
    """

    options: tuple[SizedDesign, ...]
    choice: int | None
    choice_meets: bool
    target: SizingTarget
    enough: float
    month: int
    notes: tuple[str, ...] = field(default=())

    @property
    def chosen(self) -> SizedDesign | None:
        """The one that is chosen."""
        return None if self.choice is None else self.options[self.choice]

    @property
    def findings(self) -> list[Finding]:
        """Those on the choice, or else on every option, what all have in common first; worst first."""
        told = [option.findings for option in ([self.chosen] if self.chosen else self.options)]
        common = set.intersection(*({(finding.code, finding.do) for finding in one} for one in told))
        every = dict.fromkeys(finding for one in told for finding in one)
        return sort_findings(sorted(every, key=lambda finding: (finding.code, finding.do) not in common))

    @property
    def verdict(self) -> Verdict:
        """What to buy, with its own first thing to do; or that nothing that was tried may be built."""
        option = self.chosen
        if option is None:
            return Verdict("stop", "None of these will do: every one says stop.", first_remedy(self.findings), ())
        nearest = "" if self.choice_meets else "None is enough; this one comes nearest: "
        figures = (
            KeyFigure("light that starts the last fan", option.start_irradiance, "irradiance"),
            KeyFigure("air in the hours of need", option.mean_flow, "flow"),
            KeyFigure("share of these hours at the target", option.share_at_target),
        )
        sentence = f"{nearest}{option.title}: {option.reason}."
        return Verdict(option.verdict, sentence, first_remedy(option.findings), figures)


def fan_findings(
    planned: Plan,
    worst: WorstCase,
    limits: Mapping[str, Thresholds],
    harness: Harness,
    batteries: Mapping[str, float],
    brightest: Mapping[str, float],
    peaks: Mapping[str, float],
    system: str,
    each: bool,
) -> Iterator[Finding]:
    """Say what the fans of a design suffer.

    `batteries` holds the volts of the battery that feeds a fan [V]; `brightest`, for a fan that stands all the time,
    the most light of the year on the panels that feed it [W/m2]; `peaks` the highest voltage between the attempts of
    each fan while it stands [V]. Unless `each` is asked for, the fans are alike and each thing is said once, for the
    fan that suffers it most.
    """
    told: set[str] = set()
    for fan in planned.record.fan if each else reversed(planned.record.fan):
        light = brightest.get(fan.id, inf)
        starved, whom = starved_by(harness, fan.id), "The fan" if each else "The last fan"
        held = batteries.get(fan.id)
        start = start_finding(fan, limits[fan.id].start_irradiance, light, starved, whom, held)
        for finding in (
            *fan_voltage_findings(planned, fan, worst, peaks[fan.id], system),
            *([start] if start else ()),
        ):
            if each or finding.code not in told:
                told.add(finding.code)
                yield finding


def judge(option: SizedDesign, enough: float) -> tuple[str, str, str]:
    """Give the verdict on a design, its reason in one sentence, and what limits it.

    The target should be met in `enough` of the hours that want air, a share.
    """
    share = option.share_at_target
    if stops := {finding.code: finding for finding in option.findings if finding.level == "stop"}:
        return "stop", *_why_stopped(option, stops)
    if isnan(share):
        return "fits", "its weather has no hour in which air is wanted", "nothing"
    if verdict_level(option.findings, share, enough) == "fits":
        cautions = (_BUT[one.code] for one in option.findings if one.level == "warn" and one.code in _BUT)
        return "fits", f"at the target in {share:.0%} of the hours that want air{next(cautions, '')}", "nothing"
    why, limit = _what_lacks(option, enough)
    return "short", f"at the target in only {share:.0%} of the hours that want air: {why}", limit


def _why_stopped(option: SizedDesign, stops: Mapping[str, Finding]) -> tuple[str, str]:
    """Say what must not be built so, and what limits it."""
    if stops.keys() & {"over-voltage", "over-voltage-cold"}:
        volts, limit = option.fan_voltage_max, option.fan_voltage_limit
        return f"over-voltage: {volts:.1f} V in cold bright sun; the rated maximum is {limit:g} V", "voltage"
    if parts := [finding for finding in stops.values() if finding.code in _PARTS]:
        text = parts[0].text.rstrip(".")
        return f"{parts[0].part}: {text[0].lower()}{text[1:]}", "converter"
    if "never-starts" in stops:
        whom = "all the fans" if option.design.own is None else stops["never-starts"].part
        if isnan(option.start_irradiance):
            straight = option.design.converter_part is None
            why = "standing rotors drag the panel down" if straight else "the converter never gives the start voltage"
            return f"no sun starts {whom}: {why}", "start"
        return f"{option.start_irradiance:.0f} W/m2 would start {whom}, more than there ever is", "start"
    worst = next(iter(stops.values()))
    return worst.text.rstrip("."), "converter" if worst.code.startswith("converter") else "wiring"


def _what_lacks(option: SizedDesign, enough: float) -> tuple[str, str]:
    """Say why a design is not often enough at its target, and what limits it."""
    if hunts := next((finding for finding in option.findings if finding.code == "converter-hunts"), None):
        return f"in {hunts.value:.0%} of the needed hours the converter hunts in weak light", "converter"
    off = option.hours_line_open
    if off and option.hours_at_target + off >= enough * option.hours_wanting:
        share = off / option.hours_needed
        return f"in {share:.0%} of the needed hours it is too cool inside for the thermostat", "thermostat"
    too_little = "the fans give their air, and more or stronger ones are wanted", "air"
    if is_enough(option.share_at_speed, enough):
        return too_little
    if option.start_irradiance > 0.5 * LATE_START:
        return f"the last fan needs {option.start_irradiance:.0f} W/m2 to start", "start"
    if option.hours_at_speed < 0.5 * option.hours_running:
        volts, rated = option.fan_voltage_max, option.fan_voltage_rated
        if option.hours_at_speed == 0 and volts < rated:
            return f"the fans never get more than {volts:.1f} V of {rated:g} V", "air"
        return "the fans turn, but too slowly", "air"
    # Where they turn well and it is not enough, more light would hardly help.
    if option.share_at_target < 0.5 * option.share_at_speed:
        return too_little
    return "the rest of the time the light is too weak for it", "light"


_PARTS = ("controller-without-battery", "power-bank-switches-off", "converter-latches")
_BUT = {
    "open-circuit-voltage": ", but a standing fan is near the open-circuit voltage",
    "over-voltage-one-failed": ", but a fan left alone gets too much",
    "starts-late": ", but it starts late",
    "battery-runs-flat": ", but the battery often runs flat",
    "over-voltage-charging": ", but a fan gets a little more than its printed limit while the battery is charged",
    "converter-hunts": ", but its converter hunts in weak light",
}
