"""The point of greatest power of a source whose current falls in steps, as that of a partly shaded panel does."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

_SAMPLES = 24  # between two bends; the hump of a weak panel is a quarter of them wide
_NARROWINGS = 32
_GOLDEN = 0.5 * (5.0**0.5 - 1.0)


def greatest_power(
    voltage_at: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]], bends: np.ndarray, highest: float = np.inf
) -> np.ndarray:
    """Greatest power [W] of a source at a voltage no higher than a limit [V], shape (steps,); 0 in the dark.

    ``max I min(V(I), highest)``. Each group of cells in one light gives the power a hump of its own, below its
    photocurrent, `bends` [A] of shape (groups, steps): the space below each is sampled, and the best sample narrowed
    down by the golden section, true to 1e-6 of itself, or 1e-12 W. `voltage_at` takes currents (..., steps) [A]; it
    returns voltages [V] that fall as the current rises, and their derivative.

    Examples
    --------
    A battery of 12 V behind 2 ohm gives most at half its voltage.

    >>> power = greatest_power(lambda i: (12.0 - 2.0 * i, -2.0), np.array([[6.0]]))
    >>> power.round(6).tolist()
    [18.0]
    >>> greatest_power(lambda i: (12.0 - 2.0 * i, -2.0), np.array([[6.0]]), highest=5.0).round(6).tolist()
    [17.5]
    """

    def power(current: np.ndarray) -> np.ndarray:
        return current * np.minimum(voltage_at(current)[0], highest)

    edges = np.concatenate([np.zeros((1, bends.shape[1])), np.sort(bends, axis=0)])
    shares = np.linspace(0.0, 1.0, _SAMPLES, endpoint=False)[:, None]
    sampled = np.concatenate([low + (high - low) * shares for low, high in pairwise(edges)])
    sampled = np.concatenate([sampled, edges[-1:]])
    best = np.argmax(power(sampled), axis=0)
    low, high = (
        np.take_along_axis(sampled, np.clip(best + side, 0, len(sampled) - 1)[None], axis=0)[0] for side in (-1, 1)
    )
    for _ in range(_NARROWINGS):
        below, above = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        left = power(below) > power(above)
        low, high = np.where(left, low, below), np.where(left, above, high)
    return np.maximum(power(0.5 * (low + high)), 0.0)
