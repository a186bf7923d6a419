"""The power budget for people, and as data."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from solarvent.base.columns import COLUMNS
from solarvent.report.data import to_json
from solarvent.report.layout import heading, paragraph, table
from solarvent.simulation.battery_budget import BatteryBudget
from solarvent.simulation.power_budget import KEYS, PowerBudget
from solarvent.simulation.simulate import Simulation

if TYPE_CHECKING:
    import pandas as pd

_NOTES = (
    "could make: the panels at their best point. usable: the most they give without passing the voltage that the fans"
    " bear. used: into turning fans. lost: heat in wires, diodes and converters. spilled: usable, but left over for"
    " more fans or a battery. missing: what all fans would take at their rated voltage in the hours of need, less what"
    " they used."
)


def render_budget(budget: PowerBudget, note: str = "") -> str:
    """Write the budget: three telling days of a month, then the months, in watt-hours.

    Parameters
    ----------
    budget : PowerBudget
        Of a year, or a day.
    note : str
        Said under the title.
    """
    run = budget.run
    blocks = [paragraph(f"Power budget: {run.plan.record.title[:200]}") + ("\n" + paragraph(note) if note else "")]
    rows = [(f"{kind}, {day:%d %b}", *_figures(sums)) for kind, (day, sums) in budget.days.items()]
    headers = ("", *(COLUMNS[key].heading() for key in KEYS))
    blocks.append(heading(f"Days of {month_name[budget.month]}") + "\n" + table(rows, headers))
    months = budget.months
    if len(months) > 1:
        rows = [(month_abbr[int(number)], *_figures(row)) for number, row in months.iterrows()]
        rows.append(("year", *_figures(months.sum())))
        blocks.append(heading("Months") + "\n" + table(rows, headers))
    if kept := budget.battery:
        blocks.append(heading("With the battery") + "\n" + "\n".join(_battery(run, kept)))
    return "\n\n".join([*blocks, paragraph(_NOTES)])


def _battery(run: Simulation, kept: BatteryBudget) -> Iterator[str]:
    """Say how far the battery reaches."""
    battery = run.plan.record.battery
    assert battery is not None  # it has a budget
    served, wanted = kept.carried.served.sum(), kept.wanted.sum()
    share = served / wanted if wanted else 0.0
    yield paragraph(
        f"The fans take {kept.load:.1f} W at {battery.voltage:g} V, in the hours of need and from {battery.start} to"
        f" {battery.end}: up to {kept.a_day:.0f} Wh a day, {wanted:,.0f} Wh in all. They get {served:,.0f} Wh"
        f" ({share:.0%})."
    )
    yield paragraph(
        f"Of {kept.wanted_days} days on which they are wanted, {kept.flat_days} end in the dark or run short, at most"
        f" {kept.longest_flat} in a row. Full, the battery gives {battery.usable:.0f} Wh and lasts {kept.autonomy:.1f}"
        f" days without any sun. {kept.carried.spilled.sum():,.0f} Wh come while it is full."
    )
    yield paragraph(
        "The table above and the hours of a run are for fans straight on the panel; the battery takes its place here."
    )


def _figures(sums: pd.Series) -> list[str]:
    return [f"{sums[key]:.0f}" for key in KEYS]


def budget_json(budget: PowerBudget) -> str:
    """Write the budget as JSON, schema ``solarvent.budget/1``. [Wh]"""

    def plain(sums: pd.Series) -> dict[str, float]:
        return {key: float(sums[key]) for key in KEYS}

    content: dict[str, Any] = {
        "schema": "solarvent.budget/1",
        "title": budget.run.plan.record.title,
        "days": [{"kind": kind, "day": day.isoformat(), **plain(sums)} for kind, (day, sums) in budget.days.items()],
        "months": [{"month": int(number), **plain(row)} for number, row in budget.months.iterrows()],
    }
    if kept := budget.battery:
        content["battery"] = {
            "load": kept.load,
            "wanted": float(kept.wanted.sum()),
            "served": float(kept.carried.served.sum()),
            "spilled": float(kept.carried.spilled.sum()),
            "wanted_a_day": kept.a_day,
            "autonomy": kept.autonomy,
            "wanted_days": kept.wanted_days,
            "flat_days": kept.flat_days,
            "longest_flat": kept.longest_flat,
        }
    return to_json(content)


def budget_csv(budget: PowerBudget) -> str:
    """Write the months of the budget as CSV."""
    months = budget.months[list(KEYS)].round(3)
    months.columns = [f"{key} [Wh]" for key in KEYS]
    return months.to_csv(lineterminator="\n", index_label="month").rstrip("\n")
