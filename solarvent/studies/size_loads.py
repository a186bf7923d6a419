"""What the fans of a design do in given light: read off points of the load where one panel feeds them, else in full."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.electrical.bands import HIGH, TYPICAL
from solarvent.electrical.circuit_parts import THRESHOLD_AIR, fan_electrical
from solarvent.electrical.operation import Thresholds, operate
from solarvent.electrical.panel_model import panel_parameters
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import start_and_run_down
from solarvent.simulation.worst_case import RECORD_MARGIN, WorstCase, worst_case
from solarvent.studies.size_designs import REFERENCE_WATTS, plate_watts
from solarvent.studies.size_grid import Load, course, hunting, in_line
from solarvent.studies.size_light import PlaceLight
from solarvent.studies.size_points import Light
from solarvent.studies.size_worst import WorstPoints
from solarvent.weather.panel_light import cell_temperature
from solarvent.wiring.circuit import Branch, Circuit, converters, fed_by, has_series, leaves
from solarvent.wiring.harness import Harness, build_harness
from solarvent.wiring.network import circuits

_SWEEP = np.arange(0.0, 1401.0)


@dataclass(frozen=True, eq=False)
class FanCourse:
    """What the fans of a design do at some moments, in the order of the plan.

    Attributes
    ----------
    running : array of bool, shape (fans, moments)
    voltage : array, shape (fans, moments)
        While they turn; else 0. [V]
    hunting : dict of str to array of bool, shape (moments,)
        By converter: it comes on and falls off again.
    peak : array, shape (fans,)
        Highest voltage between the attempts of a standing fan, where it may be above that of the worst case. [V]
    """

    running: np.ndarray
    voltage: np.ndarray
    hunting: dict[str, np.ndarray]
    peak: np.ndarray


class Wired:
    """How designs are wired that differ in the size of their panels only.

    Parameters
    ----------
    planned : Plan
        One of them.
    place : PlaceLight
        Where its panels stand.
    """

    harness: Harness

    def __init__(self, planned: Plan, place: PlaceLight) -> None:
        self.harness = build_harness(planned)
        self.circuits = circuits(self.harness, planned)
        self.fans = {fan.id: fan_electrical(fan) for fan in planned.record.fan}
        self.in_line: InLine | None = None
        if not place.uneven and (branch := _one_panel(self.circuits)):
            alike = len({fan.model_copy(update={"id": ""}).model_dump_json() for fan in planned.record.fan}) == 1
            self.in_line = InLine(planned, branch, place.open_circuit, alike)

    def course(self, planned: Plan, place: PlaceLight, at: slice, closed: np.ndarray | None = None) -> FanCourse:
        """Carry a design through some of the moments of its place.

        Parameters
        ----------
        planned : Plan
            The design.
        place : PlaceLight
            Where its panels stand.
        at : slice
            The moments.
        closed : array of bool, shape (moments,), optional
            The line of the fans is closed; by default always. Open, it is as the dark to them.
        """
        if self.in_line is not None:
            light = place.light
            if closed is not None or len(range(*at.indices(place.substeps))) < place.substeps:
                lit = 1.0 if closed is None else closed
                light = Light(light.reference, light.irradiance[at] * lit, light.temp_cell[at])
            return self.in_line.course(light, _share(planned))
        return self._in_full(planned, place, at, closed)

    def _in_full(self, planned: Plan, place: PlaceLight, at: slice, closed: np.ndarray | None) -> FanCourse:
        lights = {name: tuple(values[..., at] for values in both) for name, both in place.panels.items()}
        lit = np.any([row > 0 for irradiance, _ in lights.values() for row in np.atleast_2d(irradiance)], axis=0)
        fed = np.ones(len(lit), dtype=bool) if closed is None else closed
        # The dark moment after dusk is kept, for it is the one that stops the fans for the night.
        chosen = np.flatnonzero(lit | np.concatenate([[True], lit[:-1]]))
        panels = {}
        for panel in planned.record.panel:
            irradiance, temp_cell = (values[..., chosen] for values in lights[panel.id])
            photocurrent, *others = panel_parameters(panel, irradiance, temp_cell)
            panels[panel.id] = photocurrent * fed[chosen], *others
        names = list(self.fans)
        running, voltage = np.zeros((len(names), len(lit)), dtype=bool), np.zeros((len(names), len(lit)))
        hunts: dict[str, np.ndarray] = {}
        peak = np.zeros(len(names))
        for circuit in self.circuits:
            done = operate(
                circuit,
                {name: panels[name] for name in circuit.panel_ids},
                {name: self.fans[name] for name in circuit.fan_ids},
            )
            rows = np.array([names.index(name) for name in done.fan_ids])
            running[np.ix_(rows, chosen)] = done.running
            voltage[np.ix_(rows, chosen)] = done.fan_voltage * done.running
            peak[rows] = done.fan_voltage_peak.max(axis=1, initial=0.0)
            for name, values in zip(done.converter_ids, done.converter_hunting, strict=True):
                hunts[name] = np.zeros(len(lit), dtype=bool)
                hunts[name][chosen] = values
        return FanCourse(running, voltage, hunts, peak)

    def worst(self, planned: Plan, place: PlaceLight, coldest_hour: float) -> WorstCase:
        """Highest voltages of a design."""
        if self.in_line is None or self.in_line.worst is None:
            return worst_case(planned, self.circuits, coldest_hour)
        lowest = planned.record.place.record_low
        cold = coldest_hour - RECORD_MARGIN if lowest is None else lowest
        return self.in_line.worst.at(place.light.reference, planned.record.panel[0], _share(planned), cold)

    def thresholds(self, planned: Plan, place: PlaceLight) -> dict[str, Thresholds]:
        """Light from which each fan starts and down to which it turns, at 20 degC outside."""
        if self.in_line is None:
            return start_and_run_down(self.circuits)
        sweep = np.concatenate([_SWEEP, _SWEEP[::-1]])
        heat = cell_temperature(sweep, THRESHOLD_AIR, planned.record.panel[0].noct)
        turning = self.in_line.turning(Light(place.light.reference, sweep, heat), _share(planned))
        found = {}
        for name, turns in zip(self.fans, turning, strict=True):
            up, down = _SWEEP[turns[: len(_SWEEP)]], _SWEEP[turns[: len(_SWEEP) - 1 : -1]]
            found[name] = Thresholds(*(float(light[0]) if len(light) else float("nan") for light in (up, down)))
        return found


class InLine:
    """Fans on a single panel, by the light that each point of their curve needs; for a panel of any size."""

    def __init__(self, planned: Plan, branch: Branch, highest: float, alike: bool) -> None:
        typical, strong = (
            {fan.id: fan_electrical(fan, band) for fan in planned.record.fan} for band in (TYPICAL, HIGH)
        )
        self.load = Load(branch, typical, highest)
        self.worst = WorstPoints(branch, strong, highest) if alike else None
        places = {name: row for row, name in enumerate(self.load.side.ids)}
        self._rows = [places[name] for name in typical]

    def course(self, light: Light, size: float) -> FanCourse:
        """What the fans do in a light."""
        done = course(self.load, light, size)
        running = self.load.running.by_fan(done.turning, turning=True)[self._rows]
        voltage = self.load.running.by_fan(done.voltage)[self._rows]
        return FanCourse(running, voltage * running, hunting(self.load, light, size, done), np.zeros(len(running)))

    def turning(self, light: Light, size: float) -> np.ndarray:
        """Whether each fan turns, shape (fans, moments)."""
        return self.load.running.by_fan(course(self.load, light, size).turning, turning=True)[self._rows]


def _one_panel(wired: tuple[Circuit, ...]) -> Branch | None:
    """The load with all in line, if one panel feeds fans side by side, through one converter for all at the most."""
    if len(wired) != 1 or has_series(wired[0]):
        return None
    load = wired[0].load
    for part in converters(load):
        if part.latches or fed_by(load, part.id) != set(leaves(load)):
            return None
    return in_line(wired[0].source, load) if len(list(converters(load))) < 2 else None


def _share(planned: Plan) -> float:
    """Size of the panel, as a share of the reference."""
    return plate_watts(planned.record.panel[0]) / REFERENCE_WATTS
