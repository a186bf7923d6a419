"""What encloses a house: light through a cover by its slant, and the heat of cover, floor and the leaves on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from solarvent.base.constants import STEFAN_BOLTZMANN, ZERO_CELSIUS
from solarvent.house.heat_balance import Masses
from solarvent.weather.moist_air import saturation_slope

Array = NDArray[np.float64]

INSIDE_FILM = 8.3
"""Still air at a wall, draught and radiation together (ASHRAE Handbook, Fundamentals, from memory). [W/(m2 K)]"""
#: Its two parts (the same; EN 673 has 3.6 and 4.4). [W/(m2 K)]
_INSIDE_DRAUGHT, _INSIDE_RADIATION = 3.0, 5.3
#: Outside film at which handbooks give U-values, winter wind of 6.7 m/s (ASHRAE Fundamentals, from memory). [W/(m2 K)]
_RATED_FILM = 34.0


def incidence_modifier(aoi: ArrayLike, layers: int = 1, refractive_index: float = 1.526) -> Array | float:
    """Light that a cover passes at a slant [deg], over what it passes square on: reflection at all its faces. [-]

    For each polarisation, with r the reflection of one face, ``(1 - r) / (1 + (2 layers - 1) r)``; their mean, over its
    value at 0 degrees; 90 and beyond pass nothing. What the material itself swallows is taken as the same at all
    slants. Layers are sheets with air between them: 2 for twin-wall; the refractive index [-] of glass is 1.526, of
    acrylic 1.49, of polycarbonate 1.59.

    Examples
    --------
    >>> float(incidence_modifier(60.0).round(2)), float(incidence_modifier(60.0, layers=2).round(2))
    (0.92, 0.9)

    References
    ----------
    J. A. Duffie, W. A. Beckman, Solar Engineering of Thermal Processes, section 5.1 (from memory).
    """
    angle = np.radians(np.clip(np.asarray(aoi, dtype=float), 0.0, 90.0))
    # Square on, Fresnel's formulas are nought by nought: a millionth of a radian stands for it.
    square = _transmission(np.array(1e-6), layers, refractive_index)
    return (_transmission(np.maximum(angle, 1e-6), layers, refractive_index) / square)[()]


def _transmission(angle: Array, layers: int, refractive_index: float) -> Array:
    """Share that passes sheets without absorption."""
    inside = np.arcsin(np.sin(angle) / refractive_index)
    less, more = inside - angle, inside + angle
    faces = (np.sin(less) ** 2 / np.sin(more) ** 2, np.tan(less) ** 2 / np.tan(more) ** 2)
    return np.mean([(1 - r) / (1 + (2 * layers - 1) * r) for r in faces], axis=0)


def outside_film(wind_speed: ArrayLike, temp_air: ArrayLike = 10.0, emittance: float = 0.9) -> tuple[Array, Array]:
    """Films outside a cover [W/(m2 K)]: convection ``2.8 + 3.0 wind_speed``, and radiation ``4 emittance sigma T**3``.

    The wind at the house is in [m/s], measured up to 7, the air in [degC]; the emittance of the cover for its own
    radiation in [-].

    Examples
    --------
    >>> [round(float(film), 1) for film in outside_film(2.0)]
    [8.8, 4.6]

    References
    ----------
    J. H. Watmuff, W. W. S. Charters, D. Proctor 1977, Solar and wind induced external coefficients, Comples 2, 56 (from
    memory).
    """
    kelvin = np.asarray(temp_air, dtype=float) + ZERO_CELSIUS
    return 2.8 + 3.0 * np.asarray(wind_speed, dtype=float), 4 * emittance * STEFAN_BOLTZMANN * kelvin**3


def inside_film(warm_area: float, cover_area: float) -> float:
    """Film inside a cover [W/(m2 K)]: draught 3.0, and radiation 5.3 times what is warm inside over the cover, both in
    [m2].

    A pane that sees other panes gets no warmth from them: what floor and things radiate is spread over all of the
    cover. In a wide house the floor is nearly as large as the cover, and the film is the handbooks' 8.3; in a small
    one, with three times as much cover as floor, it is half of that.

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
    """U-value of a cover between the films that there are: ``1 / (R + 1/inside_film + 1/outside_film)``. [W/(m2 K)]

    ``R = 1/u_value - 1/8.3 - 1/34``, at least nothing, is that of the cover itself, from the U-value that handbooks
    give for a winter wind of 6.7 m/s, below 34, NaN from there on. The films hold convection and radiation. [W/(m2 K)]

    Examples
    --------
    >>> float(u_value_in_wind(6.2, 34.0).round(2)), float(u_value_in_wind(6.2, 10.0).round(2))
    (6.2, 4.31)

    References
    ----------
    Films of the ASHRAE Handbook, Fundamentals (from memory); resistances in a row.
    """
    rated = np.asarray(u_value, dtype=float)
    # The cover itself is what is left of its rated resistance without the films at which it was rated.
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
    """Temperature of outside air [degC] that would draw as much heat as air, sun and sky do together.

    ``temp_air + (absorbed - radiative_film sky_view (temp_air - temp_sky)) / (convective_film + radiative_film)``, with
    the sunlight that the cover itself turns into heat [W/m2], the temperature of a black sky that radiates as the true
    one [degC], the share of what the surface sees that is cold sky, the rest being as warm as the air [-], and the
    films of `outside_film` [W/(m2 K)].

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
    """Temperature of the inner face of a cover [degC]: ``ti - (U / hi)(ti - to)``. Dew forms where it is below the dew
    point.

    The air outside has sun and sky counted in (`sol_air_temperature`) [degC]; U-value and inside film are in [W/(m2
    K)].

    Examples
    --------
    >>> float(inner_face_temperature(10.0, 0.0, 4.15))
    5.0
    """
    inside = np.asarray(temp_inside, dtype=float)
    drop = np.asarray(u_value, dtype=float) / inside_film * (inside - np.asarray(temp_outside, dtype=float))
    return (inside - drop)[()]


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
    """Turn the layers of a floor of an area [m2] into masses side by side.

    From the air: the film [W/(m2 K)], half of the upper part of the top, its lower part, the subsoil. The layers, which
    heat each other, are turned into masses that do not, by the eigenvectors of their conductances; seen from the air,
    and in the heat that they store and lose, both are the same as long as the ground's temperature hardly moves. The
    edge is the conductance to the ground around [W/K], by all layers in proportion to their depth.

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
    # To the air: half of the upper layer and the film in a row.
    inner = 1 / (1 / (area * film) + 1 / outer)
    flows = np.diag(edge * depth / depth.sum())
    flows[0, 0] += inner
    for row, conductance in enumerate(joined):
        # What leaves one layer enters the next.
        flows[row : row + 2, row : row + 2] += conductance * np.array([[1.0, -1.0], [-1.0, 1.0]])
    # Divided by the roots of the capacities the matrix is symmetric, and its eigenvectors are at right angles.
    root = np.sqrt(capacity)
    rate, mode = np.linalg.eigh(flows / np.outer(root, root))
    # Air feels the top layer alone: each mode counts by its share in that.
    weight = mode[0] ** 2
    stored, near = capacity[0] * weight, inner * weight
    # What a mode loses beyond what it gives to the air goes to the ground.
    masses = Masses(*(values[:, None] for values in (stored, near, rate * stored - near)))
    return FloorHeat(masses, weight, outer / (outer + area * film))


def vapour_share(temp: ArrayLike, leaf_area: float = 1.0) -> Array | float:
    """Share of the heat of watered leaf that goes into vapour in still moist air: ``s / (s + g (1 + 2.5/L))``. [-]

    ``s`` is the slope of the saturation pressure over the temperature [degC], by Magnus' formula, ``g`` 66.5 Pa/K at
    sea level; ``2.5/L``: the pores of one layer of leaf in light resist more than twice as much as the still air at it
    (typical: 250 and 100 s/m), those of more layers side by side the less; L is the leaf for each area of floor [-],
    less than 1 counts as 1.

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
