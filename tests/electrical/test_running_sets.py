"""The pass in time, on made-up tests between sets."""

import numpy as np
import pytest

from solarvent.base.errors import DomainError
from solarvent.electrical.running_sets import (
    come_into,
    fall_together,
    hunting,
    pass_in_time,
    running_sets,
    transitions,
)


def run(keeps, starts, sizes=(1,), start_order=None, stop_order=None):
    """Set index of every step."""
    order = range(len(sizes))
    sets = running_sets(sizes)
    return pass_in_time(transitions(sets, keeps, starts, start_order or order, stop_order or order))


def one_fan(can_start, can_keep):
    """Tests of a single fan: sets are [stands], [turns]."""
    can_start, can_keep = np.array(can_start, dtype=bool), np.array(can_keep, dtype=bool)
    yes, no = np.ones_like(can_keep), np.zeros_like(can_keep)
    return np.array([[yes], [can_keep]]), np.array([[can_start], [no]])


def test_a_fan_keeps_turning_below_its_start_and_does_not_restart_after_a_cloud():
    can_start, can_keep = [0, 0, 1, 0, 0, 0, 0, 1], [0, 1, 1, 1, 0, 1, 1, 1]
    assert run(*one_fan(can_start, can_keep)).tolist() == [0, 0, 1, 1, 0, 0, 0, 1]


def test_a_fan_that_would_fall_back_does_not_start_and_is_hunting():
    keeps, starts = one_fan([1, 1], [0, 1])
    reached = run(keeps, starts)
    assert reached.tolist() == [0, 1]
    assert hunting(running_sets([1]), keeps, starts, reached).tolist() == [[True, False]]


def test_a_fan_that_would_pull_down_the_other_is_hunting_though_it_would_keep_turning_itself():
    sets = running_sets([1, 1])
    keeps, starts = np.ones((4, 2, 1), dtype=bool), np.zeros((4, 2, 1), dtype=bool)
    starts[0, 0], starts[2, 1], keeps[3, 0] = True, True, False
    assert sets[2].tolist() == [1, 0]
    reached = run(keeps, starts, (1, 1))
    assert reached.tolist() == [2]
    assert hunting(sets, keeps, starts, reached).ravel().tolist() == [False, True]


def test_a_fan_is_hunting_only_where_its_own_set_was_reached():
    # A lone fan that would start at every step and never hold; of the four steps two have it turning all the same.
    keeps = np.array([[[True] * 4], [[False] * 4]])
    starts = np.array([[[True] * 4], [[False] * 4]])
    assert hunting(running_sets([1]), keeps, starts, np.array([0, 1, 0, 1])).tolist() == [[True, False, True, False]]


def test_several_fans_start_one_after_the_other_in_one_step():
    keeps, starts = np.ones((4, 1, 1), dtype=bool), np.ones((4, 1, 1), dtype=bool)
    assert run(keeps, starts, sizes=(3,)).tolist() == [3]


def test_the_start_order_decides_where_only_one_can_turn():
    sets = running_sets([1, 1])
    keeps, starts = np.ones((4, 2, 1), dtype=bool), np.ones((4, 2, 1), dtype=bool)
    keeps[3] = False
    for order, expected in (([0, 1], [1, 0]), ([1, 0], [0, 1])):
        assert sets[run(keeps, starts, (1, 1), order, [0, 1])[0]].tolist() == expected


def test_the_stop_order_decides_which_of_two_failing_fans_stops():
    sets = running_sets([1, 1])
    keeps, starts = np.ones((4, 2, 2), dtype=bool), np.zeros((4, 2, 2), dtype=bool)
    starts[:, :, 0] = True
    keeps[3, :, 1] = False
    for order, expected in (([0, 1], [0, 1]), ([1, 0], [1, 0])):
        reached = run(keeps, starts, (1, 1), [0, 1], order)
        assert sets[reached].tolist() == [[1, 1], expected]


