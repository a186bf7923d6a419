"""The electrical heart: from a circuit, its panels and its fans to voltages, currents and running fans.

Three questions are answered for all steps at once: what happens through time (:func:`operate`), what a meter reads
with the fans in given states (:func:`point`), and from which irradiance on each fan starts and keeps turning
(:func:`thresholds`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from solarvent.base.errors import DomainError
from solarvent.electrical.branches import RETRY_DUTY, FanElectrical, LoadSide, State, losses
from solarvent.electrical.running_states import RunningStates
from solarvent.electrical.settle import settle
from solarvent.electrical.source_side import SourceSide
from solarvent.wiring.circuit import Circuit

__all__ = [
    "RETRY_DUTY",
    "FanElectrical",
    "OperatingPoint",
    "Operation",
    "Thresholds",
    "operate",
    "point",
    "thresholds",
]

HIGHEST_IRRADIANCE = 1400.0
_DARK = 1e-6  # A; a panel with less photocurrent is dark


@dataclass(frozen=True, eq=False)
class Operation:
    """What one circuit does through time.

    Attributes
    ----------
    panel_ids, fan_ids : tuple of str
        Order of the rows below.
    panel_voltage, panel_current : array (panels, steps)
        At the panels' own terminals. [V], [A]
    bus_voltage, bus_current : array (steps,)
        At the bus, between source and load. [V], [A]
    fan_voltage, fan_current : array (fans, steps)
        At the fans' terminals; of a standing retrying fan the average over its attempts. [V], [A]
    fan_voltage_peak : array (fans, steps)
        Largest voltage at the fans' terminals: between the attempts of standing retrying fans. [V]
    running : array (fans, steps) of bool
    hunting : array (fans, steps) of bool
        The fan stands and could start, but would fall back or pull another fan down.
    cable_loss, diode_loss, converter_loss : array (steps,)
        Heat in cables and contacts, in diodes in line, and in converters. [W]
    bypass_loss : array (steps,)
        Heat in the bypass diodes within the panels; what the panels give at their terminals is without it. [W]
    converter_ids : tuple of str
        Order of the rows below.
    converter_power : array (converters, steps)
        Heat in each converter. [W]
    converter_hunting : array (converters, steps) of bool
        It comes on and falls off again, with the fans as they are or when one of them tries to start.
    """

    panel_ids: tuple[str, ...]
    fan_ids: tuple[str, ...]
    panel_voltage: np.ndarray
    panel_current: np.ndarray
    bus_voltage: np.ndarray
    bus_current: np.ndarray
    fan_voltage: np.ndarray
    fan_current: np.ndarray
    fan_voltage_peak: np.ndarray
    running: np.ndarray
    hunting: np.ndarray
    cable_loss: np.ndarray
    diode_loss: np.ndarray
    converter_loss: np.ndarray
    bypass_loss: np.ndarray
    converter_ids: tuple[str, ...]
    converter_power: np.ndarray
    converter_hunting: np.ndarray


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """What a meter reads with every fan in a given state.

    Attributes
    ----------
    panel_ids, fan_ids : tuple of str
        Order of the rows below.
    panel_voltage, panel_current : array (panels, steps)
        [V], [A]
    bus_voltage, bus_current : array (steps,)
        [V], [A]
    fan_voltage, fan_current : array (fans, steps)
        [V], [A]
    open_circuit_voltage : array (steps,)
        At the bus, with the load taken off. [V]
    short_circuit_current : array (steps,)
        At the bus, with the load shorted. [A]
    converter_ids : tuple of str
        Order of the rows below.
    converter_power : array (converters, steps)
        Heat in each converter. [W]
    """

    panel_ids: tuple[str, ...]
    fan_ids: tuple[str, ...]
    panel_voltage: np.ndarray
    panel_current: np.ndarray
    bus_voltage: np.ndarray
    bus_current: np.ndarray
    fan_voltage: np.ndarray
    fan_current: np.ndarray
    open_circuit_voltage: np.ndarray
    short_circuit_current: np.ndarray
    converter_ids: tuple[str, ...] = ()
    converter_power: np.ndarray = field(default_factory=lambda: np.zeros((0, 1)))


@dataclass(frozen=True)
class Thresholds:
    """From which irradiance on a fan starts, and down to which it keeps turning.

    Attributes
    ----------
    start_irradiance : float
        As the light rises slowly from darkness; NaN if it does not start up to 1400 W/m2. [W/m2]
    run_down_irradiance : float
        As the light falls slowly afterwards, the last at which it turns; NaN if it does not turn. [W/m2]
    """

    start_irradiance: float
    run_down_irradiance: float


def operate(circuit: Circuit, panels: Mapping[str, tuple], fans: Mapping[str, FanElectrical]) -> Operation:
    """Carry a circuit through time: which fans turn, at which voltages and currents.

    A fan starts when its terminals reach the start voltage while it stands on its locked-rotor line, the other
    standing fans being on theirs if held and between attempts if retrying. It keeps turning until its terminals fall
    below the stop voltage, the standing retrying fans drawing 0.15 of their line on average. A retrying fan in a
    series string counts as held, since it cannot switch itself off alone. Where several could start, the one of the
    lowest start voltage does so first; where several fall, the one that needs most voltage at the bus stops first.
    All fans stand at first, and in the dark. A converter that latches is off from a failed start until it is dark, and
    all fans of its circuit with it.

    Parameters
    ----------
    circuit : Circuit
        Sources and loads of one pair of conductors.
    panels : mapping of str to tuple
        For each panel of the circuit its photocurrent, saturation_current, resistance_series, resistance_shunt and
        nNsVth in pvlib's order and units, each a scalar or an array (steps,); or (sections, steps) where the equal
        sections of the panel are not lit alike, each row being the whole panel in that light.
    fans : mapping of str to FanElectrical
        For each fan of the circuit.

    Returns
    -------
    Operation

    Raises
    ------
    DomainError
        If the fans can turn in more than 64 combinations, or an id of the circuit is missing.
    """
    source, load = sides_of(circuit, panels, fans)
    states = RunningStates(source, load)
    rows, steps, regulators = len(load.ids), source.steps, tuple(load.converters)
    voltage = np.zeros(steps)
    terminals, peak = np.zeros((rows, 2, steps)), np.zeros((rows, steps))
    converter_current, converter_power = np.zeros((2, len(regulators), steps))
    converter_hunting = states.failed_attempts.copy()

    def rest(here: np.ndarray, position: int, off: dict[str, State]) -> None:
        part = source.only(here)
        at_rest = settle(part, load, states.standing(position) | off, len(here))
        voltage[here], terminals[:, :, here] = at_rest.voltage, at_rest.fans
        converter_current[:, here], converter_power[:, here] = at_rest.converters[:, 0, 1], at_rest.converter_loss
        converter_hunting[:, here] |= at_rest.hunting
        between = states.standing(position, retrying="open") | off
        widest = at_rest.fans
        if between != states.standing(position) | off:
            widest = settle(part, load, between, len(here)).fans
        peak[:, here] = np.maximum(widest[:, 0], at_rest.fans[:, 0])

    reached = states.reached
    for position in np.unique(reached):
        rest(np.flatnonzero(reached == position), int(position), {})
    stuck = _stuck(source, [converter_hunting[regulators.index(name)] for name in load.latching])
    if stuck.any():
        reached = np.where(stuck, 0, reached)
        rest(np.flatnonzero(stuck), 0, dict.fromkeys(load.latching, "open"))
    by_converter = dict(zip(regulators, zip(converter_current, converter_power, strict=True), strict=True))
    current, *load_losses = losses(circuit.load, dict(zip(load.ids, terminals[:, 1], strict=True)), by_converter)
    panel_voltage, panel_current = source.terminals(voltage, current)
    _, *source_losses = losses(circuit.source, dict(zip(source.ids, panel_current, strict=True)))
    cable_loss, diode_loss, converter_loss = (
        before + behind for before, behind in zip(source_losses, load_losses, strict=True)
    )
    return Operation(
        panel_ids=source.ids,
        fan_ids=load.ids,
        panel_voltage=panel_voltage,
        panel_current=panel_current,
        bus_voltage=voltage,
        bus_current=current,
        fan_voltage=terminals[:, 0],
        fan_current=terminals[:, 1],
        fan_voltage_peak=peak,
        running=states.by_fan(states.sets[reached].T, turning=True),
        hunting=states.hunting & ~stuck,
        cable_loss=cable_loss,
        diode_loss=diode_loss,
        converter_loss=converter_loss,
        bypass_loss=source.bypass_loss(voltage, current),
        converter_ids=regulators,
        converter_power=converter_power,
        converter_hunting=converter_hunting,
    )


def _stuck(source: SourceSide, hunting: list[np.ndarray]) -> np.ndarray:
    """Where a converter that latches is off: from its first failed start until it is dark."""
    stuck = np.zeros(source.steps, dtype=bool)
    if not hunting:
        return stuck
    fails, dark = np.any(hunting, axis=0), np.asarray(source.source.current_bound) < _DARK
    caught = False
    for step in range(source.steps):
        caught = (caught or bool(fails[step])) and not dark[step]
        stuck[step] = caught
    return stuck


def point(
    circuit: Circuit,
    panels: Mapping[str, tuple],
    fans: Mapping[str, FanElectrical],
    states: Mapping[str, State],
) -> OperatingPoint:
    """Operating point with every fan in a given state, whether or not it would stay in it.

    Parameters
    ----------
    circuit, panels, fans
        As for :func:`operate`.
    states : mapping of str to str
        For each fan ``"turning"``, ``"held"`` (on its locked-rotor line), ``"retrying"`` (0.15 of that line) or
        ``"open"`` (taken off, or between attempts).

    Returns
    -------
    OperatingPoint

    Raises
    ------
    DomainError
        If an id of the circuit is missing.
    """
    source, load = sides_of(circuit, panels, fans)
    _require("state", load.ids, states)
    at_rest = settle(source.source, load, states, source.steps)
    voltage, terminals = at_rest.voltage, at_rest.fans
    by_converter = dict(
        zip(load.converters, zip(at_rest.converters[:, 0, 1], at_rest.converter_loss, strict=True), strict=True)
    )
    current, *_ = losses(circuit.load, dict(zip(load.ids, terminals[:, 1], strict=True)), by_converter)
    panel_voltage, panel_current = source.terminals(voltage, current)
    nothing = np.zeros(source.steps)
    return OperatingPoint(
        panel_ids=source.ids,
        fan_ids=load.ids,
        panel_voltage=panel_voltage,
        panel_current=panel_current,
        bus_voltage=voltage,
        bus_current=current,
        fan_voltage=terminals[:, 0],
        fan_current=terminals[:, 1],
        open_circuit_voltage=source.source.voltage_at(nothing)[0],
        short_circuit_current=source.source.current_at(nothing)[0],
        converter_ids=tuple(load.converters),
        converter_power=at_rest.converter_loss,
    )


def thresholds(
    circuit: Circuit,
    panels_at: Callable[[np.ndarray], Mapping[str, tuple]],
    fans: Mapping[str, FanElectrical],
    resolution: float = 1.0,
) -> dict[str, Thresholds]:
    """Start and run-down irradiance of each fan: the light rises slowly from darkness, then falls slowly.

    Parameters
    ----------
    circuit, fans
        As for :func:`operate`.
    panels_at : callable
        Takes irradiance on the panels (steps,) [W/m2], returns `panels` as for :func:`operate`.
    resolution : float
        Step of the sweep, up to 1400 W/m2. [W/m2]

    Returns
    -------
    dict of str to Thresholds
        By fan.

    Raises
    ------
    DomainError
        As :func:`operate`.
    """
    rising = np.arange(0.0, HIGHEST_IRRADIANCE + 0.5 * resolution, resolution)
    sweep = np.concatenate([rising, rising[::-1]])
    states = RunningStates(*sides_of(circuit, panels_at(sweep), fans))
    turning = states.by_fan(states.sets[states.reached].T, turning=True)
    found = {}
    for name, turns in zip(states.load.ids, turning, strict=True):
        up, down = rising[turns[: len(rising)]], rising[turns[: len(rising) - 1 : -1]]
        found[name] = Thresholds(
            float(up[0]) if len(up) else float("nan"), float(down[0]) if len(down) else float("nan")
        )
    return found


def sides_of(
    circuit: Circuit, panels: Mapping[str, tuple], fans: Mapping[str, FanElectrical]
) -> tuple[SourceSide, LoadSide]:
    """Both sides of a circuit."""
    _require("panel", circuit.panel_ids, panels)
    _require("fan", circuit.fan_ids, fans)
    source = SourceSide(circuit.source, panels)
    return source, LoadSide(circuit.load, fans, source.highest)


def _require(kind: str, ids: Iterable[str], given: Mapping[str, object]) -> None:
    missing = [name for name in ids if name not in given]
    if missing:
        raise DomainError.single(
            "circuit", f"no {kind} is given for {', '.join(missing)}", f"give a {kind} for each id"
        )
