"""The air that moves through a plan's house at a given inside temperature, in four ways of running it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air import airflow
from solarvent.air.opener import lagged_temperature, opened_share
from solarvent.air.stack import combined_flow, leakage_flow, stack_pressure
from solarvent.air.ventilation import effective_area, fan_curve, fan_outlet, fan_speed, hole_area, leakage_area
from solarvent.air.wind import wall_pressure_coefficient, wind_pressure
from solarvent.electrical.bands import TYPICAL, Band
from solarvent.plan.parts import Opening
from solarvent.plan.plan import Plan

if TYPE_CHECKING:
    from solarvent.house.model import HouseModel

CASES = ("closed", "openings", "fans", "both")
"""Everything shut; openings and openers at work while the fans stand; fans turning and of the openings only those
without an opener; both."""
#: Wind draws at a roof of low pitch from all sides (typical). [-]
_ROOF_COEFFICIENT = -0.4
#: Openings higher than this breathe both ways: they are cut into slices. [m]
_TALL, _SLICES = 0.5, 4
_FAN_HEIGHT = 0.75
_SHUT = "shut"
_DAY = 50.0  # somebody who shuts a house for the night opens it when there is some sun [W/m2]


@dataclass(frozen=True, eq=False)
class FanState:
    """What the fans do. Without broken cloud a moment is a step.

    Attributes
    ----------
    voltage, running : array, shape (fans, moments)
        [V], true or false
    step_of : array of int, shape (moments,)
        The step of each moment, in order.
    weight : array, shape (moments,)
        Share of the step that a moment takes. [-]
    """

    voltage: np.ndarray
    running: np.ndarray
    step_of: np.ndarray
    weight: np.ndarray


def no_fans(plan: Plan, steps: int) -> FanState:
    """Fans that all stand."""
    still = np.zeros((len(plan.record.fan), steps))
    return FanState(still, still.astype(bool), np.arange(steps), np.ones(steps))


class HouseAir:
    """Flows of a plan's house under a span of weather.

    Parameters
    ----------
    plan : Plan
        The plan.
    model : HouseModel
        Its house under the weather.
    wind_direction : array, shape (steps,)
        Where the wind comes from; NaN counts as calm. [deg]
    fans : FanState
        What the fans do.
    cases : tuple of str
        Of `CASES`, the columns of temperatures and flows.
    band : Band
        How strong the fans are.
    open_share : float, optional
        Holds all vents with an opener open by this share, whatever the temperature. [-]
    shut_at_night : bool
        Somebody shuts everything from dusk to dawn, the holes of the fans too.
    """

    def __init__(
        self,
        plan: Plan,
        model: HouseModel,
        wind_direction: np.ndarray,
        fans: FanState,
        cases: tuple[str, ...] = CASES,
        band: Band = TYPICAL,
        open_share: float | None = None,
        shut_at_night: bool = False,
    ) -> None:
        self._loaded, self._model, self._fans, self._cases, self._band = plan, model, fans, cases, band
        self._open_share = open_share
        self._may_be_open = model.ghi > _DAY if shut_at_night else np.ones(len(model.dark), dtype=bool)
        known = ~np.isnan(wind_direction)
        self._wind = np.where(known, model.wind_speed, 0.0) * plan.record.place.wind_share
        self._direction = np.where(known, wind_direction, 0.0)
        self._middle = plan.record.house.ridge / 2
        self._leak = leakage_area(plan)
        outlets = [fan_outlet(plan, fan) for fan in plan.record.fan]
        self._fan_parts = [
            (fan_curve(fan, band), hole_area(fan), outlet) for fan, outlet in zip(plan.record.fan, outlets, strict=True)
        ]
        self._fan_wind = [self._pressure(fan.wall_azimuth, "wall") for fan in plan.record.fan]
        self._opening_wind = [self._pressure(one.wall_azimuth, one.on) for one in plan.record.opening]

    def _pressure(self, wall_azimuth: float | None, on: str) -> np.ndarray:
        """Wind pressure on a wall or the roof [Pa]; a wall whose direction is not given counts as sheltered."""
        if on == "roof":
            return np.asarray(wind_pressure(self._wind, _ROOF_COEFFICIENT))
        if wall_azimuth is None:
            return np.zeros(len(self._wind))
        angle = np.abs((self._direction - wall_azimuth + 180.0) % 360.0 - 180.0)
        return np.asarray(wind_pressure(self._wind, wall_pressure_coefficient(angle)))

    def __call__(self, temp: np.ndarray, wanted: np.ndarray) -> np.ndarray:
        """Give the fresh air at inside temperatures (steps, cases) where it is wanted; leaks included. [m3/s]"""
        model = self._model
        leak = np.asarray(leakage_flow(self._leak, temp - model.temp_air[:, None], model.wind_speed[:, None]))
        total = np.array(leak)
        for column, case in enumerate(self._cases):
            at = np.flatnonzero(wanted[:, column] & self._may_be_open)
            if case == "closed" or not at.size:
                continue
            moved, _ = self.network(case, temp[:, column], at)
            total[at, column] = combined_flow(moved, leak[at, column])
        return total

    def network(self, case: str, temp: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, airflow.HouseFlow]:
        """Solve the openings and fans of one case: fresh air of the chosen steps, and the flow at each moment of them.

        Parameters
        ----------
        case : str
            Of `CASES`.
        temp : array, shape (steps,)
            Inside, of all steps, for the wax has a memory. [degC]
        at : array of int
            The steps.

        Returns
        -------
        tuple of array, shape (at,), and HouseFlow
            [m3/s]
        """
        turning = case in ("fans", "both")
        if turning:
            substeps = (
                np.flatnonzero(np.isin(self._fans.step_of, at))
                if len(at) < len(temp)
                else np.arange(len(self._fans.step_of))
            )
            rows = self._fans.step_of[substeps]
        else:
            substeps, rows = at, at
        inside, outside, density = temp[rows], self._model.temp_air[rows], self._model.density[rows]
        per_metre = np.asarray(stack_pressure(1.0, inside, outside, density))
        paths = []
        for number, fan in enumerate(self._loaded.record.fan):
            curve, hole, outlet = self._fan_parts[number]
            height = self._loaded.record.house.ridge * _FAN_HEIGHT if fan.height is None else fan.height
            running = self._fans.running[number, substeps] if turning else False
            ratio = fan_speed(fan, self._fans.voltage[number, substeps]) if turning else 0.0
            wind = self._fan_wind[number][rows] - per_metre * height
            paths.append(airflow.FanPath(curve, hole, ratio, running, outlet, wind))
        openings = []
        for number, one in enumerate(self._loaded.record.opening):
            area = effective_area(one) * self._open(case, one, temp)[rows]
            for height, share in self._slices(one):
                wind = self._opening_wind[number][rows] - per_metre * height
                openings.append(airflow.Opening(area * share, wind))
        air = airflow.house_flow(paths, openings, self._leak, -per_metre * self._middle, density)
        leaving = sum(np.maximum(part, 0.0).sum(axis=0) for part in (air.flow, air.inlet_flow, air.leakage_flow[None]))
        if turning:
            # Averaged over the moments of each step; every step wanted has one or more, in order.
            starts = np.searchsorted(rows, at)
            leaving = np.add.reduceat(leaving * self._fans.weight[substeps], starts)
        return np.asarray(leaving), air

    def _open(self, case: str, one: Opening, temp: np.ndarray) -> np.ndarray:
        """Share by which an opening is open in each step."""
        if one.opener is None:
            share = np.ones(len(temp))
        elif case == "fans":
            share = np.zeros(len(temp))
        elif self._open_share is not None:
            share = np.full(len(temp), self._open_share)
        else:
            opener = self._loaded.opener(one.opener)
            starts = opener.opens_at if one.opens_at is None else one.opens_at
            wax = lagged_temperature(temp, self._model.step, opener.lag)
            too_heavy = one.vent_weight is not None and one.vent_weight > opener.lift
            share = np.zeros(len(temp)) if too_heavy else np.asarray(opened_share(wax, starts, opener.span))
        return np.where(self._model.dark, 0.0, share) if one.at_night == _SHUT else share

    def slices(self, one: Opening) -> int:
        """Count the parts into which an opening is cut."""
        return len(self._slices(one))

    def _slices(self, one: Opening) -> list[tuple[float, float]]:
        """Heights of the parts of an opening, and their shares of its area."""
        middle = self._middle if one.height is None else one.height
        if one.extent < _TALL:
            return [(middle, 1.0)]
        offsets = ((np.arange(_SLICES) + 0.5) / _SLICES - 0.5) * one.extent
        return [(max(middle + float(offset), 0.0), 1 / _SLICES) for offset in offsets]
