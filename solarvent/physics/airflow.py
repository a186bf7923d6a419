"""Air through a house: openings, screens, wind, and the inside pressure at which all flows balance.

An *effective area* is discharge coefficient times free area. A flow is positive where it leaves the house.
Pressures are static gauge pressures against still outside air at the same height.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import DomainError, Problem

Array = NDArray[np.float64]

RATING_DENSITY = 1.2
_HALF_DENSITY = RATING_DENSITY / 2
# Below this the square root is made straight, so that its slope stays finite where a flow turns. [Pa]
_STRAIGHT_BELOW = 1e-6
_BALANCED = 1e-11  # [m3/s]


def orifice_flow(
    pressure: ArrayLike, area: ArrayLike, discharge_coefficient: ArrayLike = 0.6, density: ArrayLike = 1.2
) -> Array | float:
    """Flow through a sharp-edged opening: ``Q = Cd A sqrt(2 |p| / density)`` with the sign of the pressure.

    Parameters
    ----------
    pressure : array_like
        Across the opening. [Pa]
    area : array_like
        Free area. [m2]
    discharge_coefficient : array_like, default 0.6
        [-] 0.60-0.65 for a bare sharp opening.
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [m3/s]

    Examples
    --------
    >>> round(float(orifice_flow(5.4, 0.01)), 4)
    0.018

    References
    ----------
    ASHRAE Handbook, Fundamentals, chapter Ventilation and Infiltration (from memory): Cd 0.65.
    """
    pressure = np.asarray(pressure, dtype=float)
    velocity = np.sqrt(2.0 * np.abs(pressure) / np.asarray(density, dtype=float))
    return (np.asarray(discharge_coefficient) * np.asarray(area) * np.sign(pressure) * velocity)[()]


def orifice_pressure(
    flow: ArrayLike, area: ArrayLike, discharge_coefficient: ArrayLike = 0.6, density: ArrayLike = 1.2
) -> Array | float:
    """Pressure that drives a flow through a sharp-edged opening; the inverse of `orifice_flow`.

    ``p = density / 2 (Q / (Cd A)) ** 2`` with the sign of the flow; in air of 1.2 kg/m3 the factor is 0.6.

    Parameters
    ----------
    flow : array_like
        [m3/s]
    area : array_like
        Free area. [m2] Through no area nothing flows: NaN.
    discharge_coefficient : array_like, default 0.6
        [-]
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

    Examples
    --------
    >>> round(float(orifice_pressure(0.018, 0.01)), 2)
    5.4
    """
    flow = np.asarray(flow, dtype=float)
    through = np.asarray(discharge_coefficient, dtype=float) * np.asarray(area, dtype=float)
    velocity = np.divide(flow, through, out=np.full(np.broadcast(flow, through).shape, np.nan), where=through > 0)
    return (0.5 * np.asarray(density) * velocity * np.abs(velocity))[()]


def series_area(areas: Sequence[ArrayLike]) -> Array | float:
    """Effective area of openings, screens and louvres that the same air passes one after another.

    ``1 / A**2 = sum(1 / A_i**2)``; the smallest rules, and a shut one shuts the row.

    Parameters
    ----------
    areas : sequence of array_like
        Effective areas. [m2] A screen's is its own discharge coefficient times its whole face.

    Returns
    -------
    float or ndarray
        [m2]

    Raises
    ------
    DomainError
        If there is no area, or one is below zero.

    Examples
    --------
    >>> round(float(series_area([0.02, 0.02])), 5)
    0.01414

    References
    ----------
    UFC 3-440-06N, Cooling Buildings by Natural Ventilation, appendix C, steps 14-18.
    """
    if not len(areas):
        raise DomainError.single("areas", "is empty", "give at least one area")
    stacked = np.stack(np.broadcast_arrays(*[np.asarray(area, dtype=float) for area in areas]))
    if (stacked < 0).any():
        raise DomainError.single("areas", "holds an area below zero", "write 0 for a shut opening")
    with np.errstate(divide="ignore"):
        return (np.sum(stacked**-2.0, axis=0) ** -0.5)[()]


def screen_pressure(velocity: ArrayLike, discharge_coefficient: ArrayLike, density: ArrayLike = 1.2) -> Array | float:
    """Pressure loss of an insect screen: ``p = density / 2 (v / Cd) ** 2``.

    Parameters
    ----------
    velocity : array_like
        Of the air before the screen, over its whole face. [m/s]
    discharge_coefficient : array_like
        Of the screen over its whole face, measured near that velocity: it falls as the air slows. [-]
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

    Examples
    --------
    >>> round(float(screen_pressure(0.25, 0.207)), 3)
    0.875

    References
    ----------
    López, Molina-Aiz, Valera, Peña 2016, Sensors 16(5):690, doi 10.3390/s16050690.
    """
    return orifice_pressure(velocity, 1.0, discharge_coefficient, density)


def wind_pressure(wind_speed: ArrayLike, pressure_coefficient: ArrayLike, density: ArrayLike = 1.2) -> Array | float:
    """Pressure of the wind on a wall: ``p = Cp density / 2 v ** 2``.

    Parameters
    ----------
    wind_speed : array_like
        At the height of the opening. [m/s]
    pressure_coefficient : array_like
        [-] Above zero on the windward wall, below it on the others.
    density : array_like, default 1.2
        [kg/m3]

    Returns
    -------
    float or ndarray
        [Pa]

    Examples
    --------
    >>> round(float(wind_pressure(3.0, 1.0)), 2)
    5.4
    """
    return (0.5 * np.asarray(density) * np.asarray(pressure_coefficient) * np.asarray(wind_speed, dtype=float) ** 2)[()]


def wall_pressure_coefficient(angle: ArrayLike, side_ratio: float = 1.0) -> Array | float:
    """Wind pressure coefficient, averaged over one wall of a low rectangular house.

    The coefficient of the wall is its share of the one in head-on wind, which is taken as 0.6::

        Cp = 0.6 ln(1.248 - 0.703 sin(a/2) - 1.175 sin(a)^2 + 0.131 sin(2 a G)^3
                    + 0.769 cos(a/2) + 0.07 G^2 sin(a/2)^2 + 0.717 cos(a/2)^2),   G = ln(side_ratio)

    For a house that stands free; hedges and neighbours lower it.

    Parameters
    ----------
    angle : array_like
        Between the wind's origin and the outward normal of the wall, either way round. [deg] 0: head-on.
    side_ratio : float, default 1.0
        Length of this wall over that of the wall beside it. [-] Published for 0.25-4; NaN outside.

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> [round(float(wall_pressure_coefficient(angle)), 2) for angle in (0, 90, 180)]
    [0.6, -0.44, -0.36]

    References
    ----------
    Swami, Chandra 1987, Procedures for Calculating Natural Ventilation Airflow Rates in Buildings,
    FSEC-CR-163-86 (coefficients from memory).
    """
    folded = np.radians(180.0 - np.abs(np.asarray(angle, dtype=float) % 360.0 - 180.0))
    log_ratio = np.log(side_ratio) if 0.25 <= side_ratio <= 4.0 else np.nan
    sine, cosine = np.sin(folded / 2), np.cos(folded / 2)
    normalised = np.log(
        1.248
        - 0.703 * sine
        - 1.175 * np.sin(folded) ** 2
        + 0.131 * np.sin(2 * folded * log_ratio) ** 3
        + 0.769 * cosine
        + 0.07 * log_ratio**2 * sine**2
        + 0.717 * cosine**2
    )
    return (0.6 * normalised)[()]


# Exponent [-] and height of the boundary layer [m] over each kind of ground.
_TERRAIN = {"open": (0.14, 270.0), "suburban": (0.22, 370.0), "city": (0.33, 460.0)}


def wind_at_height(
    wind_speed: ArrayLike, height: float, terrain: str = "suburban", station_height: float = 10.0
) -> Array | float:
    """Wind at the height of an opening, from the wind at a weather station in open ground.

    ``v = v_met (d_met / h_met) ** a_met (height / d) ** a`` with exponent a and layer height d of the ground.

    Parameters
    ----------
    wind_speed : array_like
        At the station. [m/s]
    height : float
        Of the opening above ground. [m] Above zero and up to the layer height; NaN outside. Below the tops
        of nearby hedges and roofs the true wind is lower still.
    terrain : {"open", "suburban", "city"}, default "suburban"
        Ground around the house; "suburban" also stands for woodland.
    station_height : float, default 10.0
        Of the station's instrument. [m]

    Returns
    -------
    float or ndarray
        [m/s]

    Raises
    ------
    DomainError
        If the terrain is not one of the three.

    Examples
    --------
    >>> round(float(wind_at_height(5.0, 2.0)), 2)
    2.52

    References
    ----------
    ASHRAE Handbook, Fundamentals, chapter Airflow Around Buildings, table of terrain (from memory).
    """
    if terrain not in _TERRAIN:
        raise DomainError.single("terrain", f'"{terrain}" is not known', f"write one of: {', '.join(_TERRAIN)}")
    exponent, layer = _TERRAIN[terrain]
    open_exponent, open_layer = _TERRAIN["open"]
    factor = np.nan
    if 0 < height <= layer:
        factor = (open_layer / station_height) ** open_exponent * (height / layer) ** exponent
    return (np.asarray(wind_speed, dtype=float) * factor)[()]


def air_changes(flow: ArrayLike, volume: ArrayLike) -> Array | float:
    """Air changes an hour: ``3600 flow / volume``.

    Parameters
    ----------
    flow : array_like
        Fresh air. [m3/s]
    volume : array_like
        Of the house. [m3]

    Returns
    -------
    float or ndarray
        [1/h]

    Examples
    --------
    >>> float(air_changes(0.05, 9.0))
    20.0
    """
    return (3600.0 * np.asarray(flow, dtype=float) / np.asarray(volume, dtype=float))[()]


class PressureFlow(Protocol):
    """A fan's curve at rated speed in air of 1.2 kg/m3: flow [m3/s] rising from 0, pressure [Pa] falling."""

    flow: Array
    pressure: Array


