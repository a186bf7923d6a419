"""Climates: the shipped ones against two stations and common sense, and what a record refuses."""

import importlib.util
from math import fsum
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from solarvent.plan.climate import Climate, okta_shares
from solarvent.plan.library import Library
from solarvent.weather.sky import cloud_factor

ENTRIES = {name: Climate.model_validate(entry) for name, entry in Library().entries("climates").items()}
MEASURED = ("humid-subtropical", "subpolar-oceanic")


def maker():
    path = Path(__file__).parents[1] / "data" / "make_climates.py"
    spec = importlib.util.spec_from_file_location("make_climates", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def own(**changes):
    """Normals of one's own, changed."""
    months = {"temp_high": ["20 degC"] * 12, "temp_low": ["10 degC"] * 12, "oktas": [4.0] * 12}
    return {key: value for key, value in (months | changes).items() if value is not None}


# --- The shipped ones ---------------------------------------------------------------------------------------------


def test_there_is_a_dozen_and_each_says_where_it_belongs():
    assert len(ENTRIES) >= 12
    assert all(climate.latitude is not None and climate.wind_speed and climate.ground for climate in ENTRIES.values())
    assert {climate.source for name, climate in ENTRIES.items() if name not in MEASURED} == {"typical"}


@pytest.mark.parametrize("name", MEASURED)
def test_the_measured_ones_are_what_the_hours_of_their_stations_give(name):
    module = maker()
    computed = module.normals(module.station(name))
    for key, values in computed.items():
        np.testing.assert_allclose(getattr(ENTRIES[name], key), values, atol=1e-9, err_msg=key)
    assert ENTRIES[name].latitude == pytest.approx(module.station(name).attrs["latitude"], abs=0.05)


@pytest.mark.parametrize("name", ENTRIES)
def test_the_ground_follows_the_air_late_and_damped(name):
    climate = ENTRIES[name]
    assert climate.ground == pytest.approx(maker().ground(climate.temp_high, climate.temp_low), abs=1e-9)


@pytest.mark.parametrize("name", ENTRIES)
def test_the_months_are_those_of_a_possible_place(name):
    climate = ENTRIES[name]
    high, low = np.array(climate.temp_high), np.array(climate.temp_low)
    assert (high - low).min() >= 2
    assert (high - low).max() <= 17
    # No month is far from both of its neighbours: a slip of the pen would be.
    for values, most in ((high, 6), (low, 7), (np.array(climate.wind_speed), 1.6)):
        middle = (np.roll(values, 1) + np.roll(values, -1)) / 2
        assert np.abs(values - middle).max() <= most
    summer, winter = ([5, 6, 7], [11, 0, 1]) if climate.latitude > 0 else ([11, 0, 1], [5, 6, 7])
    if abs(climate.latitude) > 23.5:
        assert high[summer].mean() > high[winter].mean() + 5


# --- Cloud from its mean alone ------------------------------------------------------------------------------------


@given(st.floats(0, 8), st.floats(0.05, 0.95))
@settings(deadline=None, max_examples=60)
def test_shares_sum_to_one_and_keep_their_mean(mean, spread):
    shares = okta_shares(mean, spread)
    assert min(shares) >= 0
    assert fsum(shares) == pytest.approx(1, abs=1e-9)
    assert fsum(okta * share for okta, share in enumerate(shares)) == pytest.approx(mean, abs=1e-7)


def test_shares_are_those_of_the_beta_binomial_distribution():
    from scipy.stats import betabinom

    m, s = 5.5 / 8, 0.57
    expected = betabinom.pmf(np.arange(9), 8, m * (1 - s) / s, (1 - m) * (1 - s) / s)
    np.testing.assert_allclose(okta_shares(5.5), expected, rtol=1e-9)


@pytest.mark.parametrize("name", MEASURED)
def test_a_mean_with_its_usual_spread_gives_the_light_of_the_shares(name):
    factors = cloud_factor(np.arange(9))
    for month, shares in enumerate(ENTRIES[name].shares, start=1):
        mean = fsum(okta * share for okta, share in enumerate(shares))
        true, spread, plain = np.dot(shares, factors), np.dot(okta_shares(mean), factors), cloud_factor(mean)
        print(f"{name} month {month}: mean spread {spread / true - 1:+.1%}, bare mean {plain / true - 1:+.1%}")
        assert spread == pytest.approx(true, rel=0.10)
        assert plain > 1.12 * true


def test_the_spread_is_that_of_the_two_stations():
    spreads = []
    for name in MEASURED:
        for shares in ENTRIES[name].shares:
            okta = np.arange(9) / 8
            mean = np.dot(shares, okta)
            ratio = (np.dot(shares, okta**2) - mean**2) / (mean * (1 - mean))
            # Variance of n draws of a share that itself strays: (1 + (n - 1) s) / n.
            spreads.append((8 * ratio - 1) / 7)
    assert np.mean(spreads) == pytest.approx(0.57, abs=0.01)
    assert (min(spreads), max(spreads)) == pytest.approx((0.35, 0.78), abs=0.01)


# --- The record ---------------------------------------------------------------------------------------------------


def test_shares_win_over_means_and_are_made_to_sum_to_one():
    row = [0.2, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.11]
    climate = Climate.model_validate(own(oktas=None, okta_shares=[row] * 12))
    assert fsum(climate.shares[3]) == pytest.approx(1, abs=1e-12)
    assert climate.shares[3][0] == pytest.approx(0.2 / 1.01)


def test_the_other_hemisphere_has_its_summer_half_a_year_later():
    there = ENTRIES["mediterranean"].at(-34.0)
    assert there.temp_high[0] == ENTRIES["mediterranean"].temp_high[6]
    assert there.oktas[6] == ENTRIES["mediterranean"].oktas[0]
    assert there.latitude == -38
    assert ENTRIES["mediterranean"].at(41.0) is ENTRIES["mediterranean"]
    shares = ENTRIES["humid-subtropical"].at(-30.0).shares
    assert shares[0] == ENTRIES["humid-subtropical"].shares[6]


def test_normals_of_ones_own_stay_as_they_are_written():
    climate = Climate.model_validate(own())
    assert climate.at(-40.0) is climate


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"oktas": None}, "the cloud is not clear"),
        ({"okta_shares": [[1.0] + [0.0] * 8] * 12}, "the cloud is not clear"),
        ({"oktas": None, "okta_shares": [[0.5] + [0.0] * 8] * 12}, "the shares of month 1 sum to 0.5"),
        ({"oktas": None, "okta_shares": [[1.0]] * 12}, "month 1 has 1 shares"),
        ({"oktas": [9.0] * 12}, "less than or equal to 8"),
        ({"temp_high": ["20 degC"] * 11}, "at least 12 items"),
        ({"temp_low": ["21 degC"] * 12}, "month 1 has its lowest temperature, 21 degC, above its highest, 20 degC"),
        ({"temp_low": [10.0] * 12}, "10.0 has no unit"),
        ({"wind_speed": ["60 m/s"] * 12}, "out of range"),
        ({"wind": ["6 m/s"] * 12}, "Extra inputs"),
    ],
)
def test_normals_that_cannot_be_right_are_refused(changes, message):
    with pytest.raises(ValidationError, match=message):
        Climate.model_validate(own(**changes))
