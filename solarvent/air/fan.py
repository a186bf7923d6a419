"""A small DC fan: how fast it turns, and its pressure-flow curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import DomainError, require_positive

# Enough that straight lines between the points stay within 1e-5 of the shut-off pressure from the parabola.
_TYPICAL_POINTS = 201


def speed_ratio(voltage: ArrayLike, rated_voltage: float, speed_exponent: float = 1.0) -> NDArray[np.float64] | float:
    """Speed of a turning fan as a share of its rated speed, in the shape of the voltage at its terminals [V].

    ``n / n_rated = (voltage / rated_voltage) ** speed_exponent``. The voltage tables of data sheets give exponents of
    0.77-1.34. At or below zero volts the ratio is 0.

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
    >>> FanCurve([0.0, 0.02, 0.03], [20.0, 12.0, 0.0], measured=True).pressure.tolist()
    [20.0, 12.0, 0.0]
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
        """Make a typical curve from the free-air flow [m3/s] and shut-off pressure [Pa] that every seller prints.

        ``pressure = shutoff_pressure (1 - (flow / free_air_flow) ** 2)``: common practice, no source. A real axial fan
        sags below it near half flow.

        Raises
        ------
        DomainError
            If a value is not above zero.

        Examples
        --------
        >>> curve = FanCurve.from_two_points(0.0539, 85.0)
        >>> round(float(curve.pressure[100]), 2), round(float(curve.flow[100]), 5)
        (63.75, 0.02695)
        """
        require_positive(free_air_flow=free_air_flow, shutoff_pressure=shutoff_pressure)
        share = np.linspace(0.0, 1.0, _TYPICAL_POINTS)
        return cls(free_air_flow * share, shutoff_pressure * (1.0 - share**2), measured=False)
