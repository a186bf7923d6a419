"""Light on the panels of the designs: the months of need of the year, and every named sky."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.plan.plan import Plan
from solarvent.studies.sky_day import STEP, mean_course, sky_weather
from solarvent.weather import sky
from solarvent.weather.conditions import Conditions, conditions, light_on_panels
from solarvent.weather.outside_air import outside_air
from solarvent.weather.span import hours_of_need

if TYPE_CHECKING:
    import pandas as pd

SKIES = {"clear": 0, "5 oktas": 5, "7 oktas": 7, "overcast": 8}


@dataclass(frozen=True, eq=False)
class SkyDay:
    """The mean day of a month under a named sky, and where its moments stand among all."""

    month: int
    sky: str
    clock: np.ndarray
    at: slice
    sun: Conditions


class PlaceLight:
    """Light on the panels of a plan: the months of need of the year, then every named sky.

    `panels` holds by panel the light [W/m2] on its cells, or on each of its sections that are not lit alike, and their
    temperature [degC], at all moments, one after the other; the first `year_substeps` of these `substeps` are those of
    the year. `kept` are the moments of the year in the months of need; with a thermostat in the month before one of
    them too, for the house remembers. `need` are the steps that are hours of need, `days` the skies of every month of
    need; with a thermostat of the month that is shown.
    """

    def __init__(self, planned: Plan, weather: pd.DataFrame, shown: int) -> None:
        months = planned.record.months_of_need
        self.year = conditions(planned)
        of_moment = np.asarray(self.year.times.month)[self.year.sky_states.step_of_substep]
        wanted, days = set(months), months
        if planned.record.thermostat is not None:
            wanted |= {(month - 2) % 12 + 1 for month in months}
            days = [shown] if shown in months else months[:1]
        self.kept = np.flatnonzero(np.isin(of_moment, list(wanted)))
        self.need = hours_of_need(planned, self.year.times)
        self.outside = outside_air(self.year, planned.record.place.altitude)
        self.year_substeps = len(self.kept)
        self._hours = (
            self.year.sky_states.moment_weight[self.kept] * self.need[self.step_of_substep] * self.year.step / 3600.0
        )
        parts = [self._moments(self.year, self.kept)]
        self.days: list[SkyDay] = []
        at = len(self.kept)
        for number in days:
            mean = mean_course(planned, weather, number)
            for name, oktas in SKIES.items():
                factor = float(sky.cloud_factor(oktas, planned.record.sky.full_cover))
                day = sky_weather(planned, mean, number, oktas, factor, STEP)
                share = planned.record.sky.sunlit_share if 0 < oktas < sky.OKTAS_FULL else None
                sun = light_on_panels(planned, day, STEP, 3600.0, share)
                every = np.arange(len(sun.sky_states.order))
                parts.append(self._moments(sun, every))
                clock = np.asarray(sun.times.hour + sun.times.minute / 60.0)[sun.sky_states.step_of_substep]
                self.days.append(SkyDay(number, name, clock, slice(at, at + len(every)), sun))
                at += len(every)
        self.panels = {
            name: tuple(
                np.concatenate(columns, axis=-1) for columns in zip(*(part[name] for part in parts), strict=True)
            )
            for name in parts[0]
        }
        self.substeps = at

    @staticmethod
    def _moments(sun: Conditions, kept: np.ndarray) -> dict[str, tuple[np.ndarray, ...]]:
        order = sun.sky_states.order[kept]
        return {
            name: (light.section_irradiance[..., order], light.temp_cell[order])
            for name, light in sun.panel_states.items()
        }

    @property
    def step_of_substep(self) -> np.ndarray:
        """The step of the year of each of its moments that is kept."""
        return self.year.sky_states.step_of_substep[self.kept]

    @property
    def needed(self) -> np.ndarray:
        """Where a moment is one of the hours of need; those of the named skies are none. Shape (moments,)."""
        found = np.zeros(self.substeps, dtype=bool)
        found[: self.year_substeps] = self.need[self.step_of_substep]
        return found

    def needed_hours(self, values: np.ndarray) -> float:
        """Sum what happens at the moments over the hours of need. [h]"""
        return float(values[: self.year_substeps] @ self._hours)

    def spans(self, running: np.ndarray, shown: int) -> dict[str, Any]:
        """First start and last stop by month and sky."""
        by_month: dict[int, dict[str, tuple[float, float]]] = {}
        for day in self.days:
            hours = day.clock[running[day.at]]
            span = (float(hours[0]), float(hours[-1] + STEP / 3600.0)) if len(hours) else (float("nan"),) * 2
            by_month.setdefault(day.month, {})[day.sky] = span
        chosen = by_month.get(shown) or next(iter(by_month.values()))
        return {
            "starts": {name: span[0] for name, span in chosen.items()},
            "stops": {name: span[1] for name, span in chosen.items()},
            "by_month": by_month,
        }
