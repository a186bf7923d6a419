"""Load tables: checked against closed solutions of small circuits."""

import numpy as np
import pytest
from scipy.optimize import brentq

from solarvent.base.errors import DomainError
from solarvent.electrical.converter import ConverterLaw, input_side
from solarvent.electrical.load import LoadTable, line, parallel, regulated, series, through, voltage_grid

GRID = voltage_grid(30.0)


def read(table, volts):
    """Voltage and current at the bus, and those of each terminal, by the voltage at the bus."""
    segment = min(int(np.searchsorted(table.voltage, volts, side="right")) - 1, len(table.voltage) - 2)
    share = (volts - table.voltage[segment]) / (table.voltage[segment + 1] - table.voltage[segment])
    return table.points_within(segment, share)


@pytest.mark.parametrize("exponent", [0.7, 1.0, 1.5])
def test_a_power_law_behind_cables_and_joins_is_kept_to_four_parts_in_a_hundred_thousand(exponent):
    fan = line(GRID, 0.3 * (GRID / 12.0) ** exponent)
    other = line(GRID, 0.5 * (GRID / 12.0) ** exponent)
    table = parallel([through(fan, 1.7), through(other, 0.6)], [1, 1])

    def exact(voltage, resistance, rated_current):
        def excess(current):
            return rated_current * (max(voltage - resistance * current, 0.0) / 12.0) ** exponent - current

        return brentq(excess, 0.0, 9.0, xtol=1e-15)

    for voltage in np.geomspace(0.01, 29.0, 25):
        both = exact(voltage, 1.7, 0.3) + exact(voltage, 0.6, 0.5)
        assert np.interp(voltage, table.voltage, table.current) == pytest.approx(both, rel=4e-5)


def test_a_diode_is_kept_to_a_hundredth_of_a_millivolt_down_to_its_saturation_current():
    table = through(line(GRID, GRID / 20.0), 0.0, ((1e-8, 0.03),))
    for current in np.geomspace(1e-9, 1.2, 60):
        exact = current * 20.0 + 0.03 * np.log1p(current / 1e-8)
        assert np.interp(current, table.current, table.voltage) == pytest.approx(exact, abs=4e-5)


def test_alike_branches_count_as_many():
    fan = line(GRID, 0.3 * GRID / 12.0)
    together = parallel([fan, fan, fan], [1, 1, 1])
    np.testing.assert_allclose(parallel([fan], [3]).current, together.current)
    row = series([fan], [3])
    assert np.interp(36.0, row.voltage, row.current) == pytest.approx(0.3)


def test_loads_side_by_side_are_known_as_far_as_the_one_that_is_known_least():
    short = voltage_grid(20.0)
    assert parallel([line(GRID, GRID / 10.0), line(short, short / 10.0)], [1, 1]).voltage[-1] == pytest.approx(20.0)
    assert series([line(GRID, GRID / 10.0), line(short, short / 10.0)], [1, 1]).current[-1] == pytest.approx(2.0)


def test_fans_in_series_share_the_voltage_by_their_resistance():
    table = series([line(GRID, GRID / 10.0), line(GRID, GRID / 30.0)], [1, 1])
    np.testing.assert_allclose(read(table, 24.0)[2][:, 0], [6.0, 18.0])


def test_all_columns_rise_together():
    table = through(
        parallel(
            [through(line(GRID, 0.3 * (GRID / 12.0) ** 0.8), 0.5, ((1e-7, 0.03),)), line(GRID, GRID / 15.0)], [2, 1]
        ),
        1.0,
    )
    assert np.all(np.diff(table.voltage) > 0)
    assert np.all(np.diff(table.current) > 0)
    assert np.all(np.diff(table.terminals, axis=-1) >= 0)


def test_a_terminal_voltage_is_reached_behind_its_cable_and_none_beyond_the_table():
    # 10 ohm behind 2 ohm: 5 V at the fan are 0.5 A and 6 V at the cut.
    table = through(line(GRID, GRID / 10.0), 2.0)
    assert table.point_at_terminal(0, 5.0) == pytest.approx((6.0, 0.5))
    assert table.point_at_terminal(0, 30.0) == pytest.approx((36.0, 3.0))
    assert table.point_at_terminal(0, 30.001) is None


