import numpy as np
import pytest

from solarvent.planning.heat import need, steady_rise

CFM = 0.3048**3 / 60
GREENHOUSE = {"house.use": "greenhouse", "house.cover": "single-glass"}


def test_heat_in_is_heat_out(small_plan):
    # The balance by hand: sun through the cover less vapour = loss through the cover + warmth of the air that leaves.
    loaded = small_plan(GREENHOUSE | {"house.planting": "half", "house.tightness": "average"})
    cover = loaded.cover("single-glass")
    ghi, flow = np.array([0.0, 300.0, 800.0]), np.array([0.0, 0.02, 0.1])
    rise = steady_rise(loaded, ghi, flow)
    slope = np.hypot(1.0, 0.5)
    area = 2 * 3 * 1.8 + 2 * (2 * 1.8 + 2 * 0.5 / 2) + 2 * 3 * slope
    gain = cover.transmittance * (1 - 0.25) * ghi * 3 * 2
    leak = 1.5 * 3 * 2 * 2.05 / 3600
    loss = (cover.u_value * area + 1.2 * 1006 * (flow + leak)) * rise
    np.testing.assert_allclose(gain, loss, rtol=1e-6)
    assert rise[0] == 0


def test_leaves_cool_and_leaks_cool(small_plan):
    def rise(**house):
        loaded = small_plan(GREENHOUSE | {f"house.{key}": value for key, value in house.items()})
        return float(steady_rise(loaded, np.array([700.0]), np.array([0.02]))[0])

    assert rise(planting="empty") > rise(planting="half") > rise(planting="full")
    assert rise(tightness="tight") > rise(tightness="average") > rise(tightness="leaky")


def test_the_flow_that_is_needed_holds_the_wanted_rise(small_plan):
    loaded = small_plan(GREENHOUSE | {"target": {"rise": "6 K"}})
    wanted = need(loaded, 800.0)
    leak = 1.5 * 3 * 2 * 2.05 / 3600
    rise = steady_rise(loaded, np.array([800.0]), np.array([wanted.by_balance - leak]))
    assert rise[0] == pytest.approx(6.0, rel=1e-9)
    assert wanted.wanted == wanted.by_balance


def test_the_plans_own_target_comes_before_the_balance(small_plan):
    by_flow = need(small_plan({"target": {"flow": "500 m3/h", "air_changes": 10}}), 800.0)
    assert by_flow.wanted * 3600 == pytest.approx(500)
    by_changes = need(small_plan({"target": {"air_changes": 30}}), 800.0)
    assert by_changes.wanted_air_changes == pytest.approx(30)
    assert by_changes.wanted * 3600 == pytest.approx(30 * 3 * 2 * 2.05)


def test_the_rules_of_the_trade_stand_beside_it(small_plan):
    wanted = need(small_plan(), 800.0)
    assert wanted.by_volume == pytest.approx(3 * 2 * 2.05 / 60)
    # 8-10 cfm for each square foot of floor.
    floor = 3 * 2 / 0.3048**2
    assert wanted.by_floor == pytest.approx((8 * floor * CFM, 10 * floor * CFM))
    assert wanted.ghi == 800.0


def test_without_sun_no_air_is_needed(small_plan):
    assert need(small_plan({"target": {"rise": "6 K"}}), 0.0).wanted == 0.0
