"""From turning fans to air: the plan's fans and openings as one flow network, step by step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from solarvent.air import airflow
from solarvent.air.fan import FanCurve, speed_ratio
from solarvent.air.opening import duct_area, series_area
from solarvent.air.wind import wall_pressure_coefficient, wind_pressure
from solarvent.electrical.bands import TYPICAL, Band
from solarvent.plan.parts import Fan
from solarvent.plan.parts import Opening as OpeningPart
from solarvent.plan.plan import Plan
from solarvent.plan.shape import ShapeGeometry, shape_geometry
from solarvent.weather.sky_states import SkyStates

if TYPE_CHECKING:
    import pandas as pd

#: Share of a fan's frame that the blades sweep, without hub and corners (typical).
_SWEPT_SHARE = 0.65
_HOLE_COEFFICIENT = 0.6
#: What shut blades let through, of their open area (typical).
_SHUT_LEAK = 0.03
#: Cracks per area of cover [m2/m2] (typical; in a light wind they give the handbooks' 0.5 to 4 air changes an hour).
_CRACKS = {"tight": 1e-4, "average": 3e-4, "leaky": 8e-4}


@dataclass(frozen=True)
class Ventilation:
    """The air that the fans move, one value a step.

    Attributes
    ----------
    flow : array, shape (steps,)
        Fresh air that the fans pull through the house: the sum of their flows, less what runs back through standing
        or overpowered ones; 0 when none turns or more runs back than is blown out. The cross-draught of the wind
        between the openings comes on top and is not counted. [m3/s]
    fan_flow : array, shape (fans, steps)
        Through each fan, positive the way it should blow; 0 when no fan turns. [m3/s]
    curve_left : array, shape (fans, steps)
        Share of the step in which the fan turns, but is pushed off its curve by wind, louvre or the other fans. [-]
    """

    flow: np.ndarray
    fan_flow: np.ndarray
    curve_left: np.ndarray


def ventilate(
    plan: Plan, weather: pd.DataFrame, fan_voltage: Mapping[str, np.ndarray], running: np.ndarray, band: Band
) -> Ventilation:
    """Solve the air through the house for the steps in which a fan turns.

    Parameters
    ----------
    plan : Plan
        The plan.
    weather : pandas.DataFrame
        With wind_speed and wind_direction, one row a step; where either is missing, the air counts as calm.
    fan_voltage : mapping of str to array, shape (steps,)
        Terminal voltage by fan. [V]
    running : array of bool, shape (fans, steps)
        In the order of the plan's fans.
    band : Band
        How strong the fans are.

    Returns
    -------
    Ventilation
        One value a step.
    """
    steps = running.shape[1]
    flow, fan_flow = np.zeros(steps), np.zeros(running.shape)
    curve_left = np.zeros(running.shape, dtype=bool)
    at = np.flatnonzero(running.any(axis=0))
    if at.size == 0:
        return Ventilation(flow, fan_flow, curve_left)
    known = weather[["wind_speed", "wind_direction"]].notna().all(axis=1).to_numpy()[at]
    wind_speed = np.where(known, weather["wind_speed"].to_numpy()[at], 0.0) * plan.record.place.wind_share
    wind_direction = np.where(known, weather["wind_direction"].to_numpy()[at], 0.0)
    paths = [
        airflow.FanPath(
            fan_curve(fan, band),
            hole_area=hole_area(fan),
            speed_ratio=fan_speed(fan, fan_voltage[fan.id][at]),
            running=running[row, at],
            outlet=fan_outlet(plan, fan),
            wind_pressure=wind_on_wall(wind_speed, wind_direction, fan.wall_azimuth),
        )
        for row, fan in enumerate(plan.record.fan)
    ]
    inlets = [
        airflow.Opening(effective_area(opening), wind_on_wall(wind_speed, wind_direction, opening.wall_azimuth))
        for opening in plan.record.opening
    ]
    air = airflow.house_flow(paths, inlets, leakage_area=leakage_area(plan))
    fan_flow[:, at] = air.flow
    flow[at] = np.maximum(air.flow.sum(axis=0), 0.0)
    curve_left[:, at] = (air.curve_left != 0) & running[:, at]
    return Ventilation(flow, fan_flow, curve_left)


def wind_on_wall(wind_speed: np.ndarray, wind_direction: np.ndarray, wall_azimuth: float | None) -> np.ndarray | float:
    """Wind pressure on a wall [Pa]; a wall whose direction is not given counts as sheltered."""
    if wall_azimuth is None:
        return 0.0
    angle = np.abs((wind_direction - wall_azimuth + 180.0) % 360.0 - 180.0)
    return wind_pressure(wind_speed, wall_pressure_coefficient(angle))


def fan_speed(fan: Fan, voltage: np.ndarray) -> np.ndarray:
    """Speed of a turning fan over its rated speed, by the voltage at its terminals [V]."""
    if fan.speed_controlled:
        return np.where(voltage >= fan.stop_voltage, 1.0, 0.0)
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


def highest_pressure(fan: Fan, voltage: np.ndarray) -> np.ndarray:
    """Pressure that a fan makes at a voltage [V] while it moves no air. [Pa]"""
    return np.asarray(fan_curve(fan, TYPICAL).pressure[0] * fan_speed(fan, voltage) ** 2)


def hole_area(fan: Fan) -> float:
    """Effective area of the hole that a standing fan leaves. [m2]"""
    return _HOLE_COEFFICIENT * _SWEPT_SHARE * fan.size**2


def fan_outlet(plan: Plan, fan: Fan) -> airflow.Outlet:
    """Describe what the air passes behind a fan: a duct, if it has one, and the opening in the wall."""
    opening = plan.opening(fan.outlet_opening)
    area = opening.discharge_coefficient * opening.free_share * pi / 4 * fan.size**2
    if fan.duct_length or fan.duct_bends:
        area = float(series_area([area, duct_area(fan.size, fan.duct_length, fan.duct_bends)]))
    return airflow.Outlet(area, opening.opening_pressure, _SHUT_LEAK * area if opening.opening_pressure else 0.0)


def effective_area(opening: OpeningPart) -> float:
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


def leakage_area(plan: Plan) -> float:
    """Effective area of all cracks. [m2]"""
    return _CRACKS[plan.record.house.tightness] * geometry(plan).cover_area


def air_over_steps(air: Ventilation, sky_states: SkyStates) -> Ventilation:
    """Average the air of each moment over the steps."""
    if sky_states.whole:
        return replace(air, curve_left=air.curve_left.astype(float))
    return Ventilation(*(sky_states.mean(getattr(air, field.name)) for field in fields(air)))