def test_points_are_read_straight_between_the_nodes():
    table = parallel([through(line(GRID, GRID / 10.0), 2.0), line(GRID, GRID / 30.0)], [1, 1])
    segment, share = np.array([3, 40, len(table.voltage) - 2]), np.array([0.0, 0.3, 1.0])
    volts, amps, terminals = table.points_within(segment, share)
    np.testing.assert_allclose(amps, np.interp(volts, table.voltage, table.current), rtol=1e-9)
    np.testing.assert_allclose(terminals[1, 0], volts, rtol=1e-9)
    np.testing.assert_allclose(terminals[0, 0], volts - 2.0 * terminals[0, 1], rtol=1e-9)


def test_the_nodes_of_a_fan_lie_two_percent_apart_and_hold_what_was_measured():
    grid = voltage_grid(30.0, extra=[5.33, 12.0, 31.0])
    assert (grid[0], grid[1]) == (0.0, pytest.approx(1e-4))
    assert grid[-1] == pytest.approx(30.0)
    assert {5.33, 12.0} <= set(grid)
    assert (grid[2:] / grid[1:-1]).max() <= 1.02 * (1 + 1e-12)  # to rounding
    assert len(grid) < 650


def test_a_converter_adds_a_row_for_each_of_its_sides():
    # A fan of 40 ohm behind 0.8 ohm at the 12 V of a step-down converter of 90 %, which has 24 V.
    member = through(line(GRID, GRID / 40.0), 0.8)
    law = ConverterLaw("buck", 12.0, 13.5, 13.0, 1.0, ((0.0, 0.9),))
    table = regulated(member, input_side(law, member.voltage, member.current, 30.0))
    fan, inlet, outlet = read(table, 24.0)[2]
    assert fan == pytest.approx([12.0 * 40 / 40.8, 12.0 / 40.8], rel=1e-6)
    assert outlet == pytest.approx([12.0, 12.0 / 40.8], rel=1e-6)
    assert inlet == pytest.approx([24.0, 12.0 * 12.0 / 40.8 / 0.9 / 24.0], rel=5e-5)
    assert read(table, 24.0)[1] == pytest.approx(inlet[1])


def test_constant_power_behind_a_diode_keeps_its_bend():
    # A converter's current falls as its voltage rises; 10 W behind a Schottky diode, each point worked out by itself.
    volts = np.concatenate([[0.0, 6.99], np.linspace(7.0, 20.0, 27)])
    amps = np.concatenate([[0.0, 1e-6], 10.0 / volts[2:]])
    # First the row of a fan behind the converter, which has a third of its voltage and thrice its current.
    table = through(LoadTable(volts, amps, np.array([[volts / 3, 3 * amps], [volts, amps]])), 0.0, ((1e-6, 0.03),))
    assert not table.rising
    np.testing.assert_allclose(table.terminals[0], table.terminals[1] * [[1 / 3], [3.0]], rtol=1e-12)
    assert len(table.voltage) > 2 * len(volts)
    for volt in np.linspace(7.1, 19.9, 60):
        amp = np.interp(volt, volts, amps)
        total = volt + 0.03 * np.log1p(amp / 1e-6)
        # 2 % from node to node bends a diode of 30 mV by 0.03 x 0.02^2 / 8 V, 1.5 uV.
        assert np.interp(total, table.voltage, table.terminals[1, 0]) == pytest.approx(volt, abs=2e-6)
        assert np.interp(total, table.voltage, table.current) == pytest.approx(amp, rel=1e-5)


def test_a_converter_behind_a_hair_of_wire_is_refused_beside_other_loads():
    volts = np.linspace(0.0, 20.0, 41)
    falling = np.where(volts < 7.0, volts * 1e-9, 10.0 / np.maximum(volts, 1.0))
    collapsing = through(LoadTable(volts, falling, np.array([[volts, falling]])), 12.0)
    with pytest.raises(DomainError, match=r"so thin that its voltage collapses.*thicker or shorter wire"):
        parallel([collapsing, line(GRID, GRID / 10.0)], [1, 1])
