"""When the converter of a design comes on and falls off again, from the light that each point of its load needs."""

from __future__ import annotations

import numpy as np

from solarvent.physics.load import LoadTable
from solarvent.planning.size_grid import HeldPoints, Light, Load, needed_light


def hunting(load: Load, light: Light, size: float, reached: np.ndarray) -> dict[str, np.ndarray]:
    """Find when the converter of a load has the voltage to come on, and the panel cannot hold it.

    It may fail with the fans as they are, or when a standing one of them tries to start.

    Parameters
    ----------
    load : Load
        With one converter at the most.
    light : Light
        On the panel.
    size : float
        Of the panel, as a share of the reference.
    reached : array (moments,) of int
        The running set of every moment, see :class:`solarvent.planning.size_grid.Course`.

    Returns
    -------
    dict of str to array (moments,) of bool
        By converter, as :func:`solarvent.planning.operation.operate` tells it.
    """
    found = {}
    for name, law in load.side.converters.items():
        hunts = np.zeros(light.irradiance.size, dtype=bool)
        if law.cut_out > 0:
            comes_on = light.irradiance >= needed_light(light.diode, size, np.array(law.cut_in), np.zeros(1))
            for position in np.flatnonzero(np.bincount(reached, minlength=len(load.sets))):
                least = [_held(load, *load.tables[position]).light(light, size)]
                for group in range(len(load.groups)):
                    if attempt := load.running.attempt(int(position), group):
                        least.append(_held(load, *load.side.table(attempt[0])).light(light, size))
                hunts |= (reached == position) & comes_on & (light.irradiance < np.max(np.broadcast_arrays(*least), 0))
        found[name] = hunts
    return found


def _held(load: Load, table: LoadTable, rows: dict[str, int]) -> HeldPoints:
    """The points of a table at which the converter is on."""
    on = load.on(table, rows)
    return HeldPoints(table.voltage[on], table.current[on], 0.0)
