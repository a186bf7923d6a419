"""Light on the panel of the designs: the months of need of the year, and every named sky."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.inputs.loading import LoadedPlan
from solarvent.physics import sky
from solarvent.physics.panel import cell_temperature
from solarvent.planning.conditions import Conditions, conditions, light_on_panels, single_diode
from solarvent.planning.simulate import THRESHOLD_AIR, hours_of_need
from solarvent.planning.size_designs import REFERENCE_WATTS, sized_panel
from solarvent.planning.size_grid import Light, Load, course
from solarvent.planning.sky_day import STEP, mean_course, sky_weather

if TYPE_CHECKING:
    import pandas as pd

SKIES = {"clear": 0, "5 oktas": 5, "7 oktas": 7, "overcast": 8}
OPEN_CIRCUIT = 1.35
"""Highest voltage of the load tables, over that of the plate: cells far below freezing. [-]"""


class PlaceLight:
    """Light on a panel of one tilt and azimuth: the months of need of the year, then every named sky.

    Parameters
    ----------
    planned : LoadedPlan
        With one panel.
    weather : pandas.DataFrame
        The plan's.

    Attributes
    ----------
    light : Light
        All moments, one after the other; the first `year_moments` are those of the year.
    year : Conditions
        The whole year.
    kept : array of int
        The moments of the year that are in the months of need.
    need : array of bool
        The steps of the year that are hours of need.
    open_circuit : float
        A voltage that the panel does not pass. [V]
    """

    def __init__(self, planned: LoadedPlan, weather: pd.DataFrame) -> None:
        panel = planned.plan.panel[0]
        self.year = conditions(planned)
        spells = self.year.spells
        month = np.asarray(self.year.times.month)[spells.moment_step]
        self.kept = np.flatnonzero(np.isin(month, planned.plan.months_of_need))
        self.need = hours_of_need(planned, self.year.times)
        self.year_moments = len(self.kept)
        parts = [self._moments(self.year, self.kept)]
        self._days: list[tuple[int, str, np.ndarray, slice]] = []
        at = len(self.kept)
        for number in planned.plan.months_of_need:
            mean = mean_course(planned, weather, number)
            for name, oktas in SKIES.items():
                factor = float(sky.cloud_factor(oktas, planned.plan.sky.full_cover))
                day = sky_weather(planned, mean, number, oktas, factor, STEP)
                share = planned.plan.sky.sunlit_share if 0 < oktas < sky.OKTAS_FULL else None
                sun = light_on_panels(planned, day, STEP, 3600.0, share)
                every = np.arange(len(sun.spells.order))
                parts.append(self._moments(sun, every))
                clock = np.asarray(sun.times.hour + sun.times.minute / 60.0)[sun.spells.moment_step]
                self._days.append((number, name, clock, slice(at, at + len(every))))
                at += len(every)
        irradiance, temp_cell = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        self.light = Light(single_diode(sized_panel(panel, REFERENCE_WATTS)), irradiance, temp_cell)
        self.noct = panel.noct
        self.open_circuit = OPEN_CIRCUIT * (panel.v_oc or self.light.reference.a_ref * 25.0)

    @staticmethod
    def _moments(sun: Conditions, kept: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        (panel,) = sun.panel_spells.values()
        order = sun.spells.order[kept]
        return panel.effective_irradiance[order], panel.temp_cell[order]

    def needed_hours(self, values: np.ndarray) -> float:
        """Sum what happens at the moments over the hours of need. [h]"""
        moments = np.zeros(len(self.year.spells.order))
        moments[self.kept] = values[: self.year_moments]
        return float(self.year.spells.mean(moments)[self.need].sum() * self.year.step / 3600.0)

    def days(self, running: np.ndarray, shown: int) -> dict[str, Any]:
        """First start and last stop by month and sky."""
        by_month: dict[int, dict[str, tuple[float, float]]] = {}
        for number, name, clock, at in self._days:
            hours = clock[running[at]]
            span = (float(hours[0]), float(hours[-1] + STEP / 3600.0)) if len(hours) else (float("nan"),) * 2
            by_month.setdefault(number, {})[name] = span
        chosen = by_month.get(shown) or next(iter(by_month.values()))
        return {
            "starts": {name: span[0] for name, span in chosen.items()},
            "stops": {name: span[1] for name, span in chosen.items()},
            "by_month": by_month,
        }


def all_start_and_keep(load: Load, light: PlaceLight, share: float) -> tuple[float, float]:
    """Light from which the last fan starts, and down to which all keep turning, at 20 degC outside. [W/m2]"""
    rising = np.arange(0.0, 1401.0)
    sweep = np.concatenate([rising, rising[::-1]])
    warmed = Light(light.light.reference, sweep, cell_temperature(sweep, THRESHOLD_AIR, light.noct))
    all_on = course(load, warmed, share).turning.sum(axis=0) == load.sets[-1].sum()
    up, down = rising[all_on[: len(rising)]], rising[all_on[: len(rising) - 1 : -1]]
    return float(up[0]) if len(up) else float("nan"), float(down[0]) if len(down) else float("nan")
