"""The load side of a circuit as current-voltage curves: fans behind their leads; and what its branches lose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from solarvent.base.errors import DomainError
from solarvent.electrical import motor
from solarvent.electrical.converter import OFF_CONDUCTANCE, ConverterLaw, InputSide, input_side
from solarvent.electrical.load import LoadTable, line, parallel, regulated, series, through, voltage_grid
from solarvent.electrical.single_diode import diode_drop
from solarvent.plan.parts import Converter
from solarvent.wiring.circuit import Branch, DiodeLaw, Leaf, Through, converters, leaves

State = Literal["turning", "held", "retrying", "open"]

RETRY_DUTY = 0.15
"""Share of the time that a retrying fan spends on its locked-rotor line (data sheets: 0.2-1 s on, 1-8 s off)."""

_TANGENT_RATIO = 1.005
_NEVER = 1000.0  # V; no panel of a plan reaches it
_OPEN_CONDUCTANCE = 1e-9  # S; decides how open fans in series share the voltage, and draws nothing to speak of


@dataclass(frozen=True)
class FanElectrical:
    """What the electrical side needs to know of a fan.

    Attributes
    ----------
    id : str
        As in the circuit.
    rated_voltage, rated_current, current_exponent : float
        Of the turning fan: ``I = rated_current (V / rated_voltage) ** current_exponent``. [V], [A], [-]
    start_voltage, stop_voltage : float
        [V]
    locked_rotor_ratio : float
        Locked-rotor current over running current, both at the start voltage. [-]
    retrying : bool
        The driver tries to start in short attempts, in place of leaving the locked rotor on the line.
    points : tuple of (float, float)
        Measured running points, voltage [V] and current [A]. They win between the lowest and the highest of them;
        outside, the power law goes through the nearest one.
    constant_power : bool
        It holds its own speed: down to the stop voltage it takes its rated power, whatever the voltage.
    start_capacitor : float
        At the terminals of a retrying fan; 0 for none. [F]
    mounting : str
        How it is mounted. Which of fans that are alike for the panel turn is chance; this settles it, and not their
        order in a file, for the air that they move may differ.

    Raises
    ------
    DomainError
        If the voltages are not ordered, or the current of the points falls as the voltage rises.
    """

    id: str
    rated_voltage: float
    rated_current: float
    current_exponent: float
    start_voltage: float
    stop_voltage: float
    locked_rotor_ratio: float
    retrying: bool
    points: tuple[tuple[float, float], ...] = ()
    constant_power: bool = False
    start_capacitor: float = 0.0
    mounting: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", tuple(sorted((float(v), float(i)) for v, i in self.points)))
        if not 0.0 < self.stop_voltage <= self.start_voltage:
            raise DomainError.single(
                self.id,
                f"{self.stop_voltage:g} V to run down and {self.start_voltage:g} V to start are not in order",
                "give a stop voltage above 0 V and no higher than the start voltage",
            )
        volts, amps = np.array([(0.0, 0.0), *self.points]).T
        if np.any(np.diff(volts) <= 0.0) or np.any(np.diff(amps) <= 0.0):
            raise DomainError.single(
                self.id,
                "the measured running current does not rise with the voltage",
                "give points that rise in both, or write speed_controlled = true for a fan that holds its own speed",
            )

    def running_current(self, voltage: np.ndarray) -> np.ndarray:
        """Current of the turning fan [A] at a voltage [V]."""
        if self.constant_power:
            power, least = self.rated_voltage * self.rated_current, self.stop_voltage
            return np.where(voltage < least, power * voltage / least**2, power / np.maximum(voltage, least))
        if not self.points:
            amps = motor.running_current(voltage, self.rated_voltage, self.rated_current, self.current_exponent)
            return np.asarray(amps)
        volts, amps = np.array(self.points).T
        nearest = np.where(voltage < volts[0], 0, -1)
        outside = amps[nearest] * motor.running_current(voltage / volts[nearest], 1.0, 1.0, self.current_exponent)
        inside = (voltage >= volts[0]) & (voltage <= volts[-1])
        return np.where(inside, np.interp(voltage, volts, amps), outside)

    @property
    def locked_rotor_resistance(self) -> float:
        """Resistance of the line of the standing rotor. [ohm]"""
        at_start = float(self.running_current(np.array(self.start_voltage)))
        return motor.locked_rotor_resistance(
            self.start_voltage, at_start, self.start_voltage, self.locked_rotor_ratio, self.current_exponent
        )

    def current(self, voltage: np.ndarray, state: State) -> np.ndarray:
        """Current [A] at a voltage [V] in a state; of a retrying fan, its average over attempts."""
        if state == "turning":
            return self.running_current(voltage)
        if state == "open":
            return _OPEN_CONDUCTANCE * voltage
        share = RETRY_DUTY if state == "retrying" else 1.0
        return share * voltage / self.locked_rotor_resistance


class LoadSide:
    """The load of one circuit as tables, one for each combination of fan states; parts of tables are kept.

    The fans are given by id, every fan of the branch; `highest` is the largest voltage at the bus [V].
    """

    def __init__(self, branch: Branch, fans: Mapping[str, FanElectrical], highest: float) -> None:
        self.branch, self.fans, self.highest = branch, fans, highest
        self.ids = tuple(leaves(branch))
        parts = list(converters(branch))
        self.converters = {part.id: converter_law(part) for part in parts}
        self.latching = {part.id for part in parts if part.latches}
        self.switches = any(law.cut_in > 0 for law in self.converters.values())
        self._alike = {name: replace(fans[name], id="", mounting="") for name in self.ids}
        self._whole: dict[tuple[State | None, ...], tuple[LoadTable, dict[str, int]]] = {}
        self._kept: dict[object, tuple[LoadTable, tuple[int, ...], tuple[int, ...]]] = {}

    def table(self, states: Mapping[str, State]) -> tuple[LoadTable, dict[str, int]]:
        """Table for the states of all fans, and the row of each fan and of each converter's input in it.

        A converter that is given the state ``"open"`` is off.
        """
        names = (*self.ids, *self.converters)
        key = tuple(states.get(name) for name in names)
        if key not in self._whole:
            table, rows, inputs = self._composed(self.branch, states)
            self._whole[key] = table, dict(zip(names, (*rows, *inputs), strict=True))
        return self._whole[key]

    def groups(self) -> tuple[tuple[str, ...], ...]:
        """Interchangeable fans: alike, behind alike leads, on the same join; those of a group by their mounting."""
        return tuple(
            tuple(sorted(ids, key=lambda name: self.fans[name].mounting)) for ids in self._grouped(self.branch)
        )

    def _grouped(self, branch: Branch) -> list[tuple[str, ...]]:
        match branch:
            case Leaf(part):
                return [(part,)]
            case Through(child=child):
                return self._grouped(child)
        alike: dict[object, list[str]] = {}
        found: list[tuple[str, ...]] = []
        for member in branch.members:
            ids = list(leaves(member))
            if len(ids) == 1:
                alike.setdefault(self._kind(member), []).extend(ids)
            else:
                found += self._grouped(member)
        found += [tuple(ids) for ids in alike.values()]
        return sorted(found, key=lambda ids: self.ids.index(ids[0]))

    def _kind(self, branch: Branch, states: Mapping[str, State] | None = None) -> object:
        """Equal for branches that behave alike."""
        match branch:
            case Leaf(part):
                return self._alike[part], states[part] if states else ""
            case Through(child, resistance, diode, converter=converter):
                regulator = None
                if converter is not None:
                    name = converter.id
                    regulator = self.converters[name], (states or {}).get(name), converter.latches
                return self._kind(child, states), resistance, diode, regulator
        return branch.arrangement, tuple(self._kind(member, states) for member in branch.members)

    def _composed(
        self, branch: Branch, states: Mapping[str, State]
    ) -> tuple[LoadTable, tuple[int, ...], tuple[int, ...]]:
        """Table of a branch, the row of each of its fans and of each converter's input, in order."""
        kind = self._kind(branch, states)
        if kind not in self._kept:
            self._kept[kind] = self._fresh(branch, states)
        return self._kept[kind]

    def _fresh(self, branch: Branch, states: Mapping[str, State]) -> tuple[LoadTable, tuple[int, ...], tuple[int, ...]]:
        match branch:
            case Leaf(part):
                fan = self.fans[part]
                bends = [volts for volts, _ in fan.points]
                if fan.constant_power and self.highest > fan.stop_voltage:
                    # The panel leaves a falling curve at a tangent: nodes far apart would miss the place. They do not
                    # hang on the highest voltage, so that tables of one load agree.
                    count = int(np.log(self.highest / fan.stop_voltage) / np.log(_TANGENT_RATIO)) + 1
                    bends = (fan.stop_voltage * _TANGENT_RATIO ** np.arange(count)).tolist()
                grid = voltage_grid(self.highest, bends)
                return line(grid, fan.current(grid, states[part])), (0,), ()
            case Through(child, resistance, diode, converter=converter):
                table, rows, inputs = self._composed(child, states)
                if converter is None:
                    return through(table, resistance, diode_pairs(diode)), rows, inputs
                name = converter.id
                side = self._input_side(self.converters[name], table, states.get(name))
                return regulated(table, side), rows, (len(table.terminals), *inputs)
        kinds = [self._kind(member, states) for member in branch.members]
        distinct = list(dict.fromkeys(kinds))
        members = [self._composed(branch.members[kinds.index(kind)], states) for kind in distinct]
        first_row = np.cumsum([0, *(len(member[0].terminals) for member in members)])
        places = [distinct.index(kind) for kind in kinds]
        rows = tuple(int(first_row[place]) + row for place in places for row in members[place][1])
        inputs = tuple(int(first_row[place]) + row for place in places for row in members[place][2])
        join = parallel if branch.arrangement == "parallel" else series
        return join([member[0] for member in members], [kinds.count(kind) for kind in distinct]), rows, inputs

    def _input_side(self, law: ConverterLaw, table: LoadTable, state: State | None) -> InputSide:
        """What a load looks like from the input of a converter."""
        if state != "open":
            return input_side(law, table.voltage, table.current, self.highest)
        volts = np.array([0.0, 1.0, 1.1]) * max(self.highest, law.cut_out)
        return InputSide(volts, OFF_CONDUCTANCE * volts, 0.0 * volts, 0.0 * volts)


