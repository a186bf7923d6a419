"""Tables on even ladders, against scipy's interpolation."""

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from solarvent.electrical.roots import bilinear, rung


def test_a_table_is_read_between_its_rows_and_its_columns():
    rng = np.random.default_rng(3)
    table = rng.normal(size=(7, 5))
    rows, columns = rng.uniform(-2.0, 4.0, 200), rng.uniform(10.0, 20.0, 200)
    expected = RegularGridInterpolator((np.linspace(-2.0, 4.0, 7), np.linspace(10.0, 20.0, 5)), table)
    found = bilinear(table, rung(rows, -2.0, 4.0, 7), rung(columns, 10.0, 20.0, 5))
    np.testing.assert_allclose(found, expected(np.column_stack([rows, columns])), rtol=1e-9, atol=1e-12)


def test_the_last_rung_has_one_above_it_and_below_the_first_nothing_is_lower():
    below, share = rung(np.array([-9.0, 0.0, 2.5, 10.0]), 0.0, 10.0, 11)
    assert below.tolist() == [0, 0, 2, 9]
    np.testing.assert_allclose(share, [0.0, 0.0, 0.5, 1.0])
