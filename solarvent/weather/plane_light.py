"""Light on planes of many tilts and azimuths at the place of a plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from solarvent.plan.plan import Plan
from solarvent.weather import planes, sun

if TYPE_CHECKING:
    import pandas as pd

_TURNS = (-120, -90, -60, -30, 0, 30, 60, 90, 120)


def azimuths_of(latitude: float) -> np.ndarray:
    """Directions to try: nine around the one that faces the equator. [deg]"""
    return (np.array(_TURNS) + (180.0 if latitude >= 0 else 0.0)) % 360.0


def planes_light(
    plan: Plan, weather: pd.DataFrame, position: sun.SolarPosition, tilts: np.ndarray, azimuths: np.ndarray
) -> planes.PlanesLight:
    """Light on planes at the place of a plan, before anything that stands in the way.

    Parameters
    ----------
    plan : Plan
        For what lies before the planes.
    weather : DataFrame
        With ``ghi``, ``dni`` and ``dhi``. [W/m2]
    position : SolarPosition
        At the steps of the weather.
    tilts, azimuths : array (planes,)
        From the horizontal; from north. [deg]

    Returns
    -------
    PlanesLight
    """
    return planes.light_on_planes(
        position.apparent_zenith,
        position.azimuth,
        position.dni_extra,
        tilts,
        azimuths,
        ghi=weather["ghi"].to_numpy(),
        dni=weather["dni"].to_numpy(),
        dhi=weather["dhi"].to_numpy(),
        albedo=plan.record.place.albedo,
    )
