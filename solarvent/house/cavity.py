"""A house as a convex room: its faces in space, points spread over them, and rays carried to the next face."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_TOUCHING = 1e-7  # what counts as on a plane [m]
#: Rays times faces that are worked out together: more than fit into the cache of a processor take five times as long.
_BLOCK = 65_536


@dataclass(frozen=True, eq=False)
class Room:
    """A convex room between planes.

    Attributes
    ----------
    normal : ndarray, shape (faces, 3)
        Outward, of length 1: x to the right of the front, y to the front, z up. [-]
    distance : ndarray, shape (faces,)
        Of each plane from the middle of the floor. [m]
    corners : tuple of ndarray, shape (corners, 3)
        Of each face, in order around it. [m]
    """

    normal: Array
    distance: Array
    corners: tuple[Array, ...]

    def spread(self, face: int, spots: Array) -> Array:
        """Lay points of the unit square, shape (points, 2), evenly over a face, shape (points, 3). [m]"""
        corners = self.corners[face]
        # A face is a fan of triangles from its first corner; each takes points by its size.
        first, second = corners[1:-1] - corners[0], corners[2:] - corners[0]
        sizes = np.linalg.norm(np.cross(first, second), axis=1)
        ends = np.cumsum(sizes) / sizes.sum()
        chosen = np.minimum(np.searchsorted(ends, spots[:, 0], side="right"), len(ends) - 1)
        # The first coordinate, once it has chosen a triangle, is stretched to serve within it too.
        within = (spots[:, 0] - ends[chosen]) / (sizes[chosen] / sizes.sum()) + 1.0
        # The root keeps the points of a triangle even, though they are laid out from its corner.
        out = np.sqrt(np.clip(within, 0.0, 1.0))[:, None]
        across = spots[:, 1:]
        return corners[0] + out * ((1 - across) * first[chosen] + across * second[chosen])

    def hit(self, start: Array, heading: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Carry rays, shape (rays, 3), to the face that they meet: its number, the way [m], the cosine of the angle."""
        face, way, cosine = np.empty(len(start), dtype=int), np.empty(len(start)), np.empty(len(start))
        block = max(_BLOCK // len(self.normal), 1)
        for first in range(0, len(start), block):
            some = slice(first, first + block)
            cosines = heading[some] @ self.normal.T
            gap = np.maximum(self.distance - start[some] @ self.normal.T, _TOUCHING)
            # A face from which a ray leads away, or along which it runs, lies out of all reach.
            ways = gap / np.maximum(cosines, 1e-12)
            nearest = ways.argmin(axis=1)
            at = np.arange(len(nearest))
            face[some], way[some], cosine[some] = nearest, ways[at, nearest], cosines[at, nearest]
        return face, way, cosine

    def inside(self, points: Array) -> NDArray[np.bool_]:
        """Tell which points, shape (points, 3), lie in the room."""
        return np.asarray((points @ self.normal.T <= self.distance + _TOUCHING).all(axis=1))


def room_between(normal: Array, distance: Array) -> Room:
    """Find the corners of the room that planes enclose; a plane that touches it nowhere has no corners.

    Every three planes meet in a point or not at all; the points that lie behind no plane are the corners.
    """
    triples = np.array(list(combinations(range(len(normal)), 3)))
    meets = np.abs(np.linalg.det(normal[triples])) > 1e-6
    triples = triples[meets]
    points = np.linalg.solve(normal[triples], distance[triples][..., None])[..., 0]
    points = points[(points @ normal.T <= distance + _TOUCHING).all(axis=1)]
    on_face = np.abs(points @ normal.T - distance) < 10 * _TOUCHING
    corners = (_in_order(points[on], axis) for on, axis in zip(on_face.T, normal, strict=True))
    return Room(normal, distance, tuple(corners))


def tangents(normal: Array) -> tuple[Array, Array]:
    """Two directions along a plane, at right angles to each other and to its normal."""
    # Any direction will do that is not nearly along the normal.
    aside = np.array([1.0, 0.0, 0.0]) if abs(normal[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    first = np.cross(normal, aside)
    first /= np.linalg.norm(first)
    return first, np.cross(normal, first)


def _in_order(points: Array, normal: Array) -> Array:
    """Corners of a face in order around it, each once."""
    if len(points) < 3:
        return points
    first, second = tangents(normal)
    middle = points - points.mean(axis=0)
    ordered = points[np.argsort(np.arctan2(middle @ second, middle @ first))]
    # Where more than three planes meet, the same corner is found several times.
    apart = np.linalg.norm(ordered - np.roll(ordered, 1, axis=0), axis=1) > 10 * _TOUCHING
    return ordered[apart]


def lattice(count: int, dimensions: int) -> Array:
    """Points that fill the unit cube evenly, shape (count, dimensions): the additive sequence of the generalised golden
    ratio, root of ``x**(d + 1) = x + 1``."""
    root = 1.5
    # Each round at the least halves the distance to the root.
    for _ in range(40):
        root = (1 + root) ** (1 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1)
    return (0.5 + np.arange(count)[:, None] * steps) % 1.0
