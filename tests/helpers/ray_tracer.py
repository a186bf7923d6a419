"""A ray tracer for light in a house, to hold the light balance against: photons one by one, by chance, nothing shared.

Houses are what they are drawn as: planes, half an elliptic cylinder for a tunnel, a sphere on a cylinder for a dome.
A photon comes from the sun, passes the cover or not, and goes on until it is absorbed or outside again. The floor, a
solid wall and what stands in the house scatter to all sides; panes mirror. What stands in the house is met by chance on
the way, evenly over the lower part of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

FLOOR, STANDING, WALLS, COVER, OUTSIDE = range(5)
_AWAY = 1e-9


@dataclass
class Traced:
    """A house to be traced: its body, and what its surfaces do."""

    shape: str
    length: float
    width: float
    eaves: float
    ridge: float
    transmit: object  # share that passes at a cosine
    pane_absorbs: float
    floor_absorbs: float
    back_absorbs: float | None = None
    extinction: float = 0.0
    standing_absorbs: float = 1.0
    standing_height: float = 0.9
    quadrics: list = field(default_factory=list)  # x'Ax + b'x = c, inside below c

    def __post_init__(self):
        half, side, rise = self.width / 2, self.length / 2, self.ridge - self.eaves
        planes = [((0, 0, -1), 0.0)]
        if self.shape != "dome":
            planes += [((1, 0, 0), side), ((-1, 0, 0), side), ((0, 1, 0), half), ((0, -1, 0), half)]
        if self.shape == "box":
            planes += [((0, 0, 1), self.ridge)]
        elif self.shape == "gable":
            planes += [((0, rise, half), half * self.ridge), ((0, -rise, half), half * self.ridge)]
        elif self.shape in ("shed", "lean-to"):
            planes += [((0, rise, self.width), self.width * (self.eaves + self.ridge) / 2)]
        elif self.shape == "tunnel":
            self.quadrics.append(
                ([0, 1 / half**2, 1 / rise**2], [0, 0, -2 * self.eaves / rise**2], 1 - (self.eaves / rise) ** 2)
            )
        else:
            sphere = (half**2 + rise**2) / (2 * rise)
            middle = self.ridge - sphere
            self.quadrics.append(([1, 1, 1], [0, 0, -2 * middle], sphere**2 - middle**2))
        self.planes = [(np.array(n, float) / np.linalg.norm(n), d / np.linalg.norm(n)) for n, d in planes]

    def meet(self, start, heading):
        """The way to the surface, its outward normal, and whether it is floor or solid wall."""
        rows = len(start)
        best, normal, kind = np.full(rows, np.inf), np.zeros((rows, 3)), np.full(rows, COVER)
        for number, (axis, distance) in enumerate(self.planes):
            slope = heading @ axis
            with np.errstate(divide="ignore", invalid="ignore"):
                way = np.where(slope > _AWAY, np.maximum(distance - start @ axis, 0) / slope, np.inf)
            nearer = way < best
            best = np.where(nearer, way, best)
            normal[nearer] = axis
            solid = self.back_absorbs is not None and np.allclose(axis, (0, -1, 0))
            kind[nearer] = FLOOR if number == 0 else WALLS if solid else COVER
        for square, linear, limit in self.quadrics:
            square, linear = np.array(square, float), np.array(linear, float)
            a = heading**2 @ square
            b = 2 * (start * heading) @ square + heading @ linear
            c = start**2 @ square + start @ linear - limit
            with np.errstate(divide="ignore", invalid="ignore"):
                way = np.where(a > _AWAY, (-b + np.sqrt(np.maximum(b * b - 4 * a * c, 0))) / (2 * a), np.inf)
            # The arch counts only above the eaves, under which the walls stand.
            nearer = (way < best) & (start[:, 2] + way * heading[:, 2] >= self.eaves - 1e-9)
            best = np.where(nearer, way, best)
            at = start + np.where(np.isfinite(way), way, 0)[:, None] * heading
            slope = 2 * at * square + linear
            normal[nearer] = (slope / np.linalg.norm(slope, axis=1, keepdims=True))[nearer]
            kind[nearer] = COVER
        return best, normal, kind

    def enter(self, towards, rays, rng):
        """Photons of the sun that have come in: places and headings, and how many were sent over a square metre."""
        towards = np.asarray(towards, float) / np.linalg.norm(towards)
        first = np.cross(towards, [0.3, 0.5, 0.8])
        first /= np.linalg.norm(first)
        second = np.cross(towards, first)
        reach = np.linalg.norm([self.length, self.width, 2 * self.ridge])
        spots = (rng.random((rays, 2)) - 0.5) * 2 * reach
        # From inside the body against the light: where the line of the photon leaves it on the sunny side.
        entry = np.full((rays, 3), np.nan)
        cosine = np.zeros(rays)
        origin = spots[:, :1] * first + spots[:, 1:] * second
        low, high, normal = self._chord(origin, towards)
        hits = high > low + 1e-9
        entry[hits] = (origin + high[:, None] * towards)[hits]
        cosine[hits] = (normal @ towards)[hits]
        solid = np.zeros(rays, bool)
        if self.back_absorbs is not None:
            solid = np.abs(normal @ [0, -1, 0] - 1) < 1e-9
        floor = np.abs(normal @ [0, 0, -1] - 1) < 1e-9
        through = hits & ~solid & ~floor & (rng.random(rays) < self.transmit(cosine))
        start = entry[through] - 1e-9 * towards
        return start, np.tile(-towards, (len(start), 1)), rays / (2 * reach) ** 2

    def _chord(self, origin, towards):
        """Where a line enters and leaves the body, and the normal where it leaves."""
        rows = len(origin)
        low, high, normal = np.full(rows, -np.inf), np.full(rows, np.inf), np.zeros((rows, 3))
        for axis, distance in self.planes:
            slope = float(towards @ axis)
            gap = distance - origin @ axis
            if abs(slope) < _AWAY:
                low[gap < 0] = np.inf
            elif slope > 0:
                nearer = gap / slope < high
                high = np.where(nearer, gap / slope, high)
                normal[nearer] = axis
            else:
                low = np.maximum(low, gap / slope)
        for square, linear, limit in self.quadrics:
            # Every tunnel and dome here has its arch from the ground up, so that the arch counts everywhere.
            assert self.eaves == 0
            square, linear = np.array(square, float), np.array(linear, float)
            a = float(towards**2 @ square)
            b = 2 * (origin * towards) @ square + float(towards @ linear)
            c = origin**2 @ square + origin @ linear - limit
            inside = b * b - 4 * a * c
            root = np.sqrt(np.maximum(inside, 0))
            far = np.where(inside > 0, (-b + root) / (2 * a), -np.inf)
            low = np.maximum(low, np.where(inside > 0, (-b - root) / (2 * a), np.inf))
            nearer = far < high
            high = np.where(nearer, far, high)
            at = origin + np.where(np.isfinite(far), far, 0)[:, None] * towards
            slope = 2 * at * square + linear
            normal[nearer] = (slope / np.linalg.norm(slope, axis=1, keepdims=True))[nearer]
        return low, high, normal


def trace(house, towards, rays=100_000, seed=1):
    """Light that comes in for a unit of sun [m2], and the shares of it that end in each of the five sinks."""
    rng = np.random.default_rng(seed)
    start, heading, per_area = house.enter(towards, rays, rng)
    ended = np.zeros(5)
    came = len(start)
    while len(start):
        way, normal, kind = house.meet(start, heading)
        way, kind, normal = way.copy(), kind.copy(), normal.copy()
        if house.extinction > 0:
            free = rng.exponential(1 / house.extinction, len(start))
            met = _way_in_layer(start, heading, way, free, house.standing_height)
            caught = met < way
            way, kind = np.where(caught, met, way), np.where(caught, STANDING, kind)
        at = start + way[:, None] * heading
        cosine = np.clip((heading * normal).sum(axis=1), 0, 1)
        luck = rng.random(len(at))
        back = house.back_absorbs or 0.0
        absorbs = np.select(
            [kind == FLOOR, kind == STANDING, kind == WALLS], [house.floor_absorbs, house.standing_absorbs, back], 0.0
        )
        leaves = np.where(kind == COVER, house.transmit(cosine), 0.0)
        absorbs = np.where(kind == COVER, np.minimum(house.pane_absorbs, 1 - leaves), absorbs)
        out, stays = luck < leaves, (luck >= leaves) & (luck < leaves + absorbs)
        ended[OUTSIDE] += out.sum()
        ended += np.bincount(kind[stays], minlength=5)[:5]
        go = ~out & ~stays
        mirrored = heading - 2 * cosine[:, None] * normal
        scattered = _lambert(-normal, rng)
        around = rng.normal(size=heading.shape)
        around /= np.linalg.norm(around, axis=1, keepdims=True)
        choose = [(kind == COVER)[:, None], (kind == STANDING)[:, None]]
        heading = np.select(choose, [mirrored, around], scattered)[go]
        start = at[go]
    return came / per_area, ended / max(came, 1)


def _way_in_layer(start, heading, way, free, height):
    """Way at which a free path in the layer under a height is used up; infinite if it is not."""
    rise = heading[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = np.where(np.abs(rise) > 1e-12, (height - start[:, 2]) / rise, np.inf)
    below = start[:, 2] < height
    into = np.where(below, 0.0, np.where(rise < 0, crossing, np.inf))
    end = np.where(below & (rise > 0), crossing, np.inf)
    met = into + free
    return np.where(met < np.minimum(end, way), met, np.inf)


def _lambert(normal, rng):
    """Headings by Lambert's law: a point of the sphere that touches the surface."""
    around = rng.normal(size=normal.shape)
    around /= np.linalg.norm(around, axis=1, keepdims=True)
    heading = normal + around
    return heading / np.linalg.norm(heading, axis=1, keepdims=True)
