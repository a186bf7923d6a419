import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.constants import VAPORISATION_HEAT
from solarvent.weather.moist_air import (
    air_density,
    dew_point,
    humidity_ratio,
    saturation_pressure,
    standard_pressure,
    vapour_pressure,
)

plain = settings(deadline=None, max_examples=60)
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(("temp", "pressure"), [(-20, 103.24), (-5, 401.74), (5, 872.6), (25, 3169.7), (50, 12351.3)])
def test_saturation_pressure_of_the_handbook(temp, pressure):
    # PSY-01: ASHRAE Handbook, Fundamentals 2017, chapter 1, table 3.
    assert saturation_pressure(temp) == pytest.approx(pressure, rel=3e-4)


@pytest.mark.parametrize(("temp", "ratio"), [(5, 0.005425), (25, 0.020173), (50, 0.086863)])
def test_saturated_humidity_ratio_of_the_handbook(temp, ratio):
    # PSY-02: the same handbook, table 2, at 101 325 Pa; it counts the non-ideal mixture, we do not: 1 %.
    assert humidity_ratio(saturation_pressure(temp)) == pytest.approx(ratio, rel=0.01)


def test_volume_and_density_of_the_handbook():
    # PSY-04: dry air of 25 degC 0.8443 m3/kg; 30 degC, 0.02 kg/kg, 95 461 Pa: 1.08412 kg/m3 (same tables).
    assert 1 / air_density(25.0) == pytest.approx(0.8443, rel=1e-3)
    assert air_density(30.0, 0.02, 95_461.0) == pytest.approx(1.08412, rel=1e-3)


@pytest.mark.parametrize(("altitude", "pressure"), [(0, 101_325), (500, 95_461), (1000, 89_875), (4000, 61_640)])
def test_pressure_of_the_standard_atmosphere(altitude, pressure):
    # PSY-05: the same handbook, table 1.
    assert standard_pressure(altitude) == pytest.approx(pressure, abs=1)


@pytest.mark.parametrize(("temp", "humidity", "dew"), [(22.0, 0.78, 17.98), (25.0, 0.60, 16.69)])
def test_dew_point_of_worked_examples(temp, humidity, dew):
    # PSY-06, PSY-07: worked examples with Magnus' formula on teaching pages; sets of constants differ by 0.03 K.
    assert dew_point(humidity * saturation_pressure(temp)) == pytest.approx(dew, abs=0.03)


def test_water_in_a_cubic_metre():
    # PSY-06: 22 degC, 78 %: 15.14 g/m3, by the ideal gas law with Magnus' formula (worked example on a teaching page).
    vapour = 0.78 * saturation_pressure(22.0)
    ratio = humidity_ratio(vapour)
    assert ratio * air_density(22.0, ratio) / (1 + ratio) * 1000 == pytest.approx(15.14, rel=3e-3)


@plain
@given(temp=st.floats(-35.0, 80.0), humidity=st.floats(0.1, 1.0), altitude=st.floats(0.0, 4000.0))
def test_against_a_library_of_psychrometrics(temp, humidity, altitude):
    pressure = standard_pressure(altitude)
    assert pressure == pytest.approx(psychrolib.GetStandardAtmPressure(altitude), rel=1e-5)
    vapour = humidity * saturation_pressure(temp)
    assert vapour == pytest.approx(psychrolib.GetVapPresFromRelHum(temp, humidity), rel=1e-6)
    ratio = humidity_ratio(vapour, pressure)
    assert ratio == pytest.approx(psychrolib.GetHumRatioFromVapPres(vapour, pressure), rel=1e-6, abs=2e-7)
    # The library treats -1e-7 kg/kg as its least ratio.
    assert air_density(temp, ratio, pressure) == pytest.approx(
        psychrolib.GetMoistAirDensity(temp, max(ratio, 1e-7), pressure), rel=1e-5
    )
    assert dew_point(vapour) == pytest.approx(psychrolib.GetTDewPointFromVapPres(temp, vapour), abs=2e-3)


@plain
@given(ratio=st.floats(0.0, 0.2), pressure=st.floats(6e4, 1.1e5))
def test_humidity_ratio_and_vapour_pressure_undo_each_other(ratio, pressure):
    assert humidity_ratio(vapour_pressure(ratio, pressure), pressure) == pytest.approx(ratio, rel=1e-12, abs=1e-15)


def test_heat_of_vaporisation_is_that_of_the_handbook():
    # Enthalpy of vapour less that of water at 20 degC: 2501 + 1.86 t - 4.186 t kJ/kg (same handbook, from memory).
    assert pytest.approx((2501 + 1.86 * 20 - 4.186 * 20) * 1e3, rel=5e-3) == VAPORISATION_HEAT


def test_outside_the_range_is_missing():
    assert np.isnan(saturation_pressure([-101.0, 201.0])).all()
    assert np.isnan(dew_point([0.5, 2.1e5])).all()
    assert np.isnan(humidity_ratio(1e5, 1e5))
    assert np.isnan(standard_pressure([-5001.0, 11001.0])).all()


def test_the_ends_of_the_range_belong_to_it():
    # The triple point and the pressure of steam at 200 degC: 611.66 Pa and 1.5549 MPa (IAPWS-IF97, from memory).
    assert saturation_pressure(0.01) == pytest.approx(611.66, rel=3e-4)
    assert saturation_pressure(200.0) == pytest.approx(1.5549e6, rel=1e-3)
    assert 0 < saturation_pressure(-100.0) < 0.01
    assert saturation_pressure(dew_point([1.0, 2e5])) == pytest.approx([1.0, 2e5], rel=1e-9)
    # ISO 2533 (from memory): 22 632 Pa at the tropopause, 177 687 Pa 5 km below the sea.
    assert standard_pressure([11_000.0, -5000.0]) == pytest.approx([22_632.0, 177_687.0], rel=1e-3)
