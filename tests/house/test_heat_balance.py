import numpy as np
import pytest
from heat import heat_imbalance
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.base.errors import DomainError
from solarvent.house.heat_balance import Masses, Surroundings, march

plain = settings(deadline=None, max_examples=40)
HOUR = 3600.0
AIR = 1.2 * 1006.0


def masses(*rows):
    """Rows of capacity, conductance and far conductance, for one case."""
    return Masses(*(np.array(column, dtype=float)[:, None] for column in zip(*rows, strict=True)))


def constant(steps, conductance, temp_out, sun=0.0, temp_far=0.0, shares=(0.0,)):
    """Steady surroundings; the masses take shares of the sun and the air has the rest."""
    whole = np.ones((steps, 1))
    return Surroundings(
        whole * conductance,
        whole * conductance * temp_out,
        whole * sun * (1 - sum(shares)),
        np.stack([whole * sun * share for share in shares], axis=1),
        whole * temp_far,
    )


def test_the_steady_state_is_the_balance_of_the_greenhouse_standard():
    # The form of ANSI/ASAE EP406 (from memory): 800 W/m2 on 7.2 m2, 28 m2 of cover with U 3.9, 0.05 m3/s of air.
    flow, ghi, floor, cover, passed, vapour, u_value = 0.05, 800.0, 7.2, 28.0, 0.7, 0.25, 3.9
    sun = passed * (1 - vapour) * ghi * floor
    around = constant(2000, u_value * cover + AIR * flow, 21.0, sun, shares=(0.3, 0.2))
    result = march(HOUR, around, masses((8e5, 20.0, 0.0), (3e6, 40.0, 0.0)), 2e4, [21.0], [[21.0], [21.0]])
    expected = 21.0 + sun / (u_value * cover + AIR * flow)
    assert result.temp_air[-1, 0] == pytest.approx(expected, rel=1e-6)


def test_the_steady_state_with_a_path_into_the_ground():
    around = constant(5000, 120.0, 5.0, 1500.0, temp_far=12.0, shares=(0.3, 0.5))
    rows = (8e5, 20.0, 0.0), (3e6, 40.0, 15.0)
    result = march(HOUR, around, masses(*rows), 2e4, [5.0], [[5.0], [5.0]])
    # By hand: unknown mass and air, two linear equations.
    matrix = np.array([[120.0 + 40.0, -40.0], [-40.0, 40.0 + 15.0]])
    air, _ = np.linalg.solve(matrix, [600.0 + 1500.0 * 0.5, 1500.0 * 0.5 + 15.0 * 12.0])
    assert result.temp_air[-1, 0] == pytest.approx(air, rel=1e-9)


