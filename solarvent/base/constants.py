"""Constants of physics and of air and water near 20 degC, each in one place; and how often is often enough."""

from __future__ import annotations

#: [K]
ZERO_CELSIUS = 273.15
#: Standard gravity, CGPM 1901. [m/s2]
GRAVITY = 9.80665
#: CODATA 2018. [W/(m2 K4)]
STEFAN_BOLTZMANN = 5.670374419e-8

#: Of the standard atmosphere at sea level, ISO 2533. [Pa]
STANDARD_PRESSURE = 101_325.0
#: Of the air in which fans are rated, AMCA 210 and ISO 5801 (from memory). [kg/m3]
AIR_DENSITY = 1.2
#: Of dry air at constant pressure, ASHRAE Handbook, Fundamentals 2017, chapter 1 (from memory). [J/(kg K)]
AIR_HEAT_CAPACITY = 1006.0
#: ASHRAE Handbook, Fundamentals 2017, chapter 1. [J/(kg K)]
DRY_AIR_GAS_CONSTANT = 287.042
#: Heat that a kilogram of water takes to evaporate near 20 degC, FAO 56 (from memory). [J/kg]
VAPORISATION_HEAT = 2.45e6

#: At 20 degC, CRC Handbook of Chemistry and Physics (from memory). [kg/m3]
WATER_DENSITY = 998.2
#: Of a volume of water, as tables of thermal mass print it. [MJ/(m3 K)]
WATER_HEAT_CAPACITY = 4.186

#: Share of the hours that want air in which it should be reached, and from which it counts as all of them (our choice).
#: [-]
ENOUGH, NEARLY_ALL = 0.75, 0.98
