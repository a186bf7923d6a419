"""Light that gets through the front of panels of many tilts and azimuths at once, after Hay and Davies."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

_LOWEST_COSINE = 0.01745
"""Cosine of the sun's zenith under which the light close to the sun is no more stretched, as in pvlib."""
_TABLE = 20_000


class PlanesLight(NamedTuple):
    """Light behind the fronts of many panels.

    Attributes
    ----------
    direct : array, shape (planes, steps)
        From the sun, and from the sky close to it. [W/m2]
    sky, ground : array, shape (steps,)
        All of the sky alike, and the ground, as a level plane facing it would see it. [W/m2]
    sky_share, ground_share : array, shape (planes,)
        What each plane sees of it and lets in. [-]
    """

    direct: np.ndarray
    sky: np.ndarray
    ground: np.ndarray
    sky_share: np.ndarray
    ground_share: np.ndarray

    @property
    def diffuse(self) -> np.ndarray:
        """From sky and ground, without the sky close to the sun, shape (planes, steps). [W/m2]"""
        return np.stack([self.sky_share, self.ground_share], axis=1) @ np.stack([self.sky, self.ground])


def light_on_planes(
    apparent_zenith: np.ndarray,
    azimuth: np.ndarray,
    dni_extra: np.ndarray,
    surface_tilt: np.ndarray,
    surface_azimuth: np.ndarray,
    *,
    ghi: np.ndarray,
    dni: np.ndarray,
    dhi: np.ndarray,
    albedo: float = 0.2,
) -> PlanesLight:
    """Light behind the front of each of many planes: beam, sky by Hay & Davies (1980), ground, glass front by Fresnel.

    The same as :func:`solarvent.weather.sun.plane_of_array` with its default model, with the angle to the sun as one
    product of matrices and the front as a table of the cosine: within 0.1 W/m2 of it.

    Parameters
    ----------
    apparent_zenith, azimuth : array, shape (steps,)
        Of the sun. [deg]
    dni_extra : array, shape (steps,)
        Light on a plane facing the sun, outside the atmosphere. [W/m2]
    surface_tilt, surface_azimuth : array, shape (planes,)
        From horizontal, 0-180, and clockwise from north. [deg]
    ghi, dni, dhi : array, shape (steps,)
        Global horizontal, direct normal, diffuse horizontal irradiance. [W/m2]
    albedo : float
        Share of `ghi` that the ground reflects, 0-1. [-]

    Returns
    -------
    PlanesLight
        With the sun under the horizon there is sky and ground light only.

    Examples
    --------
    >>> light = light_on_planes([60.0], [180.0], [1367.0], [0.0, 60.0], [180.0] * 2, ghi=[500], dni=[800], dhi=[100])
    >>> light.direct.round().tolist()
    [[434.0], [917.0]]

    References
    ----------
    J. E. Hay, J. A. Davies, "Calculations of the solar radiation incident on an inclined surface", 1980.
    """
    zenith, toward = np.radians(apparent_zenith), np.radians(azimuth)
    tilt, facing = np.radians(surface_tilt), np.radians(surface_azimuth)
    ghi, dni, dhi = (np.asarray(values, dtype=float) for values in (ghi, dni, dhi))
    up = np.cos(zenith)
    dni = np.where(up > 0, dni, 0.0)
    sun = np.stack([np.sin(zenith) * np.sin(toward), np.sin(zenith) * np.cos(toward), up])
    normals = np.stack([np.sin(tilt) * np.sin(facing), np.sin(tilt) * np.cos(facing), np.cos(tilt)], axis=1)
    clearness = dni / np.asarray(dni_extra, dtype=float)
    # What a plane square to the sun would receive from it and from the sky close to it.
    facing_sun = dni + dhi * clearness / np.maximum(up, _LOWEST_COSINE)
    row = normals @ (sun * _TABLE)
    np.maximum(row, 0.0, out=row)
    # Rounding to the nearest entry: the table is fine enough.
    row += 0.5
    direct = _front_table().take(row.astype(np.int32))
    direct *= facing_sun
    front_sky, front_ground = np.array([_diffuse_front(float(angle)) for angle in np.ravel(surface_tilt)]).T
    seen = (1 + np.cos(tilt)) / 2
    return PlanesLight(direct, dhi * (1 - clearness), albedo * ghi, seen * front_sky, (1 - seen) * front_ground)


@lru_cache(maxsize=1)
def _front_table() -> np.ndarray:
    """Cosine of the angle to the sun times what the front lets in there, for cosines from 0 to 1."""
    from pvlib.iam import physical

    cosine = np.arange(_TABLE + 1) / _TABLE
    return cosine * physical(np.degrees(np.arccos(cosine)))


@lru_cache(maxsize=256)
def _diffuse_front(surface_tilt: float) -> tuple[float, float]:
    """Share of sky light and of ground light that a glass front lets in (Marion 2017)."""
    from pvlib.iam import marion_diffuse

    shares = marion_diffuse("physical", surface_tilt)
    # A level panel sees no ground and one turned over sees no sky: the average over nothing is NaN.
    return float(np.nan_to_num(shares["sky"])), float(np.nan_to_num(shares["ground"]))
