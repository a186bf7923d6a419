"""Roots of many falling functions at once, by Newton's steps within a bracket; and tables read between rungs."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

STEP_TOLERANCE = 1e-10
"""A Newton step this small leaves an error near rounding. [unit of the root]"""

FREE_STEPS = 12  # on an exponential the first Newton steps are all of one size, and right
MOST_STEPS = 200
_MANY, _FEW_OF = 256, 0.4  # of how many elements what share goes on alone


def find_root(
    function: Callable,
    low: Any,
    high: Any,
    start: Any,
    tolerance: float = STEP_TOLERANCE,
    part: Callable | None = None,
) -> np.ndarray:
    """Root of a falling function, for all elements at once; NaN where an input is NaN.

    Newton steps; the middle of the bracket instead where a step leaves it or, after the first twelve, does not halve
    the step before. The function returns the value and its derivative; the value is not negative at `low` and not
    positive at `high`. The search ends when no step is larger than the tolerance, relative beyond 1; a last Newton step
    leaves a far smaller error. `part` gives the function of some elements, by their place in the flattened arrays: if
    it is there, those that need more steps than most take them alone, and so again.

    Examples
    --------
    >>> float(find_root(lambda x: (2.0 - x * x, -2.0 * x), np.array(0.0), np.array(2.0), np.array(1.0)).round(6))
    1.414214
    """
    guess = np.clip(start, low, high)
    low, high = np.broadcast_to(low, guess.shape), np.broadcast_to(high, guess.shape)
    step = high - low
    for turn in range(MOST_STEPS):
        value, slope = function(guess)
        low = np.where(value >= 0, guess, low)
        high = np.where(value <= 0, guess, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = guess - value / slope
        good = (newton >= low) & (newton <= high)
        if turn >= FREE_STEPS:
            good &= np.abs(newton - guess) <= np.maximum(0.5 * np.abs(step), tolerance)
        proposal = np.where(good, newton, 0.5 * (low + high))
        step = proposal - guess
        guess = proposal
        moving = np.abs(step) > tolerance * np.maximum(np.abs(guess), 1.0)
        if not np.any(moving):
            break
        if part is not None and moving.size > _MANY:
            few = np.flatnonzero(moving)
            if len(few) < _FEW_OF * moving.size:
                bracket = low.flat[few], high.flat[few], guess.flat[few]
                guess.flat[few] = find_root(part(few), *bracket, tolerance, lambda fewer, of=few: part(of[fewer]))
                break
    return guess


def sought(
    source: Any, residual: Callable, given: Any, low: Any, high: Any, start: Any, tolerance: float = STEP_TOLERANCE
) -> np.ndarray:
    """Root of a falling residual of a source, for what is given (..., steps); a function of source, given and guess."""
    shape = np.shape(start)

    def part(few: np.ndarray) -> Callable:
        return partial(residual, source.at(few % shape[-1]), np.broadcast_to(given, shape).flat[few])

    return find_root(partial(residual, source, given), low, high, start, tolerance, part)


def bilinear(
    table: np.ndarray, rows: tuple[np.ndarray, np.ndarray], columns: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Read a table between its rows and its columns, as :func:`rung` gives the places."""
    (row, up), (column, right) = rows, columns
    flat, place = table.ravel(), row * table.shape[1] + column
    low = flat[place]
    low += right * (flat[place + 1] - low)
    place += table.shape[1]
    high = flat[place]
    high += right * (flat[place + 1] - high)
    return np.asarray(low + up * (high - low))


def rung(values: np.ndarray, low: float, high: float, number: int) -> tuple[np.ndarray, np.ndarray]:
    """The rung of an even ladder below each value, and the share of the way to the next."""
    counted = np.fmax(values - low, 0.0) * ((number - 1) / max(high - low, 1e-12))
    below = np.minimum(counted, number - 2.0).astype(np.intp)
    return below, counted - below
