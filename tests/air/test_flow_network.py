"""The fans, openings and cracks of a plan as one flow network."""

from math import pi

import numpy as np
import pytest

from solarvent.air.network import AirNetwork, FanState, assumed_inside, calm_flow, hole_area, leakage_area, ventilate
from solarvent.electrical.panel_model import HIGH, LOW, TYPICAL
from solarvent.weather.conditions import OutsideAir

HOUR = 3600.0


def outside(speed, direction=0.0, temp=20.0, density=1.2, dark=False):
    """Air around a house in hourly steps, as many as the longest value has."""
    values = np.broadcast_arrays(*(np.atleast_1d(one) for one in (temp, density, speed, direction, dark)))
    return OutsideAir(3600.0, *(np.array(one) for one in values))


def air_of(loaded, volts, running, wind=None, band=TYPICAL, warmer=0.0):
    """The air of fans at a voltage, in a house that is so much warmer than outside."""
    running = np.array(running, dtype=bool)
    wind = outside(np.zeros(running.shape[1])) if wind is None else wind
    fans = FanState.by_step(np.broadcast_to(np.asarray(volts, dtype=float), running.shape), running)
    return ventilate(loaded, wind, fans, band, wind.temp_air + warmer)


def test_one_fan_in_still_air_by_hand(small_plan):
    # Speed 20/24: flow goes with it, pressure with its square. At the crossing of the parabola with the losses of hood,
    # hole of the standing twin and inlets p0 s^2 (1 - (Q/(s Q0))^2) = 0.6 Q^2 / outlet^2 + 0.6 (Q / rest)^2.
    loaded = small_plan({"fan.1.outlet_opening": "straight-out"})
    fan = loaded.record.fan[0]
    air = air_of(loaded, 20.0, [[1], [0]])
    speed, free, highest = 20 / 24, 0.9 * 110 / HOUR, 20.0
    hood = 0.8 * pi / 4 * 0.12**2
    hole = 0.6 * 0.65 * 0.12**2
    behind = (hole**-2 + (1.0 * pi / 4 * 0.12**2) ** -2) ** -0.5
    rest = 0.6 * 0.1 + leakage_area(loaded) + behind
    flow = speed * np.sqrt(highest / (highest / free**2 + 0.6 / hood**2 + 0.6 / rest**2))
    assert air.fan_flow[0, 0] == pytest.approx(flow, rel=1e-4)
    # What comes back through the standing twin goes round in a circle: it is no fresh air.
    assert air.fan_flow[1, 0] == pytest.approx(-flow * behind / rest, rel=1e-3)
    assert air.flow[0] == pytest.approx(flow * (1 - behind / rest), rel=1e-3)
    assert hole_area(fan) == pytest.approx(hole)


def test_no_air_is_counted_while_no_fan_turns(small_plan):
    wind = outside([8.0, 8.0], [90.0, 90.0])
    loaded = small_plan({"fan.0.wall_azimuth": 270, "opening.0.wall_azimuth": 90})
    air = air_of(loaded, 20.0, [[0, 1], [0, 0]], wind)
    assert (air.flow[0], air.fan_flow[0, 0]) == (0.0, 0.0)
    assert air.flow[1] > 0


def test_the_draught_between_two_openings_is_not_the_fans_work(small_plan):
    vents = [{"id": f"vent-{side}", "part": "plain-hole", "area": "0.5 m2", "wall_azimuth": side} for side in (0, 180)]
    loaded = small_plan({"opening": vents})
    calm, windy = (air_of(loaded, 20.0, [[1], [1]], outside(speed, 0.0)) for speed in (0.0, 10.0))
    # Ten metres a second would blow over 2000 m3/h from vent to vent.
    assert windy.flow[0] == pytest.approx(windy.fan_flow[:, 0].sum())
    assert windy.flow[0] * HOUR < 300
    assert calm.flow[0] * HOUR > 100


