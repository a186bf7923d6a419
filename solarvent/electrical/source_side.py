"""The source side of a circuit: panels behind their leads as one current-voltage curve, and the way back to each panel.

Where a battery is at the bus, the load sees the battery, and a controller takes from the panels what charges it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np

from solarvent.electrical.branches import diode_pairs
from solarvent.electrical.intersection import Generator, Points, Source
from solarvent.electrical.joined_sources import ParallelSource, SeriesSource, ThroughSource
from solarvent.electrical.panel_source import PanelSource
from solarvent.plan.parts import Converter
from solarvent.wiring.circuit import Branch, DiodeLaw, Leaf, Through, leaves

#: The light of a dawn, as shares of the brightest: each 1.5 % more than the one before.
_DAWN = np.geomspace(0.05, 1.0, 200)


class SourceSide:
    """The panels of one circuit as one source, and the way back to each panel.

    `panels` holds for every panel of the branch its single diode in pvlib's order, scalars or arrays (steps,); or
    arrays (sections, steps) where its equal sections are not lit alike, each row being the whole panel in that light.
    For each of the sizes the steps are gone through once, with panels whose currents are so many times as large.
    """

    def __init__(self, branch: Branch, panels: Mapping[str, tuple], sizes: Sequence[float] = (1.0,)) -> None:
        self.branch, self.ids = branch, tuple(leaves(branch))
        shape = np.broadcast_shapes((1,), *(np.shape(value)[-1:] for name in self.ids for value in panels[name]))
        self.steps = shape[0] * len(sizes)
        self._sections = {name: _sections(panels[name], shape[0], np.asarray(sizes)) for name in self.ids}
        self._first_alike = {name: self._like(name) for name in self.ids}
        self._generator, self._shares = self._built(branch)
        self.source: Source = self._generator
        self.highest = float(np.nanmax(self.source.voltage_bound, initial=1.0))

    @property
    def generator(self) -> Generator:
        """The panels by themselves, whatever else is at the bus."""
        return self._generator

    def at(self, steps: np.ndarray) -> SourceSide:
        """The panels in some of the steps, by their index."""
        some = copy(self)
        some.source = some._generator = self._generator.at(steps)
        some.steps = len(steps)
        return some

    def with_dawn(self, designs: int) -> SourceSide:
        """The same with further steps behind those of each design: its brightest one, as its light slowly rises."""
        steps = np.arange(self.steps).reshape(designs, -1)
        bright = np.nan_to_num(self.source.current_bound).reshape(steps.shape).argmax(axis=1)
        rising = np.take_along_axis(steps, bright[:, None], axis=1).repeat(len(_DAWN), axis=1)
        share = np.tile(np.append(np.ones(steps.shape[1]), _DAWN), designs)
        whole = np.ones_like(share)
        # The shunt of the cells conducts in proportion to their light (De Soto et al. 2006).
        dimmed = np.array([share, whole, whole, 1.0 / share, whole])
        some, at = copy(self), np.concatenate([steps, rising], axis=1).ravel()
        some.steps = len(at)
        some._sections = {name: rows[..., at] * dimmed for name, rows in self._sections.items()}
        some._generator, some._shares = some._built(self.branch)
        some.source = some._generator
        return some

    def terminals(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] and current [A] of each panel, shape (panels, steps), from those at the bus."""
        volts: dict[str, np.ndarray] = {}
        amps: dict[str, np.ndarray] = {}
        for (v, i), (ids, in_series, in_parallel) in zip(
            self._generator.panel_points(voltage, current), self._shares, strict=True
        ):
            for name in ids:
                # The sections of a panel lie in series: their voltages add up to its own.
                volts[name], amps[name] = volts.get(name, np.zeros(1)) + v / in_series, i / in_parallel
        return np.array([volts[name] for name in self.ids]), np.array([amps[name] for name in self.ids])

    def _like(self, name: str) -> str:
        """The first panel that is in the same condition at every step."""
        mine = self._sections[name]
        for other in self.ids:
            theirs = self._sections[other]
            if mine.shape == theirs.shape and np.array_equal(mine, theirs, equal_nan=True):
                return other
        raise AssertionError

    def _built(self, branch: Branch, driven: bool = False) -> tuple[Generator, list[tuple]]:
        """The source of a branch, and for each of its panel sources the ids, number in series, number in parallel.

        A panel whose cells are alike needs its bypass diodes only where others can drive it backwards.
        """
        match branch:
            case Leaf(part, bypass):
                rows = self._sections[part]
                source = _panel(rows, bypass if driven or len(rows) > 1 else None)
                return source, [((part,), 1, 1)] * (len(source.members) if isinstance(source, SeriesSource) else 1)
            case Through(child, resistance, diode):
                source, shares = self._built(child, driven)
                if isinstance(source, PanelSource | SeriesSource):
                    return source.through(resistance, diode_pairs(diode)), shares
                return ThroughSource(source, resistance, diode_pairs(diode)), shares
        alike: dict[object, list[Branch]] = {}
        for member in branch.members:
            alike.setdefault(self._kind(member), []).append(member)
        driven = driven or (branch.arrangement == "series" and len(alike) > 1)
        members, shares = [], []
        for same in alike.values():
            source, own = _collapsed([self._built(member, driven) for member in same], branch.arrangement)
            members.append(source)
            shares += own
        if len(members) == 1:
            return members[0], shares
        return (ParallelSource if branch.arrangement == "parallel" else SeriesSource)(tuple(members)), shares

    def _kind(self, branch: Branch) -> object:
        """Equal for branches that behave alike."""
        match branch:
            case Leaf(part, bypass):
                return self._first_alike[part], bypass
            case Through(child, resistance, diode):
                return self._kind(child), resistance, diode
        return branch.arrangement, tuple(self._kind(member) for member in branch.members)


