"""Floor and leaves of a house: what they take of the light and turn into vapour, and the layers that store heat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.house.heat_balance import Masses
from solarvent.weather.moist_air import saturation_slope

Array = NDArray[np.float64]

FLOOR_NODES = 3
"""Masses that stand for a floor; they come first among those of a house."""
#: Soil and its like under the top: depth [m], heat capacity [J/(m3 K)], conductivity [W/(m K)] (Hillel; de Vries, from
#: memory).
_SUBSOIL = (0.35, 2.0e6, 1.0)


@dataclass(frozen=True)
class Floor:
    """A kind of floor, in one state of damp.

    Attributes
    ----------
    absorptance : float
        For sunlight. [-]
    wetness : float
        Vapour that the sun drives out of it over that of as much leaf. [-]
    depth, heat_capacity, conductivity : float
        Of its top, under which lies moist subsoil. [m], [J/(m3 K)], [W/(m K)]
    gap : float
        Resistance between top and subsoil. [m2 K/W]
    """

    absorptance: float
    wetness: float
    depth: float
    heat_capacity: float
    conductivity: float
    gap: float = 0.0


#: Kind -> floor that gets water, floor that gets none. Soil: Hillel and de Vries, from memory; albedos: Oke, Boundary
#: Layer Climates, from memory (wet dark soil 0.05-0.1, dry 0.25, grass 0.2, concrete 0.1-0.35); the others and the
#: wetness: common practice, no source (dry soil turns about 0.1 of its light to vapour).
FLOORS = {
    "soil": (Floor(0.90, 0.7, 0.15, 2.1e6, 1.0), Floor(0.75, 0.15, 0.10, 1.3e6, 0.35)),
    "lawn": (Floor(0.80, 0.6, 0.12, 2.0e6, 0.8), Floor(0.75, 0.4, 0.10, 1.3e6, 0.35)),
    "gravel": (Floor(0.70, 0.2, 0.12, 1.6e6, 0.7), Floor(0.70, 0.05, 0.12, 1.6e6, 0.5)),
    "slab": (Floor(0.75, 0.05, 0.12, 2.06e6, 1.4), Floor(0.75, 0.0, 0.12, 2.06e6, 1.4)),
    "boards": (Floor(0.65, 0.05, 0.025, 0.9e6, 0.14, 0.2), Floor(0.65, 0.0, 0.025, 0.9e6, 0.14, 0.2)),
}


@dataclass(frozen=True, eq=False)
class FloorHeat:
    """A floor as masses beside each other, exactly as the air of the house feels its layers.

    Attributes
    ----------
    masses : Masses
        Shape (FLOOR_NODES, 1). Their "temperatures" are not those of layers: the mean of them, weighted by `weight`, is
        that of the top, and in `far_conductance` a negative figure is one, too.
    weight : ndarray, shape (FLOOR_NODES,)
        [-] Together 1.
    into : float
        Share of the heat that the sun leaves at the surface that goes into the floor; the rest warms the air. [-]
    """

    masses: Masses
    weight: Array
    into: float


def floor_heat(floor: Floor, area: float, edge: float, film: float) -> FloorHeat:
    """Turn the layers of a floor into masses side by side.

    From the air: the film, half of the upper part of the top, its lower part, the subsoil. The layers, which heat each
    other, are turned into masses that do not, by the eigenvectors of their conductances; seen from the air, and in the
    heat that they store and lose, both are the same as long as the ground's temperature hardly moves.

    Parameters
    ----------
    floor : Floor
        The floor.
    area : float
        [m2]
    edge : float
        Conductance to the ground around, by all layers in proportion to their depth. [W/K]
    film : float
        Between floor and air. [W/(m2 K)]

    Returns
    -------
    FloorHeat

    Examples
    --------
    >>> heat = floor_heat(FLOORS["slab"][1], 10.0, 15.0, 8.3)
    >>> bool(np.isclose(heat.masses.conductance.sum(), 10.0 / (1 / 8.3 + 0.02 / 1.4)))
    True
    """
    upper = floor.depth / 3
    depth = np.array([upper, floor.depth - upper, _SUBSOIL[0]])
    capacity = area * depth * np.array([floor.heat_capacity, floor.heat_capacity, _SUBSOIL[1]])
    half = depth / 2 / np.array([floor.conductivity, floor.conductivity, _SUBSOIL[2]])
    joined = area / (half[:-1] + half[1:] + np.array([0.0, floor.gap]))
    outer = area / half[0]
    inner = 1 / (1 / (area * film) + 1 / outer)
    flows = np.diag(edge * depth / depth.sum())
    flows[0, 0] += inner
    for row, conductance in enumerate(joined):
        flows[row : row + 2, row : row + 2] += conductance * np.array([[1.0, -1.0], [-1.0, 1.0]])
    root = np.sqrt(capacity)
    rate, mode = np.linalg.eigh(flows / np.outer(root, root))
    weight = mode[0] ** 2
    stored, near = capacity[0] * weight, inner * weight
    masses = Masses(*(values[:, None] for values in (stored, near, rate * stored - near)))
    return FloorHeat(masses, weight, outer / (outer + area * film))


def vapour_share(temp: ArrayLike, leaf_area: float = 1.0) -> Array | float:
    """Share of the heat of watered leaf that goes into vapour in still moist air: ``s / (s + g (1 + 2.5/L))``.

    ``s`` is the slope of the saturation pressure over the temperature, by Magnus' formula, ``g`` 66.5 Pa/K at sea
    level; ``2.5/L``: the pores of one layer of leaf in light resist more than twice as much as the still air at it
    (typical: 250 and 100 s/m), those of more layers side by side the less.

    Parameters
    ----------
    temp : array_like
        [degC]
    leaf_area : float, default 1
        L, leaf for each area of floor; less than 1 counts as 1. [-]

    Returns
    -------
    float or ndarray
        [-]

    Examples
    --------
    >>> vapour_share([5.0, 25.0, 45.0]).round(2).tolist(), float(vapour_share(25.0, 3.0).round(2))
    ([0.21, 0.45, 0.68], 0.61)

    References
    ----------
    J. L. Monteith 1965, Evaporation and environment, Symp. Soc. Exp. Biol. 19, 205-234, in air that is nearly saturated
    (from memory).
    """
    warm = np.asarray(temp, dtype=float)
    slope = saturation_slope(warm)
    return (slope / (slope + 66.5 * (1 + 2.5 / max(leaf_area, 1.0))))[()]
