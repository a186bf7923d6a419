"""What the fans of designs do that differ in the size of their panels only, in the light of their place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from solarvent.electrical.branches import LoadSide
from solarvent.electrical.circuit_parts import circuit_fans
from solarvent.electrical.panel_model import panel_parameters
from solarvent.electrical.running_states import RunningStates
from solarvent.electrical.source_side import SourceSide
from solarvent.plan.plan import Plan
from solarvent.simulation.worst_case import WorstCase
from solarvent.wiring.circuit import Circuit
from solarvent.wiring.harness import build_harness
from solarvent.wiring.network import circuits

Lights = Mapping[str, tuple[np.ndarray, ...]]


@dataclass(frozen=True, eq=False)
class FanCourse:
    """What the fans of a design do at some moments, in the order of the plan.

    Attributes
    ----------
    running : array of bool, shape (fans, moments)
    voltage : array, shape (fans, moments)
        While they turn, at the moments for which it was asked; else 0. [V]
    hunting : dict of str to array of bool, shape (moments,)
        By converter: it comes on and falls off again.
    peak : array, shape (fans,)
        Highest voltage between the attempts of a standing fan, where it may be above that of the worst case. [V]
    """

    running: np.ndarray
    voltage: np.ndarray
    hunting: dict[str, np.ndarray]
    peak: np.ndarray


class SizedCircuits:
    """The circuits of designs that differ in the size of their panels only.

    Parameters
    ----------
    planned : Plan
        One of them; the sizes of the others are held against its own.
    """

    def __init__(self, planned: Plan) -> None:
        self.harness = build_harness(planned)
        self.circuits = circuits(self.harness, planned)
        self.fans = {name: fan for circuit in self.circuits for name, fan in circuit_fans(circuit).items()}
        self._loads: dict[tuple[str, ...], LoadSide] = {}
        self._rows = {fan.id: row for row, fan in enumerate(planned.record.fan)}

    def _load(self, circuit: Circuit, highest: float) -> LoadSide:
        """The load of a circuit up to a voltage [V]; its tables are kept for panels of other sizes."""
        known = self._loads.get(circuit.fan_ids)
        if known is None or known.highest < highest:
            known = self._loads[circuit.fan_ids] = LoadSide(circuit.load, circuit_fans(circuit), highest)
        return known

    def courses(
        self,
        lights: Lights,
        sizes: Sequence[float],
        asked: np.ndarray,
        worst: Sequence[WorstCase] = (),
        closed: np.ndarray | None = None,
    ) -> list[FanCourse]:
        """Carry designs through the light of some moments, in the order in which they pass.

        Parameters
        ----------
        lights : mapping of str to (array, array)
            By panel: light on its cells, or on each of its sections that are not lit alike, and their temperature.
            [W/m2], [degC]
        sizes : sequence of float
            Of the panels, as multiples of those of the plan that the circuits come from.
        asked : array of bool, shape (moments,)
            Where the voltage is asked for.
        worst : sequence of WorstCase, optional
            By size: between the attempts of a fan only higher voltages than its open circuit are looked for.
        closed : array of bool, shape (moments,), optional
            The line of the fans is closed; by default always. Open, it is as the dark to them.

        Returns
        -------
        list of FanCourse
            By size.
        """
        lit = np.any([np.atleast_2d(irradiance).any(axis=0) for irradiance, _ in lights.values()], axis=0)
        # The dark moment after dusk is kept, for it is the one that stops the fans for the night.
        chosen = np.flatnonzero(lit | np.concatenate([[True], lit[:-1]]))
        fed = np.ones(len(chosen)) if closed is None else closed[chosen]
        lights = {name: (irradiance[..., chosen], heat[chosen]) for name, (irradiance, heat) in lights.items()}
        distinct, order = _distinct(np.vstack([fed, *(rows for light in lights.values() for rows in light)]))
        shape = (len(self._rows), len(sizes), len(lit))
        running, voltage = np.zeros(shape, dtype=bool), np.zeros(shape)
        peak, hunting = np.zeros(shape[:2]), {}
        for circuit in self.circuits:
            panels = {}
            for panel in circuit.panels:
                irradiance, temp_cell = (values[..., distinct] for values in lights[panel.id])
                photocurrent, *others = panel_parameters(panel, irradiance, temp_cell)
                panels[panel.id] = photocurrent * fed[distinct], *others
            source = SourceSide(circuit.source, panels, sizes)
            states = RunningStates(source, self._load(circuit, source.highest), len(sizes), order)
            rows = [self._rows[name] for name in states.load.ids]
            turning = states.running.reshape(len(rows), len(sizes), -1)
            for row, turns, volts in zip(rows, turning, _voltages(states, turning & asked[chosen]), strict=True):
                running[row][:, chosen], voltage[row][:, chosen] = turns, volts
            if worst:
                peak[rows] = _peaks(states, [case.open_circuit[circuit.panel_ids[0]] for case in worst])
            for name, hunts in zip(states.load.converters, states.converter_hunting, strict=True):
                hunting[name] = np.zeros(shape[1:], dtype=bool)
                hunting[name][:, chosen] = hunts.reshape(len(sizes), -1)
        return [
            FanCourse(
                running[:, number],
                voltage[:, number],
                {name: hunts[number] for name, hunts in hunting.items()},
                peak[:, number],
            )
            for number in range(len(sizes))
        ]


def _distinct(conditions: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The moments whose conditions, one a row, are new, and the place of each moment's own among them.

    Gaps and shadows take turns, so that what comes again does so at the next moment but one.
    """
    moments = np.arange(conditions.shape[1])
    new = np.ones(len(moments), dtype=bool)
    new[2:] = np.any(conditions[:, 2:] != conditions[:, :-2], axis=0)
    first = np.where(new, moments, 0)
    for turn in (first[::2], first[1::2]):
        np.maximum.accumulate(turn, out=turn)
    return np.flatnonzero(new), (np.cumsum(new) - 1)[first]


def _voltages(states: RunningStates, asked: np.ndarray) -> np.ndarray:
    """Voltage of the fans where it is asked for, shape (fans, sizes, moments); else 0. [V]"""
    steps = np.flatnonzero(asked.any(axis=0))
    voltage = np.zeros((len(asked), asked[0].size))
    voltage[:, steps] = states.fan_voltage(steps)
    return voltage.reshape(asked.shape) * asked


def _peaks(states: RunningStates, open_circuit: Sequence[float]) -> np.ndarray:
    """Highest voltage between the attempts of each fan, shape (fans, sizes), where a panel is above a limit. [V]"""
    bound = np.asarray(states.source.source.voltage_bound)[states.light_of].reshape(len(open_circuit), -1)
    above = bound > np.asarray(open_circuit)[:, None]
    peaks = np.zeros((len(states.load.ids), *bound.shape))
    if above.any():
        peaks[:, above] = states.highest_voltage(np.flatnonzero(above))
    return peaks.max(axis=-1, initial=0.0)
