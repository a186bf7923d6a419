import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.plan.shape import shape_geometry, shape_surfaces

plain = settings(deadline=None, max_examples=60)


def test_a_box():
    size = shape_geometry("box", 3.0, 2.0, 0.0, 2.5)
    assert (size.floor_area, size.cover_area, size.volume) == pytest.approx((6.0, 6.0 + 25.0, 15.0))


def test_a_gable_house_of_right_triangles():
    # Slopes of 5 m over half widths of 4 m and a rise of 3 m.
    size = shape_geometry("gable", 10.0, 8.0, 2.0, 5.0)
    assert size.cover_area == pytest.approx(10 * (2 * 2 + 2 * 5) + 2 * (8 * 2 + 8 * 3 / 2))
    assert size.volume == pytest.approx(10 * (8 * 2 + 8 * 3 / 2))


def test_a_lean_to_has_no_cover_at_its_wall():
    # One slope of 5 m over a width of 4 m and a rise of 3 m.
    size = shape_geometry("lean-to", 6.0, 4.0, 2.0, 5.0)
    assert size.cover_area == pytest.approx(6 * (2 + 5) + 2 * 4 * 3.5)
    assert size.volume == pytest.approx(6 * 4 * 3.5)


def test_a_round_hoop_is_half_a_cylinder():
    size = shape_geometry("tunnel", 10.0, 4.0, 0.0, 2.0)
    assert size.cover_area == pytest.approx(np.pi * 2 * 10 + np.pi * 2**2, rel=1e-12)
    assert size.volume == pytest.approx(np.pi * 2**2 / 2 * 10, rel=1e-12)


def test_a_flat_hoop_has_the_arch_of_an_ellipse():
    from scipy.special import ellipe

    half_width, height = 2.0, 1.2
    arch = 2 * half_width * ellipe(1 - (height / half_width) ** 2)
    size = shape_geometry("tunnel", 1.0, 4.0, 0.5, 1.7)
    ends = 2 * (4.0 * 0.5 + np.pi / 2 * half_width * height)
    assert size.cover_area == pytest.approx(arch + 2 * 0.5 + ends, rel=1e-10)


def test_a_half_ball_is_a_dome():
    size = shape_geometry("dome", 4.0, 4.0, 0.0, 2.0)
    assert size.cover_area == pytest.approx(2 * np.pi * 2**2)
    assert size.volume == pytest.approx(2 / 3 * np.pi * 2**3)


@plain
@given(
    shape=st.sampled_from(["gable", "lean-to", "tunnel", "dome"]),
    length=st.floats(1.0, 30.0),
    width=st.floats(1.0, 10.0),
    eaves=st.floats(0.1, 3.0),
    rise=st.floats(0.0, 3.0),
)
def test_a_house_lies_between_its_walls_and_its_box(shape, length, width, eaves, rise):
    if shape == "dome":  # a cap higher than its radius would bulge out over its wall
        length, rise = width, min(rise, width / 2)
    size = shape_geometry(shape, length, width, eaves, eaves + rise)
    assert size.floor_area * eaves <= size.volume * (1 + 1e-12)
    assert size.volume <= size.floor_area * (eaves + rise) * (1 + 1e-12)
    # The least surface over a floor: the floor itself, raised.
    assert size.cover_area > size.floor_area


@pytest.mark.parametrize(
    ("values", "message"),
    [
        (("yurt", 3.0, 2.0, 1.0, 2.0), "shape.*write one of: gable, lean-to"),
        (("gable", 0.0, 2.0, 1.0, 2.0), "length: is 0.0 m.*above zero"),
        (("gable", 3.0, float("nan"), 1.0, 2.0), "width: is nan m"),
        (("gable", 3.0, 2.0, -0.5, 2.0), "eaves: are at -0.5 m"),
        (("gable", 3.0, 2.0, 2.5, 2.0), "ridge: lies below the eaves.*the top"),
        (("dome", 3.0, 2.0, 0.0, 2.0), "a dome is round"),
        (("dome", 3.0, 3.032, 0.0, 2.0), "a dome is round"),
    ],
)
def test_a_house_without_meaning_is_refused(values, message):
    with pytest.raises(DomainError, match=message):
        shape_geometry(*values)


def test_a_dome_may_be_measured_to_a_hundredth():
    # A cylinder of 1.5 m radius, half a metre high, and a cap of 1.3 m: pi 1.5^2 0.5 + pi 1.3 (3 x 1.5^2 + 1.3^2) / 6.
    assert shape_geometry("dome", 3.0, 3.02, 0.5, 1.8).volume == pytest.approx(9.279, rel=0.015)


def test_all_mistakes_in_a_house_are_told_at_once():
    with pytest.raises(DomainError, match="yurt") as caught:
        shape_geometry("yurt", -1.0, 0.0, 3.0, 2.0)
    assert len(caught.value.problems) == 4


# --- surfaces -------------------------------------------------------------------------------------------------------

CASES = [
    ("gable", 3.0, 2.4, 1.6, 2.2), ("lean-to", 3.0, 1.5, 1.6, 2.2), ("tunnel", 6.0, 3.0, 0.3, 2.0),
    ("tunnel", 6.0, 3.0, 0.0, 1.5), ("dome", 3.0, 3.0, 0.5, 2.3), ("dome", 3.0, 3.0, 1.0, 1.0),
    ("box", 2.0, 1.5, 0.0, 2.1), ("shed", 2.0, 1.5, 1.5, 1.9), ("coop", 1.2, 0.9, 0.8, 1.1),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_the_surfaces_make_up_the_cover(case):
    assert shape_surfaces(*case, 150.0).area.sum() == pytest.approx(shape_geometry(*case).cover_area, rel=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_the_surfaces_close_the_house(case):
    # The normals of a closed surface, each times its area, add up to nothing (divergence theorem). The cover and the
    # floor close a house; a lean-to lacks its back wall. Cut arches and caps have a little less vector than area.
    shape, length, _, _, ridge = case
    pieces, size = shape_surfaces(*case, 150.0), shape_geometry(*case)
    tilt, azimuth = np.radians(pieces.surface_tilt), np.radians(pieces.surface_azimuth)
    upward = (pieces.area * np.cos(tilt)).sum()
    closed = 0.0 if shape == "coop" else size.floor_area
    assert upward == pytest.approx(closed, rel=0.02, abs=1e-9)
    north, east = ((pieces.area * np.sin(tilt) * part).sum() for part in (np.cos(azimuth), np.sin(azimuth)))
    open_side = length * ridge if shape == "lean-to" else 0.0
    assert north == pytest.approx(open_side * np.cos(np.radians(150.0)), abs=1e-9)
    assert east == pytest.approx(open_side * np.sin(np.radians(150.0)), abs=1e-9)


@pytest.mark.parametrize(("case", "pieces"), [(CASES[2], 4 + 8), (CASES[4], 8 + 3 * 8), (CASES[5], 8 + 1)])
def test_round_covers_are_cut_into_eighths(case, pieces):
    # Front, back and two ends of a tunnel, and its arch; the wall of a dome, and three rings or a flat lid.
    assert len(shape_surfaces(*case).area) == pieces


def test_a_roof_faces_the_way_of_the_house():
    pieces = shape_surfaces("gable", 3.0, 2.4, 1.6, 2.2, 200.0)
    slopes = pieces.surface_azimuth[pieces.surface_tilt < 80]
    assert sorted(slopes) == [20.0, 200.0]
    assert pieces.surface_tilt.min() == pytest.approx(26.565, abs=1e-3)
