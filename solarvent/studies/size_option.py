"""What a sizing answers: the options and the one that is chosen."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from solarvent.base.findings import Finding
from solarvent.studies.size_designs import Design
from solarvent.studies.size_target import SizingTarget


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
    hours_needed, hours_at_target, hours_running : float
        In the months and hours of need of the weather year; running: at least one fan turns. [h]
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
    verdict, reason, limit : str
        ``"fits"``, ``"short"`` or ``"stop"``; one sentence; and what limits it: ``"voltage"``, ``"start"``,
        ``"air"``, ``"converter"``, ``"thermostat"``, ``"light"`` or ``"nothing"``.
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
    hours_at_target: float
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
    verdict: str = ""
    reason: str = ""
    limit: str = ""
    cost: float = float("nan")
    pareto: bool = False

    @property
    def share_at_target(self) -> float:
        """Share of the needed hours in which the target is met. [-]"""
        return self.hours_at_target / self.hours_needed if self.hours_needed else float("nan")

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
        Share of the needed hours that counts as often enough. [-]
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
