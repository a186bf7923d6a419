"""The power budget: what the panels could make, how much of it the fans can use, do use, let go, and lack."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from solarvent.electrical.circuit_parts import circuit_bypass
from solarvent.electrical.panel_model import panel_parameters
from solarvent.electrical.panel_output import maximum_power
from solarvent.simulation.battery_budget import BatteryBudget, battery_budget
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.year import telling_days, used_power
from solarvent.weather.span import hottest_month, hours_of_need
from solarvent.wiring.circuit import Circuit, converters, has_series

if TYPE_CHECKING:
    import pandas as pd

KEYS = ("energy_made", "energy_usable", "energy_used", "energy_lost", "energy_spilled", "energy_missing")


def hourly_budget(run: Simulation) -> pd.DataFrame:
    """Work the budget out for every step.

    - made: the panels at their best point.
    - usable: the most that they give without passing the voltage that the fans bear. A 12 V fan straight on a "12 V"
      panel can use about three quarters; a 24 V fan, or a converter, all of it.
    - used: into turning fans. On a fan that gets too much voltage it may pass what is usable.
    - lost: heat in wires, contacts, diodes and converters, while a fan turns or stands.
    - spilled: usable, but neither used nor lost: more fans, or a battery, could have it.
    - missing: in the hours of need, what all fans would take at their rated voltage, less what they used.

    Parameters
    ----------
    run : Simulation
        Over any span.

    Returns
    -------
    pandas.DataFrame
        One row a step, with month and the energies of `KEYS`. [Wh]
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
    """Sum the budget up for the clear, the middling and the dull day of a month.

    Returns
    -------
    dict
        Kind of day to its date and the energies of `KEYS`. [Wh]
    """
    hours = hourly_budget(run)
    return {
        telling.kind: (telling.day, hours[hours.index.date == telling.day][list(KEYS)].sum())
        for telling in telling_days(run, month)
    }


@dataclass(frozen=True, eq=False)
class PowerBudget:
    """Where the energy of a run goes.

    Attributes
    ----------
    run : Simulation
        Over a year, or a day.
    month : int
        Of the days.
    days : dict
        See :func:`daily_budget`.
    months : pandas.DataFrame
        See :func:`monthly_budget`.
    battery : BatteryBudget or None
        How far the battery reaches, if the plan has one.
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
