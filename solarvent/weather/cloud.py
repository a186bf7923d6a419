"""The cloud of a span of weather: what its file says, and where that is nothing, what its light tells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from solarvent.plan.plan_record import Place
from solarvent.weather import sky

if TYPE_CHECKING:
    import pandas as pd

#: Clear-sky light under which an hour tells nothing of its cloud (our choice). [W/m2]
_FAINT = 50.0


def known_cover(weather: pd.DataFrame) -> np.ndarray:
    """Opaque cover of each step as the weather says it, NaN where it says nothing. [oktas]"""
    if "opaque_cover" not in weather:
        return np.full(len(weather), np.nan)
    return weather["opaque_cover"].to_numpy(dtype=float)


def cover_or_by_light(weather: pd.DataFrame, place: Place) -> np.ndarray:
    """Opaque cover of each step; where the weather says nothing, the one that dims a clear sky to its light.

    It is 0-9 [oktas], of shape (steps,), for a table with ghi that is indexed by the middle of each step.

    The cloud factor of Kasten & Czeplak (see :func:`solarvent.weather.sky.cloud_factor`) turned round. A night lies
    straight between the last hour of light and the next; a span without any light counts as clear.

    On the embedded year, with its own cover left out, the nights come out 0.1 oktas too low on average (2.6 oktas RMS);
    taken as clear they would be 3.7 too low, and their sky 7 K too cold.
    """
    cover = known_cover(weather)
    unknown = np.isnan(cover)
    if not unknown.any():
        return cover
    clear = np.asarray(sky.clear_sky(weather.index, place.latitude, place.longitude, place.altitude).ghi)
    lit = np.flatnonzero(clear > _FAINT)
    if not lit.size:
        return np.where(unknown, 0.0, cover)
    index = np.clip(weather["ghi"].to_numpy(dtype=float)[lit] / clear[lit], 0.25, 1.0)
    by_light = sky.OKTAS_FULL * ((1 - index) / 0.75) ** (1 / 3.4)
    return np.where(unknown, np.interp(np.arange(len(cover)), lit, by_light), cover)
