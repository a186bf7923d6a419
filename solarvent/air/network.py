"""The fans, openings and cracks of a plan as one flow network: the only place where it is put together.

The house asks it for all fresh air at its own temperature, and every command for the air that the fans move. Where no
house is carried through time, the inside is taken to be as much warmer than outside as the plan allows
(`assumed_inside`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from solarvent.air.airflow import FanPath, HouseFlow, OpeningPath, Outlet, house_flow
from solarvent.air.fan import FanCurve, speed_ratio
from solarvent.air.opening import (
    duct_area,
    lagged_temperature,
    opened_share,
    series_area,
    stack_pressure,
    wall_pressure_coefficient,
    wind_pressure,
)
from solarvent.electrical.panel_model import TYPICAL, Band
from solarvent.plan.house_records import Opening
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.plan.shape import ShapeGeometry, shape_geometry
from solarvent.weather.conditions import OutsideAir
from solarvent.weather.sky_states import SkyStates

#: Share of a fan's frame that the blades sweep, without hub and corners (typical).
_SWEPT_SHARE = 0.65
_HOLE_COEFFICIENT = 0.6
#: What shut blades let through, of their open area (typical).
_SHUT_LEAK = 0.03
#: Cracks per area of cover: the narrowest, the usual and the widest of such houses [m2/m2]. Published rates, turned
#: round by `leakage_flow`, spread sixtyfold: four research houses 0.4e-4 (calm) to 4e-4 (Vanthoor et al. 2011), ten
#: shut commercial ranges 5e-4 to 13e-4, mean 7e-4 (Colorado State University, tracer, near calm), new glass and film by
#: EP406 4e-4 to 11e-4, old glass 7e-4 to 28e-4 (from memory), a light house of 2,400 m3 17e-4 (community farm,
#: Netherlands 2026, fitted).
_CRACKS = {
    "tight": (0.4e-4, 1.2e-4, 4e-4),
    "average": (4e-4, 5.2e-4, 13e-4),
    "leaky": (7e-4, 12e-4, 28e-4),
}


def fan_speed(fan: Fan, voltage: ArrayLike) -> np.ndarray:
    """Speed of a turning fan over its rated speed, by the voltage at its terminals [V]."""
    if fan.speed_controlled:
        return np.where(np.asarray(voltage) >= fan.stop_voltage, 1.0, 0.0)
    return np.asarray(speed_ratio(voltage, fan.rated_voltage, fan.speed_exponent))


def fan_curve(fan: Fan, band: Band) -> FanCurve:
    """Give a fan's curve at rated speed: measured, or typical through its two printed figures."""
    factor = band.flow_factor(fan)
    if fan.curve:
        points = np.array(fan.curve)
        return FanCurve(points[:, 0] / 3600.0 * factor, points[:, 1], measured=True)
    assert fan.free_air_flow is not None  # the record sees to both
    assert fan.shutoff_pressure is not None
    return FanCurve.from_two_points(fan.free_air_flow * factor, fan.shutoff_pressure)


def highest_pressure(fan: Fan, voltage: ArrayLike) -> np.ndarray:
    """Pressure that a fan makes at a voltage [V] while it moves no air. [Pa]"""
    return np.asarray(fan_curve(fan, TYPICAL).pressure[0] * fan_speed(fan, voltage) ** 2)


def hole_area(fan: Fan) -> float:
    """Effective area of the hole that a standing fan leaves. [m2]"""
    return _HOLE_COEFFICIENT * _SWEPT_SHARE * fan.size**2


def bare_hole(area: float) -> float:
    """Hole with nothing in it through which as much air goes as through an effective area. [m2], both"""
    return area / _HOLE_COEFFICIENT


def fan_outlet(plan: Plan, fan: Fan) -> Outlet:
    """Describe what the air passes behind a fan: a duct, if it has one, and the opening in the wall."""
    opening = plan.opening(fan.outlet_opening)
    area = opening.discharge_coefficient * opening.free_share * pi / 4 * fan.size**2
    if fan.duct_length or fan.duct_bends:
        area = float(series_area([area, duct_area(fan.size, fan.duct_length, fan.duct_bends)]))
    return Outlet(area, opening.opening_pressure, _SHUT_LEAK * area if opening.opening_pressure else 0.0)