@dataclass(frozen=True, eq=False)
class Outlet:
    """What stands in a fan's own opening: a grille, hood or screen, or a louvre with hanging blades.

    Blades that hang stay shut until their opening pressure, then float at it, and give the full area only
    where the flow through that area holds them up by itself. They shut against air that runs back.

    Attributes
    ----------
    effective_area : float
        Full open. [m2] Above zero.
    opening_pressure : float
        Of hanging blades, typically 5-15 Pa. [Pa] 0: no blades.
    leakage_area : float
        Effective area past shut blades. [m2] Below `effective_area`; only with blades.
    """

    effective_area: float
    opening_pressure: float = 0.0
    leakage_area: float = 0.0


@dataclass(frozen=True, eq=False)
class FanPath:
    """A fan in the wall with its opening, for all steps.

    Attributes
    ----------
    curve : PressureFlow
        At rated speed.
    hole_area : float
        Effective area of the swept annulus, through which air runs while the fan stands. [m2] Above zero.
    speed_ratio : array_like
        (steps,) Speed over rated speed. [-]
    running : array_like of bool
        (steps,) Whether it turns.
    outlet : Outlet or None
        In line with the fan.
    wind_pressure : array_like
        (steps,) Outside the fan. [Pa]
    blows_in : bool
        Mounted to push air into the house.
    """

    curve: PressureFlow
    hole_area: float
    speed_ratio: ArrayLike = 1.0
    running: ArrayLike = True
    outlet: Outlet | None = None
    wind_pressure: ArrayLike = 0.0
    blows_in: bool = False


