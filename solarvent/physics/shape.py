"""The size of a house by its shape: floor, cover and volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.base.errors import DomainError, Problem

SHAPES = ("gable", "lean-to", "tunnel", "dome", "box")


@dataclass(frozen=True)
class ShapeGeometry:
    """Size of a house.

    Attributes
    ----------
    floor_area : float
        [m2]
    cover_area : float
        All that faces the outside air, without the floor. [m2]
    volume : float
        [m3]
    """

    floor_area: float
    cover_area: float
    volume: float


def shape_geometry(shape: str, length: float, width: float, eaves: float, ridge: float) -> ShapeGeometry:
    """Floor, cover and volume of a simple house.

    - gable: walls to the eaves, two equal roof slopes to a ridge along the length.
    - lean-to: low wall at the eaves, one slope up to the ridge at a wall that is not counted as cover.
    - tunnel: walls to the eaves (0 for a bare hoop), above them half an ellipse along the length.
    - dome: round wall to the eaves, above it a cap of a sphere, which bulges out where it is higher than its
      radius, as a five-eighths dome does; length and width are both the diameter of the floor.
    - box: flat roof at the ridge height; the eaves do not count.

    Parameters
    ----------
    shape : {"gable", "lean-to", "tunnel", "dome", "box"}
    length, width : float
        Of the floor. [m] Above zero.
    eaves : float
        Height of the walls. [m] Zero or more.
    ridge : float
        Height at the top. [m] Not below the eaves, and above zero.

    Returns
    -------
    ShapeGeometry

    Raises
    ------
    DomainError
        If the shape is not known, or a length has no meaning; all mistakes at once.

    Examples
    --------
    >>> size = shape_geometry("gable", 2.5, 1.9, 1.6, 2.2)
    >>> round(size.floor_area, 2), round(size.cover_area, 2), round(size.volume, 2)
    (4.75, 20.84, 9.03)
    """
    _check_shape(shape, length, width, eaves, ridge)
    rise = ridge - eaves
    floor = length * width
    if shape == "box":
        return ShapeGeometry(floor, floor + 2 * (length + width) * ridge, floor * ridge)
    if shape == "gable":
        slope = float(np.hypot(width / 2, rise))
        end = width * (eaves + ridge) / 2
        return ShapeGeometry(floor, 2 * (length * (eaves + slope) + end), length * end)
    if shape == "lean-to":
        slope = float(np.hypot(width, rise))
        end = width * (eaves + ridge) / 2
        return ShapeGeometry(floor, length * (eaves + slope) + 2 * end, length * end)
    if shape == "tunnel":
        end = width * eaves + np.pi / 4 * width * rise
        return ShapeGeometry(floor, length * (2 * eaves + _half_ellipse(width / 2, rise)) + 2 * end, length * end)
    radius = width / 2
    floor = np.pi * radius**2
    cap = np.pi * (radius**2 + rise**2)
    volume = floor * eaves + np.pi * rise * (3 * radius**2 + rise**2) / 6
    return ShapeGeometry(floor, np.pi * width * eaves + cap, volume)


def _check_shape(shape: str, length: float, width: float, eaves: float, ridge: float) -> None:
    """Refuse shapes and lengths without meaning, all at once."""
    problems = []
    if shape not in SHAPES:
        problems.append(Problem("shape", f'"{shape}" is not known', f"write one of: {', '.join(SHAPES)}"))
    for name, value, least in (("length", length, 0), ("width", width, 0), ("ridge", ridge, 0), ("eaves", eaves, -1)):
        if not (np.isfinite(value) and value > least):
            problems.append(Problem(name, f"is {value} m", "give a height or length above zero"))
    if eaves < 0:
        problems.append(Problem("eaves", f"are at {eaves} m", "write 0 where the roof starts at the ground"))
    if shape != "box" and ridge < eaves:
        problems.append(Problem("ridge", "lies below the eaves", "give the height at the top"))
    if shape == "dome" and not np.isclose(length, width, rtol=0.01):
        problems.append(Problem("width", "is not the length", "a dome is round: give its diameter for both"))
    if problems:
        raise DomainError(problems)


def _half_ellipse(half_width: float, height: float) -> float:
    """Length of the arch of half an ellipse; the trapezoid rule is exact to rounding on a full period."""
    angle = np.linspace(0.0, 2 * np.pi, 4096, endpoint=False)
    return float(np.pi * np.mean(np.hypot(half_width * np.sin(angle), height * np.cos(angle))))