def effective_area(opening: Opening) -> float:
    """Discharge coefficient times free area of an opening; past blades that suction holds shut, what leaks. [m2]"""
    shut = _SHUT_LEAK if opening.blades_open == "outward" else 1.0
    return shut * opening.discharge_coefficient * opening.free_share * (opening.area or 0.0)


def inlet_area(plan: Plan) -> float:
    """Effective area of all the openings of a plan. [m2]"""
    return sum(effective_area(opening) for opening in plan.record.opening)


def geometry(plan: Plan) -> ShapeGeometry:
    """Floor, cover and volume of the plan's house."""
    record = plan.record.house
    return shape_geometry(record.shape, record.length, record.width, record.eaves, record.ridge)


def volume(plan: Plan) -> float:
    """Volume of the plan's house, as given or by its shape. [m3]"""
    return plan.record.house.volume or geometry(plan).volume


def leakage_area(plan: Plan, band: Band = TYPICAL) -> float:
    """Effective area of all cracks, as measured if it was: of the band in which little air moves the least. [m2]"""
    house = plan.record.house
    low, usual, high = _CRACKS[house.tightness]
    measured = house.measured
    if measured is not None and measured.leakage_factor is not None:
        # A measured house has the spread of its own fit, no longer that of all such houses.
        low, high = (usual * factor for factor in measured.leakage_range or [measured.leakage_factor] * 2)
        usual *= measured.leakage_factor
    return (low, usual, high)[1 + band.sign] * geometry(plan).cover_area


#: Wind draws at a roof of low pitch from all sides (typical). [-]
_ROOF_COEFFICIENT = -0.4
#: Openings higher than this breathe both ways: they are cut into slices. [m]
_TALL, _SLICES = 0.5, 4
#: Height of a fan over that of the ridge, where the plan does not say it (typical).
_FAN_HEIGHT = 0.75


@dataclass(frozen=True, eq=False)
class FanState:
    """What the fans do. Without broken cloud a substep is a step.

    Attributes
    ----------
    voltage, running : array, shape (fans, substeps)
        [V], true or false; in the order of the plan's fans.
    step_of : array of int, shape (substeps,)
        The step of each substep, in order.
    weight : array, shape (substeps,)
        Share of the step that a substep takes. [-]
    """

    voltage: np.ndarray
    running: np.ndarray
    step_of: np.ndarray
    weight: np.ndarray

    @classmethod
    def by_step(cls, voltage: np.ndarray, running: np.ndarray) -> FanState:
        """Fans whose state is known for whole steps, shape (fans, steps)."""
        steps = running.shape[1]
        return cls(voltage, running, np.arange(steps), np.ones(steps))

    @classmethod
    def standing(cls, plan: Plan, steps: int) -> FanState:
        """Fans that all stand."""
        still = np.zeros((len(plan.record.fan), steps))
        return cls.by_step(still, still.astype(bool))


def assumed_inside(plan: Plan, outside: OutsideAir) -> np.ndarray:
    """Inside temperature where no house is carried through time: the rise that the plan allows, over outside. [degC]"""
    return outside.temp_air + plan.record.target.rise