@dataclass(frozen=True, eq=False)
class Opening:
    """An inlet, vent or gap without a fan.

    Attributes
    ----------
    effective_area : array_like
        (steps,) or one value; with a screen: `series_area` of both. [m2] 0: shut.
    wind_pressure : array_like
        (steps,) Outside the opening. [Pa]
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
    inflow : ndarray
        (steps,) Fresh air: what comes in through openings and leaks and from turning fans that blow in. Air
        that runs back through a fan in the outgoing sense is not counted, for it leaves beside it. [m3/s]
    inside_pressure : ndarray
        (steps,) [Pa]
    curve_left : ndarray of int
        (fans, steps) 0: on its curve, or it stands; 1: above shut-off, wind or other fans push air back
        through it; -1: past the last point of the curve, wind draws more than it blows.
    """

    flow: Array
    inlet_flow: Array
    leakage_flow: Array
    inflow: Array
    inside_pressure: Array
    curve_left: NDArray[np.int8]


def house_flow(
    fans: Sequence[FanPath],
    inlets: Sequence[Opening],
    leakage_area: float = 0.0,
    leakage_pressure: ArrayLike = 0.0,
    density: ArrayLike = RATING_DENSITY,
) -> HouseFlow:
    """Solve the inside pressure of every step at which the air that enters is the air that leaves.

    Each fan is its curve, moved by the similarity laws, in line with its outlet; a standing fan is its hole.
    All other openings follow the orifice law. The sum of the flows rises with the inside pressure, so there
    is one answer; it is bracketed and solved for all steps at once by Ridders' method.

    A turning fan that is pushed off its curve is not extrapolated along it: past either end it passes what
    its hole passes at the pressure beyond that end, which also joins it smoothly to the standing fan (common
    practice, no source). Such steps carry a flag in `curve_left`; a report must say so where it shows them.

    Parameters
    ----------
    fans : sequence of FanPath
    inlets : sequence of Opening
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
    >>> from solarvent.physics.fan import FanCurve
    >>> fan = FanPath(FanCurve.from_two_points(194 / 3600, 85.0), hole_area=0.005)
    >>> air = house_flow([fan], [Opening(0.6 * 0.01131 / 2)])
    >>> round(float(air.flow[0, 0]) * 3600)
    116

    References
    ----------
    Flow network with one zone: ASHRAE Handbook, Fundamentals, chapter Ventilation and Infiltration (from
    memory). Ridders 1979, IEEE Trans. Circuits Syst. 26(11):979-980.
    """
    _check(fans, inlets, leakage_area)
    openings = [*inlets, Opening(leakage_area, leakage_pressure)]
    steps = np.broadcast_shapes(
        (1,),
        np.shape(density),
        *(np.shape(value) for fan in fans for value in (fan.speed_ratio, fan.running, fan.wind_pressure)),
        *(np.shape(value) for opening in openings for value in (opening.effective_area, opening.wind_pressure)),
    )
    # Divided by the relative density, every pressure obeys the laws of rating air.
    relative_density = np.broadcast_to(np.asarray(density, dtype=float), steps) / RATING_DENSITY
    paths = [_Path(fan, relative_density) for fan in fans]
    area = np.stack([np.broadcast_to(np.asarray(one.effective_area, float), steps) for one in openings])
    wind = np.stack([np.asarray(one.wind_pressure, float) / relative_density for one in openings])

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
    inflow = np.maximum(-through, 0.0).sum(axis=0)
    for index, path in enumerate(paths):
        flow[index] = path.outflow(pressure, every)
        curve_left[index] = path.curve_left(flow[index])
        if path.sense < 0:
            inflow += np.where(path.ratio > 0, np.maximum(-flow[index], 0.0), 0.0)
    return HouseFlow(flow, through[:-1], through[-1], inflow, pressure * relative_density, curve_left)


