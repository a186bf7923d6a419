"""Covers: the light that they pass by its slant, and the heat that they lose."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS

Array = NDArray[np.float64]

INSIDE_FILM = 8.3
"""Still air at a wall, draught and radiation together (ASHRAE Handbook, Fundamentals, from memory). [W/(m2 K)]"""
#: Its two parts (the same; EN 673 has 3.6 and 4.4). [W/(m2 K)]
_INSIDE_DRAUGHT, _INSIDE_RADIATION = 3.0, 5.3
#: Outside film at which handbooks give U-values, winter wind of 6.7 m/s (ASHRAE Fundamentals, from memory). [W/(m2 K)]
_RATED_FILM = 34.0


def incidence_modifier(aoi: ArrayLike, layers: int = 1, refractive_index: float = 1.526) -> Array | float:
    """Light that a cover passes at a slant, over what it passes square on: reflection at all its faces.

    For each polarisation, with r the reflection of one face, ``(1 - r) / (1 + (2 layers - 1) r)``; their mean, over
    its value at 0 degrees. What the material itself swallows is taken as the same at all slants.

    Parameters
    ----------
    aoi : array_like
        Between the light and the normal. [deg] From 0; 90 and beyond pass nothing.
    layers : int, default 1
        Sheets with air between them: 2 for twin-wall.
    refractive_index : float, default 1.526
        Of the material: glass 1.526, acrylic 1.49, polycarbonate 1.59. [-]

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> float(incidence_modifier(60.0).round(2)), float(incidence_modifier(60.0, layers=2).round(2))
    (0.92, 0.9)

    References
    ----------
    J. A. Duffie, W. A. Beckman, Solar Engineering of Thermal Processes, section 5.1 (from memory).
    """
    angle = np.radians(np.clip(np.asarray(aoi, dtype=float), 0.0, 90.0))
    square = _transmission(np.array(1e-6), layers, refractive_index)
    return (_transmission(np.maximum(angle, 1e-6), layers, refractive_index) / square)[()]


def _transmission(angle: Array, layers: int, refractive_index: float) -> Array:
    """Share that passes sheets without absorption."""
    inside = np.arcsin(np.sin(angle) / refractive_index)
    less, more = inside - angle, inside + angle
    faces = (np.sin(less) ** 2 / np.sin(more) ** 2, np.tan(less) ** 2 / np.tan(more) ** 2)
    return np.mean([(1 - r) / (1 + (2 * layers - 1) * r) for r in faces], axis=0)


def outside_film(wind_speed: ArrayLike, temp_air: ArrayLike = 10.0, emittance: float = 0.9) -> tuple[Array, Array]:
    """Films outside a cover: convection ``2.8 + 3.0 wind_speed`` and radiation ``4 emittance sigma T**3``.

    Parameters
    ----------
    wind_speed : array_like
        At the house. [m/s] Measured up to 7.
    temp_air : array_like, default 10
        [degC]
    emittance : float, default 0.9
        Of the cover for its own radiation. [-]

    Returns
    -------
    tuple of ndarray
        Convective and radiative. [W/(m2 K)]

    Examples
    --------
    >>> [round(float(film), 1) for film in outside_film(2.0)]
    [8.8, 4.6]

    References
    ----------
    J. H. Watmuff, W. W. S. Charters, D. Proctor 1977, Solar and wind induced external coefficients, Comples 2, 56
    (from memory).
    """
    kelvin = np.asarray(temp_air, dtype=float) + ZERO_CELSIUS
    return 2.8 + 3.0 * np.asarray(wind_speed, dtype=float), 4 * emittance * STEFAN_BOLTZMANN * kelvin**3


def inside_film(warm_area: float, cover_area: float) -> float:
    """Film inside a cover: draught 3.0, and radiation 5.3 times the area of what is warm inside over that of the cover.

    A pane that sees other panes gets no warmth from them: what floor and things radiate is spread over all of the
    cover. In a wide house the floor is nearly as large as the cover, and the film is the handbooks' 8.3; in a small
    one, with three times as much cover as floor, it is half of that.

    Parameters
    ----------
    warm_area : float
        Floor, and the surface of things. [m2]
    cover_area : float
        [m2] Above zero.

    Returns
    -------
    float
        [W/(m2 K)]

    Examples
    --------
    >>> inside_film(100.0, 100.0), round(inside_film(7.2, 26.8), 1)
    (8.3, 4.4)

    References
    ----------
    Radiation between a body and the large surface around it: F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and
    Mass Transfer, section 13.3 (from memory).
    """
    return _INSIDE_DRAUGHT + _INSIDE_RADIATION * min(warm_area / cover_area, 1.0)


def u_value_in_wind(u_value: ArrayLike, outside_film: ArrayLike, inside_film: ArrayLike = INSIDE_FILM) -> Array | float:
    """U-value of a cover between the films that there are: ``1 / (R + 1/inside_film + 1/outside_film)``.

    ``R = 1/u_value - 1/8.3 - 1/34``, at least nothing, is that of the cover itself.

    Parameters
    ----------
    u_value : array_like
        As handbooks give it, for a winter wind of 6.7 m/s. [W/(m2 K)] Below 34; NaN from there on.
    outside_film : array_like
        Convective and radiative film together. [W/(m2 K)]
    inside_film : array_like, default 8.3
        The same inside. [W/(m2 K)]

    Returns
    -------
    float or ndarray
        [W/(m2 K)]

    Examples
    --------
    >>> float(u_value_in_wind(6.2, 34.0).round(2)), float(u_value_in_wind(6.2, 10.0).round(2))
    (6.2, 4.31)

    References
    ----------
    Films of the ASHRAE Handbook, Fundamentals (from memory); resistances in a row.
    """
    rated = np.asarray(u_value, dtype=float)
    own = np.maximum(1 / np.where(rated < _RATED_FILM, rated, np.nan) - 1 / _RATED_FILM - 1 / INSIDE_FILM, 0.0)
    films = 1 / np.asarray(outside_film, dtype=float) + 1 / np.asarray(inside_film, dtype=float)
    return (1 / (own + films))[()]


def sol_air_temperature(
    temp_air: ArrayLike,
    absorbed: ArrayLike,
    temp_sky: ArrayLike,
    sky_view: ArrayLike,
    convective_film: ArrayLike,
    radiative_film: ArrayLike,
) -> Array | float:
    """Temperature of outside air that would draw as much heat as air, sun and sky do together.

    ``temp_air + (absorbed - radiative_film sky_view (temp_air - temp_sky)) / (convective_film + radiative_film)``

    Parameters
    ----------
    temp_air : array_like
        [degC]
    absorbed : array_like
        Sunlight that the cover itself turns into heat. [W/m2]
    temp_sky : array_like
        Of a black sky that radiates as the true one. [degC]
    sky_view : array_like
        Share of what the surface sees that is cold sky; the rest is as warm as the air. [-]
    convective_film, radiative_film : array_like
        Of `outside_film`. [W/(m2 K)]

    Returns
    -------
    float or ndarray
        [degC]

    Examples
    --------
    >>> round(float(sol_air_temperature(0.0, 0.0, -15.0, 1.0, 4.3, 4.2)), 2)
    -7.41

    References
    ----------
    ASHRAE Handbook, Fundamentals, sol-air temperature (from memory).
    """
    air, radiative = np.asarray(temp_air, dtype=float), np.asarray(radiative_film, dtype=float)
    lost = radiative * np.asarray(sky_view, dtype=float) * (air - np.asarray(temp_sky, dtype=float))
    return (air + (np.asarray(absorbed, dtype=float) - lost) / (np.asarray(convective_film, dtype=float) + radiative))[
        ()
    ]


def inner_face_temperature(
    temp_inside: ArrayLike, temp_outside: ArrayLike, u_value: ArrayLike, inside_film: float = INSIDE_FILM
) -> Array | float:
    """Temperature of the inner face of a cover: ``ti - (U / hi)(ti - to)``. Dew forms where it is below the dew point.

    Parameters
    ----------
    temp_inside, temp_outside : array_like
        Of the air, outside with sun and sky counted in (`sol_air_temperature`). [degC]
    u_value : array_like
        [W/(m2 K)]
    inside_film : float, default 8.3
        Still air at a wall (ASHRAE Handbook, Fundamentals, from memory). [W/(m2 K)]

    Returns
    -------
    float or ndarray
        [degC]

    Examples
    --------
    >>> float(inner_face_temperature(10.0, 0.0, 4.15))
    5.0
    """
    inside = np.asarray(temp_inside, dtype=float)
    drop = np.asarray(u_value, dtype=float) / inside_film * (inside - np.asarray(temp_outside, dtype=float))
    return (inside - drop)[()]
