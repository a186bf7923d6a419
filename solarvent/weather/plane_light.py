"""Light on planes of any tilt and azimuth at the place of a plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from solarvent.plan.plan import Plan
from solarvent.weather.planes import PlaneOfArray, plane_of_array
from solarvent.weather.sun import SolarPosition

if TYPE_CHECKING:
    import pandas as pd

_TURNS = (-120, -90, -60, -30, 0, 30, 60, 90, 120)


def azimuths_of(latitude: float) -> np.ndarray:
    """Directions to try: nine around the one that faces the equator. [deg]"""
    return (np.array(_TURNS) + (180.0 if latitude >= 0 else 0.0)) % 360.0


def light_on_planes(
    plan: Plan, weather: pd.DataFrame, position: SolarPosition, tilts: ArrayLike, azimuths: ArrayLike
) -> PlaneOfArray:
    """Light on planes under a span of weather, before anything that stands in the way; tilts, azimuths in degrees."""
    light = {name: weather[name].to_numpy() for name in ("ghi", "dni", "dhi")}
    return plane_of_array(position, tilts, azimuths, **light, albedo=plan.record.place.albedo)
