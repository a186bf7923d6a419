from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.air.airflow import FanPath, OpeningPath, Outlet, air_changes, house_flow
from solarvent.air.fan import FanCurve
from solarvent.air.opening import duct_area, series_area, wind_pressure
from solarvent.base.errors import DomainError

HOUR = 3600.0
plain = settings(deadline=None, max_examples=60)

# A typical 120 x 25 mm fan: 110 m3/h free, 20 Pa shut off, 116 mm swept, 45 mm hub.
SMALL = FanCurve.from_two_points(110 / HOUR, 20.0)
SMALL_HOLE = 0.6 * np.pi / 4 * (0.116**2 - 0.045**2)


def small_fan(**changes):
    return FanPath(SMALL, SMALL_HOLE, **changes)


STRONG = FanCurve.from_two_points(194 / HOUR, 85.0)
STRONG_AS_A_LINE = FanCurve([0.0, 194 / HOUR], [85.0, 0.0], measured=True)


@pytest.mark.parametrize(
    ("curve", "hole"),
    [
        # The two readings of "the fan hole" that fit: a parabola with the 120 mm circle ...
        (STRONG, np.pi / 4 * 0.12**2),
        # ... and a straight line with the 120 mm square.
        (STRONG_AS_A_LINE, 0.12**2),
    ],
)
def test_an_inlet_of_half_the_fan_hole_chokes_it(curve, hole):
    # F46, common practice, no source: a 120 x 38 mm fan, 194 m3/h free, 85 Pa shut off, gives about 116 m3/h
    # with an inlet of half its hole and 188 with three times. The note states neither the curve's shape nor
    # the coefficient (0.6 here); hence 1 %. With the annulus as the hole a parabola gives 102 and 187.
    fan = FanPath(curve, hole_area=0.005)
    half, triple = (house_flow([fan], [OpeningPath(0.6 * factor * hole)]).flow[0, 0] * HOUR for factor in (0.5, 3.0))
    assert half == pytest.approx(116, rel=0.01)
    assert triple == pytest.approx(188, rel=0.01)


def test_a_strong_small_fan_in_a_small_greenhouse():
    # Common practice, no source: 194 m3/h in about 9 m3 is about 21 air changes an hour.
    flow = house_flow([FanPath(STRONG, 0.005)], [OpeningPath(100.0)]).flow[0, 0]
    assert air_changes(flow, 9.02) == pytest.approx(21.5, rel=0.01)


def test_a_fan_at_an_endless_inlet_follows_its_own_curve():
    curve = FanCurve([0.0, 0.02, 0.03], [20.0, 12.0, 0.0], measured=True)
    wind = np.array([0.0, 3.0, 12.0, 15.0])
    speed = np.array([1.0, 0.7, 1.0, 1.1])
    air = house_flow([FanPath(curve, SMALL_HOLE, speed, wind_pressure=wind)], [OpeningPath(1e4)])
    # Fan laws: flow with the speed, pressure with its square.
    expected = speed * np.interp(wind / speed**2, [0.0, 12.0, 20.0], [0.03, 0.02, 0.0])
    np.testing.assert_allclose(air.flow[0], expected, rtol=1e-6)
    assert not air.curve_left.any()


@pytest.mark.parametrize("pressure", [0.5, 5.4, 30.0])
def test_an_opening_agrees_with_the_orifice_of_the_fluids_library(pressure):
    # flow_meter_discharge of fluids (from PyPI) in a pipe so wide that the approach speed does not count.
    from fluids.flow_meter import flow_meter_discharge

    mass_flow = flow_meter_discharge(D=100.0, Do=0.1, P1=101325.0 + pressure, P2=101325.0, rho=1.2, C=0.61)
    air = house_flow([], [OpeningPath(0.61 * np.pi / 4 * 0.1**2, pressure), OpeningPath(1e5)])
    assert air.inflow[0] == pytest.approx(mass_flow / 1.2, rel=1e-6)


def test_an_opening_in_the_wind_has_the_coefficient_of_the_natural_ventilation_criteria():
    # NV-03: A = 1.56 CFM / (W sqrt(dCp)) with A in ft2 and W in feet a minute (UFC 3-440-06N, appendix C),
    # so Q = A W sqrt(dCp) / 1.56, a discharge coefficient of 0.64.
    air = house_flow([], [OpeningPath(0.64, wind_pressure(3.0, 0.9)), OpeningPath(1e5)])
    assert air.inflow[0] == pytest.approx(3.0 * np.sqrt(0.9) / 1.56, rel=2e-3)


