"""The parts of the page that are words, strips and tables: the answer, the days at a glance, the map of the year."""

from __future__ import annotations

from calendar import month_abbr, month_name
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, isnan
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.columns import COLUMNS
from solarvent.base.quantities import show
from solarvent.plan.parts import Fan
from solarvent.plan.plan_record import PlanRecord
from solarvent.report.layout import CAUTIONS, cell, clock
from solarvent.report.strips import SKY_NAMES
from solarvent.studies.overview import DayOverview, Overview

if TYPE_CHECKING:
    import pandas as pd

_TINTS = 5


def answer(overview: Overview, system: str) -> list[str]:
    """Write the three sentences: when the fans turn, how much air that is, what to do first."""
    record, bands = overview.run.plan.record, overview.run.bands
    sentences = [_when(overview.days)]
    if not isnan(bands["typical"].target_flow):
        typical, low, high = (f"{bands[name].target_air_changes:.2g}" for name in ("typical", "low", "high"))
        flow = show(bands["typical"].target_flow, "flow", system)
        share = overview.air.share_of_sunny_hour
        enough = "" if isnan(share) else f", {share:.0%} of what a sunny hour wants"
        sentences.append(
            f"From {record.target.start} to {record.target.end} in {_months(record.months_of_need)} they move {flow} on"
            f" average: {typical} ({low} to {high}) air changes an hour{enough}."
        )
    else:
        sentences.append("The weather has none of the hours in which air is needed.")
    return [*sentences, overview.verdict.first_sentence]


def _months(numbers: list[int]) -> str:
    """Name months, a run of them by its ends."""
    follows = all((later - first) % 12 == 1 for first, later in pairwise(numbers))
    if follows and len(numbers) > 1:
        return f"{month_name[numbers[0]]} to {month_name[numbers[-1]]}"
    return ", ".join(month_name[number] for number in numbers)


def _when(days: Sequence[DayOverview]) -> str:
    parts = []
    for day in days:
        words = " to ".join(clock(hours) for hours in day.turning or ())
        parts.append((SKY_NAMES[day.telling.kind], f"from {words}" if words else "not at all"))
    if not parts:
        return "There is no lit day in the weather."
    (sky, words), *rest = parts
    month = month_name[days[0].telling.day.month]
    more = "".join(f", {other_words} on {_an(other)} one" for other, other_words in rest)
    return f"On {_an(sky)} {month} day fans turn {words}{more}."


def _an(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


@dataclass(frozen=True)
class YearMap:
    """Mean air changes by month and hour.

    Attributes
    ----------
    hours : list of int
        The columns: clock hours in which a panel is lit in some month.
    rows : list of tuple
        Month, and for each hour its figure as text, its tint 0-5, and whether air is needed then.
    """

    hours: list[int]
    rows: list[tuple[str, list[tuple[str, int, bool]]]]


def year_map(mean: pd.DataFrame) -> YearMap:
    """Lay out the mean air changes by month and clock hour."""
    lit = mean[mean["poa_global"] > 1.0].index.get_level_values(1)
    hours = list(range(int(lit.min()), int(lit.max()) + 1)) if len(lit) else []
    highest = max(float(mean["air_changes"].max()), 1e-9)
    rows = []
    for month in sorted(set(mean.index.get_level_values(0))):
        cells = []
        for hour in hours:
            row = mean.loc[(month, hour)] if (month, hour) in mean.index else None
            value = 0.0 if row is None else float(row["air_changes"])
            tint = 0 if value < 0.05 else min(ceil(_TINTS * value / highest), _TINTS)
            text = (
                ""
                if value < (0.5 if highest >= 10 else 0.05)
                else f"{value:.0f}"
                if highest >= 10 or value >= 1
                else f"{value:.1f}".lstrip("0")
            )
            cells.append((text, tint, row is not None and bool(row["need"] > 0)))
        rows.append((month_abbr[int(month)], cells))
    return YearMap(hours, rows)


def day_table(hours: pd.DataFrame, fans: Sequence[Fan], system: str) -> tuple[list[str], list[list[str]]]:
    """Give the hours of a day as a small table: headers and rows."""
    names = ("poa_global", "temp_air", "temp_inside")
    headers = ["from", *(COLUMNS[name].heading(system) for name in names), "fans [V]", "turning", "changes [1/h]"]
    rows = []
    for time, row in hours.iterrows():
        volts = np.array([row[f"voltage.{fan.id}"] for fan in fans])
        low, high = f"{volts.min():.1f}", f"{volts.max():.1f}"
        rows.append(
            [
                f"{time:%H:%M}",
                *(cell(name, row[name], system) for name in names),
                low if low == high else f"{low} to {high}",
                f"{round(row['fans_running'], 1):g} of {len(fans)}",
                cell("air_changes", row["air_changes"], system),
            ]
        )
    return headers, rows


def cautions(record: PlanRecord) -> list[str]:
    """Give the cautions that fit a plan."""
    found = list(CAUTIONS)
    found.append("Keep joints dry and off the ground; an indoor extension lead is no outdoor cable.")
    if record.house.use == "coop":
        found.append("Animals die in hours when air fails: have an alarm, and openings that need no power.")
    if record.heater is not None:
        found.append(
            "A heater that burns fuel in a closed house makes carbon monoxide, which kills people, and ethylene, which"
            " harms plants: give it its own air and flue."
        )
    if record.mass:
        found.append("Water is heavy: a 55 gal drum weighs 208 kg. Set it on firm level ground, where it cannot tip.")
    if record.battery is not None:
        found.append("A battery can push hundreds of amperes: a fuse at its + pole comes first, and no spark near it.")
    return found
