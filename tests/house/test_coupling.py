"""Flows and temperatures that agree."""

from dataclasses import replace

import numpy as np
import pytest
from hobby import hobby_plan, hobby_run, hobby_weather
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.network import AirNetwork, FanState
from solarvent.house.heat_balance import Masses, Surroundings, march, solve_coupled
from solarvent.house.house_run import FreshAir

plain = settings(deadline=None, max_examples=20)


def small_house(steps, sun, outside=20.0, loss=100.0):
    one = np.ones((steps, 1))
    around = Surroundings(loss * one, loss * outside * one, sun * one, np.zeros((steps, 1, 1)), 10.0 * one)
    masses = Masses(np.array([[1e6]]), np.array([[20.0]]), np.array([[0.0]]))
    return around, masses, outside * one, 1.2 * one


def no_gain(temp, flow):
    return np.zeros_like(temp)


def test_a_fixed_flow_is_a_fixed_conductance():
    around, masses, outside, density = small_house(48, 2000.0)

    def flow(temp, wanted):
        return np.full(temp.shape, 0.05)

    result = solve_coupled(3600.0, around, masses, 2e4, outside, density, flow, no_gain, [20.0], [[20.0]])
    carried = 1.2 * 1006.0 * 0.05
    fixed = Surroundings(
        around.conductance + carried, around.drive + carried * outside, around.sun_air, around.sun_mass, around.temp_far
    )
    expected = march(3600.0, fixed, masses, 2e4, [20.0], [[20.0]]).temp_air
    np.testing.assert_allclose(result.march.temp_air, expected, atol=0.01)
    assert result.sweeps <= 3


def draught(area, height, temp):
    """Flow by warm air alone over air of 20 degC, ASHRAE Fundamentals 1997, chapter 25, equation 37. [m3/s]"""
    return 0.65 * area * np.sqrt(2 * 9.80665 * height * np.abs(temp - 20.0) / (temp + 273.15))


@plain
@given(sun=st.floats(100.0, 8000.0), area=st.floats(0.02, 1.0), height=st.floats(0.3, 2.0))
def test_draught_and_temperature_agree_as_by_the_handbook(sun, area, height):
    # Steady: sun = loss rise + rho c Q(rise) rise with Q of ASHRAE Fundamentals 1997, chapter 25, equation 37; the root
    # of one equation in one unknown, by bisection.
    def flow(temp, wanted):
        return draught(area, height, temp)

    around, masses, outside, density = small_house(400, sun)
    result = solve_coupled(3600.0, around, masses, 2e4, outside, density, flow, no_gain, [20.0], [[20.0]])
    low, high = 0.0, sun / 100.0
    for _ in range(60):
        rise = (low + high) / 2
        gone = 100.0 * rise + 1.2 * 1006.0 * float(draught(area, height, 20.0 + rise)) * rise
        low, high = (rise, high) if gone < sun else (low, rise)
    assert result.march.temp_air[-1, 0] - 20.0 == pytest.approx(rise, abs=0.02)
    assert result.residual < 0.01


def test_an_opener_that_snaps_open_is_still_solved():
    # A vent of 1 m2 within half a kelvin: the house settles within that half kelvin.
    def flow(temp, wanted):
        return 0.5 * np.clip((temp - 28.0) / 0.5, 0.0, 1.0)

    around, masses, outside, density = small_house(100, 3000.0)
    result = solve_coupled(3600.0, around, masses, 2e4, outside, density, flow, no_gain, [20.0], [[20.0]])
    assert result.residual < 0.01
    assert 28.0 < result.march.temp_air[-1, 0] < 28.5


def test_steps_that_have_settled_are_not_asked_again():
    asked = []

    def flow(temp, wanted):
        asked.append(int(wanted.sum()))
        return draught(0.3, 1.0, temp)

    around, masses, outside, density = small_house(200, 4000.0)
    # In the dark half nothing drives the air from the first sweep on.
    around.sun_air[100:] = 0.0
    solve_coupled(3600.0, around, masses, 2e4, outside, density, flow, no_gain, [20.0], [[20.0]])
    assert asked[0] == 200
    assert asked[-1] < asked[0]


# --- a plan's own air -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def hobby():
    loaded = hobby_plan()
    weather = hobby_weather(loaded, "spring")
    return loaded, weather, hobby_run(loaded, weather, ("closed", "openings", "both"))


def test_the_answer_solves_the_network_at_its_own_temperature(hobby):
    loaded, weather, run = hobby
    still = FanState.standing(loaded, len(weather))
    air = FreshAir(loaded, run.model, still, ("openings",))
    temp = run.temp_inside[:, [1]]
    again = air(temp, np.ones(temp.shape, dtype=bool))[:, 0]
    np.testing.assert_allclose(again, run.flow[:, 1], rtol=2e-3, atol=1e-5)


def test_the_top_of_the_floor_is_the_mean_of_its_masses_and_things_stand_beside_it():
    loaded = hobby_plan(drums=True)
    run = hobby_run(loaded, hobby_weather(loaded, "spring"), ("closed", "openings"))
    assert run.temp_things.shape == (*run.temp_inside.shape[:1], len(loaded.record.mass), 2)
    # Warmer by day than in the night, later than the air, and between the air and the ground in the mean.
    floor, air = run.temp_floor, run.temp_inside
    assert floor.shape == air.shape
    mean = np.average(run.temp_mass[:, :3, 1], axis=1, weights=run.model.floor_weight)
    np.testing.assert_allclose(floor[:, 1], mean)
    assert 0 < np.ptp(floor[-24:, 1]) < np.ptp(air[-24:, 1])
    assert floor[-24:, 1].argmax() >= air[-24:, 1].argmax()


