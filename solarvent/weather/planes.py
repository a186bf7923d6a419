"""Light that gets through the front of panels of many tilts and azimuths at once, after Hay and Davies."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError, Problem
from solarvent.plan.plan import Plan
from solarvent.plan.plan_record import ALBEDO_GRASS
from solarvent.weather.sun import SolarPosition

if TYPE_CHECKING:
    import pandas as pd


_LOWEST_COSINE = 0.01745
"""Cosine of the sun's zenith under which the light close to the sun is no more stretched, as in pvlib. [-]"""
_TABLE = 20_000


@dataclass(frozen=True)
class PlaneOfArray:
    """Light on tilted planes by where it comes from.

    Of a single plane the arrays of `cos_aoi` and of all light on the plane have the shape (steps,), and the views a
    shape of (1,); of many they are (planes, steps) and (planes, 1).

    Attributes
    ----------
    cos_aoi : array
        Cosine of the angle between the sun and the normal of the plane. [-]
    entering : array
        The same times the share that the panel's own front lets in at that angle, held against light square to it;
        0 with the sun behind the plane. [-]
    beam, circumsolar : array, shape (steps,)
        Straight from the sun, and from the sky close to it, on a plane square to them. [W/m2]
    sky, ground : array, shape (steps,)
        From all of the sky alike, and from the ground, on a level plane that faces it. [W/m2]
    sky_view, ground_view : array
        Share of the sky and of the ground that the plane sees. [-]
    front_sky, front_ground : array
        Share of their light that the front lets in. [-]
    """

    cos_aoi: np.ndarray
    entering: np.ndarray
    beam: np.ndarray
    circumsolar: np.ndarray
    sky: np.ndarray
    ground: np.ndarray
    sky_view: np.ndarray
    ground_view: np.ndarray
    front_sky: np.ndarray
    front_ground: np.ndarray

    @property
    def poa_beam(self) -> np.ndarray:
        """Light on the plane straight from the sun. [W/m2]"""
        return np.clip(self.cos_aoi, 0.0, None) * self.beam

    @property
    def poa_diffuse(self) -> np.ndarray:
        """Light on the plane from sky and ground. [W/m2]"""
        around_sun = np.clip(self.cos_aoi, 0.0, None) * self.circumsolar
        return around_sun + self.sky_view * self.sky + self.ground_view * self.ground

    @property
    def poa_global(self) -> np.ndarray:
        """All light that reaches the plane. [W/m2]"""
        return self.poa_beam + self.poa_diffuse

    @property
    def effective_global(self) -> np.ndarray:
        """All light behind the front. [W/m2]"""
        return self.effective_direct + self.effective_sky + self.effective_ground

    @property
    def effective_direct(self) -> np.ndarray:
        """Light from the sun and close to it, behind the front. [W/m2]"""
        return self.entering * (self.beam + self.circumsolar)

    @property
    def effective_sky(self) -> np.ndarray:
        """Light from all of the sky alike, behind the front. [W/m2]"""
        return self.sky_view * self.front_sky * self.sky

    @property
    def effective_ground(self) -> np.ndarray:
        """Light from the ground, behind the front. [W/m2]"""
        return self.ground_view * self.front_ground * self.ground


