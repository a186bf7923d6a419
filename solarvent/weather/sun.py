"""The sun: where it stands, and how much of its light a tilted panel receives and lets in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from solarvent.base.errors import DomainError, Problem, nearest

if TYPE_CHECKING:
    import pandas as pd

ALBEDO_GRASS = 0.20
"""Share of light that grass reflects, as is customary where nothing is known (Liu & Jordan 1963). [-]"""

_TRACE = 1e-6
_FIRST_YEAR, _LAST_YEAR = 1901, 2099
_SKY_MODELS = ("haydavies", "perez", "isotropic")


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


@dataclass(frozen=True)
class PlaneOfArray:
    """Light on a tilted plane, one value a step, by where it comes from.

    Attributes
    ----------
    aoi : array, shape (steps,)
        Angle between the sun and the normal of the plane. [deg]
    poa_beam, poa_circumsolar, poa_sky, poa_ground : array, shape (steps,)
        Light that reaches the plane: straight from the sun, from the sky close to it, from all of the sky alike, and
        from the ground. [W/m2]
    front_beam, front_sky, front_ground : float
        Share of it that the panel's own front lets in, held against light square to it; the light close to the sun
        goes with the beam. [-]
    """

    aoi: np.ndarray
    poa_beam: np.ndarray
    poa_circumsolar: np.ndarray
    poa_sky: np.ndarray
    poa_ground: np.ndarray
    front_beam: np.ndarray
    front_sky: float
    front_ground: float

    @property
    def poa_diffuse(self) -> np.ndarray:
        """Light from sky and ground. [W/m2]"""
        return self.poa_sky + self.poa_circumsolar + self.poa_ground

    @property
    def poa_global(self) -> np.ndarray:
        """All light that reaches the plane. [W/m2]"""
        return self.poa_beam + self.poa_diffuse

    @property
    def effective_beam(self) -> np.ndarray:
        """Light straight from the sun, after the reflection loss of the front. [W/m2]"""
        return self.poa_beam * self.front_beam

    @property
    def effective_diffuse(self) -> np.ndarray:
        """Light from sky and ground, after the reflection loss of the front. [W/m2]"""
        return (
            self.poa_sky * self.front_sky + self.poa_circumsolar * self.front_beam + self.poa_ground * self.front_ground
        )


def solar_position(times: pd.DatetimeIndex, latitude: float, longitude: float, altitude: float = 0.0) -> SolarPosition:
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
    table = ephemeris(times, latitude, longitude, pressure=alt2pres(altitude))
    day_of_year = times.day_of_year.to_numpy()
    return SolarPosition(
        apparent_zenith=table["apparent_zenith"].to_numpy(),
        zenith=table["zenith"].to_numpy(),
        azimuth=table["azimuth"].to_numpy(),
        dni_extra=np.asarray(get_extra_radiation(day_of_year)),
        day_of_year=day_of_year,
    )


def plane_of_array(
    position: SolarPosition,
    surface_tilt: float,
    surface_azimuth: float,
    *,
    ghi: ArrayLike,
    dni: ArrayLike,
    dhi: ArrayLike,
    albedo: float = ALBEDO_GRASS,
    model: str = "haydavies",
) -> PlaneOfArray:
    """Light on a tilted plane: beam, sky by Hay & Davies or Perez, ground, and the reflection loss of a glass front.

    Beam and sky through pvlib. Reflection by Snell, Fresnel and Bouguer for the beam (De Soto et al. 2006) and its
    average over sky and ground for the rest (Marion 2017). With the sun's centre under the horizon there is no beam,
    while diffuse light of an hour in which the sun rises or sets is kept.

    Parameters
    ----------
    position : SolarPosition
        Of the middle of each step.
    surface_tilt : float
        From horizontal, 0-180. [deg]
    surface_azimuth : float
        Direction that the plane faces, clockwise from north. [deg]
    ghi, dni, dhi : array, shape (steps,)
        Global horizontal, direct normal, diffuse horizontal irradiance. [W/m2]
    albedo : float
        Share of `ghi` that the ground reflects, 0-1. [-]
    model : {"haydavies", "perez", "isotropic"}
        Sky model.

    Returns
    -------
    PlaneOfArray
        Arrays in the order of `position`; NaN only where the weather is NaN.

    Raises
    ------
    DomainError
        If the lengths differ, the model is not known, or tilt, azimuth or albedo has no meaning.

    References
    ----------
    J. E. Hay, J. A. Davies, "Calculations of the solar radiation incident on an inclined surface", 1980.
    R. Perez et al., "Modeling daylight availability and irradiance components from direct and global irradiance",
    Solar Energy 44, 1990, 271-289. B. Marion, "Numerical method for angle-of-incidence correction factors for
    diffuse radiation incident photovoltaic modules", Solar Energy 147, 2017, 344-348.
    """
    from pvlib import iam, irradiance

    _refuse_plane(surface_tilt, surface_azimuth, albedo, model)
    ghi, dni, dhi = _aligned(len(position.zenith), ghi=ghi, dni=dni, dhi=dhi)
    zenith = position.apparent_zenith
    up = (position.zenith < 90) & (zenith < 90)
    # A missing value must show, even where the sun is down.
    beam_normal = np.where(up | np.isnan(dni), dni, 0.0)
    cosine = irradiance.aoi_projection(surface_tilt, surface_azimuth, zenith, position.azimuth)
    aoi = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    sky, around_sun = _sky_diffuse(model, surface_tilt, surface_azimuth, position, beam_normal, dhi, cosine)
    front_sky, front_ground = _diffuse_reflection(float(surface_tilt))
    return PlaneOfArray(
        aoi=aoi,
        poa_beam=beam_normal * np.clip(cosine, 0, None),
        poa_circumsolar=around_sun,
        poa_sky=sky,
        poa_ground=irradiance.get_ground_diffuse(surface_tilt, ghi, albedo=albedo),
        front_beam=iam.physical(np.clip(aoi, 0, 90)),
        front_sky=front_sky,
        front_ground=front_ground,
    )


def _sky_diffuse(
    model: str,
    surface_tilt: float,
    surface_azimuth: float,
    position: SolarPosition,
    dni: np.ndarray,
    dhi: np.ndarray,
    cosine: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Sky light on the plane as two arrays: all round, and close to the sun."""
    from pvlib import atmosphere, irradiance

    if model == "isotropic":
        return irradiance.isotropic(surface_tilt, dhi), np.zeros(len(dhi))
    if model == "haydavies":
        parts = irradiance.haydavies(
            surface_tilt,
            surface_azimuth,
            dhi,
            dni,
            position.dni_extra,
            solar_zenith=position.apparent_zenith,
            solar_azimuth=position.azimuth,
            return_components=True,
        )
        return parts["poa_isotropic"], parts["poa_circumsolar"]
    # A trace of sky light would overflow the ratio on which the model rests.
    traced = np.where(dhi < _TRACE, 0.0, dhi)
    # Older pvlib tells of a division by the sky light that is not there; those steps are masked below.
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = irradiance.perez(
            surface_tilt,
            surface_azimuth,
            traced,
            dni,
            position.dni_extra,
            position.apparent_zenith,
            position.azimuth,
            atmosphere.get_relative_airmass(position.apparent_zenith),
            return_components=True,
        )
    # The model has no meaning without sky light or with the sun down; there it gives 0 or NaN.
    valid = (traced > 0) & (position.apparent_zenith < 90)
    total = np.where(valid, parts["poa_sky_diffuse"], irradiance.isotropic(surface_tilt, dhi))
    around_sun = np.where(valid, np.clip(parts["poa_circumsolar"], 0, total), 0.0)
    return total - around_sun, around_sun


