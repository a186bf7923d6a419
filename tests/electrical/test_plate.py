import numpy as np
import pytest

from solarvent.electrical.panel_model import check_plate, fill_factor


def test_fill_factor_of_a_published_module():
    assert fill_factor(21.7, 3.45, 17.4, 3.15) == pytest.approx(0.73212, abs=1e-5)


def test_a_sound_plate_passes():
    check = check_plate(22.7, 1.17, 18.76, 1.07, watts=20.0, cell_area=0.1)
    assert (check.fill_factor_plausible, check.watts_plausible, check.area_plausible) == (True, True, True)
    assert check.watts_per_area == pytest.approx(200.0)


def test_watts_from_open_voltage_times_short_current_are_noticed():
    # Common practice, no source: the commonest inflation multiplies the two ends of the curve.
    check = check_plate(22.0, 1.2, 18.0, 1.1, watts=22.0 * 1.2)
    assert check.watts_excess == pytest.approx(1 / 3, abs=0.001)
    assert not check.watts_plausible
    assert check.area_plausible


def test_too_many_watts_for_the_cells_and_too_square_a_curve_are_noticed():
    check = check_plate(22.0, 1.2, 20.5, 1.18, watts=24.2, cell_area=0.09)
    assert not check.fill_factor_plausible
    assert not check.area_plausible


@pytest.mark.parametrize(("shape", "sound"), [(0.59, False), (0.60, True), (0.815, True), (0.83, False)])
def test_a_fill_factor_is_between_0_60_and_0_82(shape, sound):
    # Common practice, no source, as all limits of a plate.
    check = check_plate(20.0, 1.0, 20.0 * shape, 1.0)
    assert check.fill_factor == pytest.approx(shape)
    assert check.fill_factor_plausible == sound


@pytest.mark.parametrize(("watts", "sound"), [(18.96, False), (19.04, True), (20.96, True), (21.04, False)])
def test_watts_are_the_product_of_the_best_point_within_a_twentieth(watts, sound):
    check = check_plate(25.0, 1.1, 20.0, 1.0, watts=watts)
    assert check.watts_excess == pytest.approx(watts / 20.0 - 1)
    assert check.watts_plausible == sound


@pytest.mark.parametrize(("area", "sound"), [(0.0830, False), (0.0836, True), (0.1, True)])
def test_a_square_metre_of_cells_gives_at_most_240_watts(area, sound):
    check = check_plate(25.0, 1.1, 20.0, 1.0, watts=20.0, cell_area=area)
    assert check.watts_per_area == pytest.approx(20.0 / area)
    assert check.area_plausible == sound


def test_without_watts_there_is_nothing_to_compare():
    check = check_plate(22.0, 1.2, 18.0, 1.1)
    assert np.isnan(check.watts_excess)
    assert check.watts_plausible
    assert check.area_plausible