class AirNetwork:
    """The flow network of a plan under a span of weather.

    Parameters
    ----------
    plan : Plan
        The plan.
    outside : OutsideAir
        One value a step.
    band : Band
        How strong the fans and how wide the cracks are.
    open_share : float, optional
        Holds all vents with an opener open by this share, whatever the temperature. [-]
    """

    def __init__(self, plan: Plan, outside: OutsideAir, band: Band = TYPICAL, open_share: float | None = None) -> None:
        self._plan, self._outside, self._open_share = plan, outside, open_share
        self._middle = plan.record.house.ridge / 2
        self._leakage_area = leakage_area(plan, band)
        self._fans = [
            (fan, fan_curve(fan, band), hole_area(fan), fan_outlet(plan, fan), self._fan_height(fan))
            for fan in plan.record.fan
        ]
        # A wind of no known origin presses on no wall more than on another.
        known = ~np.isnan(outside.wind_speed) & ~np.isnan(outside.wind_direction)
        speed = np.where(known, outside.wind_speed, 0.0) * plan.record.place.wind_share
        direction = np.where(known, outside.wind_direction, 0.0)

        # Fans and openings of one wall share their wind.
        @cache
        def wind(wall_azimuth: float | None, on: str = "wall") -> np.ndarray:
            if on == "roof":
                return np.asarray(wind_pressure(speed, _ROOF_COEFFICIENT, outside.density))
            return wind_on_wall(speed, direction, wall_azimuth, outside.density)

        self._fan_wind = [wind(fan.wall_azimuth) for fan in plan.record.fan]
        self._opening_wind = [wind(one.wall_azimuth, one.on) for one in plan.record.opening]

    def flows(
        self,
        temp_inside: np.ndarray,
        step_of: np.ndarray,
        voltage: np.ndarray | None = None,
        running: np.ndarray | None = None,
        openers_shut: bool = False,
    ) -> HouseFlow:
        """Solve the network for some substeps; the openings are in the order of the plan, each cut into its slices.

        The inside temperature [degC] is that of all steps, for the wax of an opener has a memory; `step_of`, shape
        (substeps,), is the step of each substep. `voltage` [V] and `running`, shape (fans, substeps), say what the fans
        do; without them they stand.
        """
        outside = self._outside
        density = outside.density[step_of]
        # In air of one temperature the draught grows evenly with height. The unknown pressure is that at the ground: to
        # an opening above it the draught is so much less pressure outside.
        per_metre = np.asarray(stack_pressure(1.0, temp_inside[step_of], outside.temp_air[step_of], density))
        fans = []
        for row, (fan, curve, hole, outlet, height) in enumerate(self._fans):
            pressure = self._fan_wind[row][step_of] - per_metre * height
            if voltage is None or running is None:
                fans.append(FanPath(curve, hole, 0.0, False, outlet, pressure, fan.blows_in))
            else:
                speed = fan_speed(fan, voltage[row])
                fans.append(FanPath(curve, hole, speed, running[row], outlet, pressure, fan.blows_in))
        openings = []
        for wind, opening in zip(self._opening_wind, self._plan.record.opening, strict=True):
            share = self._open_share_of(opening, temp_inside, openers_shut)[step_of]
            heights = self.slice_heights(opening)
            area = effective_area(opening) * share / len(heights)
            openings += [OpeningPath(area, wind[step_of] - per_metre * height) for height in heights]
        # Cracks are everywhere: on the whole they lie at half the height.
        return house_flow(fans, openings, self._leakage_area, -per_metre * self._middle, density)

    def _fan_height(self, fan: Fan) -> float:
        return self._plan.record.house.ridge * _FAN_HEIGHT if fan.height is None else fan.height

    def _open_share_of(self, opening: Opening, temp_inside: np.ndarray, openers_shut: bool) -> np.ndarray:
        """Share by which an opening is open in each step."""
        steps = len(temp_inside)
        if opening.opener is None:
            share = np.ones(steps)
        elif openers_shut:
            share = np.zeros(steps)
        elif self._open_share is not None:
            share = np.full(steps, self._open_share)
        else:
            opener = self._plan.opener(opening.opener)
            starts = opener.opens_at if opening.opens_at is None else opening.opens_at
            too_heavy = opening.vent_weight is not None and opening.vent_weight > opener.lift
            # The wax follows the air of all steps before, though only some are asked for.
            wax = lagged_temperature(temp_inside, self._outside.step, opener.lag)
            share = np.zeros(steps) if too_heavy else np.asarray(opened_share(wax, starts, opener.span))
        return np.where(self._outside.dark, 0.0, share) if opening.at_night == "shut" else share

    def slice_heights(self, opening: Opening) -> list[float]:
        """Heights of the equal slices into which an opening is cut: a tall opening breathes both ways. [m]"""
        middle = self._middle if opening.height is None else opening.height
        if opening.extent < _TALL:
            return [middle]
        offsets = ((np.arange(_SLICES) + 0.5) / _SLICES - 0.5) * opening.extent
        return [max(middle + float(offset), 0.0) for offset in offsets]


def wind_on_wall(
    wind_speed: np.ndarray, wind_direction: np.ndarray, wall_azimuth: float | None, density: np.ndarray | float
) -> np.ndarray:
    """Wind pressure on a wall [Pa]; a wall whose direction is not given counts as sheltered."""
    if wall_azimuth is None:
        return np.zeros(np.shape(wind_speed))
    angle = np.abs((wind_direction - wall_azimuth + 180.0) % 360.0 - 180.0)
    return np.asarray(wind_pressure(wind_speed, wall_pressure_coefficient(angle), density))