def _sections(parameters: tuple, steps: int, sizes: np.ndarray) -> np.ndarray:
    """Single diodes of a panel's sections, shape (sections, 5, sizes x steps); one section where all are lit alike."""
    rows = max(len(np.atleast_2d(value)) for value in parameters)
    single = np.stack([np.broadcast_to(np.asarray(value, dtype=float), (rows, steps)) for value in parameters], axis=1)
    # Cells of twice the area, or twice as many side by side: twice the currents, half the resistances.
    scale = np.stack([sizes, sizes, 1 / sizes, 1 / sizes, np.ones(len(sizes))])
    return (single[:, :, None] * scale[..., None]).reshape(rows, 5, -1)


def _panel(sections: np.ndarray, bypass: DiodeLaw | None) -> Generator:
    """A panel of equal sections in series; those in one light at every step are one source."""
    diode = diode_pairs(bypass)[0] if bypass is not None else None
    if len(sections) == 1:
        return _section(sections[0], diode)
    kinds = [section.tobytes() for section in sections]
    distinct = dict(zip(kinds, sections, strict=True))
    parts = [_section(section, diode).in_series(kinds.count(kind) / len(kinds)) for kind, section in distinct.items()]
    return parts[0] if len(parts) == 1 else SeriesSource(tuple(parts))


def _section(row: np.ndarray, bypass: tuple[float, float] | None) -> PanelSource:
    photocurrent, saturation_current, series, shunt, slope = row
    return PanelSource(photocurrent, saturation_current, series, shunt, slope, bypass=bypass)


def _collapsed(built: list[tuple[Generator, list[tuple]]], arrangement: str) -> tuple[Generator, list[tuple]]:
    """Alike sources as one."""
    count, source = len(built), built[0][0]
    if count == 1:
        return built[0]
    shares = []
    for same in zip(*(own for _, own in built), strict=True):
        ids = tuple(name for names, _, _ in same for name in names)
        _, in_series, in_parallel = same[0]
        more = (in_series, count * in_parallel) if arrangement == "parallel" else (count * in_series, in_parallel)
        shares.append((ids, *more))
    return source.in_parallel(count) if arrangement == "parallel" else source.in_series(count), shares


#: Of poles, fuse and the controller's switch together (typical). [ohm]
POLES = 0.02
#: Bus voltages that a tracking controller tries, as shares of the open circuit.
_TRIED = np.linspace(0.30, 0.98, 35)