@pytest.mark.parametrize("step", [600.0, HOUR])
def test_a_mass_in_air_of_one_temperature_follows_its_exponential(step):
    # The surroundings hold the air; a drum of 0.87 MJ/K with 13.5 W/K cools from 20 to 0 degC.
    steps = int(24 * HOUR / step)
    drum = masses((0.87e6, 13.5, 0.0))
    result = march(step, constant(steps, 1e12, 0.0), drum, 0.0, [0.0], [[20.0]])
    times = step * np.arange(1, steps + 1)
    expected = 20.0 * np.exp(-13.5 * times / 0.87e6)
    assert result.temp_mass[:, 0, 0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("step", [600.0, HOUR])
@pytest.mark.parametrize("count", [1, 4])
def test_a_mass_that_cools_through_the_house_follows_its_exponential(step, count):
    # Air without capacity between the mass and outside: a mass behind two conductances in a row, an exponential again.
    steps = int(24 * HOUR / step)
    drums = masses((count * 0.87e6, count * 13.5, 0.0))
    result = march(step, constant(steps, 80.0, 0.0), drums, 0.0, [20.0], [[20.0]])
    path = 1 / (1 / (count * 13.5) + 1 / 80.0)
    expected = 20.0 * np.exp(-path * step * np.arange(1, steps + 1) / (count * 0.87e6))
    assert result.temp_mass[:, 0, 0] == pytest.approx(expected, rel=1e-3)


def test_two_masses_against_a_fine_solver():
    from scipy.integrate import solve_ivp

    rows, shares = ((0.87e6, 13.5, 0.0), (2.0e6, 45.0, 10.0)), np.array([0.2, 0.4])

    def outside(time):
        return 5 + 8 * np.sin(2 * np.pi * time / 86_400), max(0.0, 3000 * np.sin(2 * np.pi * time / 86_400))

    def slope(time, state):
        out, sun = outside(time)
        mass = np.array(state)
        capacity, inner, far = (np.array(column) for column in zip(*rows, strict=True))
        air = (90 * out + sun * (1 - shares.sum()) + (inner * mass).sum()) / (90 + inner.sum())
        return (inner * (air - mass) + far * (10 - mass) + shares * sun) / capacity

    exact = solve_ivp(slope, (0, 2 * 86_400), [8.0, 10.0], rtol=1e-9, atol=1e-9, t_eval=[2 * 86_400], max_step=300)
    middles = (np.arange(48) + 0.5) * HOUR
    out, sun = (np.array(values)[:, None] for values in zip(*map(outside, middles), strict=True))
    around = Surroundings(
        np.full((48, 1), 90.0), 90 * out, 0.4 * sun, sun[:, None] * shares[:, None], np.full((48, 1), 10.0)
    )
    result = march(HOUR, around, masses(*rows), 0.0, [8.0], [[8.0], [10.0]])
    # An hourly step holds the weather still for an hour; that is what the tenth of a kelvin is for.
    assert result.temp_mass[-1, :, 0] == pytest.approx(exact.y[:, -1], abs=0.1)


@plain
@given(
    seed=st.integers(0, 2**32 - 1), steps=st.integers(1, 60), count=st.integers(1, 4), cases=st.integers(1, 3),
    step=st.sampled_from([60.0, 600.0, HOUR, 86_400.0]), power=st.floats(0.0, 5000.0),
)  # fmt: skip
def test_energy_in_is_energy_out_and_stored(seed, steps, count, cases, step, power):
    rng = np.random.default_rng(seed)
    shape = (count, cases)
    things = Masses(rng.uniform(1e3, 1e7, shape), rng.uniform(0.1, 200, shape), rng.uniform(0, 50, shape))
    conductance = rng.uniform(0.0, 500.0, (steps, cases))
    around = Surroundings(
        conductance,
        conductance * rng.uniform(-20, 40, (steps, cases)),
        rng.uniform(0, 6000, (steps, cases)),
        rng.uniform(0, 2000, (steps, count, cases)),
        rng.uniform(0, 20, (steps, cases)),
    )
    start, start_mass = rng.uniform(-10, 30, cases), rng.uniform(-10, 30, shape)
    result = march(step, around, things, 2e4, start, start_mass, power, 8.0)
    assert np.abs(heat_imbalance(step, result, around, things, 2e4, start, start_mass)).max() < 1e-9
    assert (result.heater >= 0).all()
    assert (result.heater <= power + 1e-9).all()


def test_a_lost_watt_shows_in_the_account():
    drum, around = masses((0.87e6, 13.5, 0.0)), constant(24, 80.0, 0.0, 100.0)
    result = march(HOUR, around, drum, 2e4, [20.0], [[20.0]])
    wrong = constant(24, 80.0, 0.0, 101.0)
    assert abs(heat_imbalance(HOUR, result, wrong, drum, 2e4, [20.0], [[20.0]])[0]) > 1e-4


@plain
@given(seed=st.integers(0, 2**32 - 1), more=st.floats(1.0, 2000.0))
def test_more_sun_never_cools(seed, more):
    rng = np.random.default_rng(seed)
    drum, share = masses((rng.uniform(1e4, 1e7), rng.uniform(1, 100), rng.uniform(0, 20))), rng.uniform(0, 1)
    airs = [
        march(HOUR, constant(30, 80.0, 5.0, sun, shares=(share,)), drum, 2e4, [5.0], [[5.0]]).temp_air
        for sun in (500.0, 500.0 + more)
    ]
    assert (airs[1] >= airs[0] - 1e-9).all()


def test_a_thermostat_holds_its_temperature_while_the_heater_can():
    drum = masses((0.87e6, 13.5, 0.0))
    strong = march(HOUR, constant(200, 80.0, -5.0), drum, 2e4, [10.0], [[10.0]], 2000.0, 5.0)
    assert strong.temp_air.min() == pytest.approx(5.0, abs=1e-9)
    # In the end it makes up the whole loss: 80 W/K x 10 K.
    assert strong.heater[-1, 0] == pytest.approx(800.0, rel=1e-3)
    weak = march(HOUR, constant(200, 80.0, -5.0), drum, 2e4, [10.0], [[10.0]], 400.0, 5.0)
    assert weak.heater.max() == 400
    assert weak.temp_air[-1, 0] == pytest.approx(0.0, abs=1e-3)


def test_a_heated_house_beside_an_unheated_one_warms_only_itself():
    drums = Masses(np.full((1, 2), 0.87e6), np.full((1, 2), 13.5), np.zeros((1, 2)))
    both = march(HOUR, constant(60, 80.0, -5.0), drums, 2e4, [10.0] * 2, [[10.0] * 2], [2000.0, 0.0], 5.0)
    assert both.temp_air[:, 0].min() == pytest.approx(5.0, abs=1e-9)
    cold = march(HOUR, constant(60, 80.0, -5.0), masses((0.87e6, 13.5, 0.0)), 2e4, [10.0], [[10.0]])
    assert both.temp_air[:, 1] == pytest.approx(cold.temp_air[:, 0], rel=1e-9)
    assert not both.heater[:, 1].any()


def test_what_a_mass_gains_came_from_the_air_the_sun_and_the_ground():
    # A mass of its own by its own account: the heat that the march says it got is the warmth that it shows.
    rows, shares = ((0.87e6, 13.5, 0.0), (2.0e6, 45.0, 10.0)), (0.2, 0.4)
    result = march(HOUR, constant(30, 90.0, 5.0, 2000.0, 12.0, shares), masses(*rows), 2e4, [8.0], [[8.0], [20.0]])
    warmth = np.diff(result.temp_mass[:, :, 0], axis=0, prepend=[[8.0, 20.0]]) * [0.87e6, 2.0e6] / HOUR
    lost = np.stack([np.zeros(30), result.to_far[:, 0]], axis=1)
    np.testing.assert_allclose(result.to_masses[:, :, 0] + [400.0, 800.0] - lost, warmth, rtol=1e-9, atol=1e-6)


def test_more_water_keeps_the_night_warmer():
    lows = []
    for litres in (1, 200, 800):
        mass = masses((litres * 4186.0, litres * 0.065, 0.0))
        lows.append(march(HOUR, constant(12, 80.0, -3.0), mass, 2e4, [15.0], [[15.0]]).temp_air.min())
    assert lows[0] < lows[1] < lows[2]


def test_cases_do_not_mix():
    rng = np.random.default_rng(5)
    things = Masses(*(rng.uniform(1, 5, (2, 3)) * scale for scale in (1e6, 20.0, 5.0)))
    conductance = rng.uniform(50, 200, (40, 3))
    around = Surroundings(
        conductance,
        conductance * 5,
        rng.uniform(0, 3000, (40, 3)),
        rng.uniform(0, 500, (40, 2, 3)),
        np.full((40, 3), 9.0),
    )
    together = march(HOUR, around, things, 2e4, [5.0] * 3, np.full((2, 3), 8.0))
    for case in range(3):
        one = slice(case, case + 1)
        alone = march(
            HOUR,
            Surroundings(*(values[..., one] for values in vars(around).values())),
            Masses(*(values[:, one] for values in vars(things).values())),
            2e4, [5.0], np.full((2, 1), 8.0),
        )  # fmt: skip
        assert together.temp_air[:, case] == pytest.approx(alone.temp_air[:, 0], rel=1e-12)


@pytest.mark.parametrize(("steps", "cases"), [(1, 1), (2, 3), (37, 2), (1000, 3), (300, 60)])
def test_stretches_side_by_side_are_the_same_as_step_by_step(steps, cases):
    rng = np.random.default_rng(steps)
    things = Masses(*(rng.uniform(1, 5, (2, cases)) * scale for scale in (1e6, 20.0, 5.0)))
    conductance = rng.uniform(50, 200, (steps, cases))
    around = Surroundings(
        conductance, conductance * rng.uniform(-10, 30, (steps, cases)), rng.uniform(0, 3000, (steps, cases)),
        rng.uniform(0, 500, (steps, 2, cases)), rng.uniform(5, 15, (steps, cases)),
    )  # fmt: skip
    start = (2e4, rng.uniform(0, 20, cases), rng.uniform(0, 20, (2, cases)))
    # A heater that never comes on makes the march go one step at a time.
    by_step = march(HOUR, around, things, *start, heater_power=1.0, thermostat=-1e9)
    at_once = march(HOUR, around, things, *start)
    assert not by_step.heater.any()
    assert at_once.temp_air == pytest.approx(by_step.temp_air, abs=1e-9)
    assert at_once.temp_mass == pytest.approx(by_step.temp_mass, abs=1e-9)


def test_a_missing_value_leaves_what_was_before_it():
    around = constant(100, 80.0, 5.0, sun=200.0)
    around.drive[60] = np.nan
    result = march(HOUR, around, masses((1e6, 20.0, 0.0)), 2e4, [5.0], [[5.0]])
    assert np.isfinite(result.temp_air[:60]).all()
    assert np.isnan(result.temp_air[60:]).all()


def test_what_has_no_meaning_is_refused_all_at_once():
    with pytest.raises(DomainError, match=r"(?s)step: is 0.0 s; give a length.*capacity.*conductance"):
        march(0.0, constant(2, 80.0, 0.0), masses((0.0, -1.0, 0.0)), 2e4, [0.0], [[0.0]])
    # One mass that stores nothing among others is one too many.
    with pytest.raises(DomainError, match=r"masses.capacity: is not above zero; leave out"):
        march(1.0, constant(2, 80.0, 0.0, shares=(0, 0)), masses((1e6, 5.0, 0.0), (0.0, 5.0, 0.0)), 2e4, [0.0], [[0.0]])