@plain
@given(speed=st.floats(0.05, 1.5), density=st.floats(0.7, 1.2), share=st.floats(0.05, 0.95))
def test_a_fan_in_still_air_follows_the_similarity_laws(speed, density, share):
    # FAN-01: flow goes with the speed whatever the density, pressure with its square and the density (trade notes).
    full = house_flow([small_fan()], [OpeningPath(0.02 * share)])
    slow = house_flow([small_fan(speed_ratio=speed)], [OpeningPath(0.02 * share)], density=1.2 * density)
    assert slow.flow[0, 0] == pytest.approx(speed * full.flow[0, 0], rel=1e-6)
    assert slow.inside_pressure[0] == pytest.approx(speed**2 * density * full.inside_pressure[0], rel=1e-6)


def test_a_computer_fan_moves_nothing_against_the_pressure_that_greenhouse_fans_are_rated_at():
    # FAN-17: 0.125 in of water, 31.1 Pa (ANSI/ASAE EP406, from memory) against 1-4 mm of water, 10-39 Pa, of
    # 25 mm fans (typical catalogue range, from memory).
    air = house_flow([small_fan(wind_pressure=0.125 * 249.09)], [OpeningPath(1.0)])
    assert air.flow[0, 0] < 0
    assert air.curve_left[0, 0] == 1


def test_wind_stops_a_weak_fan_at_half_speed():
    # F52, common practice, no source: 3 m/s head on (5.4 Pa) stops a weak 120 x 25 mm fan at half speed,
    # which makes a quarter of 20 Pa.
    wind = wind_pressure(3.0, 1.0)
    air = house_flow([small_fan(speed_ratio=0.5, wind_pressure=wind)], [OpeningPath(0.02)])
    assert air.flow[0, 0] <= 0
    assert air.curve_left[0, 0] == 1
    full = house_flow([small_fan(wind_pressure=wind)], [OpeningPath(0.02)])
    assert full.flow[0, 0] > 0
    assert full.curve_left[0, 0] == 0


def test_wind_that_draws_more_than_the_fan_blows_is_flagged():
    air = house_flow([small_fan(speed_ratio=0.3, wind_pressure=-8.0)], [OpeningPath(1.0)])
    assert air.flow[0, 0] > 0.3 * 110 / HOUR
    assert air.curve_left[0, 0] == -1


def test_a_shut_box_gives_no_air_and_full_suction():
    air = house_flow([small_fan(speed_ratio=np.array([1.0, 0.5]))], [])
    np.testing.assert_allclose(air.flow, 0.0, atol=1e-9)
    np.testing.assert_allclose(air.inside_pressure, [-20.0, -5.0], rtol=1e-6)
    np.testing.assert_allclose(air.inflow, 0.0, atol=1e-9)


def test_leaks_alone_let_a_little_air_in():
    air = house_flow([small_fan()], [OpeningPath(0.0)], leakage_area=0.001)
    assert 0 < air.inflow[0] < 0.3 * 110 / HOUR
    assert air.leakage_flow[0] == pytest.approx(-air.flow[0, 0], abs=1e-9)


def test_a_stopped_twin_is_a_hole_beside_the_fan():
    inlet = [OpeningPath(0.006)]
    alone = house_flow([small_fan()], inlet)
    beside = house_flow([small_fan(), small_fan(running=False)], inlet)
    assert beside.flow[1, 0] < 0
    assert beside.flow[0, 0] > alone.flow[0, 0]
    assert beside.flow[:, 0].sum() < alone.flow[0, 0]
    shuttered = small_fan(running=False, outlet=Outlet(0.006, opening_pressure=1.0))
    kept = house_flow([small_fan(), shuttered], inlet)
    assert kept.flow[1, 0] == 0
    assert kept.flow[0, 0] == pytest.approx(alone.flow[0, 0], rel=1e-9)


def test_two_fans_are_not_twice_the_air():
    inlet = [OpeningPath(0.006)]
    one, two = (house_flow([small_fan()] * count, inlet).inflow[0] for count in (1, 2))
    assert 1.0 < two / one < 1.9


