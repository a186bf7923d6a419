"""From which light on each fan starts, and down to which it keeps turning."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from solarvent.electrical.branches import FanElectrical
from solarvent.electrical.circuit_parts import circuit_fans, circuit_panels
from solarvent.electrical.operation import fan_states
from solarvent.electrical.panel_model import TYPICAL, Band
from solarvent.wiring.circuit import Circuit

HIGHEST_IRRADIANCE = 1400.0
"""End of the sweep. [W/m2]"""


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


def thresholds(
    circuit: Circuit,
    panels_at: Callable[[np.ndarray], Mapping[str, tuple]],
    fans: Mapping[str, FanElectrical],
    resolution: float = 1.0,
) -> dict[str, Thresholds]:
    """Start and run-down irradiance of each fan: the light rises slowly from darkness, then falls slowly.

    `panels_at` takes irradiance on the panels [W/m2], shape (steps,), and returns `panels` as for
    :func:`solarvent.electrical.operation.operate`; the sweep goes up to 1400 W/m2 in steps of `resolution` [W/m2].

    Raises
    ------
    DomainError
        As :func:`solarvent.electrical.operation.operate`.
    """
    return thresholds_by_size(circuit, panels_at, fans, (1.0,), resolution)[0]


def thresholds_by_size(
    circuit: Circuit,
    panels_at: Callable[[np.ndarray], Mapping[str, tuple]],
    fans: Mapping[str, FanElectrical],
    sizes: Sequence[float],
    resolution: float = 1.0,
) -> list[dict[str, Thresholds]]:
    """Give :func:`thresholds` for panels of many sizes, as for :func:`fan_states`, in their order."""
    rising = np.arange(0.0, HIGHEST_IRRADIANCE + 0.5 * resolution, resolution)
    up_and_down = np.concatenate([np.arange(len(rising)), np.arange(len(rising))[::-1]])
    states = fan_states(circuit, panels_at(rising), fans, sizes, up_and_down)
    found: list[dict[str, Thresholds]] = [{} for _ in sizes]
    for name, turning in zip(states.load.ids, states.running, strict=True):
        for limits, turns in zip(found, turning.reshape(len(sizes), -1), strict=True):
            up, down = rising[turns[: len(rising)]], rising[turns[: len(rising) - 1 : -1]]
            limits[name] = Thresholds(*(float(light[0]) if len(light) else float("nan") for light in (up, down)))
    return found


def start_and_run_down(wired: Iterable[Circuit], band: Band = TYPICAL) -> dict[str, Thresholds]:
    """Find from which light on each fan starts, and down to which it keeps turning.

    The light is that on the cells of every panel alike, but for sections in shadow that diodes bridge. The cells are as
    warm as that light makes them at 20 degC outside.

    Parameters
    ----------
    wired, band
        The circuits, and the reading of the plates.

    Returns
    -------
    dict of str to Thresholds
        By fan.
    """
    return start_and_run_down_by_size(wired, (1.0,), band)[0]


def start_and_run_down_by_size(
    wired: Iterable[Circuit], sizes: Sequence[float], band: Band = TYPICAL
) -> list[dict[str, Thresholds]]:
    """Give :func:`start_and_run_down` for panels of many sizes: so many times the currents of those in the circuits."""
    found: list[dict[str, Thresholds]] = [{} for _ in sizes]
    for circuit in wired:
        for limits, more in zip(found, _by_size(circuit, tuple(sizes), band), strict=True):
            limits |= more
    return found


@lru_cache(maxsize=64)
def _by_size(circuit: Circuit, sizes: tuple[float, ...], band: Band) -> list[dict[str, Thresholds]]:
    """Work out each circuit once, however many skies and findings ask for it."""
    panels_at = partial(circuit_panels, circuit, band=band)
    return thresholds_by_size(circuit, panels_at, circuit_fans(circuit, band), sizes)


def last_start(wired: Iterable[Circuit]) -> float:
    """Light on the cells that starts the last fan; NaN if one never starts. [W/m2]"""
    return float(np.max([limits.start_irradiance for limits in start_and_run_down(wired).values()]))
