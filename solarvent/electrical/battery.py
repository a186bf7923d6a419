"""A small battery through time: what is charged, what is taken, and when its cut-off leaves the load dark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError


@dataclass(frozen=True, eq=False)
class Carried:
    """A battery step by step.

    Attributes
    ----------
    stored : array (steps,)
        Usable energy at the end of each step, between 0 (cut off) and the usable capacity. [Wh]
    served : array (steps,)
        Energy that reached the load. [Wh]
    spilled : array (steps,)
        Energy that was offered while it was full. [Wh]
    """

    stored: np.ndarray
    served: np.ndarray
    spilled: np.ndarray


def carry(
    offered: ArrayLike, wanted: ArrayLike, capacity: float, efficiency: float = 1.0, start: float | None = None
) -> Carried:
    """Carry a battery through time; all energies are in [Wh] and of shape (steps,).

    In every step the load is served from what is offered first, which passes the battery by; the rest is charged with
    the efficiency of a cycle, energy given back over energy charged. What the battery lacks, the load lacks: the
    low-voltage cut-off. The capacity is the usable one, from full down to the cut-off [Wh]; it starts full by default.

    ``stored + served = stored before + offered - spilled - (1 - efficiency) charged``

    Raises
    ------
    DomainError
        If the capacity or the efficiency is out of range, or an energy is negative.

    Examples
    --------
    >>> night = carry([10.0, 0.0, 0.0], [2.0, 3.0, 6.0], capacity=6.0, efficiency=0.5, start=0.0)
    >>> night.stored.tolist(), night.served.tolist(), night.spilled.tolist()
    ([4.0, 1.0, 0.0], [2.0, 3.0, 1.0], [0.0, 0.0, 0.0])
    """
    given, asked = np.asarray(offered, dtype=float), np.asarray(wanted, dtype=float)
    if capacity < 0 or not 0 < efficiency <= 1:
        raise DomainError.single("battery", "its capacity or its efficiency is out of range", "give 0 Wh or more, 0-1")
    if np.any(given < 0) or np.any(asked < 0):
        raise DomainError.single("battery", "an energy is negative", "give what is offered and wanted, 0 or more")
    direct = np.minimum(given, asked)
    spare, lacking = ((given - direct) * efficiency).tolist(), (asked - direct).tolist()
    level = capacity if start is None else min(start, capacity)
    stored, drawn, over = np.empty((3, len(given)))
    for step, (charge, need) in enumerate(zip(spare, lacking, strict=True)):
        taken = min(need, level)
        level += charge - taken
        excess = max(level - capacity, 0.0)
        level -= excess
        stored[step], drawn[step], over[step] = level, taken, excess
    return Carried(stored, direct + drawn, over / efficiency)


def longest_run(flags: ArrayLike) -> int:
    """Longest run of true values."""
    best = run = 0
    for flag in np.asarray(flags, dtype=bool).tolist():
        run = run + 1 if flag else 0
        best = max(best, run)
    return best
