"""The highest voltages and heats of a design, from the same points of its load as everything else."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from solarvent.electrical.bands import HIGH
from solarvent.electrical.branches import FanElectrical, LoadSide
from solarvent.electrical.single_diode import SingleDiode, operating_parameters
from solarvent.plan.parts import Panel
from solarvent.simulation.worst_case import BRIGHT, CLEAR, EDGE, WorstCase
from solarvent.studies.size_points import needed_light
from solarvent.weather.broken_sky import SHADOW_LEVEL
from solarvent.weather.panel_light import cell_temperature
from solarvent.wiring.circuit import Branch


class WorstPoints:
    """A load in the suns of :func:`solarvent.simulation.worst_case.worst_case`, for panels of any size.

    Parameters
    ----------
    branch : Leaf, Through or Joined
        The load side of the circuit, with all that lies in line.
    fans : mapping of str to FanElectrical
        Strong ones; all alike, side by side.
    highest : float
        A voltage that no panel passes. [V]
    """

    def __init__(self, branch: Branch, fans: Mapping[str, FanElectrical], highest: float) -> None:
        self.side, self.names = LoadSide(branch, fans, highest), list(fans)

    def at(self, reference: SingleDiode, panel: Panel, size: float, cold: float) -> WorstCase:
        """The worst case of a panel that is so many times the reference, in air as cold as that [degC]."""
        size *= HIGH.plate_factor(panel)
        suns = ((BRIGHT, 0.0), (BRIGHT, BRIGHT), (EDGE, SHADOW_LEVEL * CLEAR))
        frozen, warm, edge = (
            (light, operating_parameters(reference, 1000.0, cell_temperature(np.array([by]), cold, panel.noct)))
            for light, by in suns
        )
        off = dict.fromkeys(self.names, "open")
        on = dict.fromkeys(self.names, "turning")
        failed = on | {self.names[-1]: "open"} if len(self.names) > 1 else on
        standing = self._volts(off, *frozen, size)[0]
        turning = max(self._volts(on, *sun, size)[0] for sun in (warm, edge))
        one_failed = max(self._volts(failed, *sun, size)[0] for sun in (warm, edge))
        heats = [self._volts(states, *warm, size)[1] for states in (on, off)]
        open_circuit = self._open_circuit(*frozen, size)
        many = len(self.names) > 1
        return WorstCase(
            temp_air=cold,
            open_circuit={"panel": open_circuit},
            turning=dict.fromkeys(self.names, turning),
            one_failed=dict.fromkeys(self.names, one_failed) if many else {},
            standing=dict.fromkeys(self.names, standing),
            converter_heat={name: max(heat[name] for heat in heats) for name in self.side.converters},
        )

    def _volts(
        self, states: Mapping[str, str], light: float, diode: tuple[np.ndarray, ...], size: float
    ) -> tuple[float, dict[str, float]]:
        """Voltage at the first fan [V], and the heat in each converter [W]."""
        table, rows = self.side.table(states)  # type: ignore[arg-type]
        on = np.ones(len(table.voltage), dtype=bool)
        for name, law in self.side.converters.items():
            on &= table.terminals[rows[name], 0] >= law.cut_out
        needed = needed_light(diode, size, table.voltage, table.current)
        held = np.flatnonzero(on & (needed <= light))
        if not len(held):
            return 0.0, dict.fromkeys(self.side.converters, 0.0)
        at = min(int(held[-1]), len(needed) - 2)
        low, high = needed[at], needed[at + 1]
        share = min((light - low) / (high - low), 1.0) if np.isfinite(high) and high > low else 0.0
        ends = table.terminals[..., at] + share * (table.terminals[..., at + 1] - table.terminals[..., at])
        heat = {name: float(ends[rows[name]].prod() - ends[rows[name] + 1].prod()) for name in self.side.converters}
        return float(ends[rows[self.names[0]], 0]), heat

    @staticmethod
    def _open_circuit(light: float, diode: tuple[np.ndarray, ...], size: float) -> float:
        volts = np.linspace(0.0, 60.0 * float(diode[4][0]), 6001)
        return float(np.interp(light, needed_light(diode, size, volts, np.zeros(1)), volts))
