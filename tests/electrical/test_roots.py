"""Roots and tables on even ladders, against numpy's and scipy's own."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from solarvent.electrical.roots import bilinear, find_root, rung


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


def falling(target, asked):
    """A cubic that is short of a target, of which the number of places that are asked for is noted."""

    def function(guess):
        asked.append(np.size(guess))
        return target - guess**3, -3.0 * guess**2

    return function


def test_the_few_roots_that_take_longer_are_sought_alone():
    target = np.full(1000, 8.0)
    target[::10] = 1e-6
    low = np.zeros(1000)
    low[5] = np.nan
    asked, alone = [], []

    def part(few):
        alone.append(few)
        return falling(target[few], asked)

    root = find_root(falling(target, asked), low, np.full(1000, 9.0), np.full(1000, 2.1), part=part)
    np.testing.assert_allclose(root, np.cbrt(target) + low, rtol=1e-9)
    # All together take four steps, those from far the rest; where most are far, or there are few in all, none is alone.
    assert [np.array_equal(few, np.arange(0, 1000, 10)) for few in alone] == [True]
    assert asked[:4] == [1000] * 4
    assert set(asked[4:]) == {100}
    for short in (target[:250], np.where(np.arange(1000) % 2, target, 1e-6)):
        alone.clear()
        low = np.zeros(short.shape)
        root = find_root(falling(short, asked), low, low + 9.0, low + 2.1, part=alone.append)
        np.testing.assert_allclose(root, np.cbrt(short), rtol=1e-9)
        assert not alone


@pytest.mark.parametrize("tolerance", [1e-10, 1e-3])
def test_a_search_ends_once_a_step_is_within_the_tolerance(tolerance):
    asked, root = [], 1000.0
    find_root(falling(np.array(root**3), asked), np.array(0.0), np.array(2e4), np.array(2.0 * root), tolerance)
    guess, steps = 2.0 * root, 0
    while True:
        before, guess, steps = guess, guess - (guess**3 - root**3) / (3.0 * guess**2), steps + 1
        if abs(guess - before) <= tolerance * guess:
            break
    assert len(asked) == steps


@pytest.mark.parametrize("root", [0.0, 0.5, 3.0])
def test_where_the_derivative_is_no_help_the_middle_of_the_bracket_is_taken(root):
    # A step of a thousandth at the root, else flat: Newton's step is endless.
    def function(guess):
        return np.clip(1e3 * (root - guess), -1.0, 1.0), np.where(np.abs(root - guess) < 1e-3, -1e3, 0.0)

    assert find_root(function, np.array(0.0), np.array(3.0), np.array(2.9)) == pytest.approx(root, abs=1e-9)
    # A start that is off the bracket begins at its end.
    assert find_root(function, np.array(0.0), np.array(3.0), np.array(-7.0)) == pytest.approx(root, abs=1e-9)