def test_shut_is_hottest_by_day_and_warmest_by_night(hobby):
    _, weather, run = hobby
    lit = weather["ghi"].to_numpy() > 300
    assert (run.case("closed")[lit] > run.case("openings")[lit]).all()
    assert run.case("closed")[-24:].min() >= run.case("openings")[-24:].min()


def test_warm_air_leaves_by_the_roof_and_comes_in_below():
    loaded = hobby_plan()
    calm = hobby_weather(loaded, "spring")
    calm["wind_speed"] = 0.0
    still = hobby_run(loaded, calm, ("openings",))
    network = AirNetwork(loaded, still.model.outside)
    flows = network.flows(still.temp_inside[:, 0], np.array([60]))
    louvre, south, north = flows.inlet_flow[:, 0]
    assert louvre < 0 < south
    assert south == pytest.approx(north)


def test_a_vent_beside_a_fan_short_circuits_it():
    # With the roof vents held open the fans draw through them rather than through the far louvre.
    loaded = hobby_plan()
    weather = hobby_weather(loaded, "spring")
    weather["wind_speed"] = 0.0
    run = hobby_run(loaded, weather, ("closed",))
    outside = run.model.outside
    cool = run.model.temp_air + 0.01
    through = []
    for share in (0.0, 1.0):
        network = AirNetwork(loaded, outside, open_share=share)
        flows = network.flows(cool, np.array([60]), np.full((2, 1), 12.0), np.ones((2, 1), dtype=bool))
        through.append((-flows.inlet_flow[0, 0], flows.flow.sum()))
    assert through[1][0] < 0.5 * through[0][0]
    assert through[1][1] >= through[0][1]


def test_wind_on_its_wall_stops_a_weak_fan(small_plan):
    # The inlet is sheltered: only the wind at the fan's own outlet is at work.
    loaded = small_plan({"fan.0.wall_azimuth": 90, "fan.1.wall_azimuth": 90})
    weather = hobby_weather(hobby_plan(), "spring")
    run = hobby_run(loaded, weather, ("closed",))
    blown = []
    for direction in (270.0, 90.0):
        strong, origin = np.full(len(weather), 16.0), np.full(len(weather), direction)
        model = replace(run.model, wind_speed=strong, wind_direction=origin)
        network = AirNetwork(loaded, model.outside)
        flows = network.flows(model.temp_air, np.array([60]), np.full((2, 1), 8.0), np.ones((2, 1), dtype=bool), True)
        blown.append(flows.flow[0, 0])
    # In the lee it is drawn on, in the wind it is blown back.
    assert blown[0] > 0 > blown[1]


def test_a_vent_too_heavy_for_its_opener_stays_shut(small_plan):
    vent = {
        "id": "roof-vent", "part": "window-vent", "area": "0.4 m2", "on": "roof", "height": "2 m",
        "opener": "wax-opener", "vent_weight": "9 kg",
    }  # fmt: skip
    loaded = small_plan({"opening.0": vent})
    light = small_plan({"opening.0": vent | {"vent_weight": "5 kg"}})
    weather = hobby_weather(hobby_plan(), "spring")
    heavy_run, light_run = (hobby_run(one, weather, ("openings",)) for one in (loaded, light))
    assert heavy_run.flow.max() < light_run.flow.max()


def test_everything_shut_at_dusk_leaves_the_cracks():
    loaded = hobby_plan()
    weather = hobby_weather(loaded, "spring")
    run = hobby_run(loaded, weather, ("openings",))
    still = FanState.standing(loaded, len(weather))
    air = FreshAir(loaded, run.model, still, ("openings",), shut_at_night=True)
    every = np.ones(run.temp_inside.shape, dtype=bool)
    shut, dark = air(run.temp_inside, every)[:, 0], run.model.ghi < 50
    assert (shut[dark] < run.flow[dark, 0]).all()
    np.testing.assert_allclose(shut[~dark], run.flow[~dark, 0], rtol=2e-3)


def test_a_tall_door_breathes_by_itself(small_plan):
    # A door alone, 2 m high, lets warm air out at the top and cold air in below; as a mere hole at one height it does
    # not.
    door = {"id": "door", "part": "plain-hole", "area": "1.4 m2", "height": "1 m", "extent": "2 m"}
    flows = []
    for changes in ({}, {"extent": "0 m"}):
        loaded = small_plan({"opening.0": door | changes})
        weather = hobby_weather(hobby_plan(), "spring")
        weather["wind_speed"] = 0.0
        run = hobby_run(loaded, weather, ("closed",))
        network = AirNetwork(loaded, run.model.outside)
        flows.append(network.flows(run.model.temp_air + 10.0, np.array([60])).inflow[0])
    # Cd A / 3 sqrt(g h dT / T) with 0.6 and four slices.
    exact = 0.6 * 1.4 / 3 * np.sqrt(9.80665 * 2.0 * 10 / 300)
    assert flows[0] == pytest.approx(exact, rel=0.15)
    assert flows[1] < 0.5 * flows[0]
