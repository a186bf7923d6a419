"""Rooms between planes: their corners and faces, and points spread over them."""

from itertools import pairwise

import numpy as np
import pytest

from solarvent.house.cavity import lattice, room_between, tangents
from solarvent.plan.shape import shape_geometry, shape_surfaces

SHAPES = [
    ("gable", 3.0, 2.4, 1.6, 2.2),
    ("box", 3.0, 2.0, 0.0, 2.0),
    ("shed", 3.0, 2.0, 1.6, 2.1),
    ("tunnel", 6.0, 4.0, 0.5, 2.2),
    ("dome", 4.0, 4.0, 0.5, 2.0),
    ("dome", 4.0, 4.0, 0.3, 3.0),
]


def room(case):
    pieces = shape_surfaces(*case, azimuth=0.0)
    tilt, turn = np.radians(pieces.surface_tilt), np.radians(pieces.surface_azimuth)
    normal = np.column_stack([np.sin(tilt) * np.sin(turn), np.sin(tilt) * np.cos(turn), np.cos(tilt)])
    return room_between(np.vstack([[0.0, 0.0, -1.0], normal]), np.append(0.0, pieces.distance)), pieces


def area(corners):
    return np.linalg.norm(np.cross(corners[1:-1] - corners[0], corners[2:] - corners[0]).sum(axis=0)) / 2


@pytest.mark.parametrize("case", SHAPES, ids=lambda case: f"{case[0]}-{case[4]}")
def test_the_faces_of_a_room_are_the_pieces_of_its_cover(case):
    # Strips and rings are a little smaller or larger than what is round.
    walls, pieces = room(case)
    size = shape_geometry(*case)
    faces = np.array([area(corners) for corners in walls.corners])
    tolerance = {"tunnel": 0.03, "dome": 0.11}.get(case[0], 1e-9)
    assert faces[0] == pytest.approx(size.floor_area, rel=tolerance)
    assert faces[1:].sum() == pytest.approx(size.cover_area, rel=tolerance)
    assert (faces * walls.distance).sum() / 3 == pytest.approx(size.volume, rel=tolerance)
    if case[0] != "dome":
        np.testing.assert_allclose(faces[1:], pieces.area, rtol=tolerance)


@pytest.mark.parametrize("case", SHAPES, ids=lambda case: f"{case[0]}-{case[4]}")
def test_points_lie_evenly_on_their_face_and_rays_meet_the_next_one(case):
    walls, _ = room(case)
    spots = lattice(4096, 2)
    for face, corners in enumerate(walls.corners):
        points = walls.spread(face, spots)
        assert walls.inside(points).all()
        np.testing.assert_allclose(points @ walls.normal[face], walls.distance[face], atol=1e-9)
        parts = np.array([area(np.array([corners[0], one, two])) for one, two in pairwise(corners[1:])])
        middles = np.array([(corners[0] + one + two) / 3 for one, two in pairwise(corners[1:])])
        np.testing.assert_allclose(points.mean(axis=0), parts @ middles / parts.sum(), atol=0.01)
        met, way, cosine = walls.hit(points, np.tile(-walls.normal[face], (len(points), 1)))
        assert (met != face).all()
        assert (cosine > 0).all()
        assert walls.inside(points - way[:, None] * walls.normal[face]).all()


def test_a_lattice_fills_its_cube():
    points = lattice(1000, 3)
    counts, _ = np.histogramdd(points, bins=(5, 5, 5), range=[(0, 1)] * 3)
    assert counts.min() >= 4
    assert counts.max() <= 12


def test_tangents_stand_at_right_angles():
    for normal in ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.6, 0.0, 0.8]):
        frame = np.array([normal, *tangents(np.array(normal))])
        np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
