"""Cloud: what a file says of it, and light that comes and goes in place of its mean, which a fan never sees."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

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


class Spell(NamedTuple):
    """Light during one of the two states, one value a step. [W/m2]"""

    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray


def beam_in_thirds(share: ArrayLike) -> np.ndarray:
    """Beam in the brightest, the middle and the dullest third of a step of broken cloud, from its mean.

    The beam is of shape (3,) or (3, steps); it and its mean are shares of that under a clear sky; NaN outside 0-1 [-].
    Draw three moments of the step, each in the sun with the chance `share`, and sort them: the brightest is in the sun
    unless all three are not, ``1 - (1 - share)**3``; the middle one if two of them are, ``share**2 (3 - 2 share)``; the
    dullest if all three are, ``share**3``. The sorted minutes of hours lie on these curves (one-minute data of Payerne,
    June 2016, Baseline Surface Radiation Network), while the diffuse light of an hour is nearly even over them.

    Examples
    --------
    >>> beam_in_thirds(0.5).tolist()
    [0.875, 0.5, 0.125]

    References
    ----------
    Three states of the sun within an hour: K. G. T. Hollands, H. Suehrcke, "A three-state model for the probability
    distribution of instantaneous solar radiation, with applications", Solar Energy 96, 2013, 103-112.
    """
    sunlit = np.asarray(share, dtype=float)
    sunlit = np.where((sunlit >= 0) & (sunlit <= 1), sunlit, np.nan)
    return np.array([1 - (1 - sunlit) ** 3, sunlit**2 * (3 - 2 * sunlit), sunlit**3])


def sunlit_share(factor: ArrayLike, sunlit_level: Any, shadow_level: Any) -> Any:
    """Share of the time in sunlight that gives a step its mean light, from the two levels.

    ``(factor - shadow_level) / (sunlit_level - shadow_level)``, within 0-1.

    Parameters
    ----------
    factor : float or array
        Mean global light as a share of that under a clear sky: the cloud factor or the clear-sky index. [-]
    sunlit_level, shadow_level : float
        Light in the gaps and in the shadows, as shares of that under a clear sky. [-]

    Returns
    -------
    float or array
        0 where the mean is at or under the shadow level, 1 where it is at or above the sunlit one: there the mean
        itself is the one state of the sky. NaN for NaN. [-]

    Examples
    --------
    >>> sunlit_share([0.25, 0.5237, 0.929, 1.1], 1.10, 0.45).round(2).tolist()
    [0.0, 0.11, 0.74, 1.0]
    """
    level = np.asarray(factor, dtype=float)
    return np.clip((level - shadow_level) / (sunlit_level - shadow_level), 0.0, 1.0)[()]


def open_sky_share(oktas: ArrayLike) -> Any:
    """Share of the time in sunlight if it is that of the sky without cloud, ``1 - oktas / 8``.

    The other reading of a broken sky: fewer sunlit hours and brighter shadows than :func:`sunlit_share` gives.

    Parameters
    ----------
    oktas : float or array
        Eighths of the sky under cloud, 0-8. [-]

    Returns
    -------
    float or array
        NaN outside 0-8. [-]

    Examples
    --------
    >>> open_sky_share([0, 6, 9]).tolist()
    [1.0, 0.25, nan]
    """
    cover = np.asarray(oktas, dtype=float)
    return np.where((cover >= 0) & (cover <= 8), 1 - cover / 8, np.nan)[()]


def shadow_level(factor: ArrayLike, share: ArrayLike, sunlit_level: Any) -> Any:
    """Light in the shadows that goes with a mean and a share of the time in sunlight.

    ``(factor - share sunlit_level) / (1 - share)``

    Parameters
    ----------
    factor : float or array
        Mean global light as a share of that under a clear sky. [-]
    share : float or array
        Share of the time in sunlight, 0 to less than 1. [-]
    sunlit_level : float
        Light in the gaps. [-]

    Returns
    -------
    float or array
        NaN where the gaps alone would give more than the mean, and where there is no shadow. [-]

    Examples
    --------
    >>> shadow_level(0.718, [0.25, 0.9], 1.10).round(3).tolist()
    [0.591, nan]
    """
    sunlit = np.asarray(share, dtype=float)
    shadow = 1 - np.where((sunlit >= 0) & (sunlit < 1), sunlit, np.nan)
    level = (np.asarray(factor, dtype=float) - sunlit * sunlit_level) / shadow
    return np.where(level >= 0, level, np.nan)[()]


def two_spells(
    ghi: np.ndarray,
    dni: np.ndarray,
    dhi: np.ndarray,
    ghi_sunlit: np.ndarray,
    share: np.ndarray,
    cos_zenith: np.ndarray,
) -> tuple[Spell, Spell]:
    """Take the mean light of a step apart into a sunlit and a shadowed spell that together keep it.

    The weighted means of `ghi`, `dni` and `dhi` [W/m2] are those of the step, to rounding. The beam belongs to the
    gaps: all of it shines in the sunlit spell, as far as the light there (`ghi_sunlit`, at most ``ghi / share``) has
    room for it, and the shadow is diffuse. What the gaps cannot hold shines faintly through the clouds. All arrays are
    of shape (steps,); NaN where the sunlit `share` is not between 0 and 1 or the cosine of the sun's zenith not above 0
    [-].

    Examples
    --------
    >>> sunlit, shadow = two_spells([500.0], [350.0], [290.0], [840.0], [0.4], [0.6])
    >>> [round(float(part[0]), 1) for part in (*sunlit, *shadow)]
    [840.0, 875.0, 315.0, 273.3, 0.0, 273.3]
    """
    ghi, dni, dhi, bright, share, up = (
        np.asarray(values, dtype=float) for values in (ghi, dni, dhi, ghi_sunlit, share, cos_zenith)
    )
    share = np.where((share > 0) & (share < 1), share, np.nan)
    up = np.where(up > 0, up, np.nan)
    shaded = 1 - share
    ghi_shadow = (ghi - share * bright) / shaded
    dni_sunlit = np.minimum(dni / share, bright / up)
    dni_shadow = (dni - share * dni_sunlit) / shaded
    # No more sky light in the shadow than there is in all; what is missing of it then shows in the gaps.
    dhi_shadow = np.clip(ghi_shadow - dni_shadow * up, 0.0, dhi / shaded)
    dhi_sunlit = (dhi - shaded * dhi_shadow) / share
    return Spell(bright, dni_sunlit, dhi_sunlit), Spell(ghi_shadow, dni_shadow, dhi_shadow)
