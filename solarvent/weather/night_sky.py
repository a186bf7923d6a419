"""The sky as a cold body: the temperature at which a black one would radiate as much."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import ZERO_CELSIUS

Array = NDArray[np.float64]

_CLOUD_BASE = np.exp(-2.0 / 8.2)  # how much of a black body a cloud with its base at 2 km is, seen from the ground [-]


def sky_view(surface_tilt: ArrayLike) -> Array | float:
    """Share of a cold clear sky that counts for a surface: ``F ** 1.5`` with ``F = (1 + cos tilt) / 2``.

    F is what an open horizon shows of the sky; the low part of it, seen by walls, is nearly as warm as the air.

    Parameters
    ----------
    surface_tilt : array_like
        [deg]

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> sky_view([0.0, 90.0]).round(3).tolist()
    [1.0, 0.354]

    References
    ----------
    G. N. Walton 1983, Thermal Analysis Research Program reference manual, NBSIR 83-2655 (from memory).
    """
    return (((1 + np.cos(np.radians(np.asarray(surface_tilt, dtype=float)))) / 2) ** 1.5)[()]


def sky_temperature(
    temp_air: ArrayLike, dew_point: ArrayLike, oktas: ArrayLike = 0.0, solar_hour: ArrayLike | None = None
) -> Array | float:
    """Temperature of the sky from air, dew point and cloud.

    Emittance of a clear sky by Berdahl & Martin, ``e0 = 0.711 + 0.56 (d/100) + 0.73 (d/100)**2`` with the dew point d
    in degC, and ``0.013 cos(2 pi hour / 24)`` more, for by night the air near the ground is colder than that above;
    with a share n of opaque cloud, at a base of 2 km, by Martin & Berdahl,
    ``e = e0 + (1 - e0) n exp(-2 / 8.2)``; then ``T e**0.25`` in kelvin.

    Parameters
    ----------
    temp_air : array_like
        [degC]
    dew_point : array_like
        [degC] Found for -13 to 24.
    oktas : array_like, default 0
        Opaque cover in eighths, 0-8; 9 (sky hidden) counts as 8. [-]
    solar_hour : array_like, optional
        Since midnight; left out: the mean of the day. [h]

    Returns
    -------
    float or ndarray
        [degC] Never above the air's.

    Examples
    --------
    >>> float(sky_temperature(10.0, 5.0).round(1)), float(sky_temperature(10.0, 5.0, 8.0).round(1))
    (-10.5, 5.9)

    References
    ----------
    P. Berdahl, M. Martin 1984, Emissivity of clear skies, Solar Energy 32, 663-664; M. Martin, P. Berdahl 1984,
    Characteristics of infrared sky radiation in the United States, Solar Energy 33, 321-336 (both from memory).
    """
    dew = np.asarray(dew_point, dtype=float) / 100.0
    cloud = np.minimum(np.asarray(oktas, dtype=float), 8.0) / 8.0
    clear = 0.711 + 0.56 * dew + 0.73 * dew**2
    if solar_hour is not None:
        clear = clear + 0.013 * np.cos(2 * np.pi * np.asarray(solar_hour, dtype=float) / 24.0)
    emittance = np.minimum(clear + (1 - clear) * cloud * _CLOUD_BASE, 1.0)
    return ((np.asarray(temp_air, dtype=float) + ZERO_CELSIUS) * emittance**0.25 - ZERO_CELSIUS)[()]
