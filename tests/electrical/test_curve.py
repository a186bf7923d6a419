"""Sources: checked against pvlib's own solution, and by what physics asks of any curve."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pvlib.pvsystem import i_from_v, v_from_i

from solarvent.electrical import unlike_sources
from solarvent.electrical.intersection import any_held, highest_held, intersect, locate
from solarvent.electrical.joined_sources import ParallelSource, SeriesSource, ThroughSource
from solarvent.electrical.load import line, through, voltage_grid
from solarvent.electrical.panel_source import PanelSource
from solarvent.electrical.roots import find_root
from solarvent.electrical.single_diode import SingleDiode, diode_drop, operating_parameters

plain = settings(deadline=None, max_examples=40)
DIODE = ((2e-8, 0.034),)
GRID = voltage_grid(60.0)


def panel(light=0.7, size=1.0, cells=36):
    return PanelSource(
        *np.broadcast_arrays(
            np.atleast_1d(1.17 * size * light), 5e-10 * size, 1.05 / size, 400.0 / size, 0.0262 * cells
        )
    )


def resistor(ohm):
    return line(GRID, GRID / ohm)


lights = st.lists(st.floats(0.0, 1.3), min_size=1, max_size=4).map(np.array)
sizes = st.floats(0.2, 6.0)
ohms = st.floats(0.5, 300.0)
leads = st.floats(0.0, 3.0)


@plain
@given(lights, sizes, st.floats(0.0, 1.0))
def test_current_and_voltage_agree_with_pvlib(light, size, share):
    source = panel(light, size)
    voltage = share * source.voltage_bound
    parameters = [source.photocurrent, source.saturation_current, source.resistance_series]
    parameters += [source.resistance_shunt, source.nNsVth]
    np.testing.assert_allclose(source.current_at(voltage)[0], i_from_v(voltage, *parameters), rtol=1e-8, atol=1e-9)
    current = share * source.photocurrent * 0.9
    np.testing.assert_allclose(source.voltage_at(current)[0], v_from_i(current, *parameters), rtol=1e-8, atol=1e-7)


@plain
@given(lights, ohms, leads, st.booleans())
def test_fast_path_equals_general_path(light, ohm, lead, with_diode):
    diodes = DIODE if with_diode else ()
    fast = panel(light).in_parallel(2).through(lead, diodes)
    general = ThroughSource(ParallelSource((panel(light), panel(light))), lead, diodes)
    np.testing.assert_allclose(intersect(fast, resistor(ohm)), intersect(general, resistor(ohm)), rtol=1e-7, atol=1e-7)


@plain
@given(lights, ohms)
@example(np.array([5e-324]), 0.5)
def test_a_string_of_alike_panels_equals_the_string_of_each(light, ohm):
    general = SeriesSource((panel(light), panel(light)))
    np.testing.assert_allclose(
        intersect(panel(light).in_series(2), resistor(ohm)), intersect(general, resistor(ohm)), rtol=1e-6, atol=1e-6
    )


@plain
@given(lights, st.floats(0.0, 20.0), leads)
def test_two_alike_panels_in_parallel_give_twice_the_current_at_equal_voltage(light, voltage, lead):
    # A diode that blocks passes 20 V over 1e11 ohm more than its saturation current, in two diodes twice.
    one = panel(light).through(lead, DIODE)
    np.testing.assert_allclose(
        one.in_parallel(2).current_at(voltage)[0], 2 * one.current_at(voltage)[0], rtol=1e-7, atol=4e-10
    )
    both = ParallelSource((one, one))
    np.testing.assert_allclose(both.current_at(voltage)[0], 2 * one.current_at(voltage)[0], rtol=1e-12, atol=1e-15)


@plain
@given(lights, ohms, leads, st.booleans(), st.floats(0.9, 1.1).filter(lambda share: abs(share - 1) > 1e-4))
def test_the_explicit_test_agrees_with_the_operating_point(light, ohm, lead, with_diode, share):
    source = panel(light + 0.01).through(lead, DIODE if with_diode else ())
    voltage, current = intersect(source, resistor(ohm))
    for v, i in zip(voltage * share, current * share, strict=True):
        # A point on the resistor's line below the operating point can be held, one above it cannot.
        expected = np.array([v, v]) <= np.array([voltage.min(), voltage.max()])
        held = source.can_supply(v, i)
        assert held[voltage.argmin()] == expected[0]
        assert held[voltage.argmax()] == expected[1]


@plain
@given(lights, ohms, leads, st.floats(0.01, 3.0))
def test_more_wire_never_raises_the_voltage_at_the_load(light, ohm, lead, more):
    behind = [intersect(panel(light), through(resistor(ohm), r))[1] * ohm for r in (lead, lead + more)]
    assert np.all(behind[1] <= behind[0] + 1e-9)


BYPASSED = [
    replace(panel(0.3), bypass=(2.35e-6, 0.054)),
    replace(panel(0.3).through(0.4, DIODE), bypass=(2.35e-6, 0.054)),
]


@pytest.mark.parametrize("one", BYPASSED)
@pytest.mark.parametrize("make", [PanelSource, SeriesSource, ParallelSource, ThroughSource])
def test_driven_backwards_alike_sources_are_still_one_larger(one, make):
    other = replace(one, photocurrent=0.5 * one.photocurrent)
    source = {
        PanelSource: one,
        SeriesSource: SeriesSource((one, other), 0.2, DIODE),
        ParallelSource: ParallelSource((one, other)),
        ThroughSource: ThroughSource(ParallelSource((one, other)), 0.2, DIODE),
    }[make]
    # Just past the current of the light a diode begins to carry, and the cells still have a positive junction.
    for current in (0.1, 0.3, 0.3512, 1.5):
        expected, _ = source.voltage_at(np.array([current]))
        np.testing.assert_allclose(source.in_parallel(3).voltage_at(np.array([3 * current]))[0], expected, rtol=1e-9)
        np.testing.assert_allclose(source.in_series(3).voltage_at(np.array([current]))[0], 3 * expected, rtol=1e-9)
        np.testing.assert_allclose(source.current_at(expected)[0], current, rtol=1e-6)
        assert source.can_supply(expected - 1e-3, current)
        assert not source.can_supply(expected + 1e-3, current)
        np.testing.assert_array_equal(source.at(np.array([0])).voltage_at(np.array([current]))[0], expected)


@pytest.mark.parametrize("one", BYPASSED)
@pytest.mark.parametrize("voltage", [-0.7, -0.4, -0.01, 0.01, 18.0])
def test_the_slope_of_a_bypassed_panel_is_its_derivative(one, voltage):
    current, slope = one.current_at(np.array([voltage]))
    beside = one.current_at(np.array([voltage + 1e-6]))[0] - one.current_at(np.array([voltage - 1e-6]))[0]
    assert beside / 2e-6 == pytest.approx(slope, rel=1e-3)
    assert one.voltage_at(current)[1] == pytest.approx(1 / slope, rel=1e-3)


LIGHT = np.array([0.3, 0.7, 1.0])
#: Unlike panels in every arrangement: beside each other, in a row, each with leads and diodes, and all behind a line.
BESIDE = ParallelSource((panel(LIGHT).through(0.4, DIODE), panel(0.8 * LIGHT, 2.0)))
ROW = SeriesSource((panel(LIGHT, cells=18).through(0.3), panel(0.9 * LIGHT, cells=18)), 0.2, DIODE)
MIXED = ThroughSource(ParallelSource((panel(LIGHT), ROW)), 0.5, DIODE)


@pytest.mark.parametrize("source", [BESIDE, ROW, MIXED])
def test_the_slopes_of_unlike_sources_are_their_derivatives(source):
    for ask, at in ((source.current_at, 12.0), (source.voltage_at, 0.2)):
        value, slope = ask(np.full(3, at))
        step = 1e-4 * at
        (high, _), (low, _) = ask(np.full(3, at + step)), ask(np.full(3, at - step))
        np.testing.assert_allclose(slope, (high - low) / (2 * step), rtol=2e-3)
        back = source.voltage_at if ask == source.current_at else source.current_at
        np.testing.assert_allclose(back(value)[0], at, rtol=1e-6)
        np.testing.assert_allclose(slope * back(value)[1], 1.0, rtol=1e-5)


@pytest.mark.parametrize("lead", [0.0, 0.8, 3.0])
@pytest.mark.parametrize("diodes", [(), DIODE])
def test_the_surplus_behind_leads_and_diodes_has_its_derivatives(lead, diodes):
    source = ThroughSource(panel(LIGHT).through(0.3), lead, diodes)
    voltage, current, step = np.full(3, 14.0), 0.6 * source.current_at(np.full(3, 14.0))[0], 1e-5
    value, by_voltage, by_current = source.surplus_and_slopes(voltage, current)
    assert (np.sign(value) == np.sign(source.surplus(voltage, current))).all()
    around = [source.surplus_and_slopes(voltage + sign * step, current)[0] for sign in (1, -1)]
    np.testing.assert_allclose(by_voltage, (around[0] - around[1]) / (2 * step), rtol=1e-4)
    around = [source.surplus_and_slopes(voltage, current + sign * step)[0] for sign in (1, -1)]
    np.testing.assert_allclose(by_current, (around[0] - around[1]) / (2 * step), rtol=1e-4)


@pytest.mark.parametrize("one", BYPASSED)
@pytest.mark.parametrize("voltage", [-0.72, -0.5, -0.1, 14.0])
@pytest.mark.parametrize("share", [0.99, 1.2])
def test_the_surplus_of_a_bypassed_panel_has_its_derivatives(one, voltage, share):
    volts = np.array([voltage])
    amps, step = share * one.current_at(volts)[0], 1e-6
    value, by_voltage, by_current = one.surplus_and_slopes(volts, amps)
    assert np.sign(value) == np.sign(one.surplus(volts, amps)) == np.sign(1.0 - share)
    around = [one.surplus_and_slopes(volts + sign * step, amps)[0] for sign in (1, -1)]
    np.testing.assert_allclose(by_voltage, (around[0] - around[1]) / (2 * step), rtol=1e-4)
    around = [one.surplus_and_slopes(volts, amps + sign * step)[0] for sign in (1, -1)]
    np.testing.assert_allclose(by_current, (around[0] - around[1]) / (2 * step), rtol=1e-4)


@pytest.mark.parametrize("source", [panel(LIGHT), BESIDE, ROW, MIXED])
def test_some_of_the_steps_are_those_steps(source):
    whole, some = source.current_at(np.full(3, 12.0))[0], source.at(np.array([2, 0])).current_at(np.full(2, 12.0))[0]
    np.testing.assert_allclose(some, whole[[2, 0]], rtol=1e-9)
    for bound in (source.current_bound, source.voltage_bound):
        assert np.shape(bound) == (3,)
    assert (source.current_at(np.zeros(3))[0] <= source.current_bound + 1e-9).all()
    assert (source.voltage_at(np.zeros(3))[0] <= source.voltage_bound + 1e-9).all()


def test_each_panel_behind_a_line_has_its_own_voltage_and_current():
    # By Kirchhoff: the two branches have what the line leaves of the voltage, their currents add up, and in the row the
    # voltages do. Each bare panel gives just the current at its terminals that it is said to.
    volts = np.full(3, 12.0)
    amps = MIXED.current_at(volts)[0]
    (v_one, i_one), (v_first, i_first), (v_second, i_second) = MIXED.panel_points(volts, amps)
    joint = volts + 0.5 * amps + diode_drop(amps, DIODE)[0]
    np.testing.assert_allclose(v_one, joint, rtol=1e-9)
    np.testing.assert_allclose(i_one + i_first, amps, rtol=1e-7)
    np.testing.assert_allclose(i_second, i_first, rtol=1e-12)
    in_line = 0.2 * i_first + diode_drop(i_first, DIODE)[0]
    np.testing.assert_allclose(v_first - 0.3 * i_first + v_second - in_line, joint, rtol=1e-7)
    for bare, v, i in (
        (panel(LIGHT), v_one, i_one),
        (panel(LIGHT, cells=18), v_first, i_first),
        (panel(0.9 * LIGHT, cells=18), v_second, i_second),
    ):
        np.testing.assert_allclose(bare.current_at(v)[0], i, rtol=1e-6)


def test_further_wire_and_diodes_behind_a_string_add_to_what_is_there():
    amps = np.array([0.05, 0.2, 0.3])
    further = ROW.through(0.7, ((1e-6, 0.05),)).voltage_at(amps)[0]
    expected = ROW.voltage_at(amps)[0] - 0.7 * amps - 0.05 * np.log1p(amps / 1e-6)
    np.testing.assert_allclose(further, expected, rtol=1e-12)


def test_what_unlike_sources_have_to_spare_tells_what_they_can_hold():
    for source in (BESIDE, ROW, MIXED):
        amps = source.current_at(np.full(3, 12.0))[0]
        for share, held in ((0.98, True), (1.02, False)):
            assert (source.can_supply(np.full(3, 12.0), share * amps) == held).all()
        # One current, or one voltage, for all steps.
        assert (source.can_supply(12.0, 0.05) == (amps >= 0.05)).all()


def test_darkness_gives_nothing():
    voltage, current = intersect(panel(np.array([0.0, 0.5])), resistor(20.0))
    assert voltage[0] == current[0] == 0.0
    assert voltage[1] > 10.0


def test_a_dark_string_beside_a_bright_one_draws_from_it():
    bright, dark = panel(1.0), panel(0.0)
    voltage, _ = intersect(ParallelSource((bright, dark)), resistor(1e6))
    (_, out), (_, back) = ParallelSource((bright, dark)).panel_points(voltage, np.zeros(1))
    assert back[0] < 0 < out[0]
    assert out[0] == pytest.approx(-back[0], abs=1e-4)


def test_a_blocking_diode_keeps_the_dark_panel_from_drawing():
    bright, dark = panel(1.0).through(0.1, DIODE), panel(0.0).through(0.1, DIODE)
    voltage, _ = intersect(ParallelSource((bright, dark)), resistor(1e6))
    _, (_, back) = ParallelSource((bright, dark)).panel_points(voltage, np.zeros(1))
    assert -2.1e-8 < back[0] < 0.0


def test_behind_a_blocking_diode_the_panel_shows_its_own_open_circuit_voltage():
    shaded = panel(0.3).through(0.1, DIODE)
    both = ParallelSource((panel(1.0), shaded))
    voltage, _ = intersect(both, resistor(1e6))
    assert voltage[0] > panel(0.3).voltage_at(0.0)[0] + 0.5
    _, (own, _) = both.panel_points(voltage, np.zeros(1))
    np.testing.assert_allclose(own, panel(0.3).voltage_at(0.0)[0], rtol=1e-6)


def test_the_weakest_panel_of_a_string_holds_its_current():
    string = SeriesSource((panel(1.0), panel(0.2)))
    assert string.current_at(0.0)[0] == pytest.approx(panel(0.2).current_at(0.0)[0], rel=0.25)
    assert string.current_at(0.0)[0] < 0.3 * panel(1.0).current_at(0.0)[0]


@pytest.mark.parametrize("current", [-1e-8, 0.0, 1e-9, 0.3])
def test_the_slope_of_a_diode_drop_is_its_derivative(current):
    step = 1e-6 * max(abs(current), 1e-8)
    rise = diode_drop(current + step, DIODE)[0] - diode_drop(current - step, DIODE)[0]
    assert rise / (2 * step) == pytest.approx(float(diode_drop(current, DIODE)[1]), rel=1e-6)


def test_a_missing_light_stays_missing():
    voltage, _ = intersect(panel(np.array([np.nan, 0.8])), resistor(20.0))
    assert np.isnan(voltage[0])
    assert voltage[1] > 15.0


def test_a_root_on_the_far_side_of_an_exponential_is_found():
    root = find_root(lambda x: (1.0 - np.exp(x), -np.exp(x)), np.array([-500.0]), np.array([500.0]), np.array([400.0]))
    assert root[0] == pytest.approx(0.0, abs=1e-9)


def test_a_string_beside_a_panel_is_asked_at_many_points_at_once():
    light = np.array([0.2, 0.9])
    string = SeriesSource((panel(0.5 * light, cells=18), panel(light, cells=18)))
    source = ParallelSource((string, panel(light)))
    voltage = np.array([[4.0], [12.0], [18.0]])
    together = source.current_at(np.broadcast_to(voltage, (3, 2)))[0]
    alone = [source.current_at(np.full(2, float(value)))[0] for value in voltage[:, 0]]
    np.testing.assert_allclose(together, alone, rtol=1e-9)
    for share in (0.999, 1.001):
        held = source.can_supply(np.broadcast_to(voltage, (3, 2)), share * together)
        assert np.all(held == (share < 1.0))


def unlike(arrangement, lit):
    """A bright panel and a small one in part shade, joined, in at least eight lights."""
    join = SeriesSource if arrangement == "series" else ParallelSource
    small = replace(panel(0.4 * lit, 0.6), bypass=DIODE[0])
    return join((replace(panel(lit), bypass=DIODE[0]), small))


@plain
@pytest.mark.parametrize("trials", [1, 10_000])
@pytest.mark.parametrize("arrangement", ["series", "parallel"])
@given(
    lit=st.lists(st.floats(0.0, 1.3), min_size=8, max_size=12).map(np.array),
    points=st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)), min_size=1, max_size=40),
)
def test_any_point_and_the_highest_are_those_of_a_trial_of_each(arrangement, trials, lit, points):
    source = unlike(arrangement, lit)
    share = np.array(points).T
    volts, amps = share[0] * np.max(source.voltage_bound), share[1] * np.max(source.current_bound)
    beyond = source.surplus(volts[:, None], amps[:, None])
    # On the curve itself the last digit decides.
    clear = ~np.any(np.abs(beyond) < 1e-9, axis=0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(unlike_sources, "_TRIALS", trials)
        found, near = source.supplies_any(volts, amps)
        loads = [(volts[part], amps[part]) for part in (slice(None), slice(0, 3), slice(0), slice(3, None))]
        of_each = source.supplies_any_of_each(loads)
    assert not near.size
    np.testing.assert_array_equal(found[clear], np.any(beyond >= 0, axis=0)[clear])
    for part, held in zip((beyond, beyond[:3], beyond[:0], beyond[3:]), of_each, strict=True):
        np.testing.assert_array_equal(held[clear], np.any(part >= 0, axis=0)[clear])
    number = np.where(beyond >= 0, np.arange(len(volts))[:, None], -1).max(axis=0)
    np.testing.assert_array_equal(source.highest_of(volts, amps)[clear], number[clear])
    held = np.array([source.can_supply(one, other) for one, other in zip(volts, amps, strict=True)])
    np.testing.assert_array_equal(held[:, clear], (beyond >= 0)[:, clear])


@plain
@given(
    wanted=st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=30).map(np.array),
    ends=st.tuples(st.integers(0, 30), st.integers(0, 30)),
)
def test_the_least_of_a_run_is_that_of_its_points(wanted, ends):
    first, last = sorted(min(end, len(wanted)) for end in ends)
    points = unlike_sources._Points(np.arange(len(wanted)), wanted)
    assert points.least(np.array([first]), np.array([last]))[0] == min(wanted[first:last], default=np.inf)


def a_year_of_lights(steps):
    """A panel in as many lights, from the dark to more than full sun, its cells from -10 to 60 degC; two are NaN."""
    rng = np.random.default_rng(7)
    light = np.where(rng.random(steps) < 0.3, 0.0, rng.uniform(0.0, 1.2, steps))
    light[[3, 40]] = np.nan
    plate = SingleDiode(1.17, 5e-10, 1.05, 400.0, 0.943, 0.0006)
    return PanelSource(*operating_parameters(plate, 1000.0 * light, rng.uniform(-10.0, 60.0, steps)))


@pytest.mark.parametrize("leads", [(0.0, ()), (0.8, DIODE)])
@pytest.mark.parametrize("steps", [100, 900])
def test_the_first_guess_lies_beside_the_operating_point(leads, steps):
    # Nodes lie 2 % apart; what the light of a step needs is read from tables to a part of that.
    source = a_year_of_lights(steps).through(*leads)
    for ohm in (4.0, 15.0, 200.0):
        table = resistor(ohm)
        segment, share = locate(source, table)
        near, lit = source.node_near(table.voltage, table.current), source.photocurrent > 0.01
        assert np.abs(near - segment - share)[lit].max() < 0.6
        assert not near[source.photocurrent == 0].any()
        assert np.isnan(near[[3, 40]]).all()


@pytest.mark.parametrize("leads", [(0.0, ()), (0.8, DIODE)])
def test_whether_a_panel_supplies_any_point_is_known_of_most_steps_without_a_trial(leads):
    source = a_year_of_lights(900).through(*leads)
    rng, asked = np.random.default_rng(8), []
    for _ in range(20):
        volts, amps = rng.uniform(2.0, 24.0, 5), rng.uniform(0.02, 1.2, 5)
        found, near = source.supplies_any(volts, amps)
        held = source.can_supply(volts[:, None], amps[:, None]).any(axis=0)
        clear = np.setdiff1d(np.arange(900), near)
        np.testing.assert_array_equal(found[clear], held[clear])
        # All that are missing are left to a trial, and few of the others.
        assert {3, 40} <= set(near)
        asked.append(len(near))
    assert np.median(asked) < 15
    assert max(asked) < 300


def test_a_few_steps_and_those_in_the_dark_are_tried():
    volts, amps = np.array([12.0]), np.array([0.2])
    assert a_year_of_lights(63).supplies_any(volts, amps) is None
    assert a_year_of_lights(900).supplies_any(volts[:0], amps[:0]) is None
    assert panel(np.zeros(100)).supplies_any(volts, amps) is None


def test_the_steps_of_panels_of_two_sizes_are_told_apart():
    source = a_year_of_lights(200)
    rows = zip(vars(source).values(), vars(source.in_parallel(3)).values(), strict=True)
    both = PanelSource(*(np.concatenate([one, three]) for one, three in list(rows)[:5]))
    table = resistor(12.0)
    near = both.node_near(table.voltage, table.current)
    for part, size in ((slice(0, 200), 1), (slice(200, 400), 3)):
        alone = source.in_parallel(size)
        np.testing.assert_allclose(near[part], alone.node_near(table.voltage, table.current), rtol=1e-9)
        found, asked = both.supplies_any(np.array([13.0]), np.array([0.7])), alone.supplies_any([13.0], np.array([0.7]))
        np.testing.assert_array_equal(found[0][part], asked[0])


@pytest.mark.parametrize("source", [panel(0.8), panel(0.8).through(0.5, DIODE), *BYPASSED])
def test_a_panel_needs_few_of_newtons_steps(monkeypatch, source):
    # The search begins where the panel would be without its resistances, or along the current of its light.
    whole, counts = PanelSource._terminals, []
    monkeypatch.setattr(PanelSource, "_terminals", lambda self, volts: counts.append(1) or whole(self, volts))
    for share in (-0.2, 0.0, 0.3, 0.8, 0.95, 0.999):
        counts.clear()
        source.voltage_at(share * source.photocurrent)
        assert len(counts) <= 8
        counts.clear()
        source.current_at(share * source.voltage_bound)
        assert len(counts) <= 6 or source.lead_diodes


def test_dark_sources_alike_share_what_drives_them_equally():
    dark, pairs = panel(0.0), (SeriesSource, ParallelSource)
    row, beside = (join((panel(0.0), panel(0.0))) for join in pairs)
    volts, amps = np.array([12.0]), np.array([-0.03])
    np.testing.assert_allclose(row.current_at(volts)[0], dark.current_at(volts / 2)[0], rtol=1e-9)
    np.testing.assert_allclose(beside.voltage_at(amps)[0], dark.voltage_at(amps / 2)[0], rtol=1e-9)


SHADED = SeriesSource((replace(panel(1.0), bypass=(2.35e-6, 0.054)), replace(panel(0.3), bypass=(2.35e-6, 0.054))))


@pytest.mark.parametrize(
    ("source", "single"),
    [
        (panel(0.8), True),
        (panel(0.8).through(0.5, DIODE), True),
        (SeriesSource((panel(1.0), panel(0.3))), True),
        (ThroughSource(ParallelSource((panel(1.0), panel(0.3, 2.0))), 0.5), True),
        (SHADED, False),
        (ThroughSource(ParallelSource((SHADED, panel(0.2).in_series(2))), 0.5), False),
    ],
)
def test_where_bypass_diodes_begin_to_carry_the_power_has_a_further_hump(source, single):
    # Along a load of constant power, from above the open circuit down.
    volts = np.linspace(50.0, 4.0, 4000)[:, None]
    assert source.single_humped == single
    surplus = source.surplus(volts, np.array([[[2.0]], [[6.0]], [[12.0]]]) / volts)
    tops = np.diff(np.sign(np.diff(surplus, axis=1)), axis=1) < 0
    assert (tops.sum(axis=1).max() == 1) == single


@pytest.mark.parametrize("steps", [3, 40])
def test_the_nodes_of_a_load_that_a_string_with_bypass_diodes_holds_are_those_that_hold_when_tried(steps):
    light = np.linspace(0.0, 1.2, steps)
    pair = (replace(panel(share * light), bypass=(2.35e-6, 0.027)) for share in (1.0, 0.4))
    source = SeriesSource(tuple(pair))
    # Constant power from 10 V on, and less below: the string may hold the load on either of its two humps, or on none.
    for power in (3.0, 8.0, 14.0, 60.0):
        table = line(GRID, np.where(GRID < 10.0, power * GRID / 100.0, power / np.maximum(GRID, 10.0)))
        held = source.can_supply(table.voltage[:, None], table.current[:, None])
        highest = np.where(held, np.arange(len(GRID))[:, None], 0).max(axis=0)
        np.testing.assert_array_equal(highest_held(source, table), highest)
        for first in (0, *np.unique(highest).tolist(), *(np.unique(highest) + 1).tolist()):
            np.testing.assert_array_equal(any_held(source, table, first), held[first:].any(axis=0))


@pytest.mark.parametrize("arrangement", ["series", "parallel"])
def test_the_first_guess_of_unlike_sources_lies_on_their_curve(arrangement):
    source = unlike(arrangement, np.linspace(0.2, 1.2, 9))
    assert source.node_near(GRID, GRID / 9.0) is None
    # That it knows its curve from the first question on.
    assert source.highest_of(GRID, GRID / 9.0) is not None
    apart = np.max(source.current_bound if arrangement == "series" else source.voltage_bound) / 32
    for ohm in (0.3, 3.0, 9.0, 30.0, 900.0):
        volts, amps = intersect(source, resistor(ohm))
        near = np.interp(source.node_near(GRID, GRID / ohm), np.arange(len(GRID)), GRID)
        error = np.abs(near - volts) / (ohm if arrangement == "series" else 1.0) / apart
        assert error.max() < 0.7
        # At the flat end of the curve the straight line between its first two points is nearly the curve itself.
        assert error[(amps if arrangement == "series" else volts) < apart].max(initial=0.0) < 0.1


@pytest.mark.parametrize(("source", "most"), [(panel(LIGHT), 5), (BESIDE, 8), (ROW, 9), (MIXED, 11)])
def test_a_load_is_met_in_few_of_newtons_steps(monkeypatch, source, most):
    # They double the digits at each step, from the open circuit or from a first guess.
    kind, counts = type(source), []
    whole = kind.surplus_and_slopes
    monkeypatch.setattr(kind, "surplus_and_slopes", lambda self, *point: counts.append(1) or whole(self, *point))
    for ohm in (0.5, 3.0, 10.0, 15.0, 20.0, 40.0, 300.0):
        counts.clear()
        intersect(source, resistor(ohm))
        assert len(counts) <= most


@pytest.mark.parametrize(("lead", "diodes"), [(400.0, ()), (0.0, ((1e-12, 0.65),)), (0.0, ())])
def test_the_current_of_a_string_behind_much_wire_or_a_large_drop_is_found_again(lead, diodes):
    # Most of the voltage may be lost in line, so that the members are near their open circuit.
    pair = ParallelSource((panel(LIGHT, cells=18), panel(0.3 * LIGHT, cells=18)))
    source = SeriesSource((pair, panel(0.8 * LIGHT, cells=18)), lead, diodes)
    for volts in (0.5, 4.0, 12.0):
        amps, slope = source.current_at(np.full(3, volts))
        np.testing.assert_allclose(source.voltage_at(amps)[0], volts, rtol=1e-6)
        np.testing.assert_allclose(source.voltage_at(amps)[1], 1.0 / slope, rtol=1e-6)
