"""The pass in time, against the same written as one step after the other."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.electrical.running_sets import pass_in_time


@settings(deadline=None, max_examples=150)
@given(st.integers(1, 6), st.integers(1, 80), st.integers(0, 10_000), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_only_the_open_steps_are_walked_and_nothing_changes(sets, steps, seed, still, settled):
    rng = np.random.default_rng(seed)
    table = rng.integers(0, sets, (steps, sets)).astype(np.uint8)
    table[rng.random(steps) < still] = np.arange(sets)
    alike = rng.random(steps) < settled
    table[alike] = table[alike][:, :1]
    state, expected = 0, []
    for row in table.tolist():
        state = row[state]
        expected.append(state)
    assert pass_in_time(table).tolist() == expected
