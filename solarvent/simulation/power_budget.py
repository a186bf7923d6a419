"""The power budget: what the panels could make, what the fans use of it, and how a battery carries it on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from solarvent.electrical.battery import longest_run
from solarvent.electrical.circuit_parts import circuit_bypass, fan_electrical
from solarvent.electrical.panel_model import maximum_power, panel_parameters
from solarvent.plan.plan import Plan
from solarvent.simulation.simulate import Simulation
from solarvent.simulation.year import telling_days, used_power
from solarvent.weather.span import hottest_month
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
    - spilled: usable, but neither used nor lost: more fans, or a battery, could have it. With a battery, what its
      controller refuses because it is full; what is usable then goes through the battery to another hour.
    - missing: in the hours of need, what all fans would take at their rated voltage, less what they used.
    """
    import pandas as pd

    length = run.conditions.step / 3600.0
    made, used = run.hours["power_available"].to_numpy(), used_power(run)
    lost = run.electrical.loss
    if (kept := run.electrical.battery) is not None:
        # What the controller refused the panels could have given; the battery's own heat is lost too.
        usable, lost = run.electrical.panel_power.sum(axis=0) + kept.refused, lost + kept.heat
    else:
        usable = np.sum([_usable(run, circuit) for circuit in run.circuits], axis=0)
    wanted = sum(fan.rated_voltage * fan.rated_current for fan in run.plan.record.fan)
    need = run.needed
    columns = (
        made,
        usable,
        used,
        lost,
        np.maximum(usable - used - lost, 0.0) if kept is None else kept.refused,
        np.where(need, np.maximum(wanted - used, 0.0), 0.0),
    )
    table = {key: values * length for key, values in zip(KEYS, columns, strict=True)}
    return pd.DataFrame({"month": run.hours["month"].to_numpy(), **table}, index=run.hours.index)


def monthly_budget(run: Simulation) -> pd.DataFrame:
    """Sum the budget up by month, see :func:`hourly_budget`. [Wh]"""
    return hourly_budget(run).groupby("month").sum()


def daily_budget(run: Simulation, month: int) -> dict[str, tuple[date, pd.Series]]:
    """Sum the budget [Wh] up for the clear, the broken and the overcast day of a month, by kind of day."""
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


@dataclass(frozen=True)
class ServedDays:
    """Days and nights on which fans on a battery are switched on, and on which it runs short of what they want.

    Attributes
    ----------
    wanted_days, flat_days, longest_flat : int
        Days on which something is wanted, on which some of it is lacking, and the most of these in a row.
    wanted_nights, short_nights : int
        The same for nights: the dark hours from one noon to the next.
    longest_day : float
        Most that is wanted on a day. [h]
    """

    wanted_days: int
    flat_days: int
    longest_flat: int
    wanted_nights: int
    short_nights: int
    longest_day: float

    @property
    def lasted_nights(self) -> int:
        """Nights that the battery lasts."""
        return self.wanted_nights - self.short_nights


@dataclass(frozen=True, eq=False)
class BatteryBudget:
    """What the battery of a plan does over the span.

    Attributes
    ----------
    wanted, served, charged, refused : float
        Energy that the fans would take while they are switched on, and that they get; that the controller passes on,
        and that it refuses while the battery is full. [Wh]
    load : float
        Power of all fans at the battery's voltage. [W]
    a_day : float
        Largest energy that is wanted on a day. [Wh]
    autonomy : float
        Days that the full battery lasts without any sun. [d]
    served_days : ServedDays
        Days and nights on which it lasts.
    lowest : float
        Least state of charge. [-]
    """

    wanted: float
    served: float
    charged: float
    refused: float
    load: float
    a_day: float
    autonomy: float
    served_days: ServedDays
    lowest: float


def battery_budget(run: Simulation) -> BatteryBudget | None:
    """Sum up what the plan's battery does; None if it has none, or one without a capacity."""
    battery, course = run.plan.record.battery, run.electrical.battery
    if battery is None or course is None:
        return None
    hours = run.conditions.step / 3600.0
    wanted, lacking = course.wanted * hours, (course.wanted - course.feeds) * hours
    days = served_days(wanted, lacking, run.conditions.weather["ghi"].to_numpy(), run.conditions.times)
    load = battery_load(run.plan)
    a_day = load * days.longest_day
    return BatteryBudget(
        wanted=load * float(wanted.sum()),
        served=float(used_power(run).sum()) * hours,
        charged=float(course.charging.sum()) * hours,
        refused=float(course.refused.sum()) * hours,
        load=load,
        a_day=a_day,
        autonomy=battery.usable / a_day if a_day else float("inf"),
        served_days=days,
        lowest=float(course.state_of_charge.min()),
    )


#: Hours that a fan may stand for want of charge without the day, or the night, counting as short. [h]
_LACKING = 1e-6


def battery_load(plan: Plan) -> float:
    """Power of all fans at the voltage on the battery's label. [W]"""
    battery = plan.record.battery
    assert battery is not None
    volts = np.array(battery.voltage)
    return float(sum(volts * fan_electrical(fan).running_current(volts) for fan in plan.record.fan))


def served_days(wanted: np.ndarray, lacking: np.ndarray, ghi: np.ndarray, times: pd.DatetimeIndex) -> ServedDays:
    """Count the days and nights of a span on which a battery feeds its fans.

    Of each moment the hours in which they are switched on and in which it does not feed them [h], and the light
    [W/m2]; all of shape (moments,).
    """
    import pandas as pd

    dark, evenings = ghi <= 0, times - pd.Timedelta(hours=12)
    days = _by_day(wanted, lacking, times)
    flat = days["lacking"].to_numpy() > _LACKING
    nights = _by_day(wanted * dark, lacking * dark, evenings)
    short = nights["lacking"].to_numpy() > _LACKING
    longest_day = float(days["wanted"].max()) if len(days) else 0.0
    return ServedDays(len(days), int(flat.sum()), longest_run(flat), len(nights), int(short.sum()), longest_day)


def _by_day(wanted: np.ndarray, lacking: np.ndarray, times: pd.DatetimeIndex) -> pd.DataFrame:
    """Hours of the days on which something is wanted. [h]"""
    import pandas as pd

    days = pd.DataFrame({"wanted": wanted, "lacking": lacking}).groupby(times.date).sum()
    return days[days["wanted"] > 0]