def test_a_longer_duct_adds_air_only_where_air_ran_back_through_it():
    # A duct narrows the hole of a standing or overpowered fan as well, through which the others would draw air in
    # again: only then may it give the house more.
    rng = np.random.default_rng(1)
    helped = 0
    for _ in range(400):
        count = int(rng.integers(1, 4))
        fans = [
            FanPath(
                FanCurve.from_two_points(rng.uniform(20, 250) / HOUR, rng.uniform(5, 60)),
                rng.uniform(0.002, 0.012),
                speed_ratio=rng.uniform(0.2, 1.1),
                running=bool(rng.random() < 0.8),
                wind_pressure=rng.normal(0, 2),
                outlet=Outlet(rng.uniform(0.004, 0.03)),
            )
            for _ in range(count)
        ]
        plain, inlet, leak = fans[0].outlet.effective_area, [OpeningPath(rng.uniform(0, 0.1))], rng.uniform(0, 0.01)
        ducted = [
            [replace(fans[0], outlet=Outlet(float(series_area([plain, duct_area(0.12, metres)])))), *fans[1:]]
            for metres in (1.0, 4.0)
        ]
        short, long = (house_flow(each, inlet, leak).flow[:, 0] for each in ducted)
        if max(long.sum(), 0.0) > max(short.sum(), 0.0) * 1.0001 + 1e-9:
            helped += 1
            assert short[0] <= 1e-9
    assert helped > 10


def test_a_heavy_louvre_stays_shut_before_a_slow_fan():
    # F47, common practice, no source: blades need about 5-15 Pa; a 20 Pa fan at half speed makes 5 Pa.
    louvre = Outlet(0.006, opening_pressure=10.0, leakage_area=0.0002)
    air = house_flow([small_fan(speed_ratio=np.array([0.5, 1.0]), outlet=louvre)], [OpeningPath(0.02)])
    leak_only = 0.0002 * np.sqrt(2 * 5.0 / 1.2)
    assert 0 < air.flow[0, 0] <= leak_only
    assert air.flow[0, 1] > 20 * air.flow[0, 0]


def test_floating_blades_hold_their_own_pressure():
    # The blades take 10 of the fan's 20 Pa, so with an endless inlet the parabola gives sqrt(1/2) of the flow.
    louvre = Outlet(1.0, opening_pressure=10.0)
    air = house_flow([small_fan(outlet=louvre)], [OpeningPath(1e4)])
    assert air.flow[0, 0] == pytest.approx(110 / HOUR * np.sqrt(0.5), rel=1e-4)


def test_propped_blades_pass_more_than_hanging_ones():
    # Half the fan's pressure held by blades of a wide louvre: about sqrt(1/2) of what it passes propped.
    hanging = house_flow([small_fan(outlet=Outlet(0.05, opening_pressure=10.0))], [OpeningPath(0.05)])
    propped = house_flow([small_fan(outlet=Outlet(0.05))], [OpeningPath(0.05)])
    assert hanging.flow[0, 0] / propped.flow[0, 0] == pytest.approx(np.sqrt(0.5), rel=0.02)


def test_a_fan_that_blows_in_makes_over_pressure():
    out, into = (house_flow([small_fan(blows_in=way)], [OpeningPath(0.006)]) for way in (False, True))
    assert into.flow[0, 0] == pytest.approx(-out.flow[0, 0], rel=1e-6)
    assert into.inside_pressure[0] == pytest.approx(-out.inside_pressure[0], rel=1e-6)
    assert into.inflow[0] == pytest.approx(out.inflow[0], rel=1e-6)


def test_cross_wind_ventilates_a_house_whose_fan_stands():
    # Two equal openings in series under the whole difference of pressure: series rule, UFC 3-440-06N.
    fan = small_fan(running=False, outlet=Outlet(0.006, opening_pressure=5.0))
    air = house_flow([fan], [OpeningPath(0.1, 4.0), OpeningPath(0.1, -2.0)])
    assert air.inflow[0] == pytest.approx(series_area([0.1, 0.1]) * np.sqrt(2 * 6.0 / 1.2), rel=1e-6)


def test_thin_air_gives_way_to_the_wind_faster():
    # The openings share the wind's pressures as their areas say, whatever the air weighs; v = sqrt(2 p / rho).
    air = house_flow([], [OpeningPath(0.1, 4.0), OpeningPath(0.1, -2.0)], density=np.array([1.2, 0.6]))
    np.testing.assert_allclose(air.inside_pressure, 1.0, rtol=1e-9)
    np.testing.assert_allclose(air.inflow, 0.1 * np.sqrt(2 * 3.0 / np.array([1.2, 0.6])), rtol=1e-9)


def test_wind_through_a_standing_fan_is_fresh_air_and_it_has_no_curve_to_leave():
    fan = small_fan(running=False, blows_in=True, wind_pressure=np.array([6.0, -6.0]))
    air = house_flow([fan], [OpeningPath(0.02)])
    assert air.flow[0, 0] < 0 < air.flow[0, 1]
    np.testing.assert_allclose(air.inflow, np.abs(air.flow[0]), rtol=1e-9)
    assert not air.curve_left.any()


