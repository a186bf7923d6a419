import numpy as np
import pytest
from hypothesis import settings

from solarvent.air.opening import duct_area, series_area
from solarvent.base.errors import DomainError

HOUR = 3600.0
plain = settings(deadline=None, max_examples=60)


def test_a_duct_loses_what_the_fluids_library_says_of_its_friction_and_bends():
    # K_from_f and dP_from_K of fluids (from PyPI); the friction factor and the loss of a bend are ours.
    from fluids.core import K_from_f, dP_from_K

    diameter, length, bends, flow = 0.12, 3.0, 2, 0.02
    speed = flow / (np.pi / 4 * diameter**2)
    lost = dP_from_K(K_from_f(fd=0.05, L=length, D=diameter) + bends * 0.5, rho=1.2, V=speed)
    assert 0.6 * (flow / duct_area(diameter, length, bends)) ** 2 == pytest.approx(lost, rel=1e-12)


def test_no_duct_is_no_obstacle_and_more_of_it_is_more():
    assert duct_area(0.12, 0.0) == np.inf
    assert duct_area(0.12, 4.0) == pytest.approx(duct_area(0.12, 1.0) / 2)
    assert duct_area(0.12, 1.0, 1) < duct_area(0.12, 1.0) < duct_area(0.15, 1.0)


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
    ("areas", "message"), [([], "areas: is empty.*at least one"), ([0.1, -0.1], "area below zero.*shut")]
)
def test_areas_without_meaning_are_refused(areas, message):
    with pytest.raises(DomainError, match=message):
        series_area(areas)
