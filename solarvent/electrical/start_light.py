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
_COARSE = 25  # steps of the sweep that are taken as one where no fan starts or stops


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
    place = np.unique(np.append(np.arange(0, len(rising), _COARSE), len(rising) - 1))
    while True:
        light = rising[place]
        names, turning = _swept(circuit, panels_at(light), fans, sizes)
        # Wherever a fan starts or stops between two lights, all those between them are gone through as well.
        changes = np.any(turning[..., 1:] != turning[..., :-1], axis=(0, 1, 2))
        wide = np.flatnonzero(changes & (np.diff(place) > 1))
        if not len(wide):
            break
        place = np.unique(np.concatenate([place, *(np.arange(place[each], place[each + 1]) for each in wide)]))
    found: list[dict[str, Thresholds]] = [{} for _ in sizes]
    for name, of_fan in zip(names, turning, strict=True):
        for limits, (up, down) in zip(found, of_fan, strict=True):
            lights = (float(light[turns][0]) if turns.any() else float("nan") for turns in (up, down))
            limits[name] = Thresholds(*lights)
    return found


def _swept(
    circuit: Circuit, panels: Mapping[str, tuple], fans: Mapping[str, FanElectrical], sizes: Sequence[float]
) -> tuple[tuple[str, ...], np.ndarray]:
    """The fans, and which of them turn as the light rises and falls again: (fans, sizes, 2, lights), lights rising."""
    lights = next(np.shape(value)[-1] for values in panels.values() for value in values if np.ndim(value))
    up_and_down = np.concatenate([np.arange(lights), np.arange(lights)[::-1]])
    states = fan_states(circuit, panels, fans, sizes, up_and_down, sweep=True)
    turning = states.running.reshape(-1, len(sizes), 2, lights)
    return states.load.ids, np.stack([turning[:, :, 0], turning[:, :, 1, ::-1]], axis=2)


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