def _check(fans: Sequence[FanPath], inlets: Sequence[Opening], leakage_area: float) -> None:
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
        self.ratio = np.where(turning & ~(speed <= 0), speed, 0.0)
        self.wind = np.asarray(fan.wind_pressure, dtype=float) / relative_density
        self.sense = -1.0 if fan.blows_in else 1.0
        self.still = self.wind - self.sense * self.ratio**2 * fan.curve.pressure[0]
        self.end_flow = fan.curve.flow[-1]
        outlet = fan.outlet
        self.clear = _Branch(fan.curve, fan.hole_area, outlet.effective_area if outlet else np.inf)
        self.blades = None
        if outlet and outlet.opening_pressure > 0:
            self.blades = outlet.opening_pressure / relative_density
            self.floating = _Branch(fan.curve, fan.hole_area, np.inf)
            self.leaking = _Branch(fan.curve, fan.hole_area, outlet.leakage_area) if outlet.leakage_area > 0 else None

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
        slack = 1e-9 * self.end_flow
        beyond = along > self.ratio * self.end_flow + slack
        return np.where(self.ratio > 0, 1 * (along < -slack) - 1 * beyond, 0).astype(np.int8)


class _Branch:
    """A fan in line with a plain opening: the flow against a pressure, with what lies past both ends."""

    def __init__(self, curve: PressureFlow, hole_area: float, outlet_area: float) -> None:
        # Even steps in the logarithm keep the quadratic loss of even a tiny outlet within 1e-4.
        fine = curve.flow[-1] * np.geomspace(1e-6, 1.0, 600)
        knots = np.union1d(curve.flow, fine) if np.isfinite(outlet_area) else curve.flow
        net = np.interp(knots, curve.flow, curve.pressure) - _HALF_DENSITY * (knots / outlet_area) ** 2
        self.net, self.knots = net[::-1].copy(), knots[::-1].copy()
        self.hole_loss, self.outlet_loss = hole_area**-2.0, outlet_area**-2.0
        self.both = (self.hole_loss + self.outlet_loss) ** -0.5
        self.end_flow, self.end_pressure = curve.flow[-1], curve.pressure[-1]

    def flow(self, against: Array, ratio: Array) -> Array:
        """Flow in the sense of the fan, at a speed ratio. [m3/s]"""
        head = ratio**2
        flow = ratio * np.interp(against / np.where(head > 0, head, 1.0), self.net, self.knots)
        flow -= self.both * _signed_root(np.maximum(against - head * self.net[-1], 0.0))
        beyond = np.flatnonzero(against < head * self.net[0])
        if beyond.size:
            end = ratio[beyond] * self.end_flow
            drive = (head[beyond] * self.end_pressure - against[beyond]) / _HALF_DENSITY
            total = self.hole_loss + self.outlet_loss
            root = np.sqrt(np.maximum(total * drive - self.hole_loss * self.outlet_loss * end**2, 0.0))
            flow[beyond] = (end * self.hole_loss + root) / total
        return flow


