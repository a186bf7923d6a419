"""Converters as two-port parts: what a load looks like through a step-down, step-up or linear regulator, or a clamp.

A switching converter holds its output, so at its input it is a load of constant power: as the input voltage falls its
current rises. A panel then meets it at several points. Those where the converter's current rises faster than the
panel's falls away are unstable. A capacitor at the input, coming down from the open circuit, settles at the point of
highest voltage, which is always stable. If there is none above the cut-out voltage, the
converter shuts off, the panel springs back, and it tries again: it hunts.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np

from solarvent.base.errors import DomainError
from solarvent.electrical.load import distinct

OFF_CONDUCTANCE = 1e-9
"""What a converter that is off leaves on the line: next to nothing. [S]"""
JUMP = 1e-7
"""Width of the step between off and on, as a share of the cut-out voltage."""

_GRID_RATIO = 1.01  # constant power is bent: 1 % steps keep it to 1e-5 of its current


@dataclass(frozen=True)
class ConverterLaw:
    """The figures of a converter.

    Attributes
    ----------
    kind : str
        ``"buck"`` steps down, ``"boost"`` steps up, ``"linear"`` burns the excess, ``"clamp"`` lies across the line and
        draws what is above its voltage.
    output_voltage : float
        That it holds; of a clamp, where it begins to draw. [V]
    cut_in, cut_out : float
        Input voltages at which it comes on and goes off; 0 for a part that is always on. [V]
    headroom : float
        Least voltage between input and output of a buck or linear converter. [V]
    efficiency : tuple of (float, float)
        Points of output current [A] and efficiency [-], of a switching converter; straight between, flat outside.
    quiescent_current : float
        That it draws for itself while on. [A]
    current_limit : float
        Of the output. [A]
    fold_back : float
        Share of the limit that is left into a short circuit: 1 a constant current, less a limit that falls with the
        output voltage. [-]
    slope_resistance : float
        Of a clamp, above its voltage. [ohm]

    Raises
    ------
    DomainError
        If the figures contradict each other.
    """

    kind: Literal["buck", "boost", "linear", "clamp"]
    output_voltage: float
    cut_in: float = 0.0
    cut_out: float = 0.0
    headroom: float = 0.0
    efficiency: tuple[tuple[float, float], ...] = ((0.0, 0.85),)
    quiescent_current: float = 0.0
    current_limit: float = float("inf")
    fold_back: float = 1.0
    slope_resistance: float = 0.5

    def __post_init__(self) -> None:
        switching = self.kind in ("buck", "boost")
        amps = [point[0] for point in self.efficiency]
        checks = (
            (self.output_voltage <= 0, "its output voltage is not above zero"),
            (self.cut_in < self.cut_out, "it would come on at a lower voltage than it goes off"),
            (switching and self.cut_out <= 0, "a switching converter has a cut-out voltage"),
            (self.kind == "clamp" and self.cut_in > 0, "a clamp is always on"),
            (switching and not all(0 < share <= 1 for _, share in self.efficiency), "its efficiency is not within 0-1"),
            (
                any(low >= high for low, high in pairwise(amps)),
                "its efficiency points are not in order",
            ),
            (not 0 <= self.fold_back <= 1, "its fold-back is not within 0-1"),
            (self.current_limit <= 0, "its current limit is not above zero"),
        )
        if wrong := [words for broken, words in checks if broken]:
            raise DomainError.single("converter", "; ".join(wrong), "correct the converter's figures")


class InputSide(NamedTuple):
    """A load as seen at a converter's input, one value a node; the input voltage rises. [V], [A]"""

    voltage: np.ndarray
    current: np.ndarray
    output_voltage: np.ndarray
    output_current: np.ndarray


