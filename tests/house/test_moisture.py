from dataclasses import replace

import numpy as np
import pytest
from hobby import hobby_plan, hobby_run, hobby_weather
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.network import FanState
from solarvent.house.house_run import house_run
from solarvent.house.moisture import MoistureBalance, vapour_balance
from solarvent.weather.moist_air import humidity_ratio, saturation_pressure

plain = settings(deadline=None, max_examples=80)


# Saturated air at -100 degC still has 9e-9; the least numbers that there are lose their digits in any product.
@plain
@given(
    made=st.just(0.0) | st.floats(1e-12, 1e-3), flow=st.floats(1e-4, 1.0),
    outside=st.just(0.0) | st.floats(1e-12, 0.02), surface=st.just(0.0) | st.floats(1e-12, 0.04),
    area=st.floats(1.0, 60.0),
)  # fmt: skip
def test_vapour_made_is_vapour_gone(made, flow, outside, surface, area):
    ratio, dew = vapour_balance(made, flow, outside, surface, area)
    assert made == pytest.approx(flow * (ratio - outside) + dew, rel=1e-9, abs=1e-15)
    assert dew >= 0
    assert (dew > 0) == (ratio > surface)


def test_no_dew_on_a_surface_above_the_dew_point():
    # PSY-09: dew where the face is below the dew point of the air.
    outside = humidity_ratio(0.6 * saturation_pressure(10.0))
    warm, cold = (humidity_ratio(saturation_pressure(face)) for face in (8.0, 0.0))
    assert vapour_balance(0.0, 0.01, outside, warm, 25.0).dew == 0
    assert vapour_balance(0.0, 0.01, outside, cold, 25.0).dew > 0


def test_in_a_tight_house_all_vapour_settles():
    # 0.1 g/s on 25 m2. A film of 3 W/(m2 K) over the 1006 J/(kg K) of air (Lewis) needs 1.341 g/kg of excess for it.
    ratio, dew = vapour_balance(1e-4, 0.0, 0.005, 0.008, 25.0)
    assert dew == pytest.approx(1e-4, rel=1e-9)
    assert ratio - 0.008 == pytest.approx(1.341e-3, rel=1e-3)


def test_more_air_dries_the_house():
    ratios = vapour_balance(1e-4, [0.005, 0.02, 0.1], 0.006, 0.05, 25.0).humidity_ratio
    assert (np.diff(ratios) < 0).all()


def test_a_burner_without_a_flue_makes_a_house_drip():
    # PSY-10: 400 000 Btu/h of natural gas make 4.6 gal of water an hour (stoichiometry; a growers' magazine says up to
    # 5). Methane: 2 x 18/16 kg of water a kilogram, 55.5 MJ/kg (from memory).
    water = 400_000 * 0.293071 / 55.5e6 * 2.25
    assert water * 3600 / 3.785 == pytest.approx(4.6, rel=0.10)
    cold = humidity_ratio(saturation_pressure(2.0))
    assert vapour_balance(water, 0.1, 0.003, cold, 300.0).dew > 0.5 * water


def test_nothing_moves_the_vapour():
    assert np.isnan(vapour_balance(0.0, 0.0, 0.01, 0.02, 25.0).humidity_ratio)


# --- dew on the outer face ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("humidity", "warmer"), [(40.0, 0.0), (85.0, 0.1), (97.0, 0.3)])
def test_dew_on_the_outer_face_warms_the_house_on_a_clear_damp_night(humidity, warmer):
    loaded = hobby_plan(cover="film-single", planting="empty")
    weather = hobby_weather(loaded, "winter-sunny").assign(relative_humidity=humidity)
    run = hobby_run(loaded, weather, ("closed",))
    dry = run.model.temp_sol_air >= run.model.dew_point
    without = replace(run.model, draught_outside=np.zeros(len(weather)))
    still = FanState.standing(loaded, len(weather))
    bare = house_run(loaded, without, still, ("closed",))
    gained = (run.case("closed") - bare.case("closed"))[run.model.dark]
    assert gained.max() >= warmer
    assert gained.min() > -0.01
    assert (humidity == 40.0) == bool(dry.all())


def test_dew_outside_brings_the_face_no_further_than_the_dew_point():
    # The outer face by the balance of its films: sky and air, the house, and dew by Lewis; solved by halving.
    loaded = hobby_plan(cover="film-single", planting="empty")
    weather = hobby_weather(loaded, "winter-sunny").assign(relative_humidity=97.0)
    model = hobby_run(loaded, weather, ("closed",)).model
    moisture = MoistureBalance(model, 101_325.0)
    at = int(np.flatnonzero(model.dark & (model.temp_sol_air < model.dew_point - 2))[0])
    inside = np.full((len(weather), 1), float(model.temp_air[at]) + 1.0)
    some = np.flatnonzero(model.temp_sol_air < model.dew_point)
    got = moisture._dew_outside(inside[some])[np.searchsorted(some, at), 0]
    u_value, film, sol_air = model.u_value[at], model.outside_film[at], model.temp_sol_air[at]
    through = 1 / (1 / u_value - 1 / film)

    def ratio(temp):
        return float(humidity_ratio(saturation_pressure(temp), 101_325.0))

    def latent(face):
        return 2.45e6 * model.draught_outside[at] / 1006 * max(ratio(model.dew_point[at]) - ratio(face), 0.0)

    low, high = sol_air - 5.0, float(inside[0, 0]) + 5.0
    for _ in range(60):
        face = (low + high) / 2
        net = film * (sol_air - face) + through * (inside[0, 0] - face) + latent(face)
        low, high = (face, high) if net > 0 else (low, face)
    assert face <= model.dew_point[at]
    assert got == pytest.approx(latent(face) * u_value / film * model.cover_area, rel=0.05)
