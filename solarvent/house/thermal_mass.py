"""Things that store heat: water, masonry and soil, the films between them and the air, and their slow cooling."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

WATER_CAPACITY = 4.186e6
"""Heat that a cubic metre of water takes for each kelvin near 20 degC. [J/(m3 K)]"""
WATER_DENSITY = 998.2
"""Near 20 degC. [kg/m3]"""
FUSION_HEAT = 334e3
"""Heat that a kilogram of water gives when it freezes. [J/kg]"""

_STEFAN_BOLTZMANN = 5.670374e-8
_GRAVITY = 9.80665


def plate_film(temp_difference: ArrayLike, height: ArrayLike, temp_mean: ArrayLike = 20.0) -> Array | float:
    """Natural convection at an upright surface in air, by Churchill & Chu.

    ``Nu = (0.825 + 0.387 Ra**(1/6) / (1 + (0.492/Pr)**(9/16))**(8/27))**2``, film ``Nu k / height``. A standing drum
    counts as a plate while its diameter is above ``35 height / Gr**0.25``, which every drum is.

    Parameters
    ----------
    temp_difference : array_like
        Between surface and air, either way round. [K]
    height : array_like
        [m] Above zero.
    temp_mean : array_like, default 20
        Between surface and air. [degC]

    Returns
    -------
    float or ndarray
        [W/(m2 K)]

    Examples
    --------
    >>> float(plate_film(10.0, 0.88).round(1))
    3.2

    References
    ----------
    S. W. Churchill, H. H. S. Chu 1975, Int. J. Heat Mass Transfer 18, 1323-1329. Properties of air: Sutherland's
    law for the viscosity, Pr 0.71, conductivity from the viscosity (from memory).
    """
    kelvin = np.asarray(temp_mean, dtype=float) + 273.15
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    prandtl = 0.71
    conductivity = viscosity * 1006.0 / prandtl
    kinematic = viscosity * 287.05 * kelvin / 101_325.0
    high = np.asarray(height, dtype=float)
    rayleigh = _GRAVITY / kelvin * np.abs(temp_difference) * high**3 / kinematic**2 * prandtl
    shape = (1 + (0.492 / prandtl) ** (9 / 16)) ** (8 / 27)
    return ((0.825 + 0.387 * rayleigh ** (1 / 6) / shape) ** 2 * conductivity / high)[()]


def radiation_film(temp_mean: ArrayLike = 20.0, emittance: float = 0.9) -> Array | float:
    """Radiation between a surface and what it sees, as a film: ``4 emittance sigma T**3``.

    Parameters
    ----------
    temp_mean : array_like, default 20
        [degC]
    emittance : float, default 0.9
        [-]

    Returns
    -------
    float or ndarray
        [W/(m2 K)]

    Examples
    --------
    >>> float(radiation_film().round(2))
    5.14
    """
    return (4 * emittance * _STEFAN_BOLTZMANN * (np.asarray(temp_mean, dtype=float) + 273.15) ** 3)[()]


def cooling_temperature(
    time: ArrayLike, temp_start: ArrayLike, temp_around: ArrayLike, capacity: ArrayLike, conductance: ArrayLike
) -> Array | float:
    """Temperature of a mass that cools into surroundings of one temperature.

    ``temp_around + (temp_start - temp_around) exp(-conductance time / capacity)``

    Parameters
    ----------
    time : array_like
        Since the start. [s]
    temp_start, temp_around : array_like
        [degC]
    capacity : array_like
        [J/K] Above zero.
    conductance : array_like
        [W/K]

    Returns
    -------
    float or ndarray
        [degC]

    Examples
    --------
    >>> round(float(cooling_temperature(3600.0, 20.0, 0.0, 3600.0, 1.0)), 3)
    7.358
    """
    decay = np.exp(-np.asarray(conductance) * np.asarray(time, dtype=float) / np.asarray(capacity, dtype=float))
    around = np.asarray(temp_around, dtype=float)
    return (around + (np.asarray(temp_start, dtype=float) - around) * decay)[()]


def active_depth(conductivity: ArrayLike, volumetric_capacity: ArrayLike, period: float = 86_400.0) -> Array | float:
    """Depth of soil or masonry that takes part in a swing of temperature: ``sqrt(k period / (pi c))``.

    Parameters
    ----------
    conductivity : array_like
        [W/(m K)]
    volumetric_capacity : array_like
        [J/(m3 K)]
    period : float, default 86 400
        Of the swing. [s]

    Returns
    -------
    float or ndarray
        [m] At it the swing has fallen to 1/e.

    Examples
    --------
    >>> round(float(active_depth(1.2, 2.3e6)), 3)
    0.12

    References
    ----------
    H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, half-space under a periodic surface temperature (from
    memory).
    """
    return np.sqrt(np.asarray(conductivity) * period / (np.pi * np.asarray(volumetric_capacity, dtype=float)))[()]
