"""The electrical heart: from a circuit, its panels and its fans to voltages, currents and running fans.

Two questions are answered for all steps at once: what happens through time (:func:`operate`), and what a meter reads
with the fans in given states (:func:`point`). Designs that differ in the size of their panels are worked out together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from solarvent.base.errors import DomainError
from solarvent.electrical.battery import held_at
from solarvent.electrical.branches import RETRY_DUTY, FanElectrical, LoadSide, State, load_side
from solarvent.electrical.operating_point import OperatingPoint, ports
from solarvent.electrical.running_states import RunningStates
from solarvent.electrical.source_side import SourceSide, StoredSide
from solarvent.wiring.circuit import Circuit

__all__ = [
    "RETRY_DUTY",
    "FanElectrical",
    "OperatingPoint",
    "Operation",
    "fan_states",
    "operate",
    "point",
]


@dataclass(frozen=True, eq=False)
class Operation(OperatingPoint):
    """What one circuit does through time.

    Attributes
    ----------
    running : array (fans, steps) of bool
    hunting : array (fans, steps) of bool
        The fan stands and could start, but would fall back or pull another fan down.
    fan_voltage_peak : array (fans, steps)
        Largest voltage at the fans' terminals: between the attempts of standing retrying fans. [V]
    converter_hunting : array (converters, steps) of bool
        It comes on and falls off again, with the fans as they are or when one of them tries to start.
    """

    running: np.ndarray
    hunting: np.ndarray
    fan_voltage_peak: np.ndarray
    converter_hunting: np.ndarray


def operate(circuit: Circuit, panels: Mapping[str, tuple], fans: Mapping[str, FanElectrical]) -> Operation:
    """Carry a circuit through time: which fans turn, at which voltages and currents.

    A fan starts when its terminals reach the start voltage while it stands on its locked-rotor line, the other
    standing fans being on theirs if held and between attempts if retrying. It keeps turning until its terminals fall
    below the stop voltage, the standing retrying fans drawing 0.15 of their line on average. A retrying fan in a
    series string counts as held, since it cannot switch itself off alone. Where several could start, the one that a
    slow dawn starts first does so first; where several fall, the one that needs most voltage at the bus stops first.
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
    states = fan_states(circuit, panels, fans)
    at_rest = states.at_rest()
    peak, between = at_rest.fan_voltage.copy(), np.flatnonzero(states.between_attempts)
    peak[:, between] = np.maximum(peak[:, between], states.highest_voltage(between))
    return Operation(
        at_rest.source,
        at_rest.load,
        at_rest.ports,
        running=states.running,
        hunting=states.hunting,
        fan_voltage_peak=peak,
        converter_hunting=states.converter_hunting,
    )


def fan_states(
    circuit: Circuit,
    panels: Mapping[str, tuple],
    fans: Mapping[str, FanElectrical],
    sizes: Sequence[float] = (1.0,),
    order: np.ndarray | None = None,
    sweep: bool = False,
) -> RunningStates:
    """Find which fans turn through time, as :func:`operate`, without the voltages; for panels of many sizes at once.

    Parameters
    ----------
    circuit, panels, fans
        As for :func:`operate`.
    sizes : sequence of float
        Of the designs: each has panels of so many times the currents, and of the same voltages. [-]
    order : array of int, optional
        Indices of the steps of one design in the order in which they are gone through; by default as they stand.
    sweep : bool
        The light changes so slowly from step to step that no two fans start in one.

    Returns
    -------
    RunningStates
        The steps of all designs, one design after the other.

    Raises
    ------
    DomainError
        As :func:`operate`.
    """
    return RunningStates(*sides_of(circuit, panels, fans, sizes), len(sizes), order, sweep)


def point(
    circuit: Circuit,
    panels: Mapping[str, tuple],
    fans: Mapping[str, FanElectrical],
    states: Mapping[str, State],
    sizes: Sequence[float] = (1.0,),
) -> OperatingPoint:
    """Operating point with every fan in a given state, whether or not it would stay in it.

    Parameters
    ----------
    circuit, panels, fans, sizes
        As for :func:`fan_states`.
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
    source, load = sides_of(circuit, panels, fans, sizes)
    _require("state", load.ids, states)
    return OperatingPoint(source, load, ports(source.source, load, states, source.steps))


def sides_of(
    circuit: Circuit,
    panels: Mapping[str, tuple],
    fans: Mapping[str, FanElectrical],
    sizes: Sequence[float] = (1.0,),
) -> tuple[SourceSide, LoadSide]:
    """Both sides of a circuit."""
    _require("panel", circuit.panel_ids, panels)
    _require("fan", circuit.fan_ids, fans)
    source = SourceSide(circuit.source, panels, sizes)
    if circuit.storage is not None:
        source = StoredSide(source, circuit.storage.controller, np.full(source.steps, held_at(circuit.storage)))
    return source, load_side(circuit.load, fans, source.highest)


def _require(kind: str, ids: Iterable[str], given: Mapping[str, object]) -> None:
    missing = [name for name in ids if name not in given]
    if missing:
        raise DomainError.single(
            "circuit", f"no {kind} is given for {', '.join(missing)}", f"give a {kind} for each id"
        )
