"""Covers, floor and leaves: published values, the same heat as layer by layer, and shares that are known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import settings

from solarvent.house.envelope import (
    FLOORS,
    floor_heat,
    incidence_modifier,
    inner_face_temperature,
    inside_film,
    outside_film,
    sol_air_temperature,
    u_value_in_wind,
    vapour_share,
)
from solarvent.house.heat_balance import Surroundings, march

plain = settings(deadline=None, max_examples=60)


def test_two_covers_at_sixty_degrees():
    # Duffie & Beckman, Solar Engineering of Thermal Processes, example 5.1.2 (from memory): two covers of glass (1.526)
    # pass 0.76 at 60 degrees by reflection alone. Square on one face reflects ((n - 1)/(n + 1))**2.
    face = ((1.526 - 1) / (1.526 + 1)) ** 2
    square = (1 - face) / (1 + 3 * face)
    assert incidence_modifier(60.0, layers=2) * square == pytest.approx(0.76, abs=5e-3)


def test_one_cover_at_sixty_degrees():
    # One face of glass throws back 0.185 and 0.001 of the two polarisations at 60 degrees, and 0.0434 square on
    # (Duffie & Beckman, example 5.1.1, from memory). Light runs to and fro between two: (1 - r) / (1 + r) passes.
    slanted, square = (0.815 / 1.185 + 0.999 / 1.001) / 2, 0.9566 / 1.0434
    assert incidence_modifier(60.0) == pytest.approx(slanted / square, abs=2e-3)


@pytest.mark.parametrize("aoi", [0.0, 20.0, 40.0, 60.0, 75.0, 85.0])
def test_against_pvlib_for_a_sheet_that_swallows_nothing(aoi):
    # pvlib's model has one face, from air into glass. A sheet has two: it passes less than one face, and more than two
    # faces one after the other, for part of what the second throws back comes through after all.
    from pvlib.iam import physical

    one_face = physical(aoi, n=1.526, K=0.0, L=0.0)
    assert incidence_modifier(aoi) <= one_face + 1e-9
    assert incidence_modifier(aoi) >= one_face**2 - 1e-9


def test_light_falls_off_with_the_slant_and_faster_through_more_sheets():
    angles = np.linspace(0, 89.9, 200)
    one, two = incidence_modifier(angles), incidence_modifier(angles, layers=2)
    assert one[0] == pytest.approx(1.0)
    assert (np.diff(one) <= 1e-4).all()  # near the polarising angle one of the two rises a little
    assert (two <= one + 1e-12).all()
    assert incidence_modifier([90.0, 120.0]) == pytest.approx([0.0, 0.0], abs=1e-6)


def test_the_film_inside_is_that_of_the_handbooks_in_a_wide_house_and_half_of_it_in_a_small_one():
    # ASHRAE Fundamentals 8.3; EN 673 3.6 by draught alone; ISO 6946 2.5 (all from memory).
    assert inside_film(1000.0, 1000.0) == inside_film(2000.0, 1000.0) == pytest.approx(8.3)
    assert inside_film(0.0, 27.0) == pytest.approx(3.0, rel=0.2)
    assert inside_film(7.2, 26.8) < inside_film(15.0, 42.0) < 8.3


def test_the_u_value_of_a_small_film_house_is_the_one_that_was_fitted():
    # U8: a film house of 15 m2 floor and 42 m2 film, fitted day by day: 3.7 W/(m2 K) (2.9-4.6), by a public data set.
    # In the handbooks' films it would be 5 in a light wind.
    outside = sum(outside_film(1.0, 5.0))
    assert 2.9 <= u_value_in_wind(6.5, outside, inside_film(15.0, 42.0)) <= 4.6
    assert u_value_in_wind(6.5, outside) > 4.3


def test_films_of_the_handbooks():
    # ISO 6946: outside film 25 W/(m2 K) at 4 m/s, its radiative part 4.6-5.1 at 0-10 degC. ASHRAE Fundamentals: 34 in
    # the winter design wind of 6.7 m/s (all from memory). The relation measured on panels lies a fifth below both.
    convective, radiative = outside_film(4.0, 0.0)
    assert convective + radiative == pytest.approx(25, rel=0.25)
    assert radiative == pytest.approx(4.2, abs=0.1)
    assert sum(outside_film(6.7, 0.0)) == pytest.approx(34, rel=0.25)


def test_u_rises_with_wind():
    # HB-02: U rises with wind (Geo-Heat Center, greenhouse guide; Geoola et al. 2009).
    winds = u_value_in_wind(6.2, [8.0, 15.0, 34.0])
    assert (np.diff(winds) > 0).all()
    assert winds[-1] == pytest.approx(6.2)
    assert np.isnan(u_value_in_wind(34.0, 10.0))


def test_a_clear_sky_cools_a_calm_cover_below_the_air():
    convective, radiative = outside_film(0.5, 0.0)
    calm = sol_air_temperature(0.0, 0.0, -15.0, 1.0, convective, radiative)
    windy = sol_air_temperature(0.0, 0.0, -15.0, 1.0, *outside_film(6.0, 0.0))
    assert calm < windy < 0
    assert sol_air_temperature(10.0, 0.0, 10.0, 1.0, 5.0, 5.0) == 10


def test_face_of_the_cover():
    # PSY-09: ti - (U / hi)(ti - to): the same heat passes the inner film as the whole cover.
    face = inner_face_temperature(12.0, 2.0, 4.0)
    assert 8.3 * (12.0 - face) == pytest.approx(4.0 * (12.0 - 2.0))


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


def test_only_what_soaks_changes_with_water():
    for kind in ("slab", "boards"):
        wet, dry = FLOORS[kind]
        assert replace(wet, wetness=dry.wetness) == dry
    wet, dry = FLOORS["gravel"]
    assert replace(wet, wetness=dry.wetness, conductivity=dry.conductivity) == dry
    # Under dry grass lies dry soil.
    soil, lawn = (FLOORS[kind][1] for kind in ("soil", "lawn"))
    assert replace(lawn, wetness=soil.wetness) == soil
    for wet, dry in FLOORS.values():
        assert wet.wetness > dry.wetness
        assert wet.conductivity >= dry.conductivity


@pytest.mark.parametrize(("damp", "water"), [(0, 0.25), (1, 0.05)])
def test_soil_stores_what_its_grains_and_its_water_store(damp, water):
    # D. A. de Vries 1963, Thermal properties of soils (from memory): 2.0 MJ/(m3 K) of grains and 4.18 of water; a loam
    # with pores of 0.45, watered to a quarter of its volume or dry.
    assert FLOORS["soil"][damp].heat_capacity == pytest.approx((0.55 * 2.0 + water * 4.18) * 1e6, rel=0.03)


def test_floors_are_as_bright_as_published():
    # Albedos of T. R. Oke, Boundary Layer Climates (from memory): dark soil wet 0.05-0.10, dry 0.25; grass 0.20; the
    # heat that concrete stores, 2.06 MJ/(m3 K), and passes, 1.4 W/(m K): ASHRAE Fundamentals (from memory).
    assert 0.05 <= 1 - FLOORS["soil"][0].absorptance <= 0.101
    assert 1 - FLOORS["soil"][1].absorptance == pytest.approx(0.25)
    assert 1 - FLOORS["lawn"][0].absorptance == pytest.approx(0.20)
    slab = FLOORS["slab"][1]
    assert (slab.heat_capacity, slab.conductivity) == (pytest.approx(2.06e6), pytest.approx(1.4))


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
