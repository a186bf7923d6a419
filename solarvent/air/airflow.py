"""Air through a house: the inside pressure at which the flows of fans, openings and cracks balance.

An *effective area* is discharge coefficient times free area. A flow is positive where it leaves the house.
Pressures are static gauge pressures against still outside air at the same height.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.air.fan import FanCurve
from solarvent.base.constants import AIR_DENSITY
from solarvent.base.errors import DomainError, Problem

Array = NDArray[np.float64]

_HALF_DENSITY = AIR_DENSITY / 2
# Below this the square root is made straight, so that its slope stays finite where a flow turns. [Pa]
_STRAIGHT_BELOW = 1e-6
_BALANCED = 1e-11  # [m3/s]


def air_changes(flow: ArrayLike, volume: ArrayLike) -> Array | float:
    """Air changes an hour [1/h] of fresh air [m3/s] through a house [m3]: ``3600 flow / volume``.

    Examples
    --------
    >>> float(air_changes(0.05, 9.0))
    20.0
    """
    return (3600.0 * np.asarray(flow, dtype=float) / np.asarray(volume, dtype=float))[()]


@dataclass(frozen=True, eq=False)
class Outlet:
    """What stands in a fan's own opening: a grille, hood or screen, or a louvre with hanging blades.

    Blades that hang stay shut until their opening pressure (typically 5-15 Pa; 0: no blades), then float at it, and
    give the full effective area [m2] only where the flow through that area holds them up by itself. They shut against
    air that runs back; past them is only the leakage area [m2].
    """

    effective_area: float
    opening_pressure: float = 0.0
    leakage_area: float = 0.0


@dataclass(frozen=True, eq=False)
class FanPath:
    """A fan in the wall with its opening, for all steps: what is an array is of shape (steps,).

    Through `hole_area`, the effective area of the swept annulus [m2], air runs while the fan stands. The outlet is in
    line with the fan, the wind pressure is outside of it [Pa]; the speed ratio is that over rated speed, at which the
    curve holds.
    """

    curve: FanCurve
    hole_area: float
    speed_ratio: ArrayLike = 1.0
    running: ArrayLike = True
    outlet: Outlet | None = None
    wind_pressure: ArrayLike = 0.0
    blows_in: bool = False


@dataclass(frozen=True, eq=False)
class OpeningPath:
    """An inlet, vent or gap without a fan: effective area [m2] and wind pressure outside [Pa], shape (steps,).

    An area of 0 is shut; with a screen it is that of both in a row.
    """

    effective_area: ArrayLike
    wind_pressure: ArrayLike = 0.0


@dataclass(frozen=True, eq=False)
class HouseFlow:
    """The air through a house, step by step. Flows are positive where they leave it.

    Attributes
    ----------
    flow : ndarray
        (fans, steps) Through each fan. [m3/s]
    inlet_flow : ndarray
        (inlets, steps) Through each opening. [m3/s]
    leakage_flow : ndarray
        (steps,) [m3/s]
    inside_pressure : ndarray
        (steps,) [Pa]
    curve_left : ndarray of int
        (fans, steps) 0: on its curve, or it stands; 1: above shut-off, wind or other fans push air back
        through it; -1: past the last point of the curve, wind draws more than it blows.
    """

    flow: Array
    inlet_flow: Array
    leakage_flow: Array
    inside_pressure: Array
    curve_left: NDArray[np.int8]

    @property
    def inflow(self) -> Array:
        """All fresh air, by whatever way it comes in; as much leaves. (steps,) [m3/s]"""
        return sum(np.maximum(-each, 0.0).sum(axis=0) for each in (self.flow, self.inlet_flow, self.leakage_flow[None]))


def house_flow(
    fans: Sequence[FanPath],
    inlets: Sequence[OpeningPath],
    leakage_area: float = 0.0,
    leakage_pressure: ArrayLike = 0.0,
    density: ArrayLike = AIR_DENSITY,
) -> HouseFlow:
    """Solve the inside pressure of every step at which the air that enters is the air that leaves.

    Each fan is its curve, moved by the similarity laws, in line with its outlet; a standing fan is its hole.
    All other openings follow the orifice law. The sum of the flows rises with the inside pressure, so there
    is one answer; it is bracketed and solved for all steps at once by Chandrupatla's method.

    A turning fan that is pushed off its curve is not extrapolated along it: past either end it passes what
    its hole passes at the pressure beyond that end, which also joins it smoothly to the standing fan (common
    practice, no source). Such steps carry a flag in `curve_left`; a report must say so where it shows them.

    Parameters
    ----------
    fans : sequence of FanPath
    inlets : sequence of OpeningPath
    leakage_area : float, default 0.0
        Effective area of all cracks together. [m2]
    leakage_pressure : array_like, default 0.0
        (steps,) Wind pressure outside the cracks, on average. [Pa]
    density : array_like, default 1.2
        (steps,) or one value. [kg/m3]

    Returns
    -------
    HouseFlow
        A step with NaN in any input is NaN.

    Raises
    ------
    DomainError
        If there is neither fan nor opening, or an area or a pressure of blades has no meaning.

    Examples
    --------
    >>> fan = FanPath(FanCurve.from_two_points(194 / 3600, 85.0), hole_area=0.005)
    >>> air = house_flow([fan], [OpeningPath(0.6 * 0.01131 / 2)])
    >>> round(float(air.flow[0, 0]) * 3600)
    116

    References
    ----------
    Flow network with one zone: ASHRAE Handbook, Fundamentals, chapter Ventilation and Infiltration (from
    memory). T. R. Chandrupatla 1997, Advances in Engineering Software 28, 145-149 (from memory).
    """
    _check(fans, inlets, leakage_area)
    openings = [*inlets, OpeningPath(leakage_area, leakage_pressure)]
    steps = np.broadcast_shapes(
        (1,),
        np.shape(density),
        *(np.shape(value) for fan in fans for value in (fan.speed_ratio, fan.running, fan.wind_pressure)),
        *(np.shape(value) for opening in openings for value in (opening.effective_area, opening.wind_pressure)),
    )
    # Divided by the relative density, every pressure obeys the laws of rating air.
    relative_density = np.broadcast_to(np.asarray(density, dtype=float), steps) / AIR_DENSITY
    paths = [_Path(fan, relative_density) for fan in fans]
    area = np.stack([np.broadcast_to(np.asarray(opening.effective_area, float), steps) for opening in openings])
    wind = np.stack([np.asarray(opening.wind_pressure, float) / relative_density for opening in openings])

    def outflow(pressure: Array, at: NDArray[np.intp]) -> Array:
        total = np.sum(area[:, at] * _signed_root(pressure - wind[:, at]), axis=0)
        for path in paths:
            total += path.outflow(pressure, at)
        return total

    # Each opening passes nothing at a pressure of its own; the answer lies between the lowest and the highest.
    still = np.vstack([wind, *(path.still for path in paths)])
    pressure = _balance(outflow, still.min(axis=0), still.max(axis=0))

    every = np.arange(pressure.size)
    through = area * _signed_root(pressure - wind)
    flow = np.empty((len(paths), pressure.size))
    curve_left = np.zeros(flow.shape, dtype=np.int8)
    for index, path in enumerate(paths):
        flow[index] = path.outflow(pressure, every)
        curve_left[index] = path.curve_left(flow[index])
    return HouseFlow(flow, through[:-1], through[-1], pressure * relative_density, curve_left)


def _check(fans: Sequence[FanPath], inlets: Sequence[OpeningPath], leakage_area: float) -> None:
    """Refuse areas and blades without meaning, all at once."""
    problems = []
    if not fans and not inlets:
        problems.append(Problem("house", "has neither a fan nor an opening", "give at least one"))
    for index, opening in enumerate(inlets):
        if (np.asarray(opening.effective_area) < 0).any():
            problems.append(Problem(f"inlets[{index}]", "has an area below zero", "write 0 for a shut one"))
    if leakage_area < 0:
        problems.append(Problem("leakage_area", "is below zero", "write 0 for a tight house"))
    for index, fan in enumerate(fans):
        if not fan.hole_area > 0:
            problems.append(Problem(f"fans[{index}]", "has no hole", "give Cd times its swept annulus"))
        outlet = fan.outlet
        if outlet is None:
            continue
        if not outlet.effective_area > 0 or outlet.opening_pressure < 0:
            problems.append(Problem(f"fans[{index}]", "its outlet is shut for good", "give its open area and blades"))
        elif not 0 <= outlet.leakage_area < outlet.effective_area:
            problems.append(Problem(f"fans[{index}]", "its blades leak more than the open outlet", "give less"))
    if problems:
        raise DomainError(problems)


def _signed_root(pressure: Array) -> Array:
    """Velocity of rating air through an opening without loss, with the sign of the pressure. [m/s]"""
    return pressure / np.sqrt(_HALF_DENSITY * np.maximum(np.abs(pressure), _STRAIGHT_BELOW))


class _Path:
    """One fan with its opening, prepared for all steps; pressures are those of rating air."""

    def __init__(self, fan: FanPath, relative_density: Array) -> None:
        shape = relative_density.shape
        turning = np.broadcast_to(np.asarray(fan.running, dtype=bool), shape)
        speed = np.broadcast_to(np.asarray(fan.speed_ratio, dtype=float), shape)
        # Written so that a missing speed of a turning fan stays missing.
        # A millionth of its speed is standing still, and its square would leave the range of numbers.
        self.ratio = np.where(turning & ~(speed <= 1e-6), speed, 0.0)
        self.wind = np.asarray(fan.wind_pressure, dtype=float) / relative_density
        self.sense = -1.0 if fan.blows_in else 1.0
        self.still = self.wind - self.sense * self.ratio**2 * fan.curve.pressure[0]
        self.end_flow = fan.curve.flow[-1]
        outlet = fan.outlet
        self.clear = _branch(fan.curve, fan.hole_area, outlet.effective_area if outlet else np.inf)
        self.blades = None
        if outlet and outlet.opening_pressure > 0:
            self.blades = outlet.opening_pressure / relative_density
            self.floating = _branch(fan.curve, fan.hole_area, np.inf)
            self.leaking = _branch(fan.curve, fan.hole_area, outlet.leakage_area) if outlet.leakage_area > 0 else None

    def outflow(self, pressure: Array, at: NDArray[np.intp]) -> Array:
        """Flow that leaves the house here at an inside pressure. [m3/s]"""
        against = self.sense * (self.wind[at] - pressure)
        ratio = self.ratio[at]
        flow = self.clear.flow(against, ratio)
        if self.blades is not None:
            # The pressure lost by blades is the least of: leaking past them, or the more of floating and open.
            flow = np.minimum(flow, self.floating.flow(against + self.blades[at], ratio))
            flow = np.maximum(flow, self.leaking.flow(against, ratio) if self.leaking else 0.0)
        return self.sense * flow

    def curve_left(self, outflow: Array) -> NDArray[np.int8]:
        """Say at which end the turning fan has left its curve: 1 pushed back, -1 drawn past it, 0 neither."""
        along = self.sense * outflow
        # The last digits of a flow at the very end of the curve do not leave it.
        slack = 1e-9 * self.end_flow
        beyond = along > self.ratio * self.end_flow + slack
        return np.where(self.ratio > 0, 1 * (along < -slack) - 1 * beyond, 0).astype(np.int8)


class _Branch:
    """A fan in line with a plain opening: the flow against a pressure, with what lies past both ends."""

    def __init__(self, curve: FanCurve, hole_area: float, outlet_area: float) -> None:
        # Even steps in the logarithm keep the quadratic loss of even a tiny outlet within 1e-4.
        fine = curve.flow[-1] * np.geomspace(1e-6, 1.0, 600)
        knots = np.union1d(curve.flow, fine) if np.isfinite(outlet_area) else curve.flow
        net = np.interp(knots, curve.flow, curve.pressure) - _HALF_DENSITY * (knots / outlet_area) ** 2
        self.net, self.knots = net[::-1].copy(), knots[::-1].copy()
        # Of openings in a row the losses add up, each as the inverse square of its area.
        self.hole_loss, self.outlet_loss = hole_area**-2.0, outlet_area**-2.0
        self.both = (self.hole_loss + self.outlet_loss) ** -0.5
        self.end_flow, self.end_pressure = curve.flow[-1], curve.pressure[-1]

    def flow(self, against: Array, ratio: Array) -> Array:
        """Flow in the sense of the fan, at a speed ratio. [m3/s]"""
        head = ratio**2
        flow, turning = np.zeros(against.shape), np.flatnonzero(ratio)
        flow[turning] = ratio[turning] * np.interp(against[turning] / head[turning], self.net, self.knots)
        # Pushed back: above its shut-off pressure the fan is a hole in a row with its outlet.
        flow -= self.both * _signed_root(np.maximum(against - head * self.net[-1], 0.0))
        beyond = np.flatnonzero(against < head * self.net[0])
        if beyond.size:
            # Drawn past: the outlet passes the whole flow, the hole what exceeds the end of the curve; their losses are
            # the drive, a quadratic equation in the flow.
            end = ratio[beyond] * self.end_flow
            drive = (head[beyond] * self.end_pressure - against[beyond]) / _HALF_DENSITY
            total = self.hole_loss + self.outlet_loss
            root = np.sqrt(np.maximum(total * drive - self.hole_loss * self.outlet_loss * end**2, 0.0))
            flow[beyond] = (end * self.hole_loss + root) / total
        return flow


@lru_cache(maxsize=64)
def _branch(curve: FanCurve, hole_area: float, outlet_area: float) -> _Branch:
    """The branch of a fan and its opening, made once for all sweeps of a house."""
    return _Branch(curve, hole_area, outlet_area)


def _balance(outflow: Callable[[Array, NDArray[np.intp]], Array], low: Array, high: Array) -> Array:
    """Find where a rising flow is zero between two pressures, for all steps (Chandrupatla 1997)."""
    every = np.arange(low.size)
    flow_low, flow_high = outflow(low, every), outflow(high, every)
    answer = np.where(np.abs(flow_low) <= np.abs(flow_high), low, high)
    at = np.flatnonzero((flow_low < -_BALANCED) & (flow_high > _BALANCED))
    # The newest point, and the one on the other side of the answer.
    new, other, flow_new, flow_other = low[at], high[at], flow_low[at], flow_high[at]
    # Of flow through openings the square goes with the pressure.
    square_new, square_other = flow_new * np.abs(flow_new), flow_other * np.abs(flow_other)
    part = np.clip(square_new / (square_new - square_other), 0.001, 0.999)
    # Mostly every round gains digits, at the worst every second one halves the bracket.
    for _ in range(120):
        if not at.size:
            break
        pressure = new + part * (other - new)
        answer[at] = pressure
        flow = outflow(pressure, at)
        same_side = (flow < 0) == (flow_new < 0)
        left, flow_left = np.where(same_side, new, other), np.where(same_side, flow_new, flow_other)
        other, flow_other = np.where(same_side, other, new), np.where(same_side, flow_other, flow_new)
        # A step below the spacing of numbers would stand still.
        least = 2e-16 * np.abs(pressure) / np.maximum(np.abs(other - pressure), 1e-300)
        go = (np.abs(flow) > _BALANCED) & (least < 0.5)
        # Steps that are done drop out.
        at, new, other, left = at[go], pressure[go], other[go], left[go]
        flow_new, flow_other, flow_left, least = flow[go], flow_other[go], flow_left[go], least[go]
        part = np.clip(_next_part(new, other, left, flow_new, flow_other, flow_left), least, 1 - least)
    return answer


def _next_part(new: Array, other: Array, left: Array, flow_new: Array, flow_other: Array, flow_left: Array) -> Array:
    """Where to look next between two pressures, as a share of the way: by the parabola through three points where it
    can be trusted, else in the middle."""
    run, rise = (new - other) / (left - other), (flow_new - flow_other) / (flow_left - flow_other)
    # Chandrupatla's test: only there does the parabola, with pressure as a function of flow, rise all the way.
    trusted = (rise**2 < run) & ((1 - rise) ** 2 < 1 - run) & (flow_left != flow_new)
    near = np.divide(flow_new * flow_left, (flow_other - flow_new) * (flow_other - flow_left), where=trusted, out=run)
    far = np.divide(flow_new * flow_other, (flow_left - flow_new) * (flow_left - flow_other), where=trusted, out=rise)
    return np.where(trusted, near + (left - new) / (other - new) * far, 0.5)
