"""The power budget: what the panels could make, what the fans use of it, and how a battery carries it on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from solarvent.electrical.battery import Carried, carry, longest_run
from solarvent.electrical.circuit_parts import circuit_bypass, fan_electrical
from solarvent.electrical.panel_model import current_held, maximum_power, panel_parameters
from solarvent.plan.house_records import Battery
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.year import telling_days, used_power
from solarvent.weather.span import hottest_month, hours_of_need, within_clock
from solarvent.wiring.circuit import Circuit, converters, has_series

if TYPE_CHECKING:
    import pandas as pd


KEYS = ("energy_made", "energy_usable", "energy_used", "energy_lost", "energy_spilled", "energy_missing")


def hourly_budget(run: Simulation) -> pd.DataFrame:
    """Work the budget out for every step: one row a step, with month and the energies of `KEYS` [Wh].

    - made: the panels at their best point.
    - usable: the most that they give without passing the voltage that the fans bear. A 12 V fan straight on a "12 V"
      panel can use about three quarters; a 24 V fan, or a converter, all of it.
    - used: into turning fans. On a fan that gets too much voltage it may pass what is usable.
    - lost: heat in wires, contacts, diodes and converters, while a fan turns or stands.
    - spilled: usable, but neither used nor lost: more fans, or a battery, could have it.
    - missing: in the hours of need, what all fans would take at their rated voltage, less what they used.
    """
    import pandas as pd

    length = run.conditions.step / 3600.0
    made, used = run.hours["power_available"].to_numpy(), used_power(run)
    usable, lost = sum(_usable(run, circuit) for circuit in run.circuits), run.electrical.loss
    wanted = sum(fan.rated_voltage * fan.rated_current for fan in run.plan.record.fan)
    need = hours_of_need(run.plan, run.conditions.times)
    columns = (
        made,
        usable,
        used,
        lost,
        np.maximum(usable - used - lost, 0.0),
        np.where(need, np.maximum(wanted - used, 0.0), 0.0),
    )
    table = {key: values * length for key, values in zip(KEYS, columns, strict=True)}
    return pd.DataFrame({"month": run.hours["month"].to_numpy(), **table}, index=run.hours.index)


def monthly_budget(run: Simulation) -> pd.DataFrame:
    """Sum the budget up by month, see :func:`hourly_budget`. [Wh]"""
    return hourly_budget(run).groupby("month").sum()


def daily_budget(run: Simulation, month: int) -> dict[str, tuple[date, pd.Series]]:
    """Sum the budget [Wh] up for the clear, the middling and the dull day of a month, by kind of day."""
    hours = hourly_budget(run)
    return {
        telling.kind: (telling.day, hours[hours.index.date == telling.day][list(KEYS)].sum())
        for telling in telling_days(run, month)
    }


@dataclass(frozen=True, eq=False)
class PowerBudget:
    """Where the energy of a run over a year, or a day, goes.

    `days` are those of :func:`daily_budget` for the month, `months` is :func:`monthly_budget`, and `battery` how far
    the battery reaches, if the plan has one.
    """

    run: Simulation
    month: int
    days: dict[str, tuple[date, pd.Series]]
    months: pd.DataFrame
    battery: BatteryBudget | None


def power_budget(run: Simulation, month: int | None = None) -> PowerBudget:
    """Sum up where the energy of a run goes; its days are those of a month, by default the hottest of need."""
    month = month or hottest_month(run.plan, run.conditions.weather)
    return PowerBudget(run, month, daily_budget(run, month), monthly_budget(run), battery_budget(run))


def _usable(run: Simulation, circuit: Circuit) -> np.ndarray:
    """Power of a circuit's panels that stays within the voltage of its fans, averaged over each step. [W]"""
    sky_states = run.conditions.sky_states
    limit = min(fan.maximum_voltage for fan in circuit.fans)
    # A converter takes the panels where it wants them; in a chain the voltages add up.
    if any(part.kind != "clamp" for part in converters(circuit.load)) or has_series(circuit):
        limit = np.inf
    bypass = circuit_bypass(circuit)
    total = np.zeros(sky_states.steps)
    for panel in circuit.panels:
        light = run.conditions.panel_states[panel.id]
        values = panel_parameters(panel, light.section_irradiance, light.temp_cell)
        total += sky_states.of_states(maximum_power(values, bypass[panel.id], limit))
    return total


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
    """Work out the budget of the plan's battery; None if it has none, or one without a capacity.

    The panels feed the charge controller and the fans run from the battery, whatever the wiring of the plan says; the
    wires between are not counted. The run goes over a year, or any span of whole days.
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