def test_wind_that_turns_all_fans_back_leaves_no_flow_rather_than_less_than_none(small_plan):
    loaded = small_plan({"fan.0.wall_azimuth": 270, "fan.1.wall_azimuth": 270, "opening.0.wall_azimuth": 90})
    air = air_of(loaded, 10.0, [[1], [1]], outside(25.0, 270.0))
    assert (air.fan_flow[:, 0] < 0).all()
    assert air.flow[0] == 0.0
    assert air.pushed_back[:, 0].all()


def test_only_its_share_of_the_stations_wind_meets_the_house(small_plan):
    changes = {"fan.0.wall_azimuth": 270, "opening.0.wall_azimuth": 90}
    full, half = (small_plan(changes | {"place.wind_share": share}) for share in (1.0, 0.5))
    west = outside(6.0, 270.0)
    assert air_of(half, 20.0, [[1], [0]], west).flow[0] == pytest.approx(
        air_of(full, 20.0, [[1], [0]], outside(3.0, 270.0)).flow[0], rel=1e-9
    )
    assert air_of(full, 20.0, [[1], [0]], west).flow[0] < air_of(half, 20.0, [[1], [0]], west).flow[0]


def test_a_wall_without_a_direction_is_sheltered(small_plan):
    loaded = small_plan()
    calm, storm = (air_of(loaded, 20.0, [[1], [1]], outside(speed, 45.0)) for speed in (0.0, 20.0))
    assert storm.flow[0] == calm.flow[0]


@pytest.mark.parametrize("missing", ["wind_speed", "wind_direction"])
def test_missing_wind_is_calm_in_its_own_steps_only(small_plan, missing):
    loaded = small_plan({"fan.0.wall_azimuth": 270, "opening.0.wall_azimuth": 90})
    wind = outside([6.0, 6.0], [270.0, 270.0])
    getattr(wind, missing)[0] = np.nan
    air = air_of(loaded, 20.0, [[1, 1], [0, 0]], wind)
    assert air.flow[0] == pytest.approx(air_of(loaded, 20.0, [[1], [0]]).flow[0])
    assert air.flow[1] < air.flow[0]


def test_strong_fans_move_more_than_weak_ones(small_plan):
    loaded = small_plan()
    flows = [air_of(loaded, 20.0, [[1], [1]], band=band).flow[0] for band in (LOW, TYPICAL, HIGH)]
    assert flows == sorted(flows)


def test_a_house_that_is_not_carried_is_as_warm_as_the_plan_allows(small_plan):
    loaded = small_plan({"target": {"rise": "6 K"}})
    air = outside(0.0, temp=[10.0, 25.0])
    assert assumed_inside(loaded, air).tolist() == [16.0, 31.0]
    fans = FanState.by_step(np.full((2, 2), 20.0), np.ones((2, 2), dtype=bool))
    assumed, told = ventilate(loaded, air, fans), ventilate(loaded, air, fans, temp_inside=air.temp_air + 6.0)
    np.testing.assert_array_equal(assumed.flow, told.flow)


def test_a_warm_house_helps_a_high_fan_by_its_draught(small_plan):
    # The fan hangs 2 m over the inlet: the draught of 2 m adds to its pressure, rho g h dT / T = 0.78 Pa at 10 K.
    # A tight house, for the cracks lie at half its height.
    tight = {"house.tightness": "tight"}
    heights = {"fan.0.height": "2 m", "fan.1.height": "2 m", "opening.0.height": "0 m"}
    loaded = small_plan(tight | heights)
    cool, warm = (air_of(loaded, 20.0, [[1], [1]], warmer=warmer).flow[0] for warmer in (0.0, 10.0))
    draught = 1.2 * 9.80665 * 2.0 * 10.0 / 303.15
    lee = small_plan(tight | {"fan.0.wall_azimuth": 0, "fan.1.wall_azimuth": 0})
    # The same pressure from wind on the lee side, where the coefficient is -0.364.
    speed = np.sqrt(draught / (0.6 * 0.36418))
    sucked = air_of(lee, 20.0, [[1], [1]], outside(speed / loaded.record.place.wind_share, 180.0)).flow[0]
    assert warm > cool
    assert warm == pytest.approx(sucked, rel=2e-3)


