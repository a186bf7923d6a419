import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.house.thermal_mass import (
    FUSION_HEAT,
    WATER_CAPACITY,
    WATER_DENSITY,
    active_depth,
    cooling_temperature,
    plate_film,
    radiation_film,
)

plain = settings(deadline=None, max_examples=60)
gallon, foot = 3.785411784e-3, 0.3048
drum = 55 * gallon


@plain
@given(difference=st.floats(0.5, 40.0), height=st.floats(0.2, 2.0), temp_mean=st.floats(-10.0, 50.0))
def test_natural_convection_against_a_library(difference, height, temp_mean):
    from ht.conv_free_immersed import Nu_vertical_plate_Churchill

    kelvin = temp_mean + 273.15
    # The properties of air are ours; the correlation is what is compared.
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    conductivity = viscosity * 1006.0 / 0.71
    kinematic = viscosity * 287.05 * kelvin / 101_325.0
    grashof = 9.80665 / kelvin * difference * height**3 / kinematic**2
    nusselt = Nu_vertical_plate_Churchill(Pr=0.71, Gr=grashof)
    assert plate_film(difference, height, temp_mean) == pytest.approx(nusselt * conductivity / height, rel=1e-6)


def test_properties_of_air_behind_the_film():
    # Air at 300 K: conductivity 0.0263 W/(m K), Incropera & DeWitt, table A.4 (from memory); read from the film without
    # any draught, where Nu = 0.825**2.
    assert plate_film(0.0, 1.0, 26.85) / 0.825**2 == pytest.approx(0.0263, rel=0.02)


def test_film_of_a_drum():
    # TM-13: 0.88 m high, 10 K, mean 20 degC, emittance 0.9: 3.2 + 5.1 = 8.4 W/(m2 K), computed with Churchill & Chu.
    convection, radiation = plate_film(10.0, 0.88, 20.0), radiation_film(20.0, 0.9)
    assert convection == pytest.approx(3.2, rel=0.10)
    assert radiation == pytest.approx(5.1, rel=0.02)
    # TM-14: a wall in still air has 8.3 W/(m2 K) (ASHRAE Handbook, Fundamentals, from memory).
    assert convection + radiation == pytest.approx(8.3, rel=0.02)
    # Left alone, both speak of a dull surface in a room of 20 degC.
    assert (plate_film(10.0, 0.88), radiation_film()) == (convection, radiation)


def test_a_drum_counts_as_a_plate():
    # TM-12: diameter over height at least 35 / Gr**0.25 (ht's docstring, after Incropera).
    grashof = 9.80665 / 293.15 * 10 * 0.88**3 / 1.5e-5**2
    slender = 35 / grashof**0.25
    assert slender < 0.58 / 0.88


def test_a_full_drum():
    # TM-06: 55 US gal: 208.2 L, 207.8 kg, 0.870 MJ/K = 242 Wh/K.
    litres = drum * 1000
    assert litres == pytest.approx(208.2, rel=5e-4)
    assert drum * WATER_DENSITY == pytest.approx(207.8, rel=5e-3)
    assert drum * WATER_CAPACITY == pytest.approx(0.870e6, rel=5e-3)
    assert drum * WATER_CAPACITY / 3600 == pytest.approx(242, rel=5e-3)
    # TM-09: 10 K over 12 h: 2.416 kWh, 201 W. TM-10: freezing gives 19.3 kWh more.
    assert drum * WATER_CAPACITY * 10 / 3.6e6 == pytest.approx(2.416, rel=5e-3)
    assert drum * WATER_CAPACITY * 10 / (12 * 3600) == pytest.approx(201, rel=5e-3)
    assert drum * WATER_DENSITY * FUSION_HEAT / 3.6e6 == pytest.approx(19.3, rel=0.01)


def test_the_water_rule_on_its_own_house():
    # TM-04, TM-05: 2.5 US gal for each ft2 of glazing (102 L/m2), University of Missouri Extension 2008; on 24 ft x
    # 12 sqrt(2) ft that is 1018 gal, 18.5 drums.
    glazing = 24 * 12 * 2**0.5 * foot**2
    litres = 2.5 * gallon / foot**2 * 1000
    assert litres == pytest.approx(102, rel=5e-3)
    assert litres * glazing / 1000 / gallon == pytest.approx(1018, rel=0.01)
    assert litres * glazing / 1000 / drum == pytest.approx(18.5, rel=0.01)


def test_a_stock_of_barrels():
    # TM-07: 2700 gal weigh 22 518 lb; a grower's page says 11 tons.
    assert 2700 * gallon * WATER_DENSITY / 0.45359237 == pytest.approx(22_518, rel=0.01)
    assert 2700 * gallon * WATER_DENSITY / 907.18474 == pytest.approx(11, rel=0.03)


def test_cooling_by_the_exponential():
    # A drum of 0.87 MJ/K with 13.5 W/K: time constant 17.9 h; after it 37 % of the difference is left.
    capacity, conductance = 0.87e6, 13.5
    assert cooling_temperature(capacity / conductance, 20.0, 0.0, capacity, conductance) == pytest.approx(20 / np.e)
    assert cooling_temperature(0.0, 20.0, 5.0, capacity, conductance) == 20


def test_soil_takes_part_to_a_hand_s_breadth():
    # Hillel, Introduction to Environmental Soil Physics (from memory): damping depth of a day 0.08-0.15 m in soil.
    assert 0.08 <= active_depth(1.2, 2.3e6) <= 0.15
    assert active_depth(1.2, 2.3e6, 365.25 * 86_400) == pytest.approx(active_depth(1.2, 2.3e6) * 365.25**0.5)