def test_thin_air_at_altitude_keeps_the_flow_and_loses_the_pressure():
    here, high = (house_flow([small_fan()], [OpeningPath(0.006)], density=density) for density in (1.2, 0.9))
    assert high.flow[0, 0] == pytest.approx(here.flow[0, 0], rel=1e-9)
    assert high.inside_pressure[0] == pytest.approx(0.75 * here.inside_pressure[0], rel=1e-9)


def test_a_step_with_a_missing_value_is_missing_and_spoils_no_other():
    air = house_flow([small_fan(wind_pressure=np.array([1.0, np.nan, 1.0]))], [OpeningPath(0.02)])
    np.testing.assert_array_equal(np.isnan(air.flow[0]), [False, True, False])
    np.testing.assert_array_equal(np.isnan(air.inflow), [False, True, False])


def test_shapes_are_fans_or_inlets_by_steps():
    air = house_flow([small_fan(), small_fan()], [OpeningPath(np.array([0.01, 0.02, 0.03]))], leakage_area=0.001)
    assert air.flow.shape == air.curve_left.shape == (2, 3)
    assert air.inlet_flow.shape == (1, 3)
    assert air.inflow.shape == air.leakage_flow.shape == air.inside_pressure.shape == (3,)
    assert house_flow([], [OpeningPath(0.1, 2.0), OpeningPath(0.1)]).flow.shape == (0, 1)


windy = st.floats(-20.0, 40.0)
fans_drawn = st.lists(
    st.builds(
        FanPath,
        curve=st.sampled_from([SMALL, STRONG, FanCurve([0.0, 0.02, 0.03], [25.0, 14.0, 6.0], measured=True)]),
        hole_area=st.floats(0.001, 0.02),
        speed_ratio=st.floats(0.0, 1.4),
        running=st.booleans(),
        outlet=st.one_of(
            st.none(),
            st.builds(
                Outlet,
                effective_area=st.floats(0.002, 0.05),
                opening_pressure=st.sampled_from([0.0, 3.0, 12.0]),
                leakage_area=st.sampled_from([0.0, 0.0003]),
            ),
        ),
        wind_pressure=windy,
        blows_in=st.booleans(),
    ),
    min_size=1,
    max_size=4,
)
inlets_drawn = st.lists(
    st.builds(OpeningPath, effective_area=st.floats(0.0, 0.5), wind_pressure=windy), min_size=0, max_size=3
)


@settings(deadline=None, max_examples=150)
@given(fans=fans_drawn, inlets=inlets_drawn, leakage=st.floats(0.0, 0.01), density=st.floats(0.8, 1.3))
def test_the_air_that_enters_is_the_air_that_leaves(fans, inlets, leakage, density):
    air = house_flow(fans, inlets, leakage, density=density)
    assert abs(air.flow.sum() + air.inlet_flow.sum() + air.leakage_flow.sum()) < 1e-9
    assert air.inflow[0] >= 0


def flow_by_root_finding(fan, pressure):
    """The flow through a fan and its outlet at an inside pressure, found by trying flows one by one."""
    from scipy.optimize import brentq

    against = fan.wind_pressure - pressure
    ratio = fan.speed_ratio if fan.running else 0.0
    end = ratio * fan.curve.flow[-1]

    def rise(flow):
        if flow < 0:
            return ratio**2 * fan.curve.pressure[0] + 0.6 * (flow / fan.hole_area) ** 2
        if flow > end:
            return ratio**2 * fan.curve.pressure[-1] - 0.6 * ((flow - end) / fan.hole_area) ** 2
        return ratio**2 * np.interp(flow / ratio, fan.curve.flow, fan.curve.pressure) if ratio else 0.0

    def lost(flow):
        through = 0.6 * flow * abs(flow)
        if fan.outlet.opening_pressure == 0:
            return through / fan.outlet.effective_area**2
        leaking = through / fan.outlet.leakage_area**2
        if flow < 0:
            return leaking
        return min(leaking, max(fan.outlet.opening_pressure, through / fan.outlet.effective_area**2))

    return brentq(lambda flow: rise(flow) - lost(flow) - against, -1.0, 1.0, xtol=1e-13, rtol=1e-13)