def test_wind_over_the_roof_draws_air_through_a_standing_fan(small_plan):
    # A roof vent in the wind has a coefficient of -0.4; what it draws in through a standing fan is not the fans' work.
    vent = {"id": "roof-vent", "part": "plain-hole", "area": "0.3 m2", "on": "roof", "height": "2 m"}
    loaded = small_plan({"opening.0": vent})
    calm, windy = (air_of(loaded, 20.0, [[1], [0]], outside(speed)) for speed in (0.0, 8.0))
    assert windy.fan_flow[1, 0] < calm.fan_flow[1, 0]
    assert windy.flow[0] < calm.flow[0]


def test_a_vent_with_an_opener_is_as_open_as_its_wax_is_warm(small_plan):
    vent = {"id": "vent", "part": "plain-hole", "area": "0.3 m2", "opener": "wax-opener", "opens_at": "20 degC"}
    tight = {"house.tightness": "tight"}
    loaded = small_plan(tight | {"opening.0": vent})
    cold, warm = (air_of(loaded, 20.0, [[1, 1], [1, 1]], outside(0.0, temp=[temp, temp])) for temp in (5.0, 40.0))
    # In the cold the cracks and nothing else lets air in.
    assert cold.flow[-1] < 0.7 * warm.flow[-1]
    bare = small_plan(tight | {"opening.0": {"id": "vent", "part": "plain-hole", "area": "0.3 m2"}})
    assert warm.flow[-1] == pytest.approx(air_of(bare, 20.0, [[1], [1]], outside(0.0, temp=40.0)).flow[0], rel=1e-9)


def test_thin_air_carries_less_wind_and_the_same_volume(small_plan):
    loaded = small_plan({"fan.0.wall_azimuth": 270, "fan.1.wall_azimuth": 270})
    full, thin = (air_of(loaded, 20.0, [[1], [1]], outside(6.0, 270.0, density=density)) for density in (1.2, 0.9))
    # Fan, openings and wind all go with the density: the volumes are the same.
    assert thin.flow[0] == pytest.approx(full.flow[0], rel=1e-9)


def test_fans_that_share_an_inlet_in_calm_air(small_plan):
    loaded = small_plan()
    volts = {"east": 20.0, "west": 20.0}
    alone = [calm_flow(loaded, volts, [fan]) for fan in loaded.record.fan]
    together = calm_flow(loaded, volts, loaded.record.fan)
    assert max(alone) < together < sum(alone)
    assert together == pytest.approx(air_of(loaded, 20.0, [[1], [1]]).flow[0], rel=1e-9)


def test_a_vent_shut_at_night_is_open_by_day(small_plan):
    vent = {"id": "vent", "part": "plain-hole", "area": "0.3 m2", "at_night": "shut"}
    loaded = small_plan({"opening.0": vent})
    network = AirNetwork(loaded, outside(5.0, dark=[True, False]))
    through = network.flows(np.array([20.0, 20.0]), np.arange(2)).inlet_flow[0]
    assert through[0] == 0.0


def test_a_fan_that_blows_in_moves_as_much_as_one_that_blows_out(small_plan):
    ways = [[], [0, 1], [0]]
    plans = [small_plan({f"fan.{number}.blows_in": True for number in inward}) for inward in ways]
    out, into, through = (air_of(loaded, 20.0, [[1], [1]]) for loaded in plans)
    assert into.flow[0] == pytest.approx(out.flow[0], rel=1e-9)
    np.testing.assert_allclose(into.fan_flow, out.fan_flow, rtol=1e-9)
    # One in, one out: the same air passes both, and nothing chokes it.
    assert through.flow[0] == pytest.approx(through.fan_flow[0, 0])
    assert through.fan_flow[0, 0] == pytest.approx(through.fan_flow[1, 0], rel=1e-6)
    assert 0.5 * out.flow[0] < through.flow[0] < out.flow[0]
