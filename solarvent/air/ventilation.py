"""The figures of a plan's fans, openings and cracks that its flow network is made of, and the size of its house."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike

from solarvent.air.airflow import Outlet
from solarvent.air.fan import FanCurve, speed_ratio
from solarvent.air.opening import duct_area, series_area
from solarvent.electrical.panel_model import TYPICAL, Band
from solarvent.plan.house_records import Opening
from solarvent.plan.parts import Fan
from solarvent.plan.plan import Plan
from solarvent.plan.shape import ShapeGeometry, shape_geometry

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
    found = house.measured
    if found is not None and found.leakage_factor is not None:
        low, high = (usual * factor for factor in found.leakage_range or [found.leakage_factor] * 2)
        usual *= found.leakage_factor
    return (low, usual, high)[1 + band.sign] * geometry(plan).cover_area