def calm_flow(plan: Plan, voltage: Mapping[str, float], fans: Sequence[Fan]) -> float:
    """Air that some fans move together in calm air, at their voltages, with no hole for any other fan. [m3/s]"""
    paths = [
        FanPath(fan_curve(fan, TYPICAL), hole_area(fan), fan_speed(fan, voltage[fan.id]), True, fan_outlet(plan, fan))
        for fan in fans
    ]
    openings = [OpeningPath(effective_area(one)) for one in plan.record.opening]
    return float(house_flow(paths, openings, leakage_area(plan)).flow.sum())


@dataclass(frozen=True)
class Ventilation:
    """The air that the fans move, one value a step.

    Attributes
    ----------
    flow : array, shape (steps,)
        Fresh air that the fans move through the house: the sum of their flows, less what runs back through standing or
        overpowered ones; of fans that blow out and fans that blow in the greater sum. 0 when none turns or more runs
        back than is blown. The cross-draught of the wind between the openings comes on top and is not counted. [m3/s]
    fan_flow : array, shape (fans, steps)
        Through each fan, positive the way it should blow; 0 when no fan turns. [m3/s]
    pushed_back, drawn_past : array, shape (fans, steps)
        Share of the step in which the fan turns, but wind, louvre or the other fans press air back through it, or draw
        it through faster than its curve reaches. [-]
    """

    flow: np.ndarray
    fan_flow: np.ndarray
    pushed_back: np.ndarray
    drawn_past: np.ndarray

    def over_steps(self, sky_states: SkyStates) -> Ventilation:
        """Average what is known of substeps over the steps."""
        if sky_states.whole:
            return replace(self, pushed_back=self.pushed_back.astype(float), drawn_past=self.drawn_past.astype(float))
        return Ventilation(*(sky_states.mean(getattr(self, field.name)) for field in fields(self)))


def flow_at_limit(plan: Plan, outside: OutsideAir, fans: FanState, wanted: np.ndarray) -> np.ndarray:
    """Give the air that the fans move with the house as warm as the plan allows, in the steps that are wanted.

    So every command holds the air against the need. Shape (steps,), the mean of each step, 0 in all others. [m3/s]
    """
    at = np.flatnonzero(wanted[fans.step_of])
    of_need = FanState(fans.voltage[:, at], fans.running[:, at], fans.step_of[at], fans.weight[at])
    return np.bincount(of_need.step_of, of_need.weight * ventilate(plan, outside, of_need).flow, minlength=len(wanted))


def ventilate(
    plan: Plan, outside: OutsideAir, fans: FanState, band: Band = TYPICAL, temp_inside: np.ndarray | None = None
) -> Ventilation:
    """Solve the air through the house for the substeps in which a fan turns.

    Parameters
    ----------
    plan : Plan
        The plan.
    outside : OutsideAir
        One value a step.
    fans : FanState
        What they do at each substep.
    band : Band
        How strong they are.
    temp_inside : array, shape (steps,), optional
        Of the house; by default as `assumed_inside` has it. [degC]

    Returns
    -------
    Ventilation
        One value a substep.
    """
    flow, fan_flow = np.zeros(fans.step_of.size), np.zeros(fans.running.shape)
    pushed_back, drawn_past = np.zeros((2, *fans.running.shape), dtype=bool)
    at = np.flatnonzero(fans.running.any(axis=0))
    if at.size:
        inside = assumed_inside(plan, outside) if temp_inside is None else temp_inside
        running = fans.running[:, at]
        air = AirNetwork(plan, outside, band).flows(inside, fans.step_of[at], fans.voltage[:, at], running)
        inward = np.array([fan.blows_in for fan in plan.record.fan])
        fan_flow[:, at] = np.where(inward[:, None], -air.flow, air.flow)
        # What one fan blows in another may blow out: it is the same air.
        flow[at] = np.maximum(fan_flow[~inward][:, at].sum(axis=0), fan_flow[inward][:, at].sum(axis=0)).clip(0.0)
        pushed_back[:, at], drawn_past[:, at] = (air.curve_left > 0) & running, (air.curve_left < 0) & running
    return Ventilation(flow, fan_flow, pushed_back, drawn_past)
