"""Load tables: checked against closed solutions of small circuits."""

import numpy as np
import pytest
from scipy.optimize import brentq

from solarvent.physics.load import line, parallel, series, through, voltage_grid

GRID = voltage_grid(30.0)


@pytest.mark.parametrize("exponent", [0.7, 1.0, 1.5])
def test_a_power_law_behind_cables_and_joins_is_kept_to_four_parts_in_a_hundred_thousand(exponent):
    fan = line(GRID, 0.3 * (GRID / 12.0) ** exponent)
    other = line(GRID, 0.5 * (GRID / 12.0) ** exponent)
    table = parallel([through(fan, 1.7), through(other, 0.6)], [1, 1])

    def exact(voltage, resistance, rated_current):
        def excess(current):
            return rated_current * (max(voltage - resistance * current, 0.0) / 12.0) ** exponent - current

        return brentq(excess, 0.0, 9.0, xtol=1e-15)

    for voltage in np.geomspace(0.01, 29.0, 25):
        both = exact(voltage, 1.7, 0.3) + exact(voltage, 0.6, 0.5)
        assert table.current_at(voltage)[0] == pytest.approx(both, rel=4e-5)


def test_a_diode_is_kept_to_a_hundredth_of_a_millivolt_down_to_its_saturation_current():
    table = through(line(GRID, GRID / 20.0), 0.0, ((1e-8, 0.03),))
    for current in np.geomspace(1e-9, 1.2, 60):
        exact = current * 20.0 + 0.03 * np.log1p(current / 1e-8)
        assert table.voltage_at(current)[0] == pytest.approx(exact, abs=4e-5)


def test_alike_branches_count_as_many():
    fan = line(GRID, 0.3 * GRID / 12.0)
    together = parallel([fan, fan, fan], [1, 1, 1])
    np.testing.assert_allclose(parallel([fan], [3]).current_at(12.0)[0], together.current_at(12.0)[0])
    assert series([fan], [3]).current_at(36.0)[0] == pytest.approx(0.3)


def test_fans_in_series_share_the_voltage_by_their_resistance():
    table = series([line(GRID, GRID / 10.0), line(GRID, GRID / 30.0)], [1, 1])
    np.testing.assert_allclose(table.terminals_at(24.0)[:, 0], [6.0, 18.0])


def test_all_columns_rise_together():
    table = through(
        parallel(
            [through(line(GRID, 0.3 * (GRID / 12.0) ** 0.8), 0.5, ((1e-7, 0.03),)), line(GRID, GRID / 15.0)], [2, 1]
        ),
        1.0,
    )
    assert np.all(np.diff(table.voltage) > 0)
    assert np.all(np.diff(table.current) > 0)
    assert np.all(np.diff(table.terminals, axis=-1) >= 0)


def test_a_terminal_voltage_beyond_the_table_is_not_reached():
    assert line(GRID, GRID / 10.0).point_at_terminal(0, 31.0) is None
