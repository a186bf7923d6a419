"""The cold bright morning and the edge of a cloud."""

from datetime import date

import numpy as np
import pytest

from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.operation import point
from solarvent.electrical.panel_model import HIGH, panel_parameters
from solarvent.simulation.simulate import simulate
from solarvent.simulation.worst_case import CLEAR, SUNS, worst_case
from solarvent.weather.conditions import cell_temperature


def volts(loaded, circuit, irradiance, warmed_by, cold):
    panel, (first, *_) = loaded.record.panel[0], loaded.record.fan
    temp_cell = cell_temperature(warmed_by, cold, panel.noct)
    parameters = panel_parameters(panel, np.array([irradiance]), np.array([temp_cell]), HIGH)
    fans = {str(fan.id): fan_electrical(fan, HIGH) for fan in loaded.record.fan}
    reading = point(circuit, {str(panel.id): parameters}, fans, dict.fromkeys(fans, "turning"))
    return reading.fan_voltage[reading.fan_ids.index(str(first.id)), 0]


@pytest.mark.parametrize("panel", ["panel-10w", "panel-30w", "panel-50w"])
def test_at_the_edge_of_a_cloud_cool_cells_meet_the_brightest_light(small_plan, panel):
    loaded = small_plan({"panel.0.part": panel})
    circuit = simulate(loaded, date(2001, 6, 21), house=False).circuits[0]
    worst = worst_case((circuit,), -5.0)
    steady, edge = (volts(loaded, circuit, CLEAR * light, CLEAR * by, worst.temp_air) for light, by in SUNS[1:])
    assert worst.turning["east"] == pytest.approx(max(steady, edge))
    assert edge > steady
    # Thinner air, brighter light.
    assert worst_case((circuit,), -5.0, 2500.0).turning["east"] > worst.turning["east"]
    # The other fan failed leaves more.
    assert worst.one_failed["east"] >= worst.turning["east"]
    assert worst.open_circuit["roof"] > worst.turning["east"]
