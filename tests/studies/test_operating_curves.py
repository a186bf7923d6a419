"""The curves behind the operating points, held against the solvers that know nothing of them."""

from datetime import date

import numpy as np
import pytest

from solarvent.electrical.circuit_parts import THRESHOLD_AIR, fan_electrical
from solarvent.electrical.operation import point
from solarvent.electrical.panel_model import panel_parameters
from solarvent.simulation.simulate import simulate
from solarvent.studies.operating_curves import SUNS, operating_curves
from solarvent.weather.conditions import cell_temperature
from solarvent.wiring.circuit import leaves


@pytest.fixture(scope="module")
def run(small_plan):
    return simulate(small_plan(), date(2000, 7, 15))


@pytest.fixture(scope="module")
def curves(run):
    [found] = operating_curves(run)
    return found


def test_the_panel_in_the_start_light_just_reaches_the_start_point(curves):
    # The threshold comes from the walk through the running sets in steps of 1 W/m2, the point from the load table.
    volts, amps = curves.start_point
    offered = np.interp(volts, curves.start_source.voltage, curves.start_source.current)
    short_circuit_of_one_watt = curves.start_source.current[0] / curves.limits.start_irradiance
    assert amps <= offered + 1e-3
    assert offered - amps < 2 * short_circuit_of_one_watt


def test_turning_fans_rest_where_the_solver_of_points_puts_them(run, curves):
    plan, [circuit] = run.plan.record, run.circuits
    suns = np.array(SUNS)
    panels = {
        str(panel.id): panel_parameters(panel, suns, cell_temperature(suns, THRESHOLD_AIR, panel.noct))
        for panel in plan.panel
    }
    fans = {str(fan.id): fan_electrical(fan) for fan in plan.fan}
    found = point(circuit, panels, fans, dict.fromkeys(leaves(circuit.load), "turning"))
    for crossing in curves.crossings:
        if crossing.turning:
            place = SUNS.index(crossing.irradiance)
            assert crossing.voltage == pytest.approx(found.bus_voltage[place], rel=1e-6)
            assert crossing.current == pytest.approx(found.bus_current[place], rel=1e-6)
    assert any(crossing.turning for crossing in curves.crossings)


def test_a_standing_rotor_asks_for_more_than_a_turning_one(curves):
    volts = np.linspace(3, 20, 30)
    standing = np.interp(volts, curves.standing.voltage, curves.standing.current)
    turning = np.interp(volts, curves.turning.voltage, curves.turning.current)
    assert (standing > turning).all()


def test_more_sun_offers_more_current_up_to_the_knee(curves):
    short_circuits = [curve.current[0] for curve in curves.sources.values()]
    assert short_circuits == sorted(short_circuits)
    assert all((np.diff(curve.current) <= 1e-12).all() for curve in curves.sources.values())


def test_crossings_below_the_start_light_stand_and_the_others_turn(curves):
    assert {item.irradiance for item in curves.crossings} == set(SUNS)
    assert all(item.turning == (item.irradiance >= curves.limits.start_irradiance) for item in curves.crossings)


def test_a_fan_that_no_sun_starts_has_no_start_light(small_plan):
    loaded = small_plan({"fan.0.start_voltage": "23.5 V", "fan.0.id": "stiff"})
    [found] = operating_curves(simulate(loaded, date(2000, 7, 15)))
    assert found.last == "stiff"
    assert np.isnan(found.limits.start_irradiance)
    assert found.start_source is None


def test_the_stop_voltage_at_the_bus_lies_above_that_at_the_fan(small_plan, curves):
    # The lead takes its share: the panel's end of it must be higher.
    highest = max(fan.stop_voltage for fan in small_plan().record.fan)
    assert highest < curves.stop_voltage < highest + 0.5
