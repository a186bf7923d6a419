"""The curves behind the operating points: what the panels offer in several suns, and what the fans ask for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from solarvent.electrical.branches import State
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.intersection import intersect
from solarvent.electrical.operation import sides_of
from solarvent.electrical.source_side import SourceSide
from solarvent.electrical.start_light import Thresholds
from solarvent.simulation.simulate import Simulation
from solarvent.wiring.circuit import Circuit, has_series

SUNS = (100.0, 200.0, 400.0, 600.0, 800.0, 1000.0)
_POINTS = 60


@dataclass(frozen=True, eq=False)
class Curve:
    """Voltage [V] and current [A] of one side of a circuit at the bus between them, both of shape (points,)."""

    voltage: np.ndarray
    current: np.ndarray


@dataclass(frozen=True)
class Crossing:
    """Where the panels' curve in one sun [W/m2] crosses a load curve, of the turning fans or of the standing one.

    Voltage [V] and current [A] are at the bus.
    """

    irradiance: float
    turning: bool
    voltage: float
    current: float


@dataclass(frozen=True, eq=False)
class OperatingCurves:
    """One circuit.

    Attributes
    ----------
    panels, fans : tuple of str
        Their ids.
    last : str
        The fan that is hardest to start: it starts last, or never.
    limits : Thresholds
        Its start and run-down irradiance.
    sources : dict of float to Curve
        By irradiance: the panels behind their leads, cells as warm as that light makes them at 20 degC outside.
    start_source : Curve or None
        The same at the start irradiance; None if there is none.
    standing : Curve
        The load while that fan's rotor stands and tries to start: easier fans turn, harder ones are as in an attempt.
    turning : Curve
        The load with all fans turning.
    crossings : tuple of Crossing
        Where the circuit rests in each sun: standing below the start irradiance, turning from it on.
    start_point : tuple of float or None
        Voltage [V] and current [A] that the panels must reach to start that fan; None if no voltage does it.
    stop_voltage, maximum_voltage : float
        At the bus, for the fan that needs most and for the one that bears least; NaN if never reached. [V]
    """

    panels: tuple[str, ...]
    fans: tuple[str, ...]
    last: str
    limits: Thresholds
    sources: dict[float, Curve]
    start_source: Curve | None
    standing: Curve
    turning: Curve
    crossings: tuple[Crossing, ...]
    start_point: tuple[float, float] | None
    stop_voltage: float
    maximum_voltage: float


def operating_curves(run: Simulation) -> tuple[OperatingCurves, ...]:
    """Give the curves of every circuit of a simulated plan, all plates taken at their word.

    A circuit on a battery has none: there the battery decides the voltage, and not the sun.
    """
    limits = run.bands["typical"].thresholds
    return tuple(_of_circuit(circuit, limits) for circuit in run.circuits if circuit.storage is None)


def _of_circuit(circuit: Circuit, limits: Mapping[str, Thresholds]) -> OperatingCurves:
    names, fans = circuit.fan_ids, circuit_fans(circuit)
    starts = {name: float(np.nan_to_num(limits[name].start_irradiance, nan=np.inf)) for name in names}
    last = max(names, key=lambda name: starts[name])
    suns = np.array([*SUNS, *([starts[last]] if starts[last] < np.inf else [])])
    source, load = sides_of(circuit, circuit_panels(circuit, suns), fans)
    # As in the walk through the running sets: an attempt meets the locked rotor, other retrying fans are off meanwhile.
    rest: dict[str, State] = {
        name: "open" if fan.retrying and not has_series(circuit.load) else "held" for name, fan in fans.items()
    }
    attempt = {name: "turning" if starts[name] < starts[last] else rest[name] for name in names} | {last: "held"}
    standing, rows = load.table(attempt)
    turning, turning_rows = load.table(dict.fromkeys(names, "turning"))
    curves = _source_curves(circuit, suns)
    return OperatingCurves(
        panels=circuit.panel_ids,
        fans=names,
        last=last,
        limits=limits[last],
        sources=dict(zip(SUNS, curves, strict=False)),
        start_source=curves[len(SUNS)] if len(curves) > len(SUNS) else None,
        standing=Curve(standing.voltage, standing.current),
        turning=Curve(turning.voltage, turning.current),
        crossings=_crossings(source, standing, turning, starts[last]),
        start_point=standing.point_at_terminal(rows[last], fans[last].start_voltage),
        stop_voltage=_at_bus(turning, turning_rows, {name: fan.stop_voltage for name, fan in fans.items()}, max),
        maximum_voltage=_at_bus(turning, turning_rows, {fan.id: fan.maximum_voltage for fan in circuit.fans}, min),
    )


def _source_curves(circuit: Circuit, suns: np.ndarray) -> list[Curve]:
    """From short circuit to open circuit in each sun; every sun comes once for each point of its curve."""
    source = SourceSide(circuit.source, circuit_panels(circuit, np.repeat(suns, _POINTS))).generator
    highest = source.voltage_at(np.zeros(len(suns) * _POINTS))[0]
    volts = highest * np.tile(np.linspace(0.0, 1.0, _POINTS), len(suns))
    current = np.maximum(source.current_at(volts)[0], 0.0)
    return [Curve(*pair) for pair in zip(np.split(volts, len(suns)), np.split(current, len(suns)), strict=True)]


def _crossings(source: SourceSide, standing: Any, turning: Any, start: float) -> tuple[Crossing, ...]:
    crossings = []
    for turns, table in ((False, standing), (True, turning)):
        volts, amps = intersect(source.at(np.arange(len(SUNS))).source, table)
        crossings += [
            Crossing(sun, turns, float(voltage), float(current))
            for sun, voltage, current in zip(SUNS, volts, amps, strict=True)
            if (sun >= start) == turns
        ]
    return tuple(crossings)


def _at_bus(table: Any, rows: Mapping[str, int], limits: Mapping[str, float], choose: Any) -> float:
    """Voltage at the bus at which the first, or the last, fan comes to its limit."""
    reached = [table.point_at_terminal(rows[name], volts) for name, volts in limits.items()]
    known = [point[0] for point in reached if point is not None]
    return float(choose(known)) if known else float("nan")
