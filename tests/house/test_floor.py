"""Floor and leaves: the same heat as layer by layer, and shares that are known."""

import numpy as np
import pytest

from solarvent.house.floor import FLOORS, floor_heat, vapour_share
from solarvent.house.heat_balance import Surroundings, march

DAY = 86_400.0
EDGE = 1.9


def layers(floor, film=8.3, subsoil=(0.35, 2.0e6, 1.0)):
    """Capacities and conductances of the three layers of a square metre of floor, as drawn. [J/K], [W/K]"""
    depth = np.array([floor.depth / 3, floor.depth * 2 / 3, subsoil[0]])
    capacity = depth * [floor.heat_capacity, floor.heat_capacity, subsoil[1]]
    half = depth / 2 / [floor.conductivity, floor.conductivity, subsoil[2]]
    joined = 1 / (half[:-1] + half[1:] + [0, floor.gap])
    return capacity, 1 / (1 / film + half[0]), joined, EDGE * depth / depth.sum()


@pytest.mark.parametrize("kind", FLOORS)
@pytest.mark.parametrize("damp", [0, 1])
def test_the_masses_side_by_side_are_the_layers_one_below_the_other(kind, damp):
    # The layers by small steps of their own equations, against the masses in `march`: air and sun that go up and down.
    floor = FLOORS[kind][damp]
    heat = floor_heat(floor, 1.0, EDGE, 8.3)
    hours = 24 * 3
    clock = np.arange(hours) % 24
    sun = np.maximum(np.sin((clock - 6) * np.pi / 12), 0.0) * 300.0
    capacity, inner, joined, edge = layers(floor)
    # Air that is held by a large loss to a wanted temperature.
    wanted = 15 + 10 * np.sin((clock - 9) * np.pi / 12)
    around = Surroundings(
        np.full((hours, 1), 1e6), (1e6 * wanted)[:, None], np.zeros((hours, 1)),
        (sun[:, None] * heat.into * heat.weight)[..., None], np.full((hours, 1), 8.0),
    )  # fmt: skip
    result = march(3600.0, around, heat.masses, 1.0, [15.0], np.full((3, 1), 8.0))
    temp, given, top = np.full(3, 8.0), [], []
    for hour in range(hours):
        total = 0.0
        for _ in range(120):
            air = inner * (wanted[hour] - temp[0])
            between = joined * np.diff(temp)
            flow = np.array([air + sun[hour] * heat.into, 0.0, 0.0]) + edge * (8.0 - temp)
            flow[:-1] += between
            flow[1:] -= between
            temp = temp + 30.0 * flow / capacity
            total += air / 120
        given.append(total)
        top.append(temp[0])
    scale = np.abs(given).max()
    np.testing.assert_allclose(result.to_masses.sum(axis=1)[:, 0], given, atol=0.02 * scale)
    np.testing.assert_allclose(result.temp_mass[:, :, 0] @ heat.weight, top, atol=0.2)


def daily_ground_flux(floor):
    """Heat that goes into a square metre of floor over the light that it takes, at noon, air of one temperature. [-]"""
    heat = floor_heat(floor, 1.0, EDGE, 8.3)
    stored, near, far = (values[:, 0] for values in vars(heat.masses).values())
    turning = 2j * np.pi / DAY * stored + near + far
    back = (near * heat.into * heat.weight / turning).sum()
    return (1 - floor.wetness * vapour_share(25.0)) * (heat.into - back.real)


def test_the_ground_takes_what_is_usual():
    # Ground heat flux over net radiation by day: bare soil 0.3-0.4 (common practice, no source), concrete 0.6-0.85 (the
    # slopes of storage over paved ground, Oke, Boundary Layer Climates, from memory); boards on joists take little.
    assert 0.3 <= daily_ground_flux(FLOORS["soil"][1]) <= 0.4
    assert 0.3 <= daily_ground_flux(FLOORS["soil"][0]) <= 0.45
    assert 0.5 <= daily_ground_flux(FLOORS["slab"][1]) <= 0.85
    assert daily_ground_flux(FLOORS["boards"][1]) < 0.25


def test_a_floor_in_still_weather_only_passes_heat_to_the_ground():
    heat = floor_heat(FLOORS["gravel"][0], 2.0, 5.0, 8.3)
    _, near, far = (values[:, 0] for values in vars(heat.masses).values())
    through = (near * far / (near + far)).sum()
    _, inner, joined, edge = layers(FLOORS["gravel"][0])
    edge = edge / EDGE * 5.0 / 2.0
    matrix = np.diag(edge + np.array([inner, 0, 0]))
    for row, conductance in enumerate(joined):
        matrix[row : row + 2, row : row + 2] += conductance * np.array([[1, -1], [-1, 1]])
    temp = np.linalg.solve(matrix, np.array([inner, 0, 0]))
    assert through == pytest.approx(2.0 * inner * (1 - temp[0]), rel=1e-9)


def test_warm_leaf_and_more_leaf_give_more_vapour():
    assert (np.diff(vapour_share(np.arange(0.0, 50.0, 5.0))) > 0).all()
    assert vapour_share(25.0, 1.0) < vapour_share(25.0, 2.0) < vapour_share(25.0, 6.0)
    # Watered crops that cover the ground turn 0.6-0.8 of the net radiation to vapour (common practice, no source).
    assert 0.6 <= vapour_share(25.0, 3.0) <= 0.8
