"""The sun: where it stands, and its light outside the atmosphere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import DomainError

if TYPE_CHECKING:
    import pandas as pd

_FASTEST = 15.1 / 3600
"""No faster does the zenith of the sun change; with refraction. [deg/s]"""
_PARTS = 12
"""Into which a step is divided to see when the sun rises or sets."""
_FIRST_YEAR, _LAST_YEAR = 1901, 2099


@dataclass(frozen=True)
class SolarPosition:
    """Where the sun stands, one value a step.

    Attributes
    ----------
    apparent_zenith : array, shape (steps,)
        Angle from the vertical as seen, with refraction. [deg]
    zenith : array, shape (steps,)
        Angle from the vertical without refraction. [deg]
    azimuth : array, shape (steps,)
        Clockwise from north. [deg]
    dni_extra : array, shape (steps,)
        Light on a plane facing the sun, outside the atmosphere. [W/m2]
    day_of_year : array, shape (steps,)
        1 to 366. [d]
    """

    apparent_zenith: np.ndarray
    zenith: np.ndarray
    azimuth: np.ndarray
    dni_extra: np.ndarray
    day_of_year: np.ndarray


def solar_position(
    times: pd.DatetimeIndex, latitude: float, longitude: float, altitude: float = 0.0, step: float = 0.0
) -> SolarPosition:
    """Position of the sun, by pvlib's ``ephemeris`` (Hughes 1985), and the light outside the atmosphere (Spencer 1971).

    Within 0.02 deg of the Solar Position Algorithm (Reda & Andreas 2004) from 1901 to 2099, and twelve times faster.

    Parameters
    ----------
    times : pandas.DatetimeIndex, shape (steps,)
        Instants with a time zone: the middle of each step.
    latitude, longitude : float
        North and east positive. [deg]
    altitude : float
        Above sea level; sets the pressure for refraction. [m]
    step : float
        Length of the steps. Where the sun rises or sets within one, its place is that at the middle of the sunlit part,
        for that is when the beam of the step comes. 0 for instants. [s]

    Returns
    -------
    SolarPosition
        Arrays in the order of `times`.

    Raises
    ------
    DomainError
        If `times` has no time zone, holds a missing time or leaves 1901-2099, or the place is not on the earth.

    Examples
    --------
    >>> import pandas as pd
    >>> times = pd.DatetimeIndex(["2021-06-21 12:20"], tz="UTC").tz_convert("Etc/GMT+5")
    >>> float(solar_position(times, 36.1, -79.95, 273.0).zenith[0].round(1))
    65.1
    """
    from pvlib.atmosphere import alt2pres
    from pvlib.irradiance import get_extra_radiation
    from pvlib.solarposition import ephemeris

    _refuse_times(times)
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise DomainError.single(
            "latitude, longitude",
            f"{latitude}, {longitude} is no place on the earth",
            "latitude -90 to 90, south negative; longitude -180 to 180, west negative",
        )
    if len(times) == 0:
        nothing = np.empty(0)
        return SolarPosition(nothing, nothing, nothing, nothing, nothing)
    at = partial(ephemeris, latitude=latitude, longitude=longitude, pressure=alt2pres(altitude))
    table = at(times)
    near = np.flatnonzero(np.abs(table["apparent_zenith"].to_numpy() - 90) < _FASTEST * step / 2)
    if len(near):
        partly, middle = _sunlit_middle(times[near], step, at)
        table.iloc[near[partly]] = at(middle).to_numpy()
    day_of_year = times.day_of_year.to_numpy()
    return SolarPosition(
        apparent_zenith=table["apparent_zenith"].to_numpy(),
        zenith=table["zenith"].to_numpy(),
        azimuth=table["azimuth"].to_numpy(),
        dni_extra=np.asarray(get_extra_radiation(day_of_year)),
        day_of_year=day_of_year,
    )


def _sunlit_middle(
    times: pd.DatetimeIndex, step: float, at: Callable[[pd.DatetimeIndex], pd.DataFrame]
) -> tuple[np.ndarray, pd.DatetimeIndex]:
    """Which steps the sun rises or sets in, and the middle of their sunlit part."""
    import pandas as pd

    offsets = ((np.arange(_PARTS) + 0.5) / _PARTS - 0.5) * step
    moments = times.repeat(_PARTS) + pd.to_timedelta(np.tile(offsets, len(times)), unit="s")
    up = at(moments)["apparent_zenith"].to_numpy().reshape(-1, _PARTS) < 90
    partly = np.flatnonzero(up.any(axis=1) & ~up.all(axis=1))
    shift = up[partly] @ offsets / up[partly].sum(axis=1)
    return partly, times[partly] + pd.to_timedelta(shift, unit="s")


def _refuse_times(times: pd.DatetimeIndex) -> None:
    """Raise DomainError for times whose instants are not known or for which the ephemeris was not made."""
    if getattr(times, "tz", None) is None:
        raise DomainError.single(
            "times",
            "the times have no time zone",
            "give a DatetimeIndex with one, for example by tz_localize('Etc/GMT+5')",
        )
    if times.hasnans:
        raise DomainError.single("times", f"{int(times.isna().sum())} times are missing", "leave them out or fill them")
    if len(times) == 0:
        return
    first, last = (instant.tz_convert("UTC").year for instant in (times.min(), times.max()))
    if not _FIRST_YEAR <= first <= last <= _LAST_YEAR:
        raise DomainError.single(
            "times",
            f"the years {first} to {last} leave {_FIRST_YEAR}-{_LAST_YEAR}",
            "choose a year for which the sun's position is known well",
        )