def _balance(outflow: Callable[[Array, NDArray[np.intp]], Array], low: Array, high: Array) -> Array:
    """Find where a rising flow is zero between two pressures, for all steps (Ridders 1979)."""
    every = np.arange(low.size)
    flow_low, flow_high = outflow(low, every), outflow(high, every)
    answer = np.where(np.abs(flow_low) <= np.abs(flow_high), low, high)
    at = np.flatnonzero((flow_low < -_BALANCED) & (flow_high > _BALANCED))
    low, high, flow_low, flow_high = low[at], high[at], flow_low[at], flow_high[at]
    # Each round at least halves the bracket: sixty leave nothing of any pressure.
    for _ in range(60):
        if not at.size:
            break
        middle = 0.5 * (low + high)
        flow_middle = outflow(middle, at)
        guess = middle - (middle - low) * flow_middle / np.sqrt(flow_middle**2 - flow_low * flow_high)
        flow_guess = outflow(guess, at)
        answer[at] = guess
        for pressure, flow in ((middle, flow_middle), (guess, flow_guess)):
            raises, lowers = (flow < 0) & (pressure > low), (flow >= 0) & (pressure < high)
            low, flow_low = np.where(raises, pressure, low), np.where(raises, flow, flow_low)
            high, flow_high = np.where(lowers, pressure, high), np.where(lowers, flow, flow_high)
        narrow = high - low <= 4e-16 * np.maximum(np.abs(low), np.abs(high))
        open_ = (np.abs(flow_guess) > _BALANCED) & ~narrow
        at, low, high = at[open_], low[open_], high[open_]
        flow_low, flow_high = flow_low[open_], flow_high[open_]
    return answer