def test_random_houses_agree_with_a_plain_nested_root_finder():
    # SciPy's brentq inside brentq, opening by opening, written down again from the laws alone.
    from scipy.optimize import brentq

    random = np.random.default_rng(7)
    for _ in range(25):
        fans = [
            FanPath(
                FanCurve([0.0, 0.012, 0.02, 0.03], np.array([1.0, 0.7, 0.5, 0.1]) * random.uniform(8, 60), True),
                hole_area=random.uniform(0.002, 0.008),
                speed_ratio=random.uniform(0.2, 1.3),
                running=bool(random.random() < 0.7),
                outlet=Outlet(random.uniform(0.004, 0.02), random.choice([0.0, 6.0]), 0.0004),
                wind_pressure=random.uniform(-6, 12),
            )
            for _ in range(random.integers(1, 4))
        ]
        area, wind = random.uniform(0.002, 0.05, 2), random.uniform(-6, 12, 2)

        def total(pressure, fans=fans, area=area, wind=wind):
            passive = area * np.sign(pressure - wind) * np.sqrt(np.abs(pressure - wind) / 0.6)
            return passive.sum() + sum(flow_by_root_finding(fan, pressure) for fan in fans)

        pressure = brentq(total, -150.0, 50.0, xtol=1e-12)
        air = house_flow(fans, [OpeningPath(*pair) for pair in zip(area, wind, strict=True)])
        expected = [flow_by_root_finding(fan, pressure) for fan in fans]
        # The solver's table of curve and outlet is good to 1e-4 of the fan's flow.
        np.testing.assert_allclose(air.flow[:, 0], expected, rtol=2e-4, atol=3e-6)
        assert air.inside_pressure[0] == pytest.approx(pressure, rel=1e-3, abs=1e-3)


@plain
@given(
    small=st.floats(1e-4, 0.2),
    more=st.floats(0.0, 0.2),
    leakage=st.floats(0.0, 0.01),
    speed=st.floats(0.1, 1.4),
    wind=windy,
)
def test_more_vent_area_never_lowers_the_air_changes(small, more, leakage, speed, wind):
    fans = [small_fan(speed_ratio=speed, wind_pressure=wind), small_fan(running=False)]
    first, second = (
        house_flow(fans, [OpeningPath(area, wind_pressure=wind)], leakage, leakage_pressure=wind)
        for area in (small, small + more)
    )
    assert second.inflow[0] >= first.inflow[0] - 1e-9


@plain
@given(speed=st.floats(0.1, 1.5), inlet=st.floats(1e-3, 0.1), leakage=st.floats(0.0, 0.01))
def test_without_wind_flow_goes_with_speed_and_pressure_with_its_square(speed, inlet, leakage):
    outlet = Outlet(0.01)
    rated, scaled = (
        house_flow([small_fan(speed_ratio=each, outlet=outlet)], [OpeningPath(inlet)], leakage) for each in (1.0, speed)
    )
    assert scaled.flow[0, 0] == pytest.approx(speed * rated.flow[0, 0], rel=1e-5, abs=1e-9)
    assert scaled.inside_pressure[0] == pytest.approx(speed**2 * rated.inside_pressure[0], rel=1e-4, abs=1e-6)


@plain
@given(fans=fans_drawn, inlets=inlets_drawn)
def test_a_step_alone_gives_what_it_gives_among_others(fans, inlets):
    repeated = [
        FanPath(
            fan.curve,
            fan.hole_area,
            np.array([0.4, fan.speed_ratio, 1.0]),
            np.array([True, fan.running, False]),
            fan.outlet,
            np.array([0.0, fan.wind_pressure, 9.0]),
            fan.blows_in,
        )
        for fan in fans
    ]
    alone, among = house_flow(fans, inlets, 0.001), house_flow(repeated, inlets, 0.001)
    np.testing.assert_array_equal(alone.flow[:, 0], among.flow[:, 1])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: house_flow([], []), "house: has neither.*give at least one"),
        (lambda: house_flow([small_fan()], [OpeningPath(-0.1)]), r"inlets\[0\]: has an area below zero"),
        (lambda: house_flow([small_fan()], [], leakage_area=-1.0), "leakage_area: is below zero"),
        (lambda: house_flow([FanPath(SMALL, 0.0)], []), r"fans\[0\]: has no hole"),
        (lambda: house_flow([small_fan(outlet=Outlet(0.0))], []), "shut for good.*blades"),
        (lambda: house_flow([small_fan(outlet=Outlet(0.01, 5.0, 0.02))], []), "leak more"),
        (
            lambda: house_flow([small_fan(outlet=Outlet(0.01, 5.0, 0.01))], []),
            "leak more than the open outlet; give less",
        ),
    ],
)
def test_what_has_no_meaning_is_refused(call, message):
    with pytest.raises(DomainError, match=message):
        call()


def test_all_mistakes_in_a_house_are_told_at_once():
    with pytest.raises(DomainError, match="leakage_area") as caught:
        house_flow([FanPath(SMALL, 0.0)], [OpeningPath(-1.0)], leakage_area=-1.0)
    assert len(caught.value.problems) == 3
