"""What stands between a plan's panels and the sky, step by step."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from solarvent.plan.plan import Plan
from solarvent.weather import skyline
from solarvent.weather.sun import SolarPosition


def unshaded_fraction(
    plan: Plan, tilts: np.ndarray, azimuths: np.ndarray, position: SolarPosition, months: np.ndarray
) -> tuple[np.ndarray | float, np.ndarray | float]:
    """Find what skyline and obstacles leave of the light on panels.

    What hides the sky is itself dark here: light that a wall or a tree throws back is not counted.

    Parameters
    ----------
    plan : Plan
        The plan.
    tilts, azimuths : array, shape (planes,)
        Of the panels. [deg]
    position : SolarPosition
        Of the middle of each step.
    months : array of int, shape (steps,)
        1 to 12: trees have leaves in some of them.

    Returns
    -------
    beam : array, shape (steps,), or 1.0
        Share of the light from the sun and close to it. [-]
    sky : array, shape (planes, steps), or 1.0
        Share of the light from the sky. [-]
    """
    rims = _rims(plan)
    if not rims:
        return 1.0, 1.0
    height = 90.0 - position.apparent_zenith
    beam = np.ones(len(height))
    for rim, passes in rims:
        beam *= np.where(height < rim(position.azimuth), np.array(passes)[months - 1], 1.0)
    # Most months let the same through, and so share their work.
    kinds, kind = np.unique(np.array([passes for _, passes in rims]), axis=1, return_inverse=True)
    sky = np.array(
        [
            [
                skyline.seen_sky_share([(rim, share) for (rim, _), share in zip(rims, now, strict=True)], tilt, facing)
                for now in kinds.T
            ]
            for tilt, facing in zip(tilts, azimuths, strict=True)
        ]
    )
    return beam, sky[:, np.ravel(kind)[months - 1]]


def _rims(plan: Plan) -> list[tuple[Callable, list[float]]]:
    """Everything in the way: the height of its rim by azimuth, and what passes through it by month."""
    record = plan.record
    rims: list[tuple[Callable, list[float]]] = []
    if record.place.skyline:
        points = [(azimuth, elevation) for azimuth, elevation in record.place.skyline]
        rims.append((partial(skyline.skyline_elevation, points=points), [0.0] * 12))
    for item in record.obstacle:
        width = record.house.length if item.width is None and item.kind == "ridge" else item.width
        rim = partial(
            skyline.screen_elevation,
            screen_azimuth=item.azimuth,
            distance=item.distance,
            height=item.height,
            width=width,
        )
        rims.append((rim, item.passes_by_month(north=record.place.latitude >= 0)))
    return rims
