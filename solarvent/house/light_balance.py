"""Light in a house, followed from surface to surface until it is absorbed or has left again.

Light that comes in meets the floor, what stands on it, a solid wall, or a pane from within. The floor, solid walls and
leaves throw part of it back to all sides; a pane lets part of it out, by its slant, and mirrors the rest. Each face and
what stands in the house is a node: from each, rays that lie evenly over it tell once a house what share of its light
comes where. The shares of all later meetings then follow from one set of linear equations, and light from the sun, from
a patch of sky or from the ground outside differs only in where its first rays come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from solarvent.house.cavity import Room, lattice, room_between, tangents
from solarvent.plan.shape import shape_surfaces

Array = NDArray[np.float64]

SINKS = ("floor", "standing", "walls", "cover", "cloth", "outside")
"""Where light ends: absorbed by the floor, by leaves and other things that stand in the house, by solid walls, by the
cover and its bars, by cloth under the cover; or outside again."""
_FLOOR, _STANDING, _WALLS, _COVER, _CLOTH, _OUTSIDE = range(len(SINKS))
#: Patches of the sky, and of what lies under the horizon: rings, and sectors in each.
_SKY, _GROUND = (9, 24), (3, 12)
#: Rays a patch, shared by the panes, and rays from all nodes; mirrored this often before they count as scattered.
_RAYS_A_PATCH, _RAYS_FROM_NODES, _MIRRORED = 320, 10_000, 2
#: Layers of what stands in a house: light that it scatters high up leaves more easily.
_LAYERS = 3


@dataclass(frozen=True)
class Pane:
    """What a clear cover does to light that meets it from within; one value for each of evenly spaced cosines from 0
    (grazing) to 1 (square on).

    Attributes
    ----------
    passed : tuple of float
        Share that leaves, and of light from outside the share that comes in. [-]
    absorbed, absorbed_by_cloth : float
        Share that turns into heat in the cover and its bars, and in cloth under it; the rest is mirrored. [-]
    cloth_on_entry : float
        Heat in that cloth over the light that comes in past it. [-]
    """

    passed: tuple[float, ...]
    absorbed: float
    absorbed_by_cloth: float = 0.0
    cloth_on_entry: float = 0.0

    def passing(self, cosine: Array) -> Array:
        """Share that passes at cosines of any shape; none from behind."""
        return np.interp(cosine, np.linspace(0.0, 1.0, len(self.passed)), self.passed, left=0.0)


@dataclass(frozen=True)
class Standing:
    """Leaves and things, thought of as spread evenly over the lower part of a house.

    Attributes
    ----------
    silhouette : float
        Area that they show, the mean over all sides: half of the leaf, a quarter of a thing's surface. [m2]
    absorptance : float
        Of what they catch; the rest is scattered to all sides. [-]
    height : float
        Up to which they stand. [m]
    """

    silhouette: float = 0.0
    absorptance: float = 1.0
    height: float = 1.0


@dataclass(frozen=True)
class LitHouse:
    """What tells where light goes in a house.

    Attributes
    ----------
    shape : str
        As in `shape_geometry`.
    length, width, eaves, ridge : float
        [m]
    pane : Pane
        The clear cover.
    floor_absorptance : float
        [-]
    back_absorptance : float, optional
        Of a solid wall at the back; a lean-to has one. [-] None: the back is as clear as the rest.
    standing : Standing
        What stands in it.
    """

    shape: str
    length: float
    width: float
    eaves: float
    ridge: float
    pane: Pane
    floor_absorptance: float
    back_absorptance: float | None = None
    standing: Standing = Standing()


@dataclass(frozen=True, eq=False)
class LightBalance:
    """Where the light of each patch of sky and ground ends that has come in through each pane.

    Attributes
    ----------
    direction : ndarray, shape (patches, 3)
        Towards the middle of each patch: x to the right of the front, y to the front, z up; first the rings of the sky
        from the horizon up, then those of the ground. [-]
    solid_angle : ndarray, shape (patches,)
        [sr]
    share : ndarray, shape (patches, panes, sinks)
        Of the light that comes in; the sinks as in `SINKS`, their shares add up to 1; 0 for patches behind a pane. [-]
    normal : ndarray, shape (panes, 3)
        Outward. [-]
    area : ndarray, shape (panes,)
        Of what lets light in: 0 for a solid wall. [m2]
    pane : Pane
        Of the cover.
    """

    direction: Array
    solid_angle: Array
    share: Array
    normal: Array
    area: Array
    pane: Pane

    def ends(self, zenith: Array, bearing: Array, dni: Array, dhi: Array, ground: Array) -> Array:
        """Where all light ends, step by step.

        Parameters
        ----------
        zenith, bearing : ndarray, shape (steps,)
            Of the sun, the latter clockwise from the front. [rad]
        dni, dhi : ndarray, shape (steps,)
            Beam on a plane that faces it, none while it is down, and light of the sky on the level. [W/m2]
        ground : ndarray, shape (steps,)
            Light that the ground outside throws up. [W/m2]

        Returns
        -------
        ndarray, shape (steps, sinks)
            [W] Together all that came in through the cover, and what cloth under it swallowed.
        """
        # A sky alike everywhere has the radiance dhi / pi.
        sky = self.solid_angle[:, None] / np.pi * self._entering(self.direction)
        evenly = np.einsum("dp,dps->ds", sky, self.share)
        above = self.direction[:, 2] > 0
        result = dhi[:, None] * evenly[above].sum(axis=0) + ground[:, None] * evenly[~above].sum(axis=0)
        lit = np.flatnonzero(dni > 0)
        flat, turn = np.sin(zenith[lit]), bearing[lit]
        towards = np.column_stack([flat * np.sin(turn), flat * np.cos(turn), np.cos(zenith[lit])])
        beam = dni[lit, None] * self._entering(towards)
        result[lit] += np.einsum("tp,tps->ts", beam, self.of_beam(zenith[lit], turn))
        result[:, _CLOTH] += self.pane.cloth_on_entry * result.sum(axis=1)
        return result

    def _entering(self, towards: Array) -> Array:
        """Light that comes in through each pane over that on a plane square to it, shape (directions, panes). [m2]"""
        cosine = towards @ self.normal.T
        return self.area * np.maximum(cosine, 0.0) * self.pane.passing(cosine)

    def of_beam(self, zenith: Array, bearing: Array) -> Array:
        """Shares for the sun, shape (steps, panes, sinks), between the four patches around it.

        Its zenith and its bearing from the front are in radians. Where one of the patches lies behind a pane, the
        others count alone.
        """
        rings, sectors = _SKY
        # Rings are met at their middles, half a ring up; sectors have theirs at whole numbers.
        up = np.clip((np.pi / 2 - zenith) / (np.pi / 2) * rings - 0.5, 0.0, rings - 1.0)
        around = bearing % (2 * np.pi) / (2 * np.pi) * sectors
        low, left = np.minimum(up.astype(int), rings - 2), around.astype(int) % sectors
        upper, right = up - low, around - np.floor(around)
        total = np.zeros((len(up), *self.share.shape[1:]))
        for ring, ring_weight in ((low, 1 - upper), (low + 1, upper)):
            for sector, weight in ((left, 1 - right), ((left + 1) % sectors, right)):
                total = total + (ring_weight * weight)[:, None, None] * self.share[ring * sectors + sector]
        whole = total.sum(axis=2, keepdims=True)
        return np.divide(total, whole, out=np.zeros_like(total), where=whole > 0)


@lru_cache(maxsize=64)
def light_balance(house: LitHouse) -> LightBalance:
    """Follow the light of every patch of sky and ground through a house.

    Parameters
    ----------
    house : LitHouse
        What tells where light goes in it.

    Returns
    -------
    LightBalance
        For the pieces of `shape_surfaces` in their order; of a coop without its underside, which is its floor.

    Examples
    --------
    >>> pane = Pane((0.0, 0.7, 0.8), 0.1)
    >>> balance = light_balance(LitHouse("box", 2.0, 2.0, 0.0, 2.0, pane, 0.8))
    >>> balance.share.shape, bool(np.allclose(balance.share.sum(axis=2).max(axis=0), 1.0))
    ((252, 5, 6), True)

    References
    ----------
    M. F. Modest, Radiative Heat Transfer, exchange between grey surfaces, specular and diffuse (from memory).
    """
    follow = _Follow(house)
    direction, solid_angle = _patches()
    panes = follow.panes
    share = np.zeros((len(direction), len(panes), len(SINKS)))
    rays = max(_RAYS_A_PATCH // len(panes), 5)
    # Every house is its own mirror image, left for right: half of the patches tell the rest.
    right = np.flatnonzero(direction[:, 0] > -1e-9)
    spots = lattice(rays, 2)
    for number, face in enumerate(panes.tolist()):
        lit = right[direction[right] @ follow.room.normal[face] > 1e-9]
        # Each patch has its own shift, so that what the points of one miss the next one sees.
        shifted = (spots + lattice(len(lit), 2)[:, None]) % 1.0
        start = follow.room.spread(face, shifted.reshape(-1, 2))
        share[lit, number] = follow.ends(start, -np.repeat(direction[lit], rays, axis=0), rays)
    turned, normal = [-1.0, 1.0, 1.0], follow.room.normal[panes]
    twin, twin_pane = (_nearest(vectors * turned, vectors) for vectors in (direction, normal))
    left = direction[:, 0] < -1e-9
    share[left] = share[twin[left]][:, twin_pane]
    return LightBalance(direction, solid_angle, share, normal, follow.area, house.pane)


def _nearest(wanted: Array, among: Array) -> NDArray[np.intp]:
    """For each wanted direction the number of the one among some that is nearest to it."""
    return np.asarray((wanted @ among.T).argmax(axis=1))


class _Follow:
    """Rays in one house. Nodes are its faces, the floor first, and last the layers of what stands in it."""

    def __init__(self, house: LitHouse) -> None:
        pieces = shape_surfaces(house.shape, house.length, house.width, house.eaves, house.ridge, azimuth=0.0)
        over = pieces.surface_tilt < 180.0
        tilt, turn = np.radians(pieces.surface_tilt[over]), np.radians(pieces.surface_azimuth[over])
        normal = np.column_stack([np.sin(tilt) * np.sin(turn), np.sin(tilt) * np.cos(turn), np.cos(tilt)])
        back = (pieces.surface_tilt[over] == 90.0) & (pieces.surface_azimuth[over] == 180.0)
        solid = back & (house.back_absorptance is not None)
        self.area = np.where(solid, 0.0, pieces.area[over])
        normal, distance = np.vstack([[0.0, 0.0, -1.0], normal]), np.append(0.0, pieces.distance[over])
        if house.shape == "lean-to":
            # The wall at which it leans is no piece of its cover.
            normal, distance = np.vstack([normal, [0.0, -1.0, 0.0]]), np.append(distance, house.width / 2)
            solid = np.append(solid, house.back_absorptance is not None)
        self.room: Room = room_between(normal, distance)
        self.panes = np.flatnonzero([len(corners) > 2 for corners in self.room.corners[1 : len(self.area) + 1]]) + 1
        self.area = self.area[self.panes - 1]
        self._absorptance = np.full(len(normal), np.nan)
        self._absorptance[0] = house.floor_absorptance
        self._absorptance[1:][solid] = house.back_absorptance
        self._pane, self._standing = house.pane, house.standing
        self._count = len(normal) + _LAYERS
        within, space = self._lower_part(4096)
        # Of things spread evenly: the area that they show for each volume (Beer's law).
        self._extinction = house.standing.silhouette / space
        self._from_nodes = self._nodes_ends(within)

    def _lower_part(self, count: int) -> tuple[Array, float]:
        """Points evenly over the lower part of the room where things stand, and its volume [m3]."""
        corners = np.vstack([face for face in self.room.corners if len(face)])
        # A box around the room, which stands over the middle of its floor.
        span = np.abs(corners).max(axis=0) * [2, 2, 1]
        span[2] = min(self._standing.height, span[2])
        points = (lattice(count, 3) - [0.5, 0.5, 0.0]) * span
        inside = self.room.inside(points)
        return points[inside], float(inside.mean() * span.prod())

    def _nodes_ends(self, within: Array) -> Array:
        """Where light ends that leaves each node, shape (nodes, sinks): all later meetings in one set of equations."""
        spots = lattice(max(_RAYS_FROM_NODES // self._count, 64), 4)
        starts, headings = [], []
        for face, corners in enumerate(self.room.corners):
            # A plane that the room does not touch is a node that no light meets; its rays only fill its row.
            flat = len(corners) < 3
            starts.append(np.zeros((len(spots), 3)) if flat else self.room.spread(face, spots[:, :2]))
            headings.append(_scattered(-self.room.normal[face], spots[:, 2:]))
        upright = 1 - 2 * spots[:, 2]
        flat_part, turn = np.sqrt(1 - upright**2), 2 * np.pi * spots[:, 3]
        layer = self._layer(within[:, 2])
        for number in range(_LAYERS):
            own = within[layer == number]
            starts.append(own[np.arange(len(spots)) % len(own)] if len(own) else np.zeros((len(spots), 3)))
            headings.append(np.column_stack([flat_part * np.cos(turn), flat_part * np.sin(turn), upright]))
        ended, scattered = self._meetings(np.vstack(starts), np.vstack(headings), len(spots))
        # Scattered again and again: a geometric series.
        return np.asarray(np.linalg.solve(np.eye(self._count) - scattered, ended), dtype=float)

    def _layer(self, height: Array) -> NDArray[np.intp]:
        """Number of the layer of what stands in the house, from below."""
        return np.clip(height / self._standing.height * _LAYERS, 0, _LAYERS - 1).astype(int)

    def ends(self, start: Array, heading: Array, rays: int) -> Array:
        """Where light ends, shape (groups, sinks), of rays that come in groups of a number each."""
        ended, scattered = self._meetings(start, heading, rays)
        return ended + scattered @ self._from_nodes

    def _meetings(self, start: Array, heading: Array, rays: int) -> tuple[Array, Array]:
        """Follow rays to where they end or are scattered: shares by sink (groups, sinks), by node (groups, nodes)."""
        groups = len(start) // rays
        group = np.repeat(np.arange(groups), rays)
        weight = np.full(len(start), 1.0 / rays)
        ended, scattered = np.zeros((groups, len(SINKS))), np.zeros((groups, self._count))
        for mirrored in range(_MIRRORED + 1):
            face, way, cosine = self.room.hit(start, heading)
            if self._extinction > 0:
                caught = weight[:, None] * self._caught(start[:, 2], heading[:, 2], way)
                layers = self._count - _LAYERS + np.arange(_LAYERS)
                _add(ended, group, _STANDING, caught.sum(axis=1) * self._standing.absorptance)
                _add(scattered, group[:, None], layers, caught * (1 - self._standing.absorptance))
                weight = weight - caught.sum(axis=1)
            absorptance = self._absorptance[face]
            pane = np.isnan(absorptance)
            on_solid = np.where(pane, 0.0, weight)
            kept = on_solid * np.where(pane, 0.0, absorptance)
            _add(ended, group, np.where(face == 0, _FLOOR, _WALLS), kept)
            _add(scattered, group, face, on_solid - kept)
            passed = np.where(pane, self._pane.passing(cosine), 0.0)
            lost = self._pane.absorbed + self._pane.absorbed_by_cloth
            weight = np.where(pane, weight, 0.0)
            # Grazing light is mirrored, so less of it is left to be absorbed than square on.
            over = np.minimum(1.0, (1 - passed) / lost) if lost > 0 else 1.0
            _add(ended, group, _OUTSIDE, weight * passed)
            _add(ended, group, _COVER, weight * over * self._pane.absorbed)
            _add(ended, group, _CLOTH, weight * over * self._pane.absorbed_by_cloth)
            weight = weight * (1 - passed - over * lost)
            if mirrored == _MIRRORED:
                _add(scattered, group, face, weight)
                break
            go = pane & (weight > 0)
            normal = self.room.normal[face]
            start = (start + way[:, None] * heading)[go]
            heading = (heading - 2 * cosine[:, None] * normal)[go]
            weight, group = weight[go], group[go]
        return ended, scattered

    def _caught(self, start: Array, rise: Array, way: Array) -> Array:
        """Share of rays that things catch on their way in each layer, shape (rays, layers), by its length in it."""
        edges = np.linspace(0.0, self._standing.height, _LAYERS + 1)
        end = start + way * rise
        # A ray that is all but level lies in the layer of its start.
        level = np.abs(end - start) < 1e-9
        low, high = np.minimum(start, end), np.where(level, start + 1e-9, np.maximum(start, end))
        below = np.clip(edges, low[:, None], high[:, None]) - low[:, None]
        depth = (self._extinction * way / (high - low))[:, None] * below
        depth = np.where(rise[:, None] > 0, depth, depth[:, -1:] - depth)
        # What is left falls exponentially along the ray; the differences are what each layer takes.
        return np.abs(np.diff(np.exp(-depth), axis=1))


def _add(table: Array, group: NDArray[np.intp], column: Any, weight: Array) -> None:
    """Add the weights of rays to the columns of their groups."""
    rows, columns = table.shape
    at = np.broadcast_to(group * columns + column, weight.shape)
    table += np.bincount(at.ravel(), weight.ravel(), rows * columns).reshape(table.shape)


def _scattered(normal: Array, spots: Array) -> Array:
    """Headings of light that a surface scatters by Lambert's law, shape (rays, 3), from points of the unit square."""
    # The root makes as many rays as the cosine of their angle wants.
    out, turn = np.sqrt(spots[:, :1]), 2 * np.pi * spots[:, 1:]
    first, second = tangents(normal)
    return np.sqrt(1 - out**2) * normal + out * (np.cos(turn) * first + np.sin(turn) * second)


def _patches() -> tuple[Array, Array]:
    """Directions of the patches, shape (patches, 3), and their size [sr]: rings of even height in degrees."""
    rows = []
    for (rings, sectors), sign in ((_SKY, 1.0), (_GROUND, -1.0)):
        edges = np.linspace(0.0, np.pi / 2, rings + 1)
        for low, high in pairwise(edges):
            middle, size = (low + high) / 2, 2 * np.pi * (np.sin(high) - np.sin(low)) / sectors
            for turn in np.arange(sectors) * 2 * np.pi / sectors:
                flat = np.cos(middle)
                rows.append((flat * np.sin(turn), flat * np.cos(turn), sign * np.sin(middle), size))
    table = np.array(rows)
    return table[:, :3], table[:, 3]
