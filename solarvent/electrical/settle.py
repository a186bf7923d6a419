"""Where a circuit settles with every fan in a given state, converters in the line included."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from solarvent.electrical.branches import LoadSide, State
from solarvent.electrical.converter import highest_point
from solarvent.electrical.curve import Source, intersect


@dataclass(frozen=True, eq=False)
class Settled:
    """A circuit at rest.

    Attributes
    ----------
    voltage : array (steps,)
        At the bus, between source and load. [V]
    fans : array (fans, 2, steps)
        Voltage [V] and current [A] of each fan.
    converters : array (converters, 2, 2, steps)
        Voltage [V] and current [A] at the input and at the output of each.
    hunting : array (converters, steps) of bool
        The converter has the voltage to come on, but the source cannot hold it: it comes on and falls off again.
    """

    voltage: np.ndarray
    fans: np.ndarray
    converters: np.ndarray
    hunting: np.ndarray

    @property
    def converter_loss(self) -> np.ndarray:
        """Power that stays in each converter, shape (converters, steps). [W]"""
        powers = self.converters.prod(axis=2)
        return powers[:, 0] - powers[:, 1]


def settle(source: Source, load: LoadSide, states: Mapping[str, State], steps: int) -> Settled:
    """Find the operating point of a circuit with every fan in a given state.

    A converter comes on when its input, with it still off, reaches its cut-in voltage. It then settles at the highest
    point that the source can hold; if that lies below its cut-out voltage, it is off, and hunting.

    Parameters
    ----------
    source : Source
        With arrays of shape (steps,).
    load : LoadSide
        With its fans and converters.
    states : mapping of str to str
        Of every fan.
    steps : int
        Number of steps.

    Returns
    -------
    Settled
        One value a step.
    """
    known: dict[tuple[str, ...], tuple[np.ndarray, np.ndarray]] = {}

    def with_off(names: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
        if names not in known:
            known[names] = _points(source, load, {**states, **dict.fromkeys(names, "open")}, steps)
        return known[names]

    names = tuple(load.converters)
    off = np.zeros((len(names), steps), dtype=bool)
    if any(law.cut_out > 0 for law in load.converters.values()):
        for row, name in enumerate(names):
            if load.converters[name].cut_in > 0:
                off[row] = with_off((name,))[1][len(load.ids) + 2 * row, 0] < load.converters[name].cut_in
        for _ in names:
            _, terminals = _merged(with_off, off, names)
            inputs = terminals[len(load.ids) :: 2, 0]
            limits = np.array([law.cut_out for law in load.converters.values()])
            falls = ~off & (inputs < limits[:, None])
            if not falls.any():
                break
            off |= falls
    voltage, terminals = _merged(with_off, off, names)
    fans, inout = terminals[: len(load.ids)], terminals[len(load.ids) :].reshape(len(names), 2, 2, steps)
    cut_in = np.array([law.cut_in for law in load.converters.values()])
    return Settled(voltage, fans, inout, off & (inout[:, 0, 0] >= cut_in.reshape(-1, 1)))


def _merged(with_off: Any, off: np.ndarray, names: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Voltage and terminals of every step, with the converters off that are off in it."""
    patterns, which = np.unique(off, axis=1, return_inverse=True)
    parts = [with_off(tuple(name for name, out in zip(names, column, strict=True) if out)) for column in patterns.T]
    voltage, terminals = parts[0]
    for number, (volts, ends) in enumerate(parts[1:], start=1):
        here = which.ravel() == number
        voltage, terminals = np.where(here, volts, voltage), np.where(here, ends, terminals)
    return voltage, terminals


def _points(source: Source, load: LoadSide, states: Mapping[str, State], steps: int) -> tuple[np.ndarray, np.ndarray]:
    """Voltage at the bus, and that and current of each fan, then of each converter's input and output."""
    table, rows = load.table(states)
    order = [rows[name] for name in load.ids] + [rows[name] + end for name in load.converters for end in (0, 1)]
    if table.rising:
        voltage, _ = intersect(source, table)
        return voltage, table.terminals_at(voltage)[order]
    bound = np.broadcast_to(source.voltage_bound, (steps,))
    segment, share = highest_point(
        lambda volts, amps, here: source.at(here).spare(volts, amps), table.voltage, table.current, bound
    )
    voltage = table.voltage[segment] + share * (table.voltage[segment + 1] - table.voltage[segment])
    return voltage, table.terminals_within(segment, share)[order]
