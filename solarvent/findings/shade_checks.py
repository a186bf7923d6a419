"""What a shadow on one of several panels in series does to the fans behind them."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isnan

import numpy as np

from solarvent.base.findings import Finding
from solarvent.electrical.circuit_parts import THRESHOLD_AIR, fan_electrical
from solarvent.electrical.operation import thresholds
from solarvent.electrical.panel_model import panel_parameters
from solarvent.findings.electrical_checks import LATE_START
from solarvent.plan.parts import Panel
from solarvent.simulation.simulate import Simulation
from solarvent.weather.conditions import CLEAR_DIFFUSE, over_sections
from solarvent.weather.panel_light import cell_temperature, string_shade_factor
from solarvent.wiring.circuit import Circuit, has_series

#: Light on a panel that hardly any hour passes; fans that need more stand. [W/m2]
FULL_SUN = 1000.0
#: A start at so much more light is worth a warning (common practice, no source). [-]
MUCH_LATER = 1.5


def shade_findings(run: Simulation) -> Iterator[Finding]:
    """Say from which sun the fans start with a shadow on a string of panels, and what the bypass diodes make of it."""
    for circuit in run.circuits:
        panels = [panel for panel in run.plan.record.panel if panel.id in set(circuit.panel_ids)]
        shaded = [panel for panel in panels if panel.lit_share_of_worst_cell < 1]
        if not shaded or not has_series(circuit.source):
            continue
        clear, start = (_last_start(run, circuit, panels, shadow) for shadow in (False, True))
        if clear == inf:
            continue
        bridged = all(panel.bypass_diodes for panel in shaded)
        how = (
            "its bypass diodes let the current of the others pass"
            if bridged
            else "without bypass diodes no more current passes than its darkest cell lets through"
        )
        text = f"A shadow lies on {shaded[0].id}, which is in series with others, and {how}. With it "
        if start == inf:
            text += f"no sun starts all fans; without it {clear:.0f} W/m2 on the cells would."
        else:
            text += f"all fans start from {start:.0f} W/m2 on the cells in the sun; without it from {clear:.0f} W/m2."
        do = "Move it into the light"
        do += "." if bridged else ", take panels with bypass diodes, or join the panels side by side."
        late = start > MUCH_LATER * clear or start > LATE_START >= clear
        level = "stop" if start > FULL_SUN else "warn" if late else "note"
        yield Finding(level, "string-shaded", shaded[0].id, text, do, None if start == inf else start, clear, "W/m2")


def _last_start(run: Simulation, circuit: Circuit, panels: list[Panel], shadow: bool) -> float:
    """Light on the cells in the sun from which all fans of a circuit start; endless if they never do. [W/m2]"""
    fans = {fan.id: fan_electrical(fan) for fan in run.plan.record.fan if fan.id in set(circuit.fan_ids)}

    def panels_at(irradiance: np.ndarray) -> dict[str, tuple[np.ndarray, ...]]:
        found = {}
        for panel in panels:
            left = string_shade_factor(panel.lit_share_of_worst_cell if shadow else 1.0, CLEAR_DIFFUSE)
            light = over_sections(panel, irradiance, left * irradiance)
            found[panel.id] = panel_parameters(panel, light, cell_temperature(irradiance, THRESHOLD_AIR, panel.noct))
        return found

    starts = [one.start_irradiance for one in thresholds(circuit, panels_at, fans, resolution=5.0).values()]
    return inf if any(isnan(start) for start in starts) else max(starts)
