"""Sources as current-voltage curves, solved for all time steps at once, and where they meet a load.

A panel is a single diode (De Soto et al. 2006). Its current is explicit in the voltage across the diode, and so is
its terminal voltage, whatever resistance and blocking diode lie in line with it and whatever bypass diode beside it
(Bishop 1988). So the meeting point with a load is one root in the diode voltage, and whether a panel can hold a given
voltage and current needs no root at all. Alike sources in series or parallel are exactly one larger source. Unlike ones
are composed: series adds voltages at equal current, parallel adds currents at equal voltage. A panel whose sections
are not lit alike is a series of unlike smaller panels.

A panel that is driven backwards passes the current of its light and of its shunt, and what its bypass diode takes.
Cells that break down (some 10 to 30 V each) are not in this model. Without a bypass diode, a panel of which one cell
alone is dark therefore gives at least the current that is said here, for that cell takes all the voltage, leaks more
than its share of the panel's shunt, and may get hot.

Every source answers ``voltage_at(current)`` and ``current_at(voltage)``; both return the value and its derivative.

References
----------
.. [1] W. De Soto, S. A. Klein, W. A. Beckman, "Improvement and validation of a model for photovoltaic array
   performance", Solar Energy 80 (2006).
.. [2] J. W. Bishop, "Computer simulation of the effects of electrical mismatches in photovoltaic cell
   interconnection circuits", Solar Cells 25 (1988).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

Diodes = tuple[tuple[float, float], ...]
"""Diodes in line, each as (saturation current [A], slope voltage [V])."""

_STEP_TOLERANCE = 1e-10  # V or A; a Newton step this small leaves an error near rounding
_BEHIND_DIODE_TOLERANCE = 1e-13  # V; where a diode blocks, a Newton step is short long before the root
_VOLTAGE_TOLERANCE = 1e-8  # V; for operating points
_CURRENT_TOLERANCE = 1e-12  # A; the voltage of a string follows from it
_FREE_STEPS = 12  # on an exponential the first Newton steps are all of one size, and right
_MOST_STEPS = 200
_LARGEST_EXPONENT = 500.0
_LEAST_SHUNT = 1e-9  # S; keeps a dark panel in a series string finite
_BLOCKING_RESISTANCE = 1e11  # ohm; a diode that blocks is no steeper than this, so that roots stay findable


class Source(Protocol):
    """What every source can be asked."""

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""

    def spare(self, voltage: Any, current: Any) -> np.ndarray:
        """At least 0 where it can keep this voltage [V] while giving at least this current [A]."""

    def spread(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel behind this source, in order."""

    def at(self, steps: Any) -> Source:
        """The source in some of the steps, by their index."""

    def in_series(self, count: int) -> Source:
        """As many of these alike in series, as one."""

    def in_parallel(self, count: int) -> Source:
        """As many of these alike in parallel, as one."""


class LoadCurve(Protocol):
    """What :func:`intersect` asks of a load."""

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]; never falling, 0 at 0 V."""

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""

    def behind(self, resistance: float, diodes: Diodes) -> LoadCurve:
        """This load seen through a resistance [ohm] and diodes in line."""


def diode_drop(current: Any, diodes: Diodes) -> tuple[np.ndarray, np.ndarray]:
    """Voltage across diodes in line and its derivative, by the exponential law turned round.

    ``V = slope_voltage ln(1 + I / saturation_current)``. A reverse current cannot pass the saturation current: close
    to it the drop goes on as a straight line of 1e11 ohm.

    Parameters
    ----------
    current : float or array
        Positive from source to load. [A]
    diodes : tuple of (float, float)
        Saturation current [A] and slope voltage [V] of each.

    Returns
    -------
    drop : array
        [V]
    derivative : array
        [ohm]

    Examples
    --------
    >>> drop, derivative = diode_drop(0.5, ((1e-6, 0.0265),))
    >>> round(float(drop), 4), round(float(derivative), 4)
    (0.3477, 0.053)
    """
    current = np.asarray(current, dtype=float)
    drop, derivative = np.zeros_like(current), np.zeros_like(current)
    for saturation_current, slope_voltage in diodes:
        ratio = current / saturation_current
        flattest = min(slope_voltage / (saturation_current * _BLOCKING_RESISTANCE), 1.0)
        law = np.maximum(ratio, flattest - 1.0)
        steepness = slope_voltage / (1.0 + law)
        drop += slope_voltage * np.log1p(law) + (ratio - law) * steepness
        derivative += steepness / saturation_current
    return drop, derivative


def bypass_current(voltage: Any, diode: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Current through a bypass diode, backwards across a panel, and its derivative by the panel's voltage.

    ``I = saturation_current (exp(-V / slope_voltage) - 1)`` where the panel is driven backwards, and nothing where it
    is not: the leakage of the blocked diode, its saturation current, is left out.

    Parameters
    ----------
    voltage : float or array
        Across the panel, positive as it works. [V]
    diode : tuple of (float, float)
        Saturation current [A] and slope voltage [V].

    Returns
    -------
    current : array
        Never negative. [A]
    derivative : array
        Never positive. [S]

    Examples
    --------
    >>> current, _ = bypass_current([20.0, -0.35], (2.35e-6, 0.027))
    >>> current.round(2).tolist()
    [0.0, 1.0]
    """
    saturation_current, slope_voltage = diode
    backwards = np.maximum(-np.asarray(voltage, dtype=float), 0.0) / slope_voltage
    grown = np.expm1(np.minimum(backwards, _LARGEST_EXPONENT))
    conductance = np.where(backwards > 0, saturation_current / slope_voltage * (1.0 + grown), 0.0)
    return saturation_current * grown, -conductance


