"""The battery: its energy account, and the corners of it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.electrical.battery import carry, longest_run

energies = st.lists(st.floats(0.0, 40.0), min_size=1, max_size=60)


@settings(deadline=None, max_examples=80)
@given(energies, st.integers(0, 999), st.floats(0.0, 100.0), st.floats(0.3, 1.0))
def test_what_comes_in_goes_out_is_stored_or_turns_into_heat(offered, seed, capacity, efficiency):
    offered = np.array(offered)
    wanted = np.random.default_rng(seed).uniform(0.0, 30.0, len(offered))
    done = carry(offered, wanted, capacity, efficiency)
    direct = np.minimum(offered, wanted)
    charged = offered - direct - done.spilled
    before = np.concatenate([[capacity], done.stored[:-1]])
    np.testing.assert_allclose(done.stored, before + efficiency * charged - (done.served - direct), atol=1e-9)
    assert (done.stored >= -1e-12).all()
    assert (done.stored <= capacity + 1e-9).all()
    assert (done.served <= wanted + 1e-9).all()
    assert (done.spilled >= -1e-12).all()


@settings(deadline=None, max_examples=40)
@given(energies, st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_a_larger_battery_never_serves_less(offered, capacity, more):
    offered, wanted = np.array(offered), np.full(len(offered), 12.0)
    small, large = (carry(offered, wanted, size, 0.8).served.sum() for size in (capacity, capacity + more))
    assert large >= small - 1e-9


def test_a_load_that_wants_nothing_leaves_all_to_the_battery():
    done = carry([6.0, 0.0], [0.0, 0.0], 5.0, 0.5, start=1.0)
    assert done.stored.tolist() == [4.0, 4.0]
    assert not done.served.any()
    assert not done.spilled.any()


def test_without_a_battery_only_what_is_offered_in_the_step_is_served():
    done = carry([5.0, 0.0, 3.0], [2.0, 2.0, 4.0], 0.0)
    assert done.served.tolist() == [2.0, 0.0, 3.0]
    assert done.spilled.tolist() == [3.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("args", "words"),
    [(([1.0], [1.0], -1.0), "capacity"), (([1.0], [1.0], 1.0, 0.0), "efficiency"), (([-1.0], [1.0], 1.0), "negative")],
)
def test_what_makes_no_sense_is_refused(args, words):
    with pytest.raises(DomainError, match=words):
        carry(*args)


def test_runs_are_counted():
    assert longest_run([]) == 0
    assert longest_run([False, True, True, True, False, True]) == 3