def load_side(branch: Branch, fans: Mapping[str, FanElectrical], highest: float) -> LoadSide:
    """Give the load of a circuit up to a voltage [V] and beyond; that of the last circuits is kept with its tables.

    `fans` are by id, those of the branch and maybe others.
    """
    # Tables agree where both have nodes: those to the next power of two serve lights and panels of nearly all sizes.
    return _load_side(branch, tuple(fans[name] for name in leaves(branch)), 2.0 ** np.ceil(np.log2(highest)))


@lru_cache(maxsize=3)
def _load_side(branch: Branch, fans: tuple[FanElectrical, ...], highest: float) -> LoadSide:
    return LoadSide(branch, dict(zip(leaves(branch), fans, strict=True)), highest)


def converter_law(part: Converter) -> ConverterLaw:
    """Give the electrical side of a converter; a charge controller alone never comes on."""
    limited = part.kind != "clamp"
    cut_in, cut_out = (_NEVER, _NEVER) if part.needs_battery else (part.cut_in, part.cut_out)
    return ConverterLaw(
        kind=part.kind,
        output_voltage=part.output_voltage,
        cut_in=cut_in,
        cut_out=cut_out,
        headroom=part.headroom,
        efficiency=tuple((amps, share) for amps, share in part.efficiency),
        quiescent_current=part.quiescent_current,
        current_limit=part.current_limit if limited else float("inf"),
        fold_back=part.fold_back,
        slope_resistance=part.slope_resistance,
    )


