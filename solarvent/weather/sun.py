"""The sun: where it stands, its light outside the atmosphere, and the skyline that hides it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError
from solarvent.plan.plan import Plan

if TYPE_CHECKING:
    import pandas as pd


_FASTEST = 15.1 / 3600
"""No faster does the zenith of the sun change; with refraction. [deg/s]"""
_PARTS = 12
"""Into which a step is divided to see when the sun rises or sets."""
FIRST_YEAR, LAST_YEAR = 1901, 2099
"""Between which the place of the sun, and so a weather file, is good: see `solar_position`."""


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

    def part(self, at: np.ndarray) -> SolarPosition:
        """Where it stands at some of the steps."""
        return SolarPosition(*(values[at] for values in vars(self).values()))


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
        if len(partly):
            table.iloc[near[partly]] = at(middle).to_numpy()
    day_of_year = times.day_of_year.to_numpy()
    return SolarPosition(
        apparent_zenith=table["apparent_zenith"].to_numpy(),
        zenith=table["zenith"].to_numpy(),
        azimuth=table["azimuth"].to_numpy(),
        dni_extra=np.asarray(get_extra_radiation(day_of_year)),
        day_of_year=day_of_year,
    )


def solar_hour(times: pd.DatetimeIndex, longitude: float) -> np.ndarray:
    """Hours since midnight by the mean sun at a longitude [deg], east positive: from 0 to below 24. [h]

    Examples
    --------
    >>> import pandas as pd
    >>> times = pd.DatetimeIndex(["2021-06-21 12:20"], tz="UTC").tz_convert("Etc/GMT+5")
    >>> float(solar_hour(times, -80.0)[0].round(2))
    7.0
    """
    utc = times.tz_convert("UTC")
    return np.asarray((utc.hour + utc.minute / 60 + utc.second / 3600 + longitude / 15) % 24)


def _sunlit_middle(
    times: pd.DatetimeIndex, step: float, at: Callable[[pd.DatetimeIndex], pd.DataFrame]
) -> tuple[np.ndarray, pd.DatetimeIndex]:
    """Which steps the sun rises or sets in, and the middle of their sunlit part."""
    import pandas as pd

    offsets = ((np.arange(_PARTS) + 0.5) / _PARTS - 0.5) * step
    moments = times.repeat(_PARTS) + pd.to_timedelta(np.tile(offsets, len(times)), unit="s")
    up = at(moments)["apparent_zenith"].to_numpy().reshape(-1, _PARTS) < 90
    partly = np.flatnonzero(up.any(axis=1) & ~up.all(axis=1))
    # Mean of the offsets at which the sun is up.
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
    if not FIRST_YEAR <= first <= last <= LAST_YEAR:
        raise DomainError.single(
            "times",
            f"the years {first} to {last} leave {FIRST_YEAR}-{LAST_YEAR}",
            "choose a year for which the sun's position is known well",
        )


_AZIMUTHS = np.arange(0.5, 360.0, 1.0)
_ELEVATION_STEPS = 90


def skyline_elevation(azimuth: ArrayLike, points: Sequence[tuple[float, float]]) -> Any:
    """Elevation of the skyline [deg] in a direction, straight between the points that are given.

    Directions are azimuths, clockwise from north, and points azimuth and elevation [deg]. The last point runs on to the
    first around north; 0 without points.

    Examples
    --------
    >>> skyline_elevation([90.0, 135.0, 0.0], [(90, 20), (180, 0), (270, 0)]).round(1).tolist()
    [20.0, 10.0, 10.0]
    """
    where = np.asarray(azimuth, dtype=float) % 360.0
    if len(points) == 0:
        return np.zeros_like(where)[()]
    known = np.array(sorted((float(at) % 360.0, float(height)) for at, height in points))
    return np.interp(where, known[:, 0], known[:, 1], period=360.0)[()]


def screen_elevation(
    azimuth: ArrayLike, screen_azimuth: float, distance: float, height: float, width: float | None = None
) -> Any:
    """Elevation of an upright screen (wall, hedge, crown of a tree) above the horizontal in a direction. [deg]

    Directions are azimuths as seen from the panel, clockwise from north [deg]; the screen stands square to the
    direction of its middle. In a direction that is `d` off, it is ``distance / cos d`` away:
    ``atan(height cos d / distance)``, out to ``|d| = atan(width / 2 / distance)``. Distance to its middle, height above
    the panel and width are in [m]; without a width it runs on without end. 0 beside the screen, and for one that ends
    below the panel.

    Examples
    --------
    >>> screen_elevation([180.0, 240.0, 300.0], 180.0, 5.0, 5.0).round(1).tolist()
    [45.0, 26.6, 0.0]
    """
    off = (np.asarray(azimuth, dtype=float) - screen_azimuth + 180.0) % 360.0 - 180.0
    reach = 90.0 if width is None else np.degrees(np.arctan(0.5 * width / distance))
    # Beside the screen the cosine of a right angle leaves no height.
    along = np.cos(np.radians(np.where(np.abs(off) <= reach, off, 90.0)))
    return np.degrees(np.arctan(max(height, 0.0) * np.clip(along, 0.0, None) / distance))[()]


def seen_sky_share(
    rims: Sequence[tuple[Callable[[np.ndarray], ArrayLike], float]], surface_tilt: float, surface_azimuth: float
) -> float:
    """Share of an evenly bright sky, as a tilted panel sees it, that is left beside and through what stands in the way.

    The sky is weighted by the cosine of its angle to the panel, in patches of one degree. Each of `rims` is a function
    from azimuths (array) to the elevation of its rim there [deg], and the share of the light that passes through it,
    0-1 [-]. The answer is 0-1 [-], and 1 if the panel sees no sky at all.

    Examples
    --------
    A level panel in a pit whose rim stands at 30 degrees all around: the square of the cosine.

    >>> round(seen_sky_share([(lambda azimuth: np.full_like(azimuth, 30.0), 0.0)], 0.0, 180.0), 3)
    0.75
    """
    heights = (np.arange(_ELEVATION_STEPS) + 0.5) * 90.0 / _ELEVATION_STEPS
    up, tilt = np.radians(heights)[:, None], np.radians(surface_tilt)
    toward = np.cos(np.radians(_AZIMUTHS - surface_azimuth))
    cosine = np.clip(np.sin(up) * np.cos(tilt) + np.cos(up) * np.sin(tilt) * toward, 0.0, None)
    # Patches of one degree shrink towards the zenith.
    weight = cosine * np.cos(up)
    left = np.ones(weight.shape)
    for rim, passes in rims:
        # The patch that a rim crosses is hidden in part.
        hidden = np.clip(np.asarray(rim(_AZIMUTHS), dtype=float) - heights[:, None] + 0.5, 0.0, 1.0)
        left *= 1 - hidden * (1 - passes)
    total = weight.sum()
    return float((weight * left).sum() / total) if total > 0 else 1.0


def unshaded_fraction(
    plan: Plan, tilts: np.ndarray, azimuths: np.ndarray, position: SolarPosition, months: np.ndarray
) -> tuple[np.ndarray | float, np.ndarray | float]:
    """Find what skyline and obstacles leave of the light on panels of some tilts and azimuths [deg], shape (planes,).

    `months` are those of the steps, 1 to 12: trees have leaves in some of them. What hides the sky is itself dark here:
    light that a wall or a tree throws back is not counted.

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
                seen_sky_share([(rim, share) for (rim, _), share in zip(rims, now, strict=True)], tilt, facing)
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
        rims.append((partial(skyline_elevation, points=points), [0.0] * 12))
    for item in record.obstacle:
        width = record.house.length if item.width is None and item.kind == "ridge" else item.width
        rim = partial(
            screen_elevation,
            screen_azimuth=item.azimuth,
            distance=item.distance,
            height=item.height,
            width=width,
        )
        rims.append((rim, item.passes_by_month(north=record.place.latitude >= 0)))
    return rims
