"""Unlike panels joined in series or in parallel, and what lies in line with them, as one source.

Alike sources in series or parallel are exactly one larger source. Unlike ones are composed: series adds voltages at
equal current, parallel adds currents at equal voltage. A panel whose sections are not lit alike is a series of unlike
smaller panels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from solarvent.electrical.intersection import Generator, Points
from solarvent.electrical.panel_source import PanelSource
from solarvent.electrical.roots import FREE_STEPS, MOST_STEPS, STEP_TOLERANCE, sought
from solarvent.electrical.single_diode import Diodes, diode_drop, scaled
from solarvent.electrical.unlike_sources import UnlikeSources

_MOST_OF = 0.7  # of the elements of a search go on together
_LEAST_STEP = 1e-12  # A; a step of the current so small is good


@dataclass(frozen=True, eq=False)
class ThroughSource:
    """Panels side by side seen through one resistance [ohm] and the diodes in line with it."""

    member: Generator
    resistance: float
    diodes: Diodes = ()

    def at(self, steps: Any) -> ThroughSource:
        """The source in some of the steps, by their index."""
        return replace(self, member=self.member.at(steps))

    def in_series(self, count: int) -> ThroughSource:
        """As many of these alike in series, as one."""
        return ThroughSource(self.member.in_series(count), count * self.resistance, scaled(self.diodes, count, 1))

    def in_parallel(self, count: int) -> ThroughSource:
        """As many of these alike in parallel, as one."""
        return ThroughSource(self.member.in_parallel(count), self.resistance / count, scaled(self.diodes, 1, count))

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

        behind = _within(self, ThroughSource._fallen, -voltage, (voltage, self._behind(voltage, shorted)))
        current, slope = self.member.current_at(behind)
        return current, -slope / self._fallen(behind)[1]

    def _fallen(self, behind: Any) -> tuple[np.ndarray, np.ndarray]:
        """Minus the voltage before the line [V], by that behind it [V], and its derivative. [-]"""
        current, slope = self.member.current_at(behind)
        drop, steepness = diode_drop(current, self.diodes)
        return current * self.resistance + drop - behind, slope * (self.resistance + steepness) - 1.0

    def _behind(self, voltage: Any, current: Any) -> Any:
        """Voltage behind the line, from that before it. [V]"""
        return voltage + current * self.resistance + diode_drop(current, self.diodes)[0]

    def node_near(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray | None:
        """About where the member meets the load behind the line."""
        return self.member.node_near(self._behind(voltage, current), current)

    def highest_of(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray | None:
        """The highest point that the member can supply beyond what is lost in line."""
        return self.member.highest_of(self._behind(voltage, current), current)

    def supplies_any(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
        """Whether the member supplies any of some points beyond what is lost in line."""
        return self.member.supplies_any(self._behind(voltage, current), current)

    def supplies_any_of_each(self, loads: Sequence[Points]) -> Sequence[np.ndarray] | None:
        """The same of many loads."""
        return self.member.supplies_any_of_each(
            [(self._behind(voltage, current), current) for voltage, current in loads]
        )

    def can_supply(self, voltage: Any, current: Any) -> np.ndarray:
        """Whether the member can keep this voltage [V] beyond what is lost in line, giving this current [A]."""
        return self.member.can_supply(self._behind(voltage, current), current)

    @property
    def single_humped(self) -> bool:
        """As the member is."""
        return self.member.single_humped

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """Surplus of the member beyond what is lost in line."""
        return self.member.surplus(self._behind(voltage, current), current)

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """Surplus of the member beyond what is lost in line, and its derivatives."""
        drop, steepness = diode_drop(current, self.diodes)
        value, by_voltage, by_current = self.member.surplus_and_slopes(
            voltage + current * self.resistance + drop, current
        )
        return value, by_voltage, by_current + by_voltage * (self.resistance + steepness)

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel, in order."""
        return self.member.panel_points(self._behind(voltage, current), current)