def find_root(function: Callable, low: Any, high: Any, start: Any, tolerance: float = _STEP_TOLERANCE) -> np.ndarray:
    """Root of a falling function, for all elements at once.

    Newton steps; the middle of the bracket instead where a step leaves it or, after the first twelve, does not halve
    the step before.

    Parameters
    ----------
    function : callable
        Takes an array, returns the falling value and its derivative.
    low, high : array
        Bracket: the value is not negative at `low` and not positive at `high`. [unit of the root]
    start : array
        First guess. [unit of the root]
    tolerance : float
        The search ends when no step is larger, relative beyond 1; a last Newton step leaves a far smaller error.
        [unit of the root]

    Returns
    -------
    array
        The root; NaN where an input is NaN.

    Examples
    --------
    >>> float(find_root(lambda x: (2.0 - x * x, -2.0 * x), np.array(0.0), np.array(2.0), np.array(1.0)).round(6))
    1.414214
    """
    guess = np.clip(start, low, high)
    low, high = np.broadcast_to(low, guess.shape), np.broadcast_to(high, guess.shape)
    step = high - low
    for turn in range(_MOST_STEPS):
        value, slope = function(guess)
        low = np.where(value >= 0, guess, low)
        high = np.where(value <= 0, guess, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = guess - value / slope
        good = (newton >= low) & (newton <= high)
        if turn >= _FREE_STEPS:
            good &= np.abs(newton - guess) <= np.maximum(0.5 * np.abs(step), tolerance)
        proposal = np.where(good, newton, 0.5 * (low + high))
        step = proposal - guess
        guess = proposal
        if not np.any(np.abs(step) > tolerance * np.maximum(np.abs(guess), 1.0)):
            break
    return guess


def _shares(bounds: Sequence[Any]) -> np.ndarray:
    """Parts of one that go with bounds, for a first guess; equal ones where all bounds are 0."""
    stacked = np.stack(np.broadcast_arrays(*bounds))
    total = stacked.sum(axis=0)
    return np.divide(stacked, total, out=np.full_like(stacked, 1.0 / len(stacked), dtype=float), where=total > 0)


def _within(function: Callable, target: Any, values: Sequence[np.ndarray]) -> np.ndarray:
    """Where a falling function meets a target, between the smallest and the largest of some values."""
    low, high = np.minimum.reduce(values), np.maximum.reduce(values)

    def excess(guess: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, slope = function(guess)
        return value - target, slope

    return find_root(excess, low, high, 0.5 * (low + high))


@dataclass(frozen=True, eq=False)
class PanelSource:
    """One panel, or alike panels as one, seen through the resistance and diodes in line with it.

    Attributes
    ----------
    photocurrent, saturation_current, resistance_series, resistance_shunt, nNsVth : float or array (steps,)
        The single diode, in pvlib's order. [A, A, ohm, ohm, V]
    lead_resistance : float
        [ohm]
    lead_diodes : tuple of (float, float)
        Saturation current [A] and slope voltage [V] of each diode in line.
    bypass : tuple of (float, float), optional
        Saturation current [A] and slope voltage [V] of the bypass diodes across the panel, all of them in series as
        one: where all cells are lit alike, all diodes do the same.

    Examples
    --------
    >>> panel = PanelSource(1.17, 1.9e-10, 1.05, 406.0, 0.93)
    >>> float(panel.voltage_at(0.0)[0].round(1)), float(panel.current_at(0.0)[0].round(3))
    (20.9, 1.167)
    >>> float(panel.in_series(2).voltage_at(0.0)[0].round(1))
    41.8

    With one diode across each half, 2 A more than its light gives cost two diode drops, not hundreds of volts.

    >>> bypassed = replace(panel, bypass=(2.35e-6, 2 * 0.027))
    >>> float(bypassed.voltage_at(3.17)[0].round(2)), float(panel.voltage_at(3.17)[0].round(0))
    (-0.74, -815.0)
    """

    photocurrent: Any
    saturation_current: Any
    resistance_series: Any
    resistance_shunt: Any
    nNsVth: Any
    lead_resistance: float = 0.0
    lead_diodes: Diodes = ()
    bypass: tuple[float, float] | None = None

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""
        return self.photocurrent

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass: the diode without its shunt."""
        return self.nNsVth * np.log1p(np.maximum(self.photocurrent, 0.0) / self.saturation_current)

    def at(self, steps: Any) -> PanelSource:
        """The panel in some of the steps, by their index."""
        own = ("photocurrent", "saturation_current", "resistance_series", "resistance_shunt", "nNsVth")
        picked: dict[str, Any] = {name: np.asarray(getattr(self, name)) for name in own}
        return replace(self, **{name: values[steps] if values.ndim else values for name, values in picked.items()})

    def in_series(self, count: float) -> PanelSource:
        """As many of these alike in series, as one; or the part of it that a share of its cells is."""
        return PanelSource(
            self.photocurrent,
            self.saturation_current,
            count * self.resistance_series,
            count * self.resistance_shunt,
            count * self.nNsVth,
            count * self.lead_resistance,
            tuple((saturation, count * slope) for saturation, slope in self.lead_diodes),
            self.bypass and (self.bypass[0], count * self.bypass[1]),
        )

    def in_parallel(self, count: int) -> PanelSource:
        """As many of these alike in parallel, as one."""
        return PanelSource(
            count * self.photocurrent,
            count * self.saturation_current,
            self.resistance_series / count,
            self.resistance_shunt / count,
            self.nNsVth,
            self.lead_resistance / count,
            tuple((count * saturation, slope) for saturation, slope in self.lead_diodes),
            self.bypass and (count * self.bypass[0], self.bypass[1]),
        )

    def through(self, resistance: float, diodes: Diodes = ()) -> PanelSource:
        """This panel behind a further resistance [ohm] and further diodes."""
        return replace(
            self,
            lead_resistance=self.lead_resistance + resistance,
            lead_diodes=self.lead_diodes + tuple(diodes),
        )

    def current(self, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current of the cells [A] at a voltage across the diode [V], and its derivative [S] (never positive)."""
        shunt = np.maximum(1.0 / self.resistance_shunt, _LEAST_SHUNT)
        grown = np.exp(np.minimum(diode_voltage / self.nNsVth, _LARGEST_EXPONENT))
        forward = self.saturation_current * grown
        current = self.photocurrent + self.saturation_current - forward - diode_voltage * shunt
        return current, -forward / self.nNsVth - shunt

    def _terminals(self, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Current, its derivative, voltage before the leads, its derivative, by the diode voltage."""
        current, slope = self.current(diode_voltage)
        voltage, stretch = diode_voltage - current * self.resistance_series, 1.0 - slope * self.resistance_series
        if self.bypass:
            passed, conductance = bypass_current(voltage, self.bypass)
            return current + passed, slope + conductance * stretch, voltage, stretch
        return current, slope, voltage, stretch

    def _at(self, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Current, its derivative, voltage past the leads, its derivative, by the diode voltage."""
        current, slope, voltage, stretch = self._terminals(diode_voltage)
        drop, steepness = diode_drop(current, self.lead_diodes) if self.lead_diodes else (0.0, 0.0)
        resistance = self.lead_resistance + steepness
        return current, slope, voltage - current * self.lead_resistance - drop, stretch - slope * resistance

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage past the leads [V] at a current [A], and its derivative [ohm] (never positive)."""
        current = np.asarray(current, dtype=float)
        spare = self.photocurrent - current
        start = high = self.nNsVth * np.log1p(np.maximum(spare, 0.0) / self.saturation_current)
        low = np.minimum(spare * np.minimum(self.resistance_shunt, 1.0 / _LEAST_SHUNT), 0.0)
        if self.bypass:
            saturation, slope_voltage = self.bypass
            # With no voltage left at the terminals the bypass diode carries nothing; at `low` it carries everything.
            unbiased = self.photocurrent * self.resistance_series
            high = np.maximum(high, unbiased)
            low = np.maximum(low, -slope_voltage * np.log1p(np.maximum(current, 0.0) / saturation))
            carrying = unbiased - slope_voltage * np.log1p(np.maximum(-spare, 0.0) / saturation)
            start = np.where(spare < 0.0, carrying, start)

        def excess(diode_voltage: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            value, slope, _, _ = self._terminals(diode_voltage)
            return value - current, slope

        _, slope, voltage, stretch = self._terminals(find_root(excess, low, high, start))
        drop, steepness = diode_drop(current, self.lead_diodes)
        return voltage - current * self.lead_resistance - drop, stretch / slope - self.lead_resistance - steepness

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage past the leads [V], and its derivative [S] (never positive)."""
        voltage = np.asarray(voltage, dtype=float)
        low, high = np.minimum(voltage, 0.0), np.maximum(voltage, self.voltage_bound)

        def shortfall(diode_voltage: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            _, _, reached, slope = self._at(diode_voltage)
            return voltage - reached, -slope

        tolerance = _BEHIND_DIODE_TOLERANCE if self.lead_diodes else _STEP_TOLERANCE
        resistance = self.resistance_series + self.lead_resistance
        start = voltage + self.photocurrent * resistance + diode_drop(self.photocurrent, self.lead_diodes)[0]
        current, slope, _, stretch = self._at(find_root(shortfall, low, high, start, tolerance))
        return current, slope / stretch

    def spare(self, voltage: Any, current: Any) -> np.ndarray:
        """Current of the cells [A] beyond what this voltage [V] and current [A] need; without a root."""
        drop, _ = diode_drop(current, self.lead_diodes)
        voltage = voltage + current * self.lead_resistance + drop
        if self.bypass:
            current = current - bypass_current(voltage, self.bypass)[0]
        return self.current(voltage + current * self.resistance_series)[0] - current

    def spread(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the panel's own terminals, before its leads."""
        drop, _ = diode_drop(current, self.lead_diodes)
        return [(voltage + current * self.lead_resistance + drop, current)]


@dataclass(frozen=True, eq=False)
class ThroughSource:
    """Panels side by side seen through one resistance [ohm] and the diodes in line with it."""

    member: Source
    resistance: float
    diodes: Diodes = ()

    def at(self, steps: Any) -> ThroughSource:
        """The source in some of the steps, by their index."""
        return replace(self, member=self.member.at(steps))

    def in_series(self, count: int) -> ThroughSource:
        """As many of these alike in series, as one."""
        diodes = tuple((saturation, count * slope) for saturation, slope in self.diodes)
        return ThroughSource(self.member.in_series(count), count * self.resistance, diodes)

    def in_parallel(self, count: int) -> ThroughSource:
        """As many of these alike in parallel, as one."""
        diodes = tuple((count * saturation, slope) for saturation, slope in self.diodes)
        return ThroughSource(self.member.in_parallel(count), self.resistance / count, diodes)

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""
        return self.member.current_bound

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""
        return self.member.voltage_bound

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""
        voltage, slope = self.member.voltage_at(current)
        drop, steepness = diode_drop(current, self.diodes)
        return voltage - current * self.resistance - drop, slope - self.resistance - steepness

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]; sought in the voltage behind the line."""
        voltage = np.asarray(voltage, dtype=float)
        shorted, _ = self.member.current_at(voltage)

        def fallen(behind: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            current, slope = self.member.current_at(behind)
            drop, steepness = diode_drop(current, self.diodes)
            return current * self.resistance + drop - behind, slope * (self.resistance + steepness) - 1.0

        most = voltage + shorted * self.resistance + diode_drop(shorted, self.diodes)[0]
        behind = _within(fallen, -voltage, (voltage, most))
        current, slope = self.member.current_at(behind)
        return current, -slope / fallen(behind)[1]

    def spare(self, voltage: Any, current: Any) -> np.ndarray:
        """What the member has to spare."""
        drop, _ = diode_drop(current, self.diodes)
        return self.member.spare(voltage + current * self.resistance + drop, current)

    def spread(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel, in order."""
        drop, _ = diode_drop(current, self.diodes)
        return self.member.spread(voltage + current * self.resistance + drop, current)


@dataclass(frozen=True, eq=False)
class SeriesSource:
    """Unlike panels in series, and what lies in line with them: voltages add at equal current.

    Parameters
    ----------
    members : sequence of Source
        In order.
    resistance : float
        In line. [ohm]
    diodes : tuple of (float, float)
        Saturation current [A] and slope voltage [V] of each diode in line.
    """

    members: Sequence[Source]
    resistance: float = 0.0
    diodes: Diodes = ()

    def at(self, steps: Any) -> SeriesSource:
        """The source in some of the steps, by their index."""
        return replace(self, members=tuple(member.at(steps) for member in self.members))

    def in_series(self, count: int) -> SeriesSource:
        """As many of these alike in series, as one."""
        return SeriesSource(
            tuple(member.in_series(count) for member in self.members),
            count * self.resistance,
            tuple((saturation, count * slope) for saturation, slope in self.diodes),
        )

    def in_parallel(self, count: int) -> SeriesSource:
        """As many of these alike in parallel, as one."""
        return SeriesSource(
            tuple(member.in_parallel(count) for member in self.members),
            self.resistance / count,
            tuple((count * saturation, slope) for saturation, slope in self.diodes),
        )

    def through(self, resistance: float, diodes: Diodes = ()) -> SeriesSource:
        """These panels behind a further resistance [ohm] and further diodes."""
        return SeriesSource(self.members, self.resistance + resistance, self.diodes + tuple(diodes))

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""
        return np.max(np.broadcast_arrays(*(member.current_bound for member in self.members)), axis=0)

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""
        return sum(member.voltage_bound for member in self.members)

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""
        voltage, slope = _summed(member.voltage_at(current) for member in self.members)
        drop, steepness = diode_drop(current, self.diodes)
        return voltage - current * self.resistance - drop, slope - self.resistance - steepness

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""
        # With the voltage divided in any way, the current lies between those that the members then give; what is in
        # line gives nothing at no voltage.
        parts = _shares([member.voltage_bound for member in self.members]) * voltage
        divided = [member.current_at(part)[0] for member, part in zip(self.members, parts, strict=True)]
        if self.resistance or self.diodes:
            divided.append(np.zeros_like(divided[0]))
        current = _within(self.voltage_at, voltage, divided)
        return current, 1.0 / self.voltage_at(current)[1]

    def spare(self, voltage: Any, current: Any) -> np.ndarray:
        """Voltage [V] at this current [A] beyond this one [V]."""
        shape = np.broadcast_shapes(np.shape(current), np.shape(self.current_bound))
        return self.voltage_at(np.broadcast_to(current, shape))[0] - voltage

    def spread(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel, in order."""
        return [panel for member in self.members for panel in member.spread(member.voltage_at(current)[0], current)]


@dataclass(frozen=True, eq=False)
class ParallelSource:
    """Unlike panels or strings in parallel: currents add at equal voltage."""

    members: Sequence[Source]

    def at(self, steps: Any) -> ParallelSource:
        """The source in some of the steps, by their index."""
        return replace(self, members=tuple(member.at(steps) for member in self.members))

    def in_series(self, count: int) -> ParallelSource:
        """As many of these alike in series, as one."""
        return ParallelSource(tuple(member.in_series(count) for member in self.members))

    def in_parallel(self, count: int) -> ParallelSource:
        """As many of these alike in parallel, as one."""
        return ParallelSource(tuple(member.in_parallel(count) for member in self.members))

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""
        return sum(member.current_bound for member in self.members)

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""
        return np.max(np.broadcast_arrays(*(member.voltage_bound for member in self.members)), axis=0)

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""
        # With the current divided in any way, the voltage lies between those that the members then have.
        parts = _shares([member.current_bound for member in self.members]) * current
        divided = [member.voltage_at(part)[0] for member, part in zip(self.members, parts, strict=True)]
        voltage = _within(self.current_at, current, divided)
        return voltage, 1.0 / self.current_at(voltage)[1]

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""
        return _summed(member.current_at(voltage) for member in self.members)

    def spare(self, voltage: Any, current: Any) -> np.ndarray:
        """Current [A] at this voltage [V] beyond this one [A]."""
        shape = np.broadcast_shapes(np.shape(voltage), np.shape(self.voltage_bound))
        return self.current_at(np.broadcast_to(voltage, shape))[0] - current

    def spread(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel, in order."""
        return [panel for member in self.members for panel in member.spread(voltage, member.current_at(voltage)[0])]


def _summed(pairs: Any) -> tuple[np.ndarray, np.ndarray]:
    """Sum of values and of derivatives."""
    values, slopes = zip(*pairs, strict=True)
    return sum(values), sum(slopes)


def intersect(source: Source, load: LoadCurve) -> tuple[np.ndarray, np.ndarray]:
    """Operating point of a source on a load, for all steps at once.

    One panel, or alike panels, is solved in the diode voltage; unlike panels in parallel in their voltage, in series in
    their current. A resistance or diode common to unlike panels is counted to the load meanwhile.

    Parameters
    ----------
    source : PanelSource, ThroughSource, SeriesSource or ParallelSource
        Its arrays are of shape (steps,).
    load : LoadCurve
        The load as one curve, for instance a :class:`solarvent.electrical.load.LoadTable`.

    Returns
    -------
    voltage : array (steps,)
        At the bus, between source and load; 0 in the dark. [V]
    current : array (steps,)
        [A]

    Examples
    --------
    >>> class Resistor:
    ...     def current_at(self, voltage): return voltage / 15.0, np.full_like(voltage, 1 / 15.0)
    ...     def voltage_at(self, current): return 15.0 * current, np.full_like(current, 15.0)
    >>> panel = PanelSource(np.array([0.0, 0.6, 1.17]), 1.9e-10, 1.05, 406.0, 0.93)
    >>> voltage, current = intersect(panel, Resistor())
    >>> voltage.round(2).tolist(), current.round(3).tolist()
    ([0.0, 8.66, 16.44], [0.0, 0.577, 1.096])
    """
    if isinstance(source, PanelSource) and source.lead_diodes:
        # Seen from the load, a diode is no steep place: it carries what the load draws, never less than nothing.
        bare = replace(source, lead_resistance=0.0, lead_diodes=())
        return intersect(ThroughSource(bare, source.lead_resistance, source.lead_diodes), load)
    if isinstance(source, PanelSource):
        photocurrent, high = np.broadcast_arrays(source.photocurrent, source.voltage_bound)
        resistance = source.resistance_series + source.lead_resistance
        start = load.voltage_at(photocurrent)[0] + photocurrent * resistance

        def excess(diode_voltage: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            given, slope, reached, stretch = source._at(diode_voltage)
            drawn, steepness = load.current_at(reached)
            return given - drawn, slope - steepness * stretch

        diode_voltage = find_root(excess, np.zeros_like(high), high, start, _VOLTAGE_TOLERANCE)
        voltage = source._at(diode_voltage)[2]
        return voltage, load.current_at(voltage)[0]
    if isinstance(source, ThroughSource):
        seen = load.behind(source.resistance, source.diodes)
        _, current = intersect(source.member, seen)
        return load.voltage_at(current)[0], current
    if isinstance(source, SeriesSource):

        def spare_volts(current: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            given, slope = source.voltage_at(current)
            needed, steepness = load.voltage_at(current)
            return given - needed, slope - steepness

        high = source.current_bound
        current = find_root(spare_volts, np.zeros_like(high), high, high, _CURRENT_TOLERANCE)
        return source.voltage_at(current)[0], current

    def spare_amps(voltage: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        given, slope = source.current_at(voltage)
        drawn, steepness = load.current_at(voltage)
        return given - drawn, slope - steepness

    high = source.voltage_bound
    voltage = find_root(spare_amps, np.zeros_like(high), high, load.voltage_at(source.current_bound)[0])
    return voltage, load.current_at(voltage)[0]
