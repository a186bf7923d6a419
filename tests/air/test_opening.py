import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.opening import duct_area, orifice_flow, orifice_pressure, screen_pressure, series_area
from solarvent.air.wind import wind_pressure
from solarvent.base.errors import DomainError

HOUR = 3600.0
plain = settings(deadline=None, max_examples=60)


def test_orifice_factor_of_rating_air_is_0_6():
    # p = 0.6 (Q / (Cd A))^2 in SI: half of 1.2 kg/m3, definition.
    assert orifice_pressure(0.03, 0.02, 0.65) == pytest.approx(0.6 * (0.03 / (0.65 * 0.02)) ** 2, rel=1e-12)


@plain
@given(pressure=st.floats(-100.0, 100.0), area=st.floats(1e-4, 10.0), density=st.floats(0.8, 1.4))
def test_orifice_pressure_undoes_orifice_flow(pressure, area, density):
    flow = orifice_flow(pressure, area, 0.62, density)
    assert orifice_pressure(flow, area, 0.62, density) == pytest.approx(pressure, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("pressure", [0.5, 5.4, 30.0])
def test_orifice_agrees_with_the_fluids_library(pressure):
    # flow_meter_discharge of fluids (from PyPI) in a pipe so wide that the approach speed does not count.
    from fluids.flow_meter import flow_meter_discharge

    mass_flow = flow_meter_discharge(D=100.0, Do=0.1, P1=101325.0 + pressure, P2=101325.0, rho=1.2, C=0.61)
    assert orifice_flow(pressure, np.pi / 4 * 0.1**2, 0.61) == pytest.approx(mass_flow / 1.2, rel=1e-9)


def test_a_duct_loses_what_the_fluids_library_says_of_its_friction_and_bends():
    # K_from_f and dP_from_K of fluids (from PyPI); the friction factor and the loss of a bend are ours.
    from fluids.core import K_from_f, dP_from_K

    diameter, length, bends, flow = 0.12, 3.0, 2, 0.02
    speed = flow / (np.pi / 4 * diameter**2)
    lost = dP_from_K(K_from_f(fd=0.05, L=length, D=diameter) + bends * 0.5, rho=1.2, V=speed)
    assert orifice_pressure(flow, duct_area(diameter, length, bends), 1.0) == pytest.approx(lost, rel=1e-12)


def test_no_duct_is_no_obstacle_and_more_of_it_is_more():
    assert duct_area(0.12, 0.0) == np.inf
    assert duct_area(0.12, 4.0) == pytest.approx(duct_area(0.12, 1.0) / 2)
    assert duct_area(0.12, 1.0, 1) < duct_area(0.12, 1.0) < duct_area(0.15, 1.0)


def test_discharge_coefficient_that_the_natural_ventilation_criteria_imply():
    # NV-03: A = 1.56 CFM / (W sqrt(dCp)) with A in ft2 and W in feet a minute (UFC 3-440-06N, appendix C),
    # so Q = A W sqrt(dCp) / 1.56, a discharge coefficient of 0.64.
    speed = 3.0
    pressure = wind_pressure(speed, 0.9)
    assert orifice_flow(pressure, 1.0, 0.64) == pytest.approx(speed * np.sqrt(0.9) / 1.56, rel=2e-3)


def test_through_no_area_no_pressure_is_known():
    assert np.isnan(orifice_pressure(0.01, 0.0))
    assert orifice_pressure(0.01, [0.0, 0.02, 0.04], 1.0) == pytest.approx([np.nan, 0.15, 0.0375], nan_ok=True)


def test_openings_in_series_by_the_natural_ventilation_criteria():
    # NV-12: inlet and outlet of 1.41 A each make A; an inlet of 2 A needs an outlet of 1.155 A
    # (UFC 3-440-06N, appendix C, steps 14-18).
    assert series_area([1.41, 1.41]) == pytest.approx(1.0, rel=5e-3)
    assert series_area([2.0, 1.155]) == pytest.approx(1.0, rel=5e-3)


@pytest.mark.parametrize(("ratio", "excess"), [(2, 26.5), (4, 37.2), (6, 39.5), (1e6, 41.4)])
def test_excess_of_one_opening_over_the_other(ratio, excess):
    # NV-13: flow increase in % over equal openings; figure in ASHRAE Handbook, Fundamentals (from memory).
    assert 100 * (series_area([1.0, ratio]) / series_area([1.0, 1.0]) - 1) == pytest.approx(excess, abs=0.1)


def test_a_shut_opening_shuts_the_row():
    np.testing.assert_array_equal(series_area([0.02, np.array([0.0, 0.02])]) > 0, [False, True])


@pytest.mark.parametrize(
    ("coefficient", "pressure"),
    [(0.207, 0.875), (0.151, 1.645), (0.325, 0.355)],
)
def test_insect_screens_in_a_wind_tunnel(coefficient, pressure):
    # NV-14: screens of 35.0, 26.3 and 36.0 % porosity at 0.25 m/s; López, Molina-Aiz, Valera, Peña 2016,
    # Sensors 16(5):690. The coefficients are the paper's, the pressures follow from them.
    assert screen_pressure(0.25, coefficient) == pytest.approx(pressure, rel=5e-3)


def test_a_screen_as_an_area_is_its_coefficient_times_its_face():
    face, flow = 0.05, 0.0125
    assert orifice_pressure(flow, 0.207 * face, 1.0) == pytest.approx(screen_pressure(flow / face, 0.207), rel=1e-12)


@pytest.mark.parametrize(
    ("areas", "message"), [([], "areas: is empty.*at least one"), ([0.1, -0.1], "area below zero.*shut")]
)
def test_areas_without_meaning_are_refused(areas, message):
    with pytest.raises(DomainError, match=message):
        series_area(areas)
