import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.opening import lagged_temperature, opened_share

plain = settings(deadline=None, max_examples=40)


def test_starts_and_ends_of_the_trade():
    # WX-04, WX-05: starts at 15.6 degC, full 7-12 K above the start (field report and trade, from memory).
    assert opened_share(15.0, 15.6, 10.0) == 0
    assert opened_share([15.6, 20.6, 25.6, 40.0], 15.6, 10.0) == pytest.approx([0.0, 0.5, 1.0, 1.0])


def test_the_lag_is_an_exponential_in_warm_air():
    # After one lag 63 % of a jump is made up; the ends of the steps are read from their means.
    means = lagged_temperature(np.full(6000, 30.0), 1.0, 1200.0, 20.0)
    assert means[1199] == pytest.approx(30 - 10 * np.exp(-1), rel=1e-3)
    assert means.mean() == pytest.approx(30 - 10 * 1200 / 6000 * (1 - np.exp(-5)), rel=1e-6)


def test_the_mean_does_not_depend_on_the_step():
    fine = lagged_temperature(np.full(60, 30.0), 60.0, 1200.0, 20.0).mean()
    assert lagged_temperature(np.full(1, 30.0), 3600.0, 1200.0, 20.0)[0] == pytest.approx(fine, rel=1e-9)


def test_even_a_lag_of_a_second_is_one():
    # Over a step as long as the lag the mean of a jump is 1 - (1 - 1/e) = 0.368 of it.
    assert lagged_temperature([0.0, 10.0], 1.0, 1.0)[1] == pytest.approx(10 * np.exp(-1))


def test_no_lag_follows_at_once():
    air = np.array([[1.0, 2.0], [3.0, 4.0]])
    assert (lagged_temperature(air, 60.0, 0.0) == air).all()


@plain
@given(air=st.lists(st.floats(-20, 50), min_size=1, max_size=30), lag=st.floats(1.0, 1e5))
def test_it_stays_between_the_extremes_of_the_air(air, lag):
    lagged = lagged_temperature(np.array(air), 600.0, lag)
    assert min(air) - 1e-9 <= lagged.min() <= lagged.max() <= max(air) + 1e-9


def test_columns_do_not_mix():
    air = np.random.default_rng(3).uniform(0, 30, (20, 3))
    together = lagged_temperature(air, 600.0, 900.0)
    for column in range(3):
        assert together[:, column] == pytest.approx(lagged_temperature(air[:, column], 600.0, 900.0))