def diode_pairs(diode: DiodeLaw | None) -> tuple[tuple[float, float], ...]:
    """A diode of the circuit as the kernels take it."""
    return ((diode.saturation_current, diode.slope_voltage),) if diode is not None else ()


def losses(
    branch: Branch,
    currents: Mapping[str, np.ndarray],
    converters: Mapping[str, tuple[np.ndarray, np.ndarray]] | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Current [A] through a branch and the heat [W] made in it by resistance, by diodes and by converters, by step.

    The branch is either side of a circuit; `currents` holds that of each panel or fan [A], `converters` for each
    converter of the branch its input current [A] and the power that stays in it [W], all of shape (steps,).
    """
    match branch:
        case Leaf(part):
            nothing = np.zeros_like(currents[part])
            return currents[part], nothing, nothing, nothing
        case Through(child, resistance, diode, converter=converter):
            current, cable_loss, diode_loss, converter_loss = losses(child, currents, converters)
            if converter is None:
                drop, _ = diode_drop(current, diode_pairs(diode))
                return current, cable_loss + resistance * current**2, diode_loss + current * drop, converter_loss
            current, lost = (converters or {})[converter.id]
            return current, cable_loss, diode_loss, converter_loss + lost
    members = [losses(member, currents, converters) for member in branch.members]
    total, cable_loss, diode_loss, converter_loss = np.sum(members, axis=0)
    current = total if branch.arrangement == "parallel" else members[0][0]
    return current, cable_loss, diode_loss, converter_loss
