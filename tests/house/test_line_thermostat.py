"""A bimetal thermostat by numbers worked out by hand."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.house.house_run import line_closed

TEMPS = st.lists(st.floats(-20, 60), min_size=1, max_size=40)


def test_a_day_by_hand():
    # Closes at 28, opens under 24: shut at exactly 28, kept at exactly 24, open again at 23.9 and not shut by 27.9.
    temp = [20, 27.9, 28, 35, 24, 23.9, 24, 27.9, 28.1, 26]
    assert line_closed(temp, 28, 24).tolist() == [False, False, True, True, True, False, False, False, True, True]


def test_it_is_open_until_it_was_warm_once():
    assert not line_closed([26, 27, 26], 28, 24).any()
    assert line_closed([], 28, 24).tolist() == []


def test_a_gap_in_the_temperatures_keeps_the_state():
    assert line_closed([30, np.nan, 20, np.nan], 28, 24).tolist() == [True, True, False, False]


def test_a_step_that_would_get_warm_closes_and_stays_so_while_it_is_not_cool():
    # With standing fans 29, with turning ones 25 and 23: the first stays shut, the second opens at once.
    assert line_closed([25, 20, 23], 28, 24, warmest=[29, 20, 29]).tolist() == [True, False, False]


@settings(max_examples=100, deadline=None)
@given(TEMPS, st.floats(-10, 50), st.floats(0.1, 10))
def test_it_does_what_a_switch_does_that_is_walked_step_by_step(temps, opens_at, gap):
    state, walked = False, []
    for temp in temps:
        if temp >= opens_at + gap:
            state = True
        elif temp < opens_at:
            state = False
        walked.append(state)
    assert line_closed(temps, opens_at + gap, opens_at).tolist() == walked
