"""The size of a house by its shape: floor, cover and volume, and the surfaces of the cover with tilt and azimuth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.base.errors import DomainError, Problem

SHAPES = ("gable", "lean-to", "tunnel", "dome", "box", "shed", "coop")
#: Flat pieces of an arch, and rings and sectors of a dome (our choice).
_STRIPS, _RINGS, _SECTORS = 8, 3, 8


@dataclass(frozen=True, eq=False)
class Surfaces:
    """The flat pieces of a cover.

    Attributes
    ----------
    area : ndarray, shape (surfaces,)
        [m2]
    surface_tilt : ndarray, shape (surfaces,)
        Of the outward normal from the vertical: 0 level roof, 90 wall, 180 underside. [deg]
    surface_azimuth : ndarray, shape (surfaces,)
        Direction that it faces, clockwise from north. [deg]
    distance : ndarray, shape (surfaces,)
        Of its plane from the middle of the floor. [m]
    """

    area: np.ndarray
    surface_tilt: np.ndarray
    surface_azimuth: np.ndarray
    distance: np.ndarray


@dataclass(frozen=True)
class ShapeGeometry:
    """Floor area [m2], volume [m3] and cover area of a house: all that faces outside air, without the floor [m2]."""

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
    - shed: low wall at the eaves, one slope up to a high wall at the ridge, all of it cover.
    - coop: a shed on legs, whose floor is cover too.

    Parameters
    ----------
    length, width : float
        Of the floor. [m] Above zero.
    eaves : float
        Height of the walls. [m] Zero or more.
    ridge : float
        Height at the top. [m] Not below the eaves, and above zero.

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
    rise, floor = ridge - eaves, length * width
    end = _end_area(shape, width, eaves, ridge)
    if shape == "box":
        return ShapeGeometry(floor, floor + 2 * (length + width) * ridge, floor * ridge)
    if shape == "gable":
        slope = float(np.hypot(width / 2, rise))
        return ShapeGeometry(floor, 2 * (length * (eaves + slope) + end), length * end)
    if shape in ("lean-to", "shed", "coop"):
        slope = float(np.hypot(width, rise))
        more = {"lean-to": 0.0, "shed": length * ridge, "coop": length * ridge + floor}[shape]
        return ShapeGeometry(floor, length * (eaves + slope) + 2 * end + more, length * end)
    if shape == "tunnel":
        return ShapeGeometry(floor, length * (2 * eaves + _half_ellipse(width / 2, rise)) + 2 * end, length * end)
    radius = width / 2
    floor = np.pi * radius**2
    # On the wall the cap of a sphere, by its height and the radius of its foot.
    cap, cap_volume = np.pi * (radius**2 + rise**2), np.pi * rise * (3 * radius**2 + rise**2) / 6
    return ShapeGeometry(floor, np.pi * width * eaves + cap, floor * eaves + cap_volume)


def _end_area(shape: str, width: float, eaves: float, ridge: float) -> float:
    """Area of an end wall, which is the same all along the house. [m2]"""
    if shape == "box":
        return width * ridge
    if shape == "tunnel":
        return width * eaves + np.pi / 4 * width * (ridge - eaves)
    return width * (eaves + ridge) / 2


def shape_surfaces(
    shape: str, length: float, width: float, eaves: float, ridge: float, azimuth: float = 180.0
) -> Surfaces:
    """The cover of a simple house as flat pieces with their tilt and azimuth; lengths and errors as `shape_geometry`.

    An arch is cut into 8 strips along the house, a cap into 3 rings of 8 pieces, a round wall into 8. Their areas add
    up to the cover area. `azimuth` is the direction that the long front faces: a side wall of a gable or tunnel, the
    low wall of a lean-to, shed or coop. [deg]

    Examples
    --------
    >>> pieces = shape_surfaces("shed", 2.0, 1.5, 1.5, 1.9)
    >>> pieces.area.round(2).tolist()
    [3.0, 2.55, 2.55, 3.1, 3.8]
    """
    _check_shape(shape, length, width, eaves, ridge)
    if shape == "dome":
        return _dome_surfaces(width / 2, eaves, ridge - eaves, azimuth)
    rise, wall = ridge - eaves, ridge if shape == "box" else eaves
    end, half, side = _end_area(shape, width, eaves, ridge), width / 2, length / 2
    # Area, tilt, turn from the long front, and distance from the middle of the floor.
    rows = [(length * wall, 90.0, 0.0, half), (end, 90.0, 90.0, side), (end, 90.0, 270.0, side)]
    if shape == "box":
        rows += [(length * wall, 90.0, 180.0, half), (length * width, 0.0, 0.0, ridge)]
    elif shape == "gable":
        tilt, slope = _degrees(rise, half), float(np.hypot(half, rise))
        rows += [(length * wall, 90.0, 180.0, half)]
        rows += [(length * slope, tilt, turn, ridge * half / slope) for turn in (0.0, 180.0)]
    elif shape == "tunnel":
        rows += [(length * wall, 90.0, 180.0, half)]
        rows += [(length * arc, tilt, turn, away) for arc, tilt, turn, away in _arch(half, eaves, rise)]
    else:
        slope = float(np.hypot(width, rise))
        rows += [(length * slope, _degrees(rise, width), 0.0, (eaves + ridge) / 2 * width / slope)]
        rows += [(length * ridge, 90.0, 180.0, half)] * (shape != "lean-to")
        rows += [(length * width, 180.0, 0.0, 0.0)] * (shape == "coop")
    area, tilts, turns, distance = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    return Surfaces(area, tilts, (turns + azimuth) % 360.0, distance)


def _degrees(rise: float, run: float) -> float:
    """Tilt of a slope. [deg]"""
    return float(np.degrees(np.arctan2(rise, run)))


def _arch(half_width: float, eaves: float, height: float) -> list[tuple[float, float, float, float]]:
    """Strips of half an ellipse, from the front over the top: length of arc [m], tilt and turn from the front [deg],
    distance from the middle of the floor [m]."""
    angle = np.linspace(0.0, np.pi, _STRIPS + 1)
    forward, up = np.cos(angle) * half_width, eaves + np.sin(angle) * height
    chord = np.column_stack([np.diff(forward), np.diff(up)])
    arc = np.hypot(chord[:, 0], chord[:, 1])
    # The outward normal of a chord that runs from the front over the top lies a quarter turn to its right.
    distance = (forward[:-1] * chord[:, 1] - up[:-1] * chord[:, 0]) / arc
    # Chords are shorter than the arch; their areas are to add up to it.
    arc *= _half_ellipse(half_width, height) / arc.sum()
    tilt = np.degrees(np.arctan2(np.abs(chord[:, 1]), -chord[:, 0]))
    turn = np.where(chord[:, 1] > 0, 0.0, 180.0)
    return list(zip(*(values.tolist() for values in (arc, tilt, turn, distance)), strict=True))


def _dome_surfaces(radius: float, eaves: float, rise: float, azimuth: float) -> Surfaces:
    """Wall pieces and rings of equal height, which on a sphere have equal area."""
    turn = azimuth + np.arange(_SECTORS) * 360.0 / _SECTORS
    wall = np.full(_SECTORS, 2 * np.pi * radius * eaves / _SECTORS)
    upright = np.full(_SECTORS, 90.0)
    # Planes that touch the round would enclose more floor than it has: they stand so that the floor is the same.
    drawn_in = np.sqrt(np.pi / _SECTORS / np.tan(np.pi / _SECTORS))
    side = np.full(_SECTORS, drawn_in * radius)
    if rise == 0:
        return Surfaces(
            np.append(wall, np.pi * radius**2),
            np.append(upright, 0.0),
            np.append(turn, azimuth) % 360.0,
            np.append(side, eaves),
        )
    sphere = (radius**2 + rise**2) / (2 * rise)
    height = sphere - rise + (np.arange(_RINGS) + 0.5) * rise / _RINGS
    tilt = np.repeat(np.degrees(np.arccos(height / sphere)), _SECTORS)
    cap = np.full(tilt.size, np.pi * (radius**2 + rise**2) / tilt.size)
    middle = eaves + rise - sphere
    # A cap higher than its radius bulges out over its wall, which then stands as far out as the bulge.
    side *= sphere / radius if middle > eaves else 1.0
    return Surfaces(
        np.append(wall, cap),
        np.append(upright, tilt),
        np.append(turn, np.tile(turn, _RINGS)) % 360.0,
        np.append(side, np.cos(np.radians(tilt)) * middle + drawn_in * sphere),
    )


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
