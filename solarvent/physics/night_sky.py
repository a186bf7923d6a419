"""The sky as a cold body: the temperature at which a black one would radiate as much."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def sky_temperature_from_air(temp_air: ArrayLike) -> Array | float:
    """Temperature of a clear sky from the air's alone, by Swinbank: ``0.0552 T**1.5`` in kelvin.

    Parameters
    ----------
    temp_air : array_like
        Near the ground. [degC] Found for nights of 2 to 29 degC.

    Returns
    -------
    float or ndarray
        [degC]

    Examples
    --------
    >>> float(sky_temperature_from_air(10.0).round(1))
    -10.1

    References
    ----------
    W. C. Swinbank 1963, Long-wave radiation from clear skies, Q. J. R. Meteorol. Soc. 89, 339-348 (from memory).
    """
    return (0.0552 * (np.asarray(temp_air, dtype=float) + 273.15) ** 1.5 - 273.15)[()]


def sky_temperature(temp_air: ArrayLike, dew_point: ArrayLike, oktas: ArrayLike = 0.0) -> Array | float:
    """Temperature of the sky from air, dew point and cloud.

    Emittance of a clear sky by Berdahl & Martin, ``e0 = 0.711 + 0.56 (d/100) + 0.73 (d/100)**2`` with the dew point d
    in degC; cloud by Walton's ``1 + 0.0224 n - 0.0035 n**2 + 0.00028 n**3`` with n tenths of opaque cover; then
    ``T e**0.25`` in kelvin.

    Parameters
    ----------
    temp_air : array_like
        [degC]
    dew_point : array_like
        [degC] Found for -13 to 24.
    oktas : array_like, default 0
        Opaque cover in eighths, 0-8; 9 (sky hidden) counts as 8. [-]

    Returns
    -------
    float or ndarray
        [degC] Never above the air's.

    Examples
    --------
    >>> float(sky_temperature(10.0, 5.0).round(1)), float(sky_temperature(10.0, 5.0, 8.0).round(1))
    (-10.5, -0.9)

    References
    ----------
    P. Berdahl, M. Martin 1984, Emissivity of clear skies, Solar Energy 32, 663-664; G. N. Walton 1983, Thermal Analysis
    Research Program reference manual, NBSIR 83-2655 (both from memory).
    """
    dew = np.asarray(dew_point, dtype=float) / 100.0
    tenths = np.minimum(np.asarray(oktas, dtype=float), 8.0) * 1.25
    clear = 0.711 + 0.56 * dew + 0.73 * dew**2
    emittance = np.minimum(clear * (1 + tenths * (0.0224 + tenths * (-0.0035 + 0.00028 * tenths))), 1.0)
    return ((np.asarray(temp_air, dtype=float) + 273.15) * emittance**0.25 - 273.15)[()]
