"""What a meter reads on a plan's circuits in a given sun."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from solarvent.electrical.bands import BANDS, TYPICAL, Band
from solarvent.electrical.circuit_parts import fan_electrical
from solarvent.electrical.operation import Thresholds, point
from solarvent.electrical.panel_model import panel_parameters
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import start_and_run_down
from solarvent.weather.conditions import sections_in_sun
from solarvent.wiring.harness import build_harness
from solarvent.wiring.network import circuits


@dataclass(frozen=True)
class FanReading:
    """At the terminals of one fan: volts and amperes."""

    id: str
    voltage: float
    current: float


@dataclass(frozen=True)
class Reading:
    """A circuit with its fans in one state.

    Attributes
    ----------
    panel_voltage, panel_current : float
        At the first panel's terminals. [V], [A]
    fans : tuple of FanReading
        In the order of the plan.
    """

    panel_voltage: float
    panel_current: float
    fans: tuple[FanReading, ...]


@dataclass(frozen=True)
class Expected:
    """What a meter should read on one circuit.

    Attributes
    ----------
    panels : tuple of str
        The panels that feed it.
    open_circuit : float
        Voltage with nothing joined. [V]
    short_circuit : float
        Current into a meter across the panels' lead, at the point that feeds the fans. [A]
    standing, turning : Reading
        All rotors held; all fans turning, whether or not they would start.
    thresholds : dict of str to Thresholds
        By fan, for cells at the given temperature.
    """

    panels: tuple[str, ...]
    open_circuit: float
    short_circuit: float
    standing: Reading
    turning: Reading
    thresholds: dict[str, Thresholds]


def expected_readings(
    plan: Plan, irradiance: float, temp_cell: float, bands: tuple[Band, ...] = BANDS
) -> dict[str, tuple[Expected, ...]]:
    """Work out the readings of every circuit of a plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    irradiance : float
        Light on the cells of every panel, but for sections in shadow that bypass diodes bridge. [W/m2]
    temp_cell : float
        [degC]
    bands : tuple of Band
        Which readings of the plates.

    Returns
    -------
    dict of str to tuple of Expected
        By band, one entry a circuit.
    """
    harness = build_harness(plan)
    wired = circuits(harness, plan)
    return {
        band.name: tuple(_expected(plan, circuit, irradiance, temp_cell, band) for circuit in wired) for band in bands
    }


def _expected(plan: Plan, circuit: Any, irradiance: float, temp_cell: float, band: Band = TYPICAL) -> Expected:
    """Work out the readings of one circuit in one band."""
    names = list(circuit.fan_ids)
    feeding = tuple(circuit.panel_ids)
    fans = {fan.id: fan_electrical(fan, band) for fan in plan.record.fan if fan.id in names}
    panels = {
        panel.id: panel_parameters(panel, sections_in_sun(panel, np.array([irradiance])), np.array([temp_cell]), band)
        for panel in plan.record.panel
        if panel.id in feeding
    }
    held, turning = (point(circuit, panels, fans, dict.fromkeys(names, state)) for state in ("held", "turning"))
    return Expected(
        panels=feeding,
        open_circuit=float(held.open_circuit_voltage[0]),
        short_circuit=float(held.short_circuit_current[0]),
        standing=_reading(held),
        turning=_reading(turning),
        thresholds=start_and_run_down((circuit,), band, temp_cell),
    )


def _reading(found: Any) -> Reading:
    """Take the first step of a point."""
    fans = zip(found.fan_ids, found.fan_voltage[:, 0].tolist(), found.fan_current[:, 0].tolist(), strict=True)
    return Reading(
        float(found.panel_voltage[0, 0]),
        float(found.panel_current[0, 0]),
        tuple(FanReading(*values) for values in fans),
    )