def plane_of_array(
    position: SolarPosition,
    surface_tilt: ArrayLike,
    surface_azimuth: ArrayLike,
    *,
    ghi: ArrayLike,
    dni: ArrayLike,
    dhi: ArrayLike,
    albedo: float = ALBEDO_GRASS,
) -> PlaneOfArray:
    """Light on tilted planes: beam, sky by Hay & Davies, ground, and the reflection loss of a glass front.

    The sky close to the sun counts as ``dni / dni_extra`` of the sky light, the rest comes from all of it alike.
    Reflection by Snell, Fresnel and Bouguer for the beam (De Soto et al. 2006), as a table over the cosine of the
    angle, and its average over sky and ground for the rest (Marion 2017). With the sun's centre under the horizon there
    is no beam.

    Tilts from horizontal, 0-180, and the directions that planes face, clockwise from north, are in [deg], one or of
    shape (planes,); light in [W/m2], of shape (steps,), NaN only where the weather is; the ground reflects the albedo,
    0-1 [-].

    Raises
    ------
    DomainError
        If the lengths differ, or tilt, azimuth or albedo has no meaning.

    Examples
    --------
    >>> noon = SolarPosition(*(np.array([value]) for value in (60.0, 60.0, 180.0, 1367.0, 80)))
    >>> light = plane_of_array(noon, [0.0, 60.0], [180.0, 180.0], ghi=[500], dni=[800], dhi=[100])
    >>> light.effective_direct.round().tolist()
    [[434.0], [917.0]]

    References
    ----------
    J. E. Hay, J. A. Davies, "Calculations of the solar radiation incident on an inclined surface", 1980. W. De Soto, S.
    A. Klein, W. A. Beckman, "Improvement and validation of a model for photovoltaic array performance", Solar Energy
    80, 2006, 78-88. B. Marion, "Numerical method for angle-of-incidence correction factors for diffuse radiation
    incident photovoltaic modules", Solar Energy 147, 2017, 344-348.
    """
    tilts, azimuths = np.asarray(surface_tilt, dtype=float), np.asarray(surface_azimuth, dtype=float)
    _refuse_planes(tilts, azimuths, albedo)
    ghi, dni, dhi = _aligned(len(position.zenith), ghi=ghi, dni=dni, dhi=dhi)
    up = (position.zenith < 90) & (position.apparent_zenith < 90)
    # A missing value must show, even where the sun is down.
    beam = np.where(up | np.isnan(dni), dni, 0.0)
    zenith, toward = np.radians(position.apparent_zenith), np.radians(position.azimuth)
    tilt, facing = np.radians(tilts), np.radians(azimuths)
    # Unit vectors: east, north, up.
    sun = np.stack([np.sin(zenith) * np.sin(toward), np.sin(zenith) * np.cos(toward), np.cos(zenith)])
    normal = np.stack([np.sin(tilt) * np.sin(facing), np.sin(tilt) * np.cos(facing), np.cos(tilt)], axis=-1)
    cos_aoi = normal @ sun
    anisotropy = beam / position.dni_extra
    sky_view = (1 + np.cos(tilt)[..., None]) / 2
    # The average over sky and ground hangs on the tilt alone.
    fronts = np.array([_diffuse_front(float(angle)) for angle in np.ravel(tilts)]).T
    front_sky, front_ground = fronts.reshape(2, *tilt.shape, 1)
    return PlaneOfArray(
        cos_aoi=cos_aoi,
        entering=_through_front(cos_aoi),
        beam=beam,
        # The diffuse light is that on the level; near the horizon the sun's part of it is not stretched without end.
        circumsolar=dhi * anisotropy / np.maximum(np.cos(zenith), _LOWEST_COSINE),
        sky=dhi * (1 - anisotropy),
        ground=albedo * ghi,
        sky_view=sky_view,
        ground_view=1 - sky_view,
        front_sky=front_sky,
        front_ground=front_ground,
    )


def _through_front(cos_aoi: np.ndarray) -> np.ndarray:
    """Cosine of the angle to the sun times what the front lets in there, straight between the points of a table. [-]"""
    table, rise = _front_table()
    place = np.clip(cos_aoi, 0.0, 1.0) * _TABLE
    below = place.astype(np.int32)
    place -= below
    place *= rise.take(below)
    place += table.take(below)
    return place


@lru_cache(maxsize=1)
def _front_table() -> tuple[np.ndarray, np.ndarray]:
    """That product at cosines from 0 to 1, and its rise from each to the next."""
    from pvlib.iam import physical

    cosine = np.arange(_TABLE + 1) / _TABLE
    table = cosine * physical(np.degrees(np.arccos(cosine)))
    return table, np.append(np.diff(table), 0.0)


@lru_cache(maxsize=256)
def _diffuse_front(surface_tilt: float) -> tuple[float, float]:
    """Share of sky light and of ground light that a glass front lets in at this tilt. [-]"""
    from pvlib.iam import marion_diffuse

    shares = marion_diffuse("physical", surface_tilt)
    # A level panel sees no ground and one turned over sees no sky: the average over nothing is NaN.
    return float(np.nan_to_num(shares["sky"])), float(np.nan_to_num(shares["ground"]))


def _refuse_planes(tilts: np.ndarray, azimuths: np.ndarray, albedo: float) -> None:
    """Raise DomainError for planes or a ground that have no meaning, every mistake at once."""
    problems = [
        Problem("surface_tilt", f"{tilt} is outside 0-180 degrees", "0 is level, 90 upright")
        for tilt in np.unique(tilts)
        if not 0 <= tilt <= 180
    ]
    problems += [
        Problem("surface_azimuth", f"{azimuth} is outside 0-360 degrees", "clockwise from north, 180 is south")
        for azimuth in np.unique(azimuths)
        if not -360 <= azimuth <= 360
    ]
    if not 0 <= albedo <= 1:
        problems.append(Problem("albedo", f"{albedo} is outside 0-1", "grass 0.20, snow 0.65"))
    if problems:
        raise DomainError(problems)


def _aligned(steps: int, **series: ArrayLike) -> list[np.ndarray]:
    """The series as plain arrays of one length; indexes are dropped, for pandas would match them and leave NaN."""
    arrays = {name: np.asarray(values, dtype=float) for name, values in series.items()}
    problems = [
        Problem(name, f"has {values.shape} values for {steps} steps", "give one value a step")
        for name, values in arrays.items()
        if values.shape != (steps,)
    ]
    if problems:
        raise DomainError(problems)
    return list(arrays.values())


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