@dataclass(frozen=True, eq=False)
class HeldSource:
    """A source that holds a voltage behind a resistance: a battery, as the load sees it. [V], [ohm]"""

    voltage: np.ndarray
    resistance: float = POLES

    @property
    def current_bound(self) -> Any:
        """A current [A] that the short-circuit current does not pass."""
        return self.voltage / self.resistance

    @property
    def voltage_bound(self) -> Any:
        """A voltage [V] that the open-circuit voltage does not pass."""
        return self.voltage

    @property
    def single_humped(self) -> bool:
        """Its surplus along a falling load has one hump."""
        return True

    def node_near(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
        """About where it meets a load: at the voltage that it holds."""
        return np.interp(self.voltage, voltage, np.arange(len(voltage)))

    def supplies_any(self, voltage: np.ndarray, current: np.ndarray) -> None:
        """Only a trial tells."""

    def supplies_any_of_each(self, loads: Sequence[Points]) -> None:
        """One load at a time is quick enough."""

    def highest_of(self, voltage: np.ndarray, current: np.ndarray) -> None:
        """Only a search tells."""

    def can_supply(self, voltage: Any, current: Any) -> np.ndarray:
        """Whether it can keep this voltage [V] while giving at least this current [A]."""
        return np.asarray(self.surplus(voltage, current) >= 0)

    def surplus(self, voltage: Any, current: Any) -> np.ndarray:
        """What it has beyond this voltage and current. [V]"""
        return np.asarray(self.voltage - self.resistance * current - voltage)

    def surplus_and_slopes(self, voltage: Any, current: Any) -> tuple[np.ndarray, Any, Any]:
        """The surplus, and its derivatives by voltage and current."""
        return self.surplus(voltage, current), -1.0, -self.resistance

    def at(self, steps: Any) -> HeldSource:
        """The source in some of the steps, by their index."""
        return HeldSource(self.voltage[steps], self.resistance)


class StoredSide(SourceSide):
    """The source side of a circuit with a battery: to the load the battery at some voltages [V], the panels behind it.

    `panels` are those that charge it.
    """

    def __init__(self, panels: SourceSide, controller: Converter, voltage: np.ndarray) -> None:
        self.branch, self.ids = panels.branch, panels.ids
        self.panels, self._controller, self._voltage = panels, controller, voltage
        self.source, self.steps = HeldSource(voltage), len(voltage)
        self.highest = float(voltage.max(initial=1.0))

    @property
    def generator(self) -> Generator:
        """The panels by themselves."""
        return self.panels.generator

    def at(self, steps: np.ndarray) -> SourceSide:
        """The same in some of the steps, by their index."""
        return StoredSide(self.panels.at(steps), self._controller, self._voltage[steps])

    def terminals(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] and current [A] of each panel while it charges the battery, whatever the load takes."""
        return charging_panels(self.panels, charging_of(self.generator, self._controller, self._voltage))


@dataclass(frozen=True, eq=False)
class Charging:
    """What a controller takes from its panels while it charges a battery at some voltage, shape (steps,).

    `bus_voltage` [V] and `bus_current` [A] are those at its input, `current` goes into the battery [A].
    """

    bus_voltage: np.ndarray
    bus_current: np.ndarray
    current: np.ndarray


def charging_of(
    source: Generator,
    controller: Converter,
    voltage: np.ndarray,
    best: np.ndarray | None = None,
    backwards: bool = False,
) -> Charging:
    """Find what charges a battery at a voltage [V], by step.

    A plain controller pulls the panels down to the voltage of the battery and its own drop. A tracking one keeps them
    at their best point, whose voltage may be known already [V], but steps down only, and turns their power into
    current. Nothing flows backwards through either, unless what would is asked for.
    """
    bus = voltage + controller.headroom
    if controller.tracks:
        bus = np.maximum(bus, best_point(source, len(voltage)) if best is None else best)
    amps = np.nan_to_num(source.current_at(bus)[0])
    if not backwards:
        amps = np.maximum(amps, 0.0)
    if not controller.tracks:
        return Charging(bus, amps, amps)
    load, shares = np.array(controller.efficiency).T
    current = bus * amps / voltage
    return Charging(bus, amps, np.interp(current, load, shares) * current)


def best_point(source: Generator, steps: int) -> np.ndarray:
    """Voltage of the best point of panels behind their leads, by step. [V]"""
    bound = np.broadcast_to(np.nan_to_num(source.voltage_bound), (steps,))

    def power(bus: np.ndarray) -> np.ndarray:
        return bus * np.maximum(np.nan_to_num(source.current_at(bus)[0]), 0.0)

    tried = np.array([power(share * bound) for share in _TRIED])
    best = np.clip(np.argmax(tried, axis=0), 1, len(_TRIED) - 2)
    below, middle, above = (np.take_along_axis(tried, (best + side)[None], axis=0)[0] for side in (-1, 0, 1))
    bend = below - 2 * middle + above
    # The top of the parabola through the best of the tried points and its neighbours.
    shift = np.clip(np.divide(below - above, 2 * bend, out=np.zeros(steps), where=bend < 0), -1.0, 1.0)
    return np.asarray((_TRIED[best] + shift * (_TRIED[1] - _TRIED[0])) * bound)


def charging_panels(panels: SourceSide, charging: Charging) -> tuple[np.ndarray, np.ndarray]:
    """Voltage [V] and current [A] of each panel; where nothing flows, at the open circuit."""
    open_circuit = panels.generator.voltage_at(np.zeros(panels.steps))[0]
    bus = np.where(charging.bus_current > 0, charging.bus_voltage, np.nan_to_num(open_circuit))
    return panels.terminals(bus, charging.bus_current)