def test_one_step_after_the_other_equals_a_plain_simulation():
    rng = np.random.default_rng(3)
    sizes, steps = (2, 1, 1), 300
    sets = running_sets(sizes)
    index = {tuple(members): k for k, members in enumerate(sets.tolist())}
    keeps = (rng.random((len(sets), 3, steps)) < 0.8) | (sets == 0)[:, :, None]
    starts = (rng.random((len(sets), 3, steps)) < 0.3) & (sets < np.array(sizes))[:, :, None]
    start_order, stop_order = [2, 0, 1], [1, 2, 0]
    state, expected = [0, 0, 0], []
    for t in range(steps):
        while failing := [g for g in stop_order if not keeps[index[tuple(state)], g, t]]:
            state[failing[0]] -= 1
        growing = True
        while growing:
            growing = False
            for g in start_order:
                more = [count + (k == g) for k, count in enumerate(state)]
                if starts[index[tuple(state)], g, t] and keeps[index[tuple(more)], :, t].all():
                    state, growing = more, True
                    break
        expected.append(index[tuple(state)])
    assert run(keeps, starts, sizes, start_order, stop_order).tolist() == expected


def test_six_unlike_fans_are_worked_out_and_seven_are_refused():
    assert len(running_sets([1] * 6)) == 64
    with pytest.raises(DomainError, match=r"128 different combinations.*at most six unlike fans"):
        running_sets([1] * 7)
    with pytest.raises(DomainError, match="65 different combinations"):
        running_sets([4, 12])


def test_sixty_three_alike_fans_are_one_group():
    assert len(running_sets([63])) == 64


def test_fans_fall_together_with_their_converter_and_with_no_other():
    # Two groups of one fan; a start of the second pulls off the converter that feeds the first alone.
    sets = running_sets([1, 1])
    index = {tuple(members): position for position, members in enumerate(sets.tolist())}
    keeps, starts = np.ones((4, 2, 1), dtype=bool), np.zeros((4, 2, 1), dtype=bool)
    starts[index[0, 0], 0] = True
    failing = np.zeros((4, 1), dtype=bool)
    failing[index[1, 0]] = True
    found = fall_together(sets, keeps, starts, failing, np.array([True, False]))
    # With nothing turning the first could start, and would then be pulled off: the converter hunts there too.
    assert found[:, 0].tolist() == [members in ([0, 0], [1, 0]) for members in sets.tolist()]
    assert not keeps[index[1, 0], 0, 0]
    assert keeps.sum() == keeps.size - 1


@pytest.mark.parametrize("seed", range(40))
def test_the_sets_that_fans_come_into_are_all_that_need_to_be_known(seed):
    rng = np.random.default_rng(seed)
    sets = running_sets(rng.integers(1, 4, size=rng.integers(2, 4)))
    groups, steps = sets.shape[1], 60
    start_order, stop_order = rng.permutation(groups), rng.permutation(groups)
    light = np.cumsum(rng.normal(size=steps))
    keeps = light > rng.normal(-1.0, 1.0, size=(len(sets), groups, 1))
    keeps |= (sets == 0)[..., None]
    starts = (light > rng.normal(1.0, 1.0, size=(len(sets), groups, 1))) & (sets < sets[-1])[..., None]
    known_keeps, known_starts = np.ones_like(keeps), np.zeros_like(starts)
    known, asked = set(), {0}
    while asked:
        for position in asked:
            known_keeps[position], known_starts[position] = keeps[position], starts[position]
        known |= asked
        asked = come_into(sets, known_keeps, known_starts, start_order, stop_order, known) - known
    every, some = (
        pass_in_time(transitions(sets, *tests, start_order, stop_order))
        for tests in ((keeps, starts), (known_keeps, known_starts))
    )
    assert every.tolist() == some.tolist()
    assert (hunting(sets, keeps, starts, every) == hunting(sets, known_keeps, known_starts, some)).all()
    assert set(every) <= known