def input_side(converter: ConverterLaw, voltage: np.ndarray, current: np.ndarray, highest: float) -> InputSide:
    """A load seen through a converter: its nodes go from 0 to the highest input voltage [V].

    The output is ``min(output_voltage, input - headroom)``, less where the current limit is reached; a boost converter
    lets a higher input through. The input current is

    - buck and boost: ``quiescent_current + output power / (efficiency x input voltage)``,
    - linear: ``quiescent_current + output current``,
    - clamp: ``output current + (input voltage - output_voltage) / slope_resistance`` above its voltage.

    Below the cut-out voltage it is off. In drop-out a buck converter keeps its efficiency. Voltage [V] and current [A]
    are the load at the output, both rising from 0; a load whose table ends early is taken as straight beyond.

    Examples
    --------
    >>> buck = ConverterLaw("buck", 5.0, cut_in=8.0, cut_out=7.0, headroom=1.0, efficiency=((0.0, 0.8),))
    >>> fan = np.array([0.0, 10.0])
    >>> seen = input_side(buck, fan, fan / 10.0, 20.0)
    >>> at = np.searchsorted(seen.voltage, 10.0)
    >>> round(float(seen.voltage[at] * seen.current[at]), 6), float(seen.current[1].round(10))
    (3.125, 7e-09)
    """
    inlet = _nodes(converter, voltage, highest)
    held = converter.output_voltage
    if converter.kind == "clamp":
        outlet = inlet
    elif converter.kind == "boost":
        outlet = np.maximum(inlet, held)
    else:
        outlet = np.clip(inlet - converter.headroom, 0.0, held)
    outlet = np.minimum(outlet, _limited_voltage(converter, voltage, current))
    drawn = _straight_on(outlet, voltage, current)
    if converter.kind == "clamp":
        taken = drawn + np.maximum(inlet - held, 0.0) / converter.slope_resistance
    elif converter.kind == "linear":
        taken = drawn + converter.quiescent_current
    else:
        amps, shares = np.array(converter.efficiency).T
        with np.errstate(divide="ignore", invalid="ignore"):
            taken = outlet * drawn / (np.interp(drawn, amps, shares) * inlet) + converter.quiescent_current
    on = inlet >= converter.cut_out if converter.cut_out > 0 else np.ones(len(inlet), dtype=bool)
    # The last term keeps the current rising where the load takes none or a linear regulator holds it.
    taken = np.where(on, taken, 0.0) + OFF_CONDUCTANCE * inlet
    if converter.cut_out == 0:
        taken[0] = 0.0
    return InputSide(inlet, taken, np.where(on, outlet, 0.0), np.where(on, drawn, 0.0))


def _nodes(converter: ConverterLaw, load_voltage: np.ndarray, highest: float) -> np.ndarray:
    """Input voltages at which the load is worked out: close together where the converter is on."""
    bends = [converter.output_voltage, converter.output_voltage + converter.headroom]
    if converter.cut_out == 0:
        # Always on: the load behind shows through, with the bends of its own.
        return distinct(np.concatenate([load_voltage, load_voltage + converter.headroom, bends]))
    top = max(highest, converter.cut_out, bends[-1])
    count = int(np.ceil(np.log(top / converter.cut_out) / np.log(_GRID_RATIO))) + 1
    off = converter.cut_out * np.array([0.0, 1.0 - JUMP])
    # The nodes do not hang on the highest voltage, so that tables of one load agree.
    on = np.concatenate([converter.cut_out * _GRID_RATIO ** np.arange(count), bends])
    return distinct(np.concatenate([off, on[on >= converter.cut_out]]))


def _limited_voltage(converter: ConverterLaw, voltage: np.ndarray, current: np.ndarray) -> float:
    """The output voltage, coming up from zero, at which the load reaches the current limit. [V]"""
    share = np.minimum(voltage / converter.output_voltage, 1.0)
    limit = converter.current_limit * (converter.fold_back + (1.0 - converter.fold_back) * share)
    spare = limit - current
    over = np.flatnonzero(spare[1:] < 0) + 1
    if not np.isfinite(converter.current_limit) or not len(over):
        return float("inf")
    at = over[0]
    before, after = spare[at - 1], spare[at]
    return float(voltage[at - 1] + (voltage[at] - voltage[at - 1]) * before / (before - after))


def _straight_on(at: np.ndarray, voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
    """Current by voltage, straight on beyond the last node."""
    slope = (current[-1] - current[-2]) / (voltage[-1] - voltage[-2])
    return np.interp(at, voltage, current) + slope * np.maximum(at - voltage[-1], 0.0)
