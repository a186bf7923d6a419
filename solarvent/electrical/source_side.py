"""The panels of a circuit as one current-voltage curve behind their leads, and the way back to each panel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import copy

import numpy as np

from solarvent.electrical.branches import diode_pairs
from solarvent.electrical.joined_sources import ParallelSource, SeriesSource, ThroughSource
from solarvent.electrical.panel_source import PanelSource, Source
from solarvent.electrical.single_diode import bypass_current
from solarvent.wiring.circuit import Branch, DiodeLaw, Leaf, Through, leaves


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
        self.source, self._shares = self._built(branch)
        self.highest = max(float(np.nanmax(self.source.voltage_bound, initial=0.0)), 1.0)

    def at(self, steps: np.ndarray) -> SourceSide:
        """The panels in some of the steps, by their index."""
        some = copy(self)
        some.source, some.steps = self.source.at(steps), len(steps)
        return some

    def terminals(self, voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Voltage [V] and current [A] of each panel, shape (panels, steps), from those at the bus."""
        volts: dict[str, np.ndarray] = {}
        amps: dict[str, np.ndarray] = {}
        for (v, i), (ids, in_series, in_parallel) in zip(
            self.source.panel_points(voltage, current), self._shares, strict=True
        ):
            for name in ids:
                # The sections of a panel lie in series: their voltages add up to its own.
                volts[name], amps[name] = volts.get(name, np.zeros(1)) + v / in_series, i / in_parallel
        return np.array([volts[name] for name in self.ids]), np.array([amps[name] for name in self.ids])

    def bypass_loss(self, voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
        """Heat in all bypass diodes, shape (steps,), from voltage and current at the bus. [W]"""
        heat = np.zeros(self.steps)
        for (v, _), panel in zip(self.source.panel_points(voltage, current), _panel_sources(self.source), strict=True):
            if panel.bypass:
                heat -= v * bypass_current(v, panel.bypass)[0]
        return heat

    def _like(self, name: str) -> str:
        """The first panel that is in the same condition at every step."""
        mine = self._sections[name]
        for other in self.ids:
            theirs = self._sections[other]
            if mine.shape == theirs.shape and np.array_equal(mine, theirs, equal_nan=True):
                return other
        raise AssertionError

    def _built(self, branch: Branch, driven: bool = False) -> tuple[Source, list[tuple]]:
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
    rows = max(np.shape(value)[0] if np.ndim(value) > 1 else 1 for value in parameters)
    single = np.stack([np.broadcast_to(np.asarray(value, dtype=float), (rows, steps)) for value in parameters], axis=1)
    if len(sizes) == 1 and sizes[0] == 1:
        return single
    # Cells of twice the area, or twice as many side by side: twice the currents, half the resistances.
    scale = np.stack([sizes, sizes, 1 / sizes, 1 / sizes, np.ones(len(sizes))])
    return (single[:, :, None] * scale[..., None]).reshape(rows, 5, -1)


def _panel(sections: np.ndarray, bypass: DiodeLaw | None) -> Source:
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


def _panel_sources(source: Source) -> Iterator[PanelSource]:
    """The panels behind a source, in the order of its panel points."""
    if isinstance(source, PanelSource):
        yield source
    elif isinstance(source, ThroughSource):
        yield from _panel_sources(source.member)
    elif isinstance(source, ParallelSource | SeriesSource):
        for member in source.members:
            yield from _panel_sources(member)


def _collapsed(built: list[tuple[Source, list[tuple]]], arrangement: str) -> tuple[Source, list[tuple]]:
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
