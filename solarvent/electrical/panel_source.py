"""A panel as a source of current and voltage, and what every source can be asked; for all time steps at once.

A panel is a single diode (De Soto et al. 2006). Its current is explicit in the voltage across the diode, and so is
its terminal voltage, whatever resistance and blocking diode lie in line with it and whatever bypass diode beside it
(Bishop 1988). So whether a panel can supply a given voltage and current needs no root at all.

A panel that is driven backwards passes the current of its light and of its shunt, and what its bypass diode takes.
Cells that break down (some 10 to 30 V each) are not in this model. Without a bypass diode, a panel of which one cell
alone is dark therefore gives at least the current that is said here, for that cell takes all the voltage, leaks more
than its share of the panel's shunt, and may get hot.

References
----------
.. [1] W. De Soto, S. A. Klein, W. A. Beckman, "Improvement and validation of a model for photovoltaic array
   performance", Solar Energy 80 (2006).
.. [2] J. W. Bishop, "Computer simulation of the effects of electrical mismatches in photovoltaic cell
   interconnection circuits", Solar Cells 25 (1988).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import numpy as np

from solarvent.electrical.roots import STEP_TOLERANCE, find_root
from solarvent.electrical.single_diode import LARGEST_EXPONENT, Diodes, bypass_current, diode_drop

_BEHIND_DIODE_TOLERANCE = 1e-13  # V; where a diode blocks, a Newton step is short long before the root
_SAMPLES = 32  # steps from which the least photocurrent of all is known
_LEAST_PHOTOCURRENT = 1e-9  # A; keeps a first guess in the dark finite
_LEAST_SHUNT = 1e-9  # S; keeps a dark panel in a series string finite


class LeastPhotocurrent(NamedTuple):
    """A photocurrent by step [A], and how far off it may be, as a share of it [-]."""

    current: np.ndarray
    margin: float


class Source(Protocol):
    """What every source can be asked."""

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""

    def voltage_near(self, reach: Any) -> Any:
        """About the voltage [V] on a straight load that draws the whole current bound at another voltage [V]."""

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] at a current [A], and its derivative [ohm]."""

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""

    @property
    def single_humped(self) -> bool:
        """Along a load that draws less as the voltage rises, its surplus has one hump; see
        :class:`solarvent.electrical.load.LoadTable`."""

    def least_photocurrent(self, voltage: np.ndarray, current: np.ndarray) -> LeastPhotocurrent | None:
        """About the least photocurrent with which it supplies any of some points [V], [A]; None if not known."""

    def can_supply(self, voltage: Any, current: Any) -> np.ndarray:
        """Whether it can keep this voltage [V] while giving at least this current [A]."""

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """What it has beyond this voltage [V] and current [A]; 0 on its own curve.

        In whatever unit is explicit: amperes, or volts of a string.
        """

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """The surplus, and its derivatives by voltage and current."""

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel behind this source, in order."""

    def at(self, steps: Any) -> Source:
        """The source in some of the steps, by their index."""

    def in_series(self, count: int) -> Source:
        """As many of these alike in series, as one."""

    def in_parallel(self, count: int) -> Source:
        """As many of these alike in parallel, as one."""


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

    def voltage_near(self, reach: Any) -> Any:
        """About the voltage [V] on a straight load that draws the whole photocurrent at another voltage [V].

        The current left to the diode solves ``w + ln w = z``, Wright's omega function.
        """
        drawn = np.maximum(self.photocurrent, _LEAST_PHOTOCURRENT)
        # The shunt draws its share as if it were a part of the load.
        drawn, reach = drawn / (1.0 + reach * self._shunt / drawn), reach / (1.0 + reach * self._shunt / drawn)
        drop, _ = diode_drop(drawn, self.lead_diodes)
        span = reach + drawn * (self.resistance_series + self.lead_resistance) + drop
        share = self.nNsVth / span
        left = (span - self.voltage_bound) / self.nNsVth - np.log(share)
        root = np.where(left > 1.0, left - np.log(np.maximum(left, 1.0)), 1.0 / (1.0 + np.exp(-np.minimum(left, 1.0))))
        # One Newton step from the asymptotes is close enough to start from.
        root = root * (1.0 + left - np.log(root)) / (1.0 + root)
        return reach * (1.0 - share * root)

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

    @cached_property
    def _shunt(self) -> Any:
        """Conductance of the shunt. [S]"""
        return np.maximum(1.0 / self.resistance_shunt, _LEAST_SHUNT)

    @cached_property
    def _given(self) -> Any:
        """Photocurrent and saturation current together. [A]"""
        return self.photocurrent + self.saturation_current

    def current(self, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current of the cells [A] at a voltage across the diode [V], and its derivative [S] (never positive)."""
        grown = np.exp(np.minimum(diode_voltage / self.nNsVth, LARGEST_EXPONENT))
        forward = self.saturation_current * grown
        current = self._given - forward - diode_voltage * self._shunt
        return current, -forward / self.nNsVth - self._shunt

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

        tolerance = _BEHIND_DIODE_TOLERANCE if self.lead_diodes else STEP_TOLERANCE
        resistance = self.resistance_series + self.lead_resistance
        start = voltage + self.photocurrent * resistance + diode_drop(self.photocurrent, self.lead_diodes)[0]
        current, slope, _, stretch = self._at(find_root(shortfall, low, high, start, tolerance))
        return current, slope / stretch

    @property
    def single_humped(self) -> bool:
        """The current of the cells falls ever faster as the voltage rises."""
        return True

    @cached_property
    def _shape_terms(self) -> np.ndarray:
        """What the shape of the curve hangs on, by step: powers of its saturation current and its slope voltage."""
        size, warmth = np.broadcast_arrays(np.log(self.saturation_current), self.nNsVth, self.photocurrent)[:2]
        warmth = warmth / warmth[0] - 1.0
        return np.array([np.ones_like(size), size, warmth, size * size, size * warmth, warmth * warmth])

    def least_photocurrent(self, voltage: np.ndarray, current: np.ndarray) -> LeastPhotocurrent | None:
        """About the least photocurrent with which it supplies any of some points [V], [A].

        The light that a point needs is explicit, for the current of the light is straight in it, and so is that of the
        shunt (De Soto et al. 2006); otherwise it hangs on the temperature alone. It is worked out for some steps and
        carried to all by a smooth law, whose largest miss tells the margin. None for a few steps.
        """
        lit = np.flatnonzero(np.atleast_1d(self.photocurrent) > 0.0)
        if len(lit) < 2 * _SAMPLES or not len(voltage):
            return None
        step = lit[np.linspace(0, len(lit) - 1, _SAMPLES).astype(np.intp)]
        some = self.at(step)
        across = voltage + current * some.lead_resistance + diode_drop(current, some.lead_diodes)[0]
        across = across[:, None] + np.multiply.outer(current, np.broadcast_to(some.resistance_series, step.shape))
        grown = np.expm1(np.minimum(across / some.nNsVth, LARGEST_EXPONENT))
        left = 1.0 - across * some._shunt / some.photocurrent
        with np.errstate(divide="ignore", invalid="ignore"):
            needed = np.where(left > 0, (current[:, None] + some.saturation_current * grown) / left, np.inf).min(axis=0)
        if not np.isfinite(needed).all():
            return None
        terms = self._shape_terms
        law = np.linalg.lstsq(terms[:, step].T, np.log(needed))[0]
        missed = np.abs(law @ terms[:, step] - np.log(needed)).max()
        return LeastPhotocurrent(np.exp(law @ terms), 0.003 + 4.0 * float(missed))

    def can_supply(self, voltage: Any, current: Any) -> np.ndarray:
        """Whether it can keep this voltage [V] while giving at least this current [A]."""
        return self.surplus(voltage, current) >= 0

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """Current of the cells [A] beyond what this voltage [V] and current [A] need; without a root."""
        terminal = voltage + current * self.lead_resistance
        if self.lead_diodes:
            terminal = terminal + diode_drop(current, self.lead_diodes)[0]
        if self.bypass:
            current = current - bypass_current(terminal, self.bypass)[0]
        diode_voltage = terminal + current * self.resistance_series
        grown = np.exp(np.minimum(diode_voltage / self.nNsVth, LARGEST_EXPONENT))
        needed = current + self.saturation_current * grown + diode_voltage * self._shunt
        return self._given - needed

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """The surplus [A], and its derivatives by voltage [S] and current [-]."""
        drop, steepness = diode_drop(current, self.lead_diodes) if self.lead_diodes else (0.0, 0.0)
        in_line = self.lead_resistance + steepness
        terminal = voltage + current * self.lead_resistance + drop
        asked: Any = current
        backwards: Any = 0.0
        if self.bypass:
            passed, backwards = bypass_current(terminal, self.bypass)
            asked = current - passed
        given, slope = self.current(terminal + asked * self.resistance_series)
        by_voltage = slope * (1.0 - backwards * self.resistance_series) + backwards
        return given - asked, by_voltage, slope * self.resistance_series - 1.0 + by_voltage * in_line

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the panel's own terminals, before its leads."""
        drop, _ = diode_drop(current, self.lead_diodes)
        return [(voltage + current * self.lead_resistance + drop, current)]
