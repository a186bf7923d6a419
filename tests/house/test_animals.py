"""Hens: heat and vapour against the published figures, and what they do to a house."""

import numpy as np
import pytest

from solarvent.house.air_need import need
from solarvent.house.animals import animals_heat, summer_flow
from solarvent.plan.house_records import Animals
from solarvent.simulation.simulate import simulate

HENS = Animals(count=10, weight="1.8 kg")
COOP = {"house.use": "coop", "house.shape": "coop", "target": {"rise": "4 K"}, "weather": {"climate": "cool-maritime"}}


def test_ten_hens_give_about_a_hundred_watts_and_less_of_it_is_felt_in_the_heat():
    # A laying hen of 1.8 kg at 20 degC: 6.8 x 1.8^0.75 + 1.25 = 11.8 W, 0.66 of it not vapour (CIGR 2002, from memory).
    mild = animals_heat(HENS, np.array(20.0))
    assert mild.sensible + mild.latent == pytest.approx(118, abs=1)
    assert mild.sensible / (mild.sensible + mild.latent) == pytest.approx(0.664, abs=0.002)
    hot = animals_heat(HENS, np.array([25.0, 30.0, 35.0, 39.0]))
    assert (np.diff(hot.sensible) < 0).all()
    assert (np.diff(hot.latent / (hot.sensible + hot.latent)) > 0).all()


def test_the_trade_gives_a_hen_five_cubic_feet_a_minute_in_summer():
    cfm = 0.3048**3 / 60
    # 5 cfm for a hen of 1.7 kg: poultry pages of the trade.
    assert summer_flow(Animals(count=1, weight="1.7 kg")) / cfm == pytest.approx(5.1, abs=0.01)
    assert np.isnan(summer_flow(None))


def test_hens_warm_and_dampen_a_coop_and_want_more_air(small_plan):
    empty, full = (small_plan(COOP | extra) for extra in ({}, {"animals": {"count": 10, "weight": "1.8 kg"}}))
    assert need(full, 500.0, 24.0).wanted > need(empty, 500.0, 24.0).wanted
    assert need(full, 500.0, 24.0).by_animals == pytest.approx(summer_flow(HENS))
    runs = [simulate(loaded) for loaded in (empty, full)]
    winter = runs[0].hours["month"].to_numpy() == 1
    names = ("temp_inside", "dew_point_inside")
    inside, damp = ([getattr(run.whole_house, name)[winter, -1].mean() for run in runs] for name in names)
    assert 0.3 < inside[1] - inside[0] < 10
    assert damp[1] > damp[0] + 0.3
