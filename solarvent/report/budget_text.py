"""The power budget as text, JSON and CSV: where the energy goes, and how far a battery reaches."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.report.data import to_json
from solarvent.report.layout import Frame, heading, paragraph, table, titled
from solarvent.simulation.power_budget import KEYS, BatteryBudget, PowerBudget
from solarvent.simulation.simulate import Simulation

if TYPE_CHECKING:
    import pandas as pd


_NOTES = (
    "could make: the panels at their best point. usable: the most they give without passing the voltage that the fans"
    " bear. used: into turning fans. lost: heat in wires, diodes and converters. spilled: usable, but left over for"
    " more fans or a battery. missing: what all fans would take at their rated voltage in the hours of need, less what"
    " they used."
)


def render_budget(budget: PowerBudget, frame: Frame) -> str:
    """Write the budget of a year or a day: three telling days of a month, then the months, in watt-hours."""
    run = budget.run
    blocks = [titled(f"Power budget: {run.plan.record.title[:200]}", frame.note)]
    rows = [(f"{kind}, {day:%d %b}", *_figures(sums)) for kind, (day, sums) in budget.days.items()]
    headers = ("", *(COLUMNS[key].heading() for key in KEYS))
    blocks.append(heading(f"Days of {month_name[budget.month]}") + "\n" + table(rows, headers))
    months = budget.months
    if len(months) > 1:
        rows = [(month_abbr[int(number)], *_figures(row)) for number, row in months.iterrows()]
        rows.append(("year", *_figures(months.sum())))
        blocks.append(heading("Months") + "\n" + table(rows, headers))
    if kept := budget.battery:
        blocks.append(heading("With the battery") + "\n" + "\n".join(map(paragraph, battery_words(run, kept))))
    return "\n\n".join([*blocks, paragraph(_NOTES)])


def battery_words(run: Simulation, kept: BatteryBudget) -> Iterator[str]:
    """Say how far the battery reaches."""
    battery = run.plan.record.battery
    assert battery is not None  # it has a budget
    share = kept.served / kept.wanted if kept.wanted else 0.0
    when = f"in the hours of need and from {battery.start} to {battery.end}"
    if run.plan.record.thermostat is not None:
        when = "whenever the thermostat is closed"
    elif battery.fed == "always":
        when = "at all hours, for nothing switches them"
    yield (
        f"The fans take {kept.load:.1f} W at {battery.voltage:g} V, {when}: up to {kept.a_day:.0f} Wh a day,"
        f" {kept.wanted:,.0f} Wh in all. They get {kept.served:,.0f} Wh ({share:.0%})."
    )
    days, nights = kept.served_days, ""
    if days.wanted_nights:
        nights = f" It lasts {days.lasted_nights} of {days.wanted_nights} nights."
    yield (
        f"Of {days.wanted_days} days on which they are wanted, {days.flat_days} run short, at most {days.longest_flat}"
        f" in a row.{nights} Full, the battery gives {battery.usable:.0f} Wh and lasts {kept.autonomy:.1f} days without"
        f" any sun. Its charge falls to {kept.lowest:.0%} at the least. {kept.refused:,.0f} Wh of the panel are thrown"
        " away while it is full."
    )


def battery_sentence(kept: BatteryBudget) -> str:
    """Say in one sentence how long the battery lasts."""
    days = kept.served_days
    nights = f"lasts {days.lasted_nights} of {days.wanted_nights} nights; full it " if days.wanted_nights else "full "
    return (
        f"The battery {nights}lasts {kept.autonomy:.1f} days without sun. It falls to {kept.lowest:.0%} at the least,"
        f" and {kept.refused:,.0f} Wh of the panel are thrown away while it is full."
    )


def _figures(sums: pd.Series) -> list[str]:
    return [f"{sums[key]:.0f}" for key in KEYS]


def budget_json(budget: PowerBudget) -> str:
    """Write the budget as JSON, schema ``solarvent.budget/2``. [Wh]"""

    def plain(sums: pd.Series) -> dict[str, float]:
        return {key: float(sums[key]) for key in KEYS}

    content: dict[str, Any] = {
        "schema": "solarvent.budget/2",
        "title": budget.run.plan.record.title,
        "days": [{"kind": kind, "day": day.isoformat(), **plain(sums)} for kind, (day, sums) in budget.days.items()],
        "months": [{"month": int(number), **plain(row)} for number, row in budget.months.iterrows()],
    }
    if kept := budget.battery:
        content["battery"] = {
            "load": kept.load,
            "wanted": kept.wanted,
            "served": kept.served,
            "charged": kept.charged,
            "spilled": kept.refused,
            "wanted_a_day": kept.a_day,
            "autonomy": kept.autonomy,
            "wanted_days": kept.served_days.wanted_days,
            "flat_days": kept.served_days.flat_days,
            "longest_flat": kept.served_days.longest_flat,
            "wanted_nights": kept.served_days.wanted_nights,
            "short_nights": kept.served_days.short_nights,
            "lowest_state_of_charge": kept.lowest,
        }
    return to_json(content)


def budget_csv(budget: PowerBudget) -> str:
    """Write the months of the budget as CSV."""
    months = budget.months[list(KEYS)].round(3)
    months.columns = [f"{key} [Wh]" for key in KEYS]
    return months.to_csv(lineterminator="\n", index_label="month").rstrip("\n")