@dataclass(frozen=True, eq=False)
class SeriesSource(UnlikeSources):
    """Unlike panels in series, and what lies in line with them: voltages add at equal current.

    In line are a resistance [ohm] and diodes, each a saturation current [A] and a slope voltage [V].
    """

    members: Sequence[Generator]
    resistance: float = 0.0
    diodes: Diodes = ()

    @staticmethod
    def _turned(voltage: Any, current: Any) -> tuple[Any, Any]:
        """Of a string, the current, then the voltage."""
        return current, voltage

    def _common_bound(self) -> np.ndarray:
        return np.asarray(self.current_bound)

    def _sum_at(self, common: Any) -> tuple[np.ndarray, np.ndarray]:
        return self.voltage_at(common)

    def in_series(self, count: int) -> SeriesSource:
        """As many of these alike in series, as one."""
        return SeriesSource(
            tuple(member.in_series(count) for member in self.members),
            count * self.resistance,
            scaled(self.diodes, count, 1),
        )

    def in_parallel(self, count: int) -> SeriesSource:
        """As many of these alike in parallel, as one."""
        return SeriesSource(
            tuple(member.in_parallel(count) for member in self.members),
            self.resistance / count,
            scaled(self.diodes, 1, count),
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
        lost, steepness = self._lost(current)
        return voltage - lost, slope - steepness

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""
        voltage = np.asarray(voltage, dtype=float)
        of_panels = all(isinstance(member, PanelSource) and not member.lead_diodes for member in self.members)
        # Driven backwards as a whole it may pass more than the current of any light.
        if of_panels and not np.any(voltage < 0):
            return self._of_panels(voltage)
        # With the voltage divided in any way, the current lies between those that the members then give; what is in
        # line gives nothing at no voltage.
        parts = _divided(voltage, [member.voltage_bound for member in self.members])
        divided = [member.current_at(part)[0] for member, part in zip(self.members, parts, strict=True)]
        if self.resistance or self.diodes:
            divided.append(np.zeros_like(divided[0]))
        current = _within(self, SeriesSource.voltage_at, voltage, divided)
        return current, 1.0 / self.voltage_at(current)[1]

    def _of_panels(self, voltage: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same of panels alone: by Newton's steps in the voltages across all of their diodes at once.

        In the current alone each step would take a search of those voltages, and most steps leave the knees of a curve.
        """
        shape = np.broadcast_shapes(voltage.shape, np.shape(self.current_bound))
        voltage = np.broadcast_to(voltage, shape).ravel()
        left, found = np.arange(voltage.size), np.full((2, voltage.size), np.nan)
        part = self.at(left % shape[-1]) if shape else self
        diodes = _divided(voltage, [member.voltage_bound for member in part.members])
        most = np.broadcast_to(part.current_bound, voltage.shape)
        endless = np.full_like(most, np.inf)
        state = np.array([np.zeros_like(most), endless, -endless, most, *diodes])
        for turn in range(MOST_STEPS):
            after, slope, moved = part._stepped(voltage, state, turn < FREE_STEPS)
            found[:, left] = after[0], slope
            moving = moved > STEP_TOLERANCE
            if not moving.any():
                break
            # What has come to rest stays as it is, until enough has to be left out.
            state = np.where(moving, after, state)
            if moving.mean() < _MOST_OF:
                left, part, voltage, state = left[moving], part.at(moving), voltage[moving], state[:, moving]
        return found[0].reshape(shape), found[1].reshape(shape)

    def _stepped(self, voltage: np.ndarray, state: np.ndarray, free: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A step on the way to a voltage [V] from a state, shape (4 + members, steps).

        The state is the common current, how far its last step went, what it is not below and not above [A], and the
        voltages across the diodes [V]. Gives the state after, the derivative of the current [S] and how far from rest
        it is [V].
        """
        common, last, low, high, *diodes = state
        panels: Any = self.members
        points = [panel.by_diode(across) for panel, across in zip(panels, diodes, strict=True)]
        reached = sum(volts for _, _, volts, _ in points)
        # At the largest of the currents that its diodes pass, a string has at most this voltage; at the least, no less.
        amps = np.array([passed for passed, _, _, _ in points])
        most, least = amps.max(axis=0), amps.min(axis=0)
        high = np.where(reached - self._lost(most)[0] <= voltage, np.clip(most, low, high), high)
        low = np.where(reached - self._lost(least)[0] >= voltage, np.clip(least, low, high), low)
        # Along its tangent the voltage of a member goes with the common current.
        slopes = [by_diode / passed for _, passed, _, by_diode in points]
        lost, steepness = self._lost(common)
        level = reached - sum(slope * passed for slope, passed in zip(slopes, amps, strict=True)) - lost
        slope = 1.0 / (sum(slopes) - steepness)
        newton = (voltage - level - common * steepness) * slope
        good = (newton >= low) & (newton <= high)
        if not free:
            good &= np.abs(newton - common) <= np.maximum(0.5 * last, _LEAST_STEP)
        after = np.where(good, newton, np.where(np.isinf(low), np.minimum(newton, high), 0.5 * (low + high)))
        moved = np.abs(self._lost(after)[0] - lost - (after - common) * steepness)
        stepped = []
        for panel, across, (passed, by_diode, _, _) in zip(panels, diodes, points, strict=True):
            step = (after - passed) / by_diode
            stepped.append(np.clip(across + step, *panel.diode_bounds(after)))
            moved = np.maximum(moved, np.abs(step))
        return np.array([after, np.abs(after - common), low, high, *stepped]), slope, moved

    def _lost(self, current: Any) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] lost in line at a current [A], and its derivative. [ohm]"""
        drop, steepness = diode_drop(current, self.diodes)
        return current * self.resistance + drop, self.resistance + steepness

    @property
    def single_humped(self) -> bool:
        """Only without bypass diodes: each of those that begins to carry makes a hump of its own."""
        return all(member.single_humped and not getattr(member, "bypass", None) for member in self.members)

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """Surplus of one member at the voltage that the others leave to it, which saves the search of its own."""
        others, _ = _summed(member.voltage_at(current) for member in self.members[:-1])
        return self.members[-1].surplus(voltage + self._lost(current)[0] - others, current)

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """Voltage [V] at this current [A] beyond this one [V], and its derivatives [-], [ohm]."""
        given, slope = self.voltage_at(current)
        return given - voltage, -1.0, slope

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel, in order."""
        points = (member.panel_points(member.voltage_at(current)[0], current) for member in self.members)
        return [point for member in points for point in member]


@dataclass(frozen=True, eq=False)
class ParallelSource(UnlikeSources):
    """Unlike panels or strings in parallel: currents add at equal voltage."""

    members: Sequence[Generator]

    @staticmethod
    def _turned(voltage: Any, current: Any) -> tuple[Any, Any]:
        """Side by side, the voltage, then the current."""
        return voltage, current

    def _common_bound(self) -> np.ndarray:
        return np.asarray(self.voltage_bound)

    def _sum_at(self, common: Any) -> tuple[np.ndarray, np.ndarray]:
        return self.current_at(common)

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
        parts = _divided(current, [member.current_bound for member in self.members])
        divided = [member.voltage_at(part)[0] for member, part in zip(self.members, parts, strict=True)]
        voltage = _within(self, ParallelSource.current_at, current, divided)
        return voltage, 1.0 / self.current_at(voltage)[1]

    def current_at(self, voltage: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current [A] at a voltage [V], and its derivative [S]."""
        return _summed(member.current_at(voltage) for member in self.members)

    @property
    def single_humped(self) -> bool:
        """As its members are."""
        return all(member.single_humped for member in self.members)

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """Surplus of one member at the current that the others leave to it, which saves the search of its own."""
        last, others = self._parted
        return last.surplus(voltage, current - _summed(member.current_at(voltage) for member in others)[0])

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """The same beside a string, else current [A] at this voltage [V] beyond this one [A]; and its derivatives."""
        last, others = self._parted
        if isinstance(last, PanelSource):
            given, slope = self.current_at(voltage)
            return given - current, slope, -1.0
        given, slope = _summed(member.current_at(voltage) for member in others)
        value, by_voltage, by_current = last.surplus_and_slopes(voltage, current - given)
        return value, by_voltage - by_current * slope, by_current

    @property
    def _parted(self) -> tuple[Generator, list[Generator]]:
        """A string, if there is one, whose current takes longest to find; and the others."""
        last = next((member for member in self.members if not isinstance(member, PanelSource)), self.members[-1])
        return last, [member for member in self.members if member is not last]

    def panel_points(self, voltage: Any, current: Any) -> list[tuple[np.ndarray, np.ndarray]]:
        """Voltage [V] and current [A] at the terminals of each panel, in order."""
        points = (member.panel_points(voltage, member.current_at(voltage)[0]) for member in self.members)
        return [point for member in points for point in member]


def _summed(pairs: Any) -> tuple[np.ndarray, np.ndarray]:
    """Sum of values and of derivatives."""
    values, slopes = zip(*pairs, strict=True)
    return sum(values), sum(slopes)


def _divided(whole: Any, bounds: Sequence[Any]) -> list[np.ndarray]:
    """A voltage or a current, shape (..., steps), in parts that go with bounds (steps,): equal where all are 0."""
    stacked = np.stack(np.broadcast_arrays(*bounds))
    total = stacked.sum(axis=0)
    shares = np.divide(stacked, total, out=np.full_like(stacked, 1.0 / len(stacked), dtype=float), where=total > 0)
    return [share * whole for share in shares]


def _within(source: Any, law: Callable, target: Any, values: Sequence[np.ndarray]) -> np.ndarray:
    """Where a falling law of a source meets a target, between the smallest and the largest of some values."""
    low, high = np.minimum.reduce(values), np.maximum.reduce(values)

    def excess(source: Any, target: Any, guess: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, slope = law(source, guess)
        return value - target, slope

    return sought(source, excess, target, low, high, 0.5 * (low + high))
