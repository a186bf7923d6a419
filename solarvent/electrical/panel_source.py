"""A panel as a source of current and voltage, for all time steps at once.

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

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from solarvent.electrical.intersection import Points
from solarvent.electrical.roots import STEP_TOLERANCE, bilinear, rung, sought
from solarvent.electrical.single_diode import LARGEST_EXPONENT, Diodes, bypass_current, diode_drop, scaled

_BEHIND_DIODE_TOLERANCE = 1e-13  # V; where a diode blocks, a Newton step is short long before the root
_FEW = 64  # steps; so many are better tried
_LEAST_MARGIN = 0.003  # of the light, in which a trial decides
_LEAST_PHOTOCURRENT = 1e-9  # A; with less it is dark, where a first guess is concerned
_TINY = 1e-300  # A; keeps a logarithm finite
_WARMTHS, _LIGHTS = 7, 400  # size of the tables over warmth and light
_WORKING_SHARE = 0.1  # of the highest voltage of a load; its nodes above are all in that table
_LEAST_SHUNT = 1e-9  # S; keeps a dark panel in a series string finite


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
        return self._without_shunt(self.photocurrent)

    def at(self, steps: Any) -> PanelSource:
        """The panel in some of the steps, by their index."""
        own = ("photocurrent", "saturation_current", "resistance_series", "resistance_shunt", "nNsVth")
        picked: dict[str, Any] = {name: np.asarray(getattr(self, name)) for name in own}
        return replace(self, **{name: values[steps] if values.ndim else values for name, values in picked.items()})

    def in_series(self, count: float) -> PanelSource:
        """As many of these alike in series, as one; or the part of it that a share of its cells is."""
        return self._scaled(count, 1)

    def in_parallel(self, count: int) -> PanelSource:
        """As many of these alike in parallel, as one."""
        return self._scaled(1, count)

    def _scaled(self, volts: float, amps: float) -> PanelSource:
        """A panel of so many times all voltages, and of so many times all currents."""
        return PanelSource(
            amps * self.photocurrent,
            amps * self.saturation_current,
            volts * self.resistance_series / amps,
            volts * self.resistance_shunt / amps,
            volts * self.nNsVth,
            volts * self.lead_resistance / amps,
            scaled(self.lead_diodes, volts, amps),
            scaled((self.bypass,), volts, amps)[0] if self.bypass else None,
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

    def by_diode(self, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Current, its derivative, voltage past the leads, its derivative, by the diode voltage."""
        current, slope, voltage, stretch = self._terminals(diode_voltage)
        drop, steepness = diode_drop(current, self.lead_diodes) if self.lead_diodes else (0.0, 0.0)
        resistance = self.lead_resistance + steepness
        return current, slope, voltage - current * self.lead_resistance - drop, stretch - slope * resistance

    def _excess(self, current: Any, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current beyond the one that is sought [A], and its derivative, by the diode voltage."""
        value, slope, _, _ = self._terminals(diode_voltage)
        return value - current, slope

    def _lack(self, voltage: Any, diode_voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """What is lacking to the voltage that is sought [V], and its derivative, by the diode voltage."""
        _, _, reached, slope = self.by_diode(diode_voltage)
        return voltage - reached, -slope

    def diode_bounds(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltages across the diode [V] between which the one at a current [A] lies."""
        spare = self.photocurrent - current
        low = np.minimum(spare / self._shunt, 0.0)
        high = self._without_shunt(spare)
        if self.bypass:
            saturation, slope_voltage = self.bypass
            # With no voltage left at the terminals the bypass diode carries nothing; at `low` it carries everything.
            high = np.maximum(high, self.photocurrent * self.resistance_series)
            low = np.maximum(low, -slope_voltage * np.log1p(np.maximum(current, 0.0) / saturation))
        return low, high

    def _without_shunt(self, spare: Any) -> np.ndarray:
        """Voltage [V] across the diode where it takes a current [A]."""
        return self.nNsVth * np.log1p(np.maximum(spare, 0.0) / self.saturation_current)

    def voltage_at(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage past the leads [V] at a current [A], and its derivative [ohm] (never positive)."""
        current = np.asarray(current, dtype=float)
        low, high = self.diode_bounds(current)
        # Driven backwards the shunt or the bypass diode carries nearly all that is more than its light gives.
        start = np.where(current > self.photocurrent, low, high)
        _, slope, voltage, stretch = self._terminals(sought(self, PanelSource._excess, current, low, high, start))
        drop, steepness = diode_drop(current, self.lead_diodes)
        return voltage - current * self.lead_resistance - drop, stretch / slope - self.lead_resistance - steepness

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage past the leads [V], and its derivative [S] (never positive)."""
        voltage = np.asarray(voltage, dtype=float)
        low, high = np.minimum(voltage, 0.0), np.maximum(voltage, self.voltage_bound)
        tolerance = _BEHIND_DIODE_TOLERANCE if self.lead_diodes else STEP_TOLERANCE
        # A panel with little before it gives nearly all of the current of its light.
        start = voltage + self.photocurrent * self.resistance_series
        diode_voltage = sought(self, PanelSource._lack, voltage, low, high, start, tolerance)
        current, slope, _, stretch = self.by_diode(diode_voltage)
        return current, slope / stretch

    @property
    def single_humped(self) -> bool:
        """The current of the cells falls ever faster as the voltage rises."""
        return True

    @cached_property
    def _light(self) -> np.ndarray:
        """Logarithm of the photocurrent."""
        return np.log(np.maximum(self.photocurrent, _TINY))

    @cached_property
    def _panels(self) -> list[PanelSource]:
        """The steps of one panel each: of one series resistance, so that its curve hangs on light and warmth alone."""
        series, steps = np.atleast_1d(self.resistance_series), np.size(self.photocurrent)
        ends = [0, *(np.flatnonzero(series[1:] != series[:-1]) + 1).tolist(), steps]
        return [self.at(slice(*span)) for span in pairwise(ends)]

    @cached_property
    def _by_warmth(self) -> tuple[PanelSource, np.ndarray, np.ndarray] | None:
        """One panel at evenly spread warmths, in unit light; the one below each step, and the way to the next.

        None if it is always dark.
        """
        photocurrent, warmth = np.broadcast_arrays(self.photocurrent, self.nNsVth)
        lit = np.flatnonzero(photocurrent > _LEAST_PHOTOCURRENT)
        if not len(lit):
            return None
        some = lit[np.linspace(0, len(lit) - 1, 4 * _WARMTHS).astype(np.intp)]
        some = np.append(some, [lit[warmth[lit].argmin()], lit[warmth[lit].argmax()]])
        some = some[np.argsort(warmth[some])]
        known, part = warmth[some], self.at(some)
        spread = np.linspace(known[0], known[-1], _WARMTHS)
        laws = np.log(part.saturation_current), part.photocurrent / part._shunt, part.resistance_series
        leak, per_light, series, _ = np.broadcast_arrays(*laws, known)
        evenly = replace(
            part,
            photocurrent=np.ones(_WARMTHS),
            saturation_current=np.exp(np.interp(spread, known, leak)),
            resistance_series=series[:1],
            resistance_shunt=np.interp(spread, known, per_light),
            nNsVth=spread,
        )
        return evenly, *rung(warmth, spread[0], spread[-1], _WARMTHS)

    def supplies_any_of_each(self, loads: Sequence[Points]) -> None:
        """One load at a time is quick enough."""

    def _needed(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
        """Photocurrent [A] with which it supplies points [V], [A], its cells as warm as in each step; (points, steps).

        The shunt of the cells conducts in proportion to their light (De Soto et al. 2006), so that this is explicit.
        Infinite where no light is enough.
        """
        across = (voltage + current * self.lead_resistance + diode_drop(current, self.lead_diodes)[0])[:, None]
        across = across + np.multiply.outer(current, np.broadcast_to(self.resistance_series, self.photocurrent.shape))
        grown = np.expm1(np.minimum(across / self.nNsVth, LARGEST_EXPONENT))
        left = 1.0 - across * (self._shunt / self.photocurrent)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(left > 0, (current[:, None] + self.saturation_current * grown) / left, np.inf)

    def supplies_any(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
        """Whether it supplies any of some points [V], [A], by step; and the steps in which that is a near thing.

        The least light with which it does is known for some warmths of its cells. Between them its logarithm is all but
        straight; how far it bends tells the margin. None for a few steps.
        """
        if np.size(self.photocurrent) < _FEW or not len(voltage):
            return None
        found, near = [], []
        for panel in self._panels:
            if panel._by_warmth is None:
                return None
            evenly, row, up = panel._by_warmth
            needed = np.log(evenly._needed(voltage, current).min(axis=0))
            if not np.isfinite(needed).all():
                return None
            left = panel._light - (needed[row] + up * np.diff(needed)[row])
            found.append(left >= 0.0)
            near.append(~(np.abs(left) > _LEAST_MARGIN + 0.5 * np.abs(np.diff(needed, 2)).max()))
        return np.concatenate(found), np.flatnonzero(np.concatenate(near))

    def node_near(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
        """About where it meets a load: read from a table over the warmth and over the logarithm of the light."""
        # All of the nodes at the voltages that panels work at, and some of the many close to zero.
        fine = int(np.searchsorted(voltage, _WORKING_SHARE * voltage[-1]))
        nodes = np.append(np.arange(0, fine, 8), np.arange(fine, len(voltage)))
        return np.concatenate([panel._one_near(voltage[nodes], current[nodes], nodes) for panel in self._panels])

    def _one_near(self, voltage: np.ndarray, current: np.ndarray, nodes: np.ndarray) -> np.ndarray:
        """The same for the steps of one panel, from some of the nodes."""
        lit, light = np.asarray(self.photocurrent) > _LEAST_PHOTOCURRENT, self._light
        dark = np.where(np.isnan(light), np.nan, 0.0)
        if self._by_warmth is None:
            return dark
        evenly, row, up = self._by_warmth
        needed = np.log(np.maximum(evenly._needed(voltage, current), _TINY))
        ends, number = (light[lit].min(), light[lit].max()), _LIGHTS if len(light) > _LIGHTS else _LIGHTS // 4
        tried = np.linspace(*ends, number)
        table = np.array([np.interp(tried, column, nodes) for column in needed.T])
        return np.where(lit, bilinear(table, (row, up), rung(light, *ends, number)), dark)

    def highest_of(self, voltage: np.ndarray, current: np.ndarray) -> None:
        """Only a search tells."""

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
        """The logarithm of the photocurrent over the one that is needed, and its derivatives by voltage and current.

        In it both the branch along the current of the light and that along the diode are all but straight. A tenth of
        the photocurrent is added to both, so that it is finite where nothing is needed. [-], [1/V], [1/A]
        """
        terminal = voltage + current * self.lead_resistance
        in_line: Any = self.lead_resistance
        if self.lead_diodes:
            drop, steepness = diode_drop(current, self.lead_diodes)
            terminal, in_line = terminal + drop, in_line + steepness
        asked: Any = current
        backwards: Any = 0.0
        if self.bypass:
            passed, backwards = bypass_current(terminal, self.bypass)
            asked = current - passed
        across = terminal + asked * self.resistance_series
        forward = self.saturation_current * np.exp(np.minimum(across / self.nNsVth, LARGEST_EXPONENT))
        added = 0.1 * self.photocurrent + _TINY
        needed = np.maximum(asked - self.saturation_current + forward + across * self._shunt, 0.0) + added
        slope = -(forward / self.nNsVth + self._shunt)
        by_voltage = slope * (1.0 - backwards * self.resistance_series) + backwards if self.bypass else slope
        by_voltage = by_voltage / needed
        by_current = (slope * self.resistance_series - 1.0) / needed + by_voltage * in_line
        return np.log((self.photocurrent + added) / needed), by_voltage, by_current

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the panel's own terminals, before its leads."""
        drop, _ = diode_drop(current, self.lead_diodes)
        return [(voltage + current * self.lead_resistance + drop, current)]