@lru_cache(maxsize=64)
def _diffuse_reflection(surface_tilt: float) -> tuple[float, float]:
    """Share of sky light and of ground light that a glass front lets in at this tilt."""
    from pvlib.iam import marion_diffuse

    shares = marion_diffuse("physical", surface_tilt)
    # A level panel sees no ground and one turned over sees no sky: the average over nothing is NaN.
    return float(np.nan_to_num(shares["sky"])), float(np.nan_to_num(shares["ground"]))


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


def _refuse_plane(surface_tilt: float, surface_azimuth: float, albedo: float, model: str) -> None:
    """Raise DomainError for a plane or a model that has no meaning, every mistake at once."""
    problems = []
    if not 0 <= surface_tilt <= 180:
        problems.append(Problem("surface_tilt", f"{surface_tilt} is outside 0-180 degrees", "0 is level, 90 upright"))
    if not -360 <= surface_azimuth <= 360:
        problems.append(
            Problem(
                "surface_azimuth", f"{surface_azimuth} is outside 0-360 degrees", "clockwise from north, 180 is south"
            )
        )
    if not 0 <= albedo <= 1:
        problems.append(Problem("albedo", f"{albedo} is outside 0-1", "grass 0.20, snow 0.65"))
    if model not in _SKY_MODELS:
        problems.append(Problem("model", f'no sky model is called "{model}"', nearest(str(model), _SKY_MODELS)))
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
