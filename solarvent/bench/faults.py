"""What a meter would read on a circuit with one fault in it, for every light and heat that may be.

The circuit is changed as the fault would change it and solved by the same operating points as a healthy one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from solarvent.electrical.branches import LoadSide, diode_pairs
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operation import FanElectrical, operate, point
from solarvent.electrical.panel_model import HIGH, LOW, TYPICAL, Band
from solarvent.electrical.single_diode import diode_drop
from solarvent.weather.conditions import cell_temperature
from solarvent.wiring.circuit import Branch, Circuit, DiodeLaw, Joined, Leaf, Through, has_series

Kind = Literal[
    "none",
    "dark",
    "open",
    "no-voltage",
    "resistor",
    "diode",
    "blocked",
    "series",
    "short-all",
    "no-voltage-all",
    "series-all",
    "cells",
    "draws",
    "volts",
]
Place = tuple[str, str]
Panels = dict[str, tuple[np.ndarray, ...]]

_OF_PANEL = ("panel_open", "panel_short", "panel_voltage", "panel_current")
#: Light on the cells as a share of 1000 W/m2, times the share of its plate that the panel gives.
LIGHT = np.geomspace(0.02, 1.25, 72)
_BRIGHT = 1.3
#: Air temperature [degC] and its weight, where nobody measured the cells.
_AIR = ((5.0, 0.25), (20.0, 0.5), (33.0, 0.25))
#: Readings of the fans' plates, with their prior: as they say, easier, stiffer.
FAN_BANDS = ((TYPICAL, 0.5), (HIGH, 0.25), (LOW, 0.25))
#: Phases of a fan that tries and fails, with the chance that a meter shows them: average, in an attempt, between two.
PHASES: tuple[tuple[Any, float], ...] = (("retrying", 0.2), ("held", 0.35), ("open", 0.45))

#: Below this share of its start voltage the driver of a fan sleeps (common practice, no source: 3.5 V of a 12 V fan).
_AWAKE = 0.5
_NEVER = 1e4  # V; a start voltage that is never reached
_NOTHING = 1e9  # ohm
_SHORT_ALL = "(short)"
# What stands between the poles of a reversed driver: two junctions and some resistance (common practice, no source).
_REVERSED = DiodeLaw(1e-9, 0.045)
_REVERSED_RESISTANCE = 0.3


@dataclass(frozen=True)
class Change:
    """One change of a circuit: at a part, or (`part` empty, kinds with ``-all``) on the common lead.

    ``"open"``: no current into the fan; ``"no-voltage"``: a break before it; ``"resistor"``: `value` [ohm] in place of
    it; ``"diode"``: reversed, without protection; ``"blocked"``: its rotor cannot turn; ``"series"``: `value` [ohm]
    before it; ``"draws"``: `value` times the current of its plate; ``"volts"``: a fan wound for `value` times the volts
    in its place; ``"cells"``, of a panel: `value` times as many cells in series.
    """

    kind: Kind
    part: str = ""
    value: float = 0.0


@dataclass(frozen=True, eq=False)
class Prediction:
    """Readings [V], [A] for every light, heat and history, by kind of reading and part, shape (phases, steps).

    Which fans run and which pulse is by fan, shape (steps,).
    """

    values: dict[Place, np.ndarray]
    running: dict[str, np.ndarray]
    pulsing: dict[str, np.ndarray]

    def renamed(self, names: Mapping[str, str]) -> Prediction:
        """The same with fans that change places."""

        def moved(table: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
            return {names.get(name, name): values for name, values in table.items()}

        values = {
            (kind, names.get(name, name) if kind in ("voltage", "current") else name): array
            for (kind, name), array in self.values.items()
        }
        return Prediction(values, moved(self.running), moved(self.pulsing))


class FaultModel:
    """Predictions of one circuit; each is worked out when it is first asked for, and kept.

    `light`, shape (steps,), is light times the share of its plate that the panel gives, over 1000 W/m2 [-]; `weight`,
    of the same shape, that of the heat and history of a step [-], 0 for steps that only set the history. `groups` are
    fans that may change places.
    """

    def __init__(self, circuit: Circuit, temp_cell: float | None = None) -> None:
        self.circuit = circuit
        self.panels = circuit.panels
        self.fans = {fan.id: fan for fan in circuit.fans}
        # The light rises from darkness, then falls from brightness: a fan may stand in the one and turn in the other.
        sweep = np.concatenate([[0.0], LIGHT, [_BRIGHT], LIGHT[::-1]])
        counted = np.concatenate([[0.0], np.full(LIGHT.size, 0.5), [0.0], np.full(LIGHT.size, 0.5)])
        heats = _AIR if temp_cell is None else ((None, 1.0),)
        self.light = np.tile(sweep, len(heats))
        self.weight = np.concatenate([counted * weight for _, weight in heats])
        noct = self.panels[0].noct
        self.temp_cell = np.concatenate(
            [
                np.full(sweep.size, temp_cell) if air is None else cell_temperature(1000 * sweep, air, noct)
                for air, _ in heats
            ]
        )
        self._parameters: Panels = circuit_panels(circuit, 1000 * self.light, self.temp_cell)
        electrical = circuit_fans(circuit)
        # Which fans are alike does not hang on the voltage up to which the load is asked.
        self.groups = LoadSide(circuit.load, electrical, 30.0).groups()
        self._kept: dict[tuple[Change, str], Prediction] = {}

    def prediction(self, change: Change, band: Band = TYPICAL) -> Prediction:
        """Readings with a change in the circuit and the fans of one band."""
        first = next((group[0] for group in self.groups if change.part in group), change.part)
        if change.part != first:
            swapped = {change.part: first, first: change.part}
            return self.prediction(replace(change, part=first), band).renamed(swapped)
        key = (change, band.name)
        if key not in self._kept and change.kind == "no-voltage":
            broken = self.prediction(replace(change, kind="open"), band)
            nothing = np.zeros((len(PHASES), self.light.size))
            self._kept[key] = replace(broken, values=broken.values | {("voltage", change.part): nothing})
        elif key not in self._kept:
            self._kept[key] = self._solved(change, band)
        return self._kept[key]

    def _panels_alone(self, electrical: Mapping[str, FanElectrical], parameters: Panels) -> dict[Place, np.ndarray]:
        """Open-circuit voltage and short-circuit current of each panel by itself."""
        readings: dict[Place, np.ndarray] = {}
        # A circuit needs a fan: one that is open leaves the panel alone.
        fan = next(iter(electrical))
        for name, five in parameters.items():
            alone = point(Circuit(Leaf(name), Leaf(fan)), {name: five}, {fan: electrical[fan]}, {fan: "open"})
            readings["panel_open", name] = np.tile(alone.open_circuit_voltage, (len(PHASES), 1))
            readings["panel_short", name] = np.tile(alone.short_circuit_current, (len(PHASES), 1))
        return readings

    def _solved(self, change: Change, band: Band) -> Prediction:
        """Change the circuit, solve it, and write down what a meter would show."""
        circuit, fans, parameters = self.circuit, circuit_fans(self.circuit, band), self._parameters
        name = change.part
        match change.kind:
            case "open":
                fans[name] = _resistor(fans[name], _NOTHING)
            case "resistor":
                fans[name] = _resistor(fans[name], change.value)
            case "blocked":
                fans[name] = replace(
                    _resistor(fans[name], fans[name].locked_rotor_resistance), retrying=fans[name].retrying
                )
            case "draws":
                fans[name] = _scaled(fans[name], 1.0, change.value)
            case "volts":
                # The same blades and the same power, wound for other volts.
                fans[name] = _scaled(fans[name], change.value, 1 / change.value)
            case "cells":
                # Cells in series share the current; their voltages add up, and so do resistances and n Ns Vth.
                light, dark, *resistances, slope = parameters[name]
                parameters = parameters | {
                    name: (light, dark, *(change.value * value for value in (*resistances, slope)))
                }
            case "diode":
                fans[name] = _resistor(fans[name], _REVERSED_RESISTANCE)
                circuit = self._before(name, lambda leaf: Through(leaf, 0.0, _REVERSED))
            case "series":
                circuit = self._before(name, lambda leaf: Through(leaf, change.value))
            case "series-all":
                circuit = Circuit(circuit.source, Through(circuit.load, change.value))
            case "dark":
                return self._dark()
            case "short-all" | "no-voltage-all":
                return self._common(change, fans)
        return self._read(change, circuit, fans, parameters)

    def _before(self, fan: str, put: Callable[[Branch], Branch]) -> Circuit:
        return Circuit(self.circuit.source, _replaced(self.circuit.load, fan, put))

    def _dark(self) -> Prediction:
        """Read a circuit whose panels give nothing."""
        nothing, still = np.zeros((len(PHASES), self.light.size)), np.zeros(self.light.size, dtype=bool)
        panels = [(kind, name) for name in self._parameters for kind in _OF_PANEL]
        fans = [(kind, name) for name in self.fans for kind in ("voltage", "current")]
        return Prediction(
            dict.fromkeys(panels + fans, nothing), dict.fromkeys(self.fans, still), dict.fromkeys(self.fans, still)
        )

    def _common(self, change: Change, fans: dict[str, FanElectrical]) -> Prediction:
        """Read a circuit whose common lead is shorted or broken: no fan can turn."""
        resistance = change.value if change.kind == "short-all" else _NOTHING
        shorted = {_SHORT_ALL: _resistor(next(iter(fans.values())), resistance)}
        reading = point(Circuit(self.circuit.source, Leaf(_SHORT_ALL)), self._parameters, shorted, {_SHORT_ALL: "held"})
        volts = reading.fan_voltage[0] if change.kind == "short-all" else np.zeros_like(self.light)
        values = self._panels_alone(fans, self._parameters)
        for row, name in enumerate(reading.panel_ids):
            values["panel_voltage", name] = np.tile(reading.panel_voltage[row], (len(PHASES), 1))
            values["panel_current", name] = np.tile(reading.panel_current[row], (len(PHASES), 1))
        still = np.zeros(self.light.shape, dtype=bool)
        for name, fan in fans.items():
            values["voltage", name] = np.tile(volts, (len(PHASES), 1))
            values["current", name] = np.tile(volts / fan.locked_rotor_resistance, (len(PHASES), 1))
        return Prediction(values, dict.fromkeys(fans, still), dict.fromkeys(fans, still))

    def _read(self, change: Change, circuit: Circuit, fans: dict[str, FanElectrical], panels: Panels) -> Prediction:
        """Carry a circuit up and down through the light, then look at each phase of the fans that try in vain."""
        operation = operate(circuit, panels, fans)
        steps = self.light.size
        panel = np.tile(np.array([operation.panel_voltage, operation.panel_current]), (len(PHASES), 1, 1, 1))
        fan = np.tile(np.array([operation.fan_voltage, operation.fan_current]), (len(PHASES), 1, 1, 1))
        trying = np.array([fans[name].retrying for name in operation.fan_ids]) & (not has_series(circuit.load))
        awake = operation.fan_voltage_peak > _AWAKE * np.array(
            [[fans[name].start_voltage] for name in operation.fan_ids]
        )
        pulsing = trying[:, None] & ~operation.running & awake
        # Steps in which the same fans turn are solved together.
        sets, at = np.unique(operation.running, axis=1, return_inverse=True)
        at = np.ravel(at)
        for number, turning in enumerate(sets.T):
            if not (trying & ~turning).any():
                continue
            here = np.flatnonzero(at == number)
            parameters = {name: tuple(np.broadcast_to(value, steps)[here] for value in five)
                          for name, five in panels.items()}  # fmt: skip
            for phase, (word, _) in enumerate(PHASES[1:], start=1):
                states: dict[str, Any] = {
                    name: "turning" if turns else word if tries else "held"
                    for name, turns, tries in zip(operation.fan_ids, turning, trying, strict=True)
                }
                seen = point(circuit, parameters, fans, states)
                panel[phase][:, :, here] = np.array([seen.panel_voltage, seen.panel_current])
                fan[phase][:, :, here] = np.array([seen.fan_voltage, seen.fan_current])
        values = self._panels_alone(fans, panels)
        for row, name in enumerate(operation.panel_ids):
            values["panel_voltage", name], values["panel_current", name] = panel[:, 0, row], panel[:, 1, row]
        for row, name in enumerate(operation.fan_ids):
            values["voltage", name], values["current", name] = fan[:, 0, row], fan[:, 1, row]
        if change.kind == "diode":
            current = values["current", change.part]
            values["voltage", change.part] = (
                values["voltage", change.part] + diode_drop(current, diode_pairs(_REVERSED))[0]
            )
        rows = dict(zip(operation.fan_ids, operation.running, strict=True))
        return Prediction(values, rows, dict(zip(operation.fan_ids, pulsing, strict=True)))


def _resistor(fan: FanElectrical, resistance: float) -> FanElectrical:
    """A resistor that takes the place of a fan."""
    return FanElectrical(fan.id, 1.0, 1.0 / resistance, 1.0, _NEVER, _NEVER, 1.0, False)


def _scaled(fan: FanElectrical, volts: float, amperes: float) -> FanElectrical:
    """The same fan with other volts and another current."""
    return replace(
        fan,
        rated_voltage=volts * fan.rated_voltage,
        rated_current=amperes * fan.rated_current,
        start_voltage=volts * fan.start_voltage,
        stop_voltage=volts * fan.stop_voltage,
        points=tuple((volts * voltage, amperes * current) for voltage, current in fan.points),
    )


def _replaced(branch: Branch, fan: str, put: Callable[[Branch], Branch]) -> Branch:
    """Put something before one fan of a branch."""
    match branch:
        case Leaf(part):
            return put(branch) if part == fan else branch
        case Through(child=child):
            return replace(branch, child=_replaced(child, fan, put))
    return Joined(branch.arrangement, tuple(_replaced(member, fan, put) for member in branch.members))
