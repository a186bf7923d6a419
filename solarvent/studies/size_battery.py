"""A battery in the designs of a sizing: what the fans of each do on it, and how many nights it lasts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from solarvent.electrical.battery_circuit import BatteryCourse, operate_on_battery
from solarvent.electrical.panel_model import panel_parameters
from solarvent.plan.plan import Plan
from solarvent.simulation.power_budget import count_days, days_served
from solarvent.weather.span import hours_switched_on

if TYPE_CHECKING:
    from solarvent.studies.size_fans import PlaceLight, SizedCircuits


@dataclass(frozen=True, eq=False)
class StoredMoments:
    """When the fans of a battery are switched on, at all moments of a place, shape (moments,).

    `hours` is the length of each [h]; at those in `full` a span begins, with a full battery.
    """

    wanted: np.ndarray
    hours: np.ndarray
    full: np.ndarray

    def part(self, at: slice) -> StoredMoments:
        """Those of one span."""
        return StoredMoments(self.wanted[at], self.hours[at], np.zeros(1, dtype=np.intp))


def stored_moments(planned: Plan, place: PlaceLight) -> StoredMoments | None:
    """When the fans of a plan with a battery are switched on; None without one."""
    if planned.record.storage is None:
        return None
    parts = [(place.year, place.kept), *((day.sun, np.arange(len(day.sun.sky_states.order))) for day in place.days)]
    wanted, hours = [], []
    for sun, kept in parts:
        steps = sun.sky_states.step_of_substep[kept]
        wanted.append(hours_switched_on(planned, sun.times)[steps])
        hours.append(sun.sky_states.moment_weight[kept] * sun.step / 3600.0)
    full = np.array([0, *(day.at.start for day in place.days)], dtype=np.intp)
    return StoredMoments(np.concatenate(wanted), np.concatenate(hours), full)


def stored_course(
    wired: SizedCircuits,
    lights: Mapping[str, tuple[np.ndarray, ...]],
    size: float,
    moments: StoredMoments,
    closed: np.ndarray | None,
) -> tuple[np.ndarray, np.ndarray, BatteryCourse]:
    """Carry a design on its battery through the light of some moments.

    Gives which fans turn, in the order of the plan, and at which voltage [V], both of shape (fans, moments).
    """
    lit = np.flatnonzero(np.any([np.atleast_2d(light).any(axis=0) for light, _ in lights.values()], axis=0))
    panels = {
        panel.id: panel_parameters(panel, lights[panel.id][0][..., lit], lights[panel.id][1][lit])
        for circuit in wired.circuits
        for panel in circuit.panels
    }
    wanted = moments.wanted if closed is None else moments.wanted & closed
    operations, course = operate_on_battery(
        wired.circuits, panels, wired.fans, lit, wanted, moments.hours, size=size, full=moments.full
    )
    running, voltage = np.zeros((len(wired.fans), len(wanted)), dtype=bool), np.zeros((len(wired.fans), len(wanted)))
    for operation in operations:
        rows = [wired.rows[name] for name in operation.fan_ids]
        running[rows], voltage[rows] = operation.running, operation.fan_voltage * operation.running
    return running, voltage, course


@dataclass(frozen=True)
class NightsLasted:
    """Days and nights of the months of need on which fans are switched on, and on which the battery runs short."""

    wanted_days: int
    flat_days: int
    longest_flat: int
    wanted_nights: int
    short_nights: int


def nights_lasted(course: BatteryCourse, place: PlaceLight, moments: StoredMoments) -> NightsLasted:
    """Count the days and nights of the months of need; a night goes from noon to noon, and is its dark part."""
    year = slice(0, place.year_substeps)
    times = place.year.times[place.step_of_substep]
    wanted = course.wanted[year] * moments.hours[year]
    lacking = (course.wanted - course.feeds)[year] * moments.hours[year]
    dark = place.year.weather["ghi"].to_numpy()[place.step_of_substep] <= 0
    days, nights = days_served(wanted, lacking, times), days_served(wanted * dark, lacking * dark, times, night=True)
    return NightsLasted(*count_days(days), *count_days(nights)[:2])
