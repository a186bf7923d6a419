"""A small DC fan: what it draws turning and held, how fast it turns, and its pressure-flow curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.errors import DomainError

# Enough that straight lines between the points stay within 1e-5 of the shut-off pressure from the parabola.
_TYPICAL_POINTS = 201


def _require_positive(**values: ArrayLike) -> None:
    """Refuse a quantity that is not finite and above zero."""
    for name, value in values.items():
        number = np.asarray(value, dtype=float)
        if not (np.isfinite(number).all() and (number > 0).all()):
            raise DomainError.single(name, f"is {value!s}, but must be a number above zero", "check the fan's sheet")


def running_current(
    voltage: ArrayLike, rated_voltage: float, rated_current: float, current_exponent: float = 1.0
) -> NDArray[np.float64] | float:
    """Current of a turning fan at a voltage, by a power law through its rated point.

    ``I = rated_current (voltage / rated_voltage) ** current_exponent``. The voltage tables of data sheets
    give exponents of 0.76-1.07 for brushless fans, and a hand meter once 1.43; electrical current never
    follows the shaft's similarity laws.

    Parameters
    ----------
    voltage : array_like
        At the fan's terminals. [V] At or below zero the fan draws nothing. Meant from the run-down voltage
        to the fan's highest allowed voltage; the law itself has no end.
    rated_voltage : float
        [V] Above zero.
    rated_current : float
        [A] Above zero.
    current_exponent : float, default 1.0
        [-] Above zero.

    Returns
    -------
    float or ndarray
        Current, in the shape of `voltage`. [A]

    Raises
    ------
    DomainError
        If a rated value or the exponent is not above zero.

    Examples
    --------
    >>> round(float(running_current(6.0, 12.0, 0.25)), 4)
    0.125

    References
    ----------
    Data sheets of 12 V brushless axial fans with currents at three voltages; default exponent: common
    practice, no source.
    """
    _require_positive(rated_voltage=rated_voltage, rated_current=rated_current, current_exponent=current_exponent)
    ratio = np.maximum(np.asarray(voltage, dtype=float), 0.0) / rated_voltage
    return (rated_current * ratio**current_exponent)[()]


def locked_rotor_resistance(
    rated_voltage: float,
    rated_current: float,
    start_voltage: float,
    locked_rotor_ratio: float,
    current_exponent: float = 1.0,
) -> float:
    """Resistance of the line on which a fan with a still rotor draws current.

    At the start voltage the held rotor draws `locked_rotor_ratio` times the current that the turning fan
    draws at that voltage; below and above it the current is proportional to the voltage (no back-EMF).

    Parameters
    ----------
    rated_voltage : float
        [V] Above zero.
    rated_current : float
        [A] Above zero.
    start_voltage : float
        [V] Above zero.
    locked_rotor_ratio : float
        [-] Above zero; data sheets give 1.1-6.5.
    current_exponent : float, default 1.0
        Of `running_current`. [-] Above zero.

    Returns
    -------
    float
        [ohm]

    Raises
    ------
    DomainError
        If a value is not above zero.

    Examples
    --------
    >>> round(float(locked_rotor_resistance(12.0, 0.3, 6.5, 2.8)), 2)
    14.29

    References
    ----------
    Data sheets of 12 V fans (locked-rotor and starting currents); the straight line is Ohm's law.
    """
    _require_positive(start_voltage=start_voltage, locked_rotor_ratio=locked_rotor_ratio)
    running = running_current(start_voltage, rated_voltage, rated_current, current_exponent)
    return start_voltage / (locked_rotor_ratio * float(running))


def exponent_from_points(voltage_1: float, current_1: float, voltage_2: float, current_2: float) -> float:
    """Exponent of the power law through two measured points; also for speed in place of current.

    ``n = ln(current_2 / current_1) / ln(voltage_2 / voltage_1)``

    Parameters
    ----------
    voltage_1, voltage_2 : float
        Two different voltages. [V] Above zero.
    current_1, current_2 : float
        The currents there [A], or the speeds [1/min]. Above zero.

    Returns
    -------
    float
        [-]

    Raises
    ------
    DomainError
        If a value is not above zero, or the voltages are equal.

    Examples
    --------
    >>> round(float(exponent_from_points(5.33, 0.05, 12.0, 0.16)), 2)
    1.43
    """
    _require_positive(voltage_1=voltage_1, current_1=current_1, voltage_2=voltage_2, current_2=current_2)
    if voltage_1 == voltage_2:
        raise DomainError.single("voltage_2", "is the same as voltage_1", "give two different voltages")
    return np.log(current_2 / current_1) / np.log(voltage_2 / voltage_1)


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
    _require_positive(rated_voltage=rated_voltage, speed_exponent=speed_exponent)
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
        _require_positive(free_air_flow=free_air_flow, shutoff_pressure=shutoff_pressure)
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
