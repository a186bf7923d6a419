"""Checked against the integer program of scipy (HiGHS), which shares no code with ours."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import LinearConstraint, milp

from solarvent.planning.integer import Row, at_most, minimise


def by_highs(costs, rows, size):
    """Solve the same problem stage by stage with HiGHS; the value of each cost, or None."""
    matrix, least = np.zeros((len(rows), size)), []
    for number, row in enumerate(rows):
        for variable, value in row.coefficients.items():
            matrix[number, variable] = value
        least.append(row.least)
    limits, values = [LinearConstraint(matrix, least, np.inf)] if rows else [], []
    for cost in costs:
        vector = np.array([cost.get(variable, 0) for variable in range(size)], dtype=float)
        result = milp(vector, constraints=limits, integrality=np.ones(size))
        if result.status != 0:
            return None
        values.append(round(result.fun))
        limits.append(LinearConstraint(vector, -np.inf, values[-1] + 0.5))
    return values


@st.composite
def problems(draw):
    size = draw(st.integers(1, 6))
    numbers = st.integers(-3, 3)
    rows = draw(
        st.lists(
            st.builds(
                Row, st.dictionaries(st.integers(0, size - 1), numbers, min_size=1, max_size=4), st.integers(-4, 6)
            ),
            max_size=6,
        )
    )
    rows += [at_most({variable: 1}, draw(st.integers(0, 5))) for variable in range(size)]
    costs = draw(
        st.lists(st.dictionaries(st.integers(0, size - 1), st.integers(0, 4), max_size=size), min_size=1, max_size=3)
    )
    return costs, rows, size


@given(problems())
@settings(deadline=None, max_examples=200)
def test_the_least_costs_agree_with_another_solver(problem):
    costs, rows, size = problem
    ours = minimise(costs, rows)
    values = ours and [sum(cost.get(key, 0) * count for key, count in ours.items()) for cost in costs]
    assert (None if ours is None else values or [0] * len(costs)) == by_highs(costs, rows, size)
    for row in rows if ours is not None else ():
        assert sum(value * ours.get(key, 0) for key, value in row.coefficients.items()) >= row.least


def test_fractions_are_not_mistaken_for_whole_pieces():
    assert minimise([{0: 1}], [Row({0: 3}, 4)]) == {0: 2}


def test_contradicting_conditions_have_no_solution():
    assert minimise([{0: 1}], [Row({0: 1}, 3), at_most({0: 1}, 2)]) is None


def test_a_solution_that_is_refused_leads_to_the_next_best():
    def refuse_zero(solution):
        return [] if solution.get(1) else [Row({1: 1}, 1)]

    assert minimise([{0: 1, 1: 2}], [Row({0: 1, 1: 1}, 1)], refuse_zero) == {1: 1}


@pytest.mark.parametrize("pieces", [1, 7, 40])
def test_large_counts_need_no_search(pieces):
    assert minimise([{0: 1}], [Row({0: 1}, pieces)]) == {0: pieces}
