"""A small DC fan: what it draws turning and held, how fast it turns, and its pressure-flow curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.domain import require_positive
from solarvent.base.errors import DomainError

# Enough that straight lines between the points stay within 1e-5 of the shut-off pressure from the parabola.
_TYPICAL_POINTS = 201


def speed_ratio(voltage: ArrayLike, rated_voltage: float, speed_exponent: float = 1.0) -> NDArray[np.float64] | float:
    """Speed of a turning fan as a share of its rated speed.

    ``n / n_rated = (voltage / rated_voltage) ** speed_exponent``. The voltage tables of data sheets give
    exponents of 0.77-1.34.

    Parameters
    ----------
    voltage : array_like
        At the terminals of a fan that turns. [V] At or below zero the ratio is 0.
    rated_voltage : float
        [V] Above zero.
    speed_exponent : float, default 1.0
        [-] Above zero.

    Returns
    -------
    float or ndarray
        In the shape of `voltage`. [-]

    Raises
    ------
    DomainError
        If the rated voltage or the exponent is not above zero.

    Examples
    --------
    >>> round(float(speed_ratio(9.0, 12.0)), 3)
    0.75
    """
    require_positive(rated_voltage=rated_voltage, speed_exponent=speed_exponent)
    return ((np.maximum(np.asarray(voltage, dtype=float), 0.0) / rated_voltage) ** speed_exponent)[()]


def shaft_scaling(ratio: ArrayLike, density_ratio: ArrayLike = 1.0) -> tuple[NDArray[np.float64], ...]:
    """Similarity (affinity) laws of a fan: how flow, pressure and shaft power go with speed and air density.

    Flow goes with the speed, pressure with its square, shaft power with its cube; pressure and power also
    go with the density, the flow does not. They hold for one fan on one system of openings without wind.

    Parameters
    ----------
    ratio : array_like
        Speed over rated speed. [-]
    density_ratio : array_like, default 1.0
        Air density over that of the rating, 1.2 kg/m3. [-]

    Returns
    -------
    tuple of float or ndarray
        Factors for flow, pressure and shaft power. [-]

    Examples
    --------
    >>> [round(float(factor), 3) for factor in shaft_scaling(1.1)]
    [1.1, 1.21, 1.331]

    References
    ----------
    The fan laws of ASHRAE Handbook, HVAC Systems and Equipment, chapter Fans (from memory); rating air of
    1.2 kg/m3: AMCA 210 and ISO 5801 (from memory).
    """
    speed = np.asarray(ratio, dtype=float)
    density = np.asarray(density_ratio, dtype=float)
    return speed[()], (speed**2 * density)[()], (speed**3 * density)[()]


@dataclass(frozen=True, eq=False)
class FanCurve:
    """Static pressure against flow of a fan at rated speed and 1.2 kg/m3.

    Between the points the curve is straight. The dip that an axial fan shows near 40-60 % of its free-air
    flow must be left out: with it one pressure would belong to several flows.

    Parameters
    ----------
    flow : array_like
        (k,) Ascending from 0. [m3/s]
    pressure : array_like
        (k,) Descending, the first above zero (shut-off), the last at or above zero. [Pa]
    measured : bool
        Points of a data sheet or a test, not a typical shape.

    Raises
    ------
    DomainError
        If there are fewer than two points, or they are not as above.

    Examples
    --------
    >>> curve = FanCurve([0.0, 0.02, 0.03], [20.0, 12.0, 0.0], measured=True)
    >>> float(curve.flow_at(12.0))
    0.02
    """

    flow: NDArray[np.float64]
    pressure: NDArray[np.float64]
    measured: bool

    def __post_init__(self) -> None:
        """Check the points and make them read-only."""
        flow = np.array(self.flow, dtype=float)
        pressure = np.array(self.pressure, dtype=float)
        if flow.ndim != 1 or flow.shape != pressure.shape or flow.size < 2:
            raise DomainError.single(
                "fan curve",
                f"has {flow.size} flows and {pressure.size} pressures",
                "give two or more points, each a flow and a pressure",
            )
        if not (np.isfinite(flow).all() and np.isfinite(pressure).all()):
            raise DomainError.single("fan curve", "has a point that is not a number", "leave that point out")
        if flow[0] != 0 or not (np.diff(flow) > 0).all():
            raise DomainError.single(
                "fan curve", "its flows do not rise from 0", "start at the shut-off pressure, where flow is 0"
            )
        if not (np.diff(pressure) < 0).all() or pressure[-1] < 0:
            raise DomainError.single(
                "fan curve",
                "its pressures do not fall steadily to 0 or above",
                "leave out the points of the stall dip, and those below zero",
            )
        flow.setflags(write=False)
        pressure.setflags(write=False)
        object.__setattr__(self, "flow", flow)
        object.__setattr__(self, "pressure", pressure)

    @classmethod
    def from_two_points(cls, free_air_flow: float, shutoff_pressure: float) -> FanCurve:
        """Make a typical curve from the two figures that every seller prints.

        ``pressure = shutoff_pressure (1 - (flow / free_air_flow) ** 2)``: common practice, no source. A real
        axial fan sags below it near half flow.

        Parameters
        ----------
        free_air_flow : float
            [m3/s] Above zero.
        shutoff_pressure : float
            [Pa] Above zero.

        Returns
        -------
        FanCurve

        Raises
        ------
        DomainError
            If a value is not above zero.

        Examples
        --------
        >>> curve = FanCurve.from_two_points(0.0539, 85.0)
        >>> round(float(curve.flow_at(85.0 * 0.75)), 5)
        0.02695
        """
        require_positive(free_air_flow=free_air_flow, shutoff_pressure=shutoff_pressure)
        share = np.linspace(0.0, 1.0, _TYPICAL_POINTS)
        return cls(free_air_flow * share, shutoff_pressure * (1.0 - share**2), measured=False)

    def flow_at(
        self, pressure: ArrayLike, speed_ratio: ArrayLike = 1.0, density_ratio: ArrayLike = 1.0
    ) -> NDArray[np.float64] | float:
        """Flow against a static pressure at any speed, by the similarity laws.

        Parameters
        ----------
        pressure : array_like
            Static pressure that the fan works against. [Pa]
        speed_ratio : array_like, default 1.0
            Speed over rated speed. [-] At or below zero there is no curve: NaN.
        density_ratio : array_like, default 1.0
            Air density over 1.2 kg/m3. [-]

        Returns
        -------
        float or ndarray
            [m3/s], in the common shape of the arguments. NaN above the shut-off pressure of that speed and
            below the last point of the curve: never extrapolated.

        Examples
        --------
        >>> curve = FanCurve.from_two_points(0.05, 40.0)
        >>> float(curve.flow_at(0.0, 0.5)), float(curve.flow_at(10.1, 0.5))
        (0.025, nan)
        """
        flow_factor, pressure_factor, _ = shaft_scaling(speed_ratio, density_ratio)
        pressure, flow_factor, pressure_factor = np.broadcast_arrays(
            np.asarray(pressure, dtype=float), flow_factor, pressure_factor
        )
        turning = (flow_factor > 0) & (pressure_factor > 0)
        at_rated = np.full(pressure.shape, np.nan)
        np.divide(pressure, pressure_factor, out=at_rated, where=turning)
        # The ends of the curve belong to it; scaling there and back must not push them out by a last digit.
        for end in (self.pressure[0], self.pressure[-1]):
            at_rated = np.where(np.isclose(at_rated, end, rtol=1e-12, atol=0.0), end, at_rated)
        flow = np.interp(at_rated, self.pressure[::-1], self.flow[::-1], left=np.nan, right=np.nan)
        return (flow_factor * flow)[()]
