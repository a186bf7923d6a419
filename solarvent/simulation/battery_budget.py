"""The power budget with a battery: the evening, a run of dull days, and how long it lasts without sun."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarvent.electrical.battery import Carried, carry, longest_run
from solarvent.electrical.circuit_parts import circuit_bypass, fan_electrical
from solarvent.electrical.panel_model import panel_parameters
from solarvent.electrical.panel_output import current_held
from solarvent.plan.house_records import Battery
from solarvent.simulation.simulate import Simulation
from solarvent.weather.span import hours_of_need, within_clock

CHARGING = 1.15
"""Voltage of a battery that is being charged, over that of its label (common practice, no source). [-]"""
_MPPT_SHARE = 0.95


@dataclass(frozen=True, eq=False)
class BatteryBudget:
    """What a battery of a plan does over the span.

    Attributes
    ----------
    offered, wanted : array (steps,)
        Energy from the controller, and what all fans take in the hours of need and in the evening. [Wh]
    carried : Carried
        The battery step by step.
    load : float
        Power of all fans at the battery's voltage. [W]
    a_day : float
        Largest energy that is wanted on a day. [Wh]
    autonomy : float
        Days that the full battery lasts without any sun. [d]
    flat_days : int
        On which some of what was wanted was lacking.
    wanted_days : int
        On which something was wanted.
    longest_flat : int
        Most flat days in a row.
    """

    offered: np.ndarray
    wanted: np.ndarray
    carried: Carried
    load: float
    a_day: float
    autonomy: float
    flat_days: int
    wanted_days: int
    longest_flat: int


def battery_budget(run: Simulation) -> BatteryBudget | None:
    """Work out the budget of the plan's battery.

    The panels feed the charge controller and the fans run from the battery, whatever the wiring of the plan says; the
    wires between are not counted.

    Parameters
    ----------
    run : Simulation
        Over a year, or any span of whole days.

    Returns
    -------
    BatteryBudget or None
        None if the plan has no battery, or one without a capacity.
    """
    import pandas as pd

    battery = run.plan.record.battery
    if battery is None or battery.capacity is None:
        return None
    length = run.conditions.step / 3600.0
    times = run.conditions.times
    evening = within_clock(times, battery.start, battery.end)
    evening &= np.asarray(times.month.isin(run.plan.record.months_of_need))
    volts = np.array(battery.voltage)
    load = float(sum(volts * fan_electrical(fan).running_current(volts) for fan in run.plan.record.fan))
    wanted = (hours_of_need(run.plan, times) | evening) * load * length
    offered = _charging(run, battery) * length
    done = carry(offered, wanted, battery.usable, battery.efficiency)
    days = pd.DataFrame({"wanted": wanted, "lacking": wanted - done.served}).groupby(times.date).sum()
    asked = days[days["wanted"] > 0]
    flat = asked["lacking"].to_numpy() > 1e-6 * load
    a_day = float(days["wanted"].max()) if len(days) else 0.0
    return BatteryBudget(
        offered=offered,
        wanted=wanted,
        carried=done,
        load=load,
        a_day=a_day,
        autonomy=battery.usable / a_day if a_day else float("inf"),
        flat_days=int(flat.sum()),
        wanted_days=len(asked),
        longest_flat=longest_run(flat),
    )


def _charging(run: Simulation, battery: Battery) -> np.ndarray:
    """Power that the controller passes on to the battery. [W]"""
    if battery.controller == "mppt":
        return _MPPT_SHARE * run.electrical.power_available.sum(axis=0)
    sky_states, volts = run.conditions.sky_states, CHARGING * battery.voltage
    total = np.zeros(sky_states.steps)
    bypass = {name: law for circuit in run.circuits for name, law in circuit_bypass(circuit).items()}
    for panel in run.plan.record.panel:
        light = run.conditions.panel_states[panel.id]
        values = panel_parameters(panel, light.section_irradiance, light.temp_cell)
        # What flows at the charging voltage is stored at that of the label.
        charging = battery.voltage * current_held(values, volts, bypass.get(panel.id))
        total += sky_states.of_states(charging)
    return total
