"""The times of a log: of any usual form, on the plan's clock where they name no zone."""

from __future__ import annotations

import re
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import WeatherError
from solarvent.plan.plan import Plan
from solarvent.weather.span import plan_clock
from solarvent.weather.table_checks import at_lines

if TYPE_CHECKING:
    import pandas as pd

_FIRST_YEAR, _LAST_YEAR = 1990, 2099


def times_of(
    raw: pd.DataFrame, names: list[str], at: list[int], plan: Plan, lines: np.ndarray, where: str, notes: list[str]
) -> tuple[pd.DatetimeIndex, np.ndarray]:
    """Read the times, in UTC, and mark the rows whose time is one."""
    import pandas as pd

    text = raw[at[0]].str.cat([raw[k] for k in at[1:2]], sep=" ")
    text = text.str.replace(r"\s+", " ", regex=True).str.strip()
    read = _parsed(text, where)
    bad = np.flatnonzero(read.isna().to_numpy())
    if len(bad) > len(read) / 10:
        what = f'time "{text.iloc[bad[0]][:40]}" is not a time'
        raise WeatherError([at_lines(where, lines[bad], what, "write it like 2025-04-03 14:00")])
    if len(bad):
        notes.append(f"{len(bad)} rows have no time that can be read, the first in line {lines[bad[0]]}: left out.")
    index = pd.DatetimeIndex(read)
    if index.tz is None:
        offset = re.search(r"(?:UTC|GMT)\s*([+-]\d{1,2})(?::?(\d\d))?", " ".join(names), re.IGNORECASE)
        if offset or re.search(r"utc|gmt|_z$", " ".join(names), re.IGNORECASE):
            minutes = 60 * int(offset[1]) + (-1 if offset[1][0] == "-" else 1) * int(offset[2] or 0) if offset else 0
            index = (index - pd.Timedelta(minutes=minutes)).tz_localize("UTC")
        else:
            index = _on_the_clock(index, plan, notes)
    years = index.year.to_numpy()
    known = ~np.asarray(index.isna())
    strange = known & ((years < _FIRST_YEAR) | (years > _LAST_YEAR))
    if strange.any():
        what = f"the year {years[strange][0]} stands in it"
        lost = at_lines(where, lines[np.flatnonzero(strange)], what, "set the logger's clock, and mend the dates")
        if strange.sum() > len(years) / 10:
            raise WeatherError([lost])
        notes.append(f"{strange.sum()} rows are dated {years[strange][0]}: left out.")
    return index.tz_convert("UTC").as_unit("s"), known & ~strange


def _on_the_clock(index: pd.DatetimeIndex, plan: Plan, notes: list[str]) -> pd.DatetimeIndex:
    """Lay times without a zone on the plan's clock; those that it skips or has twice are left out, and told."""
    import pandas as pd

    clock = plan_clock(plan)
    try:
        there = index.tz_localize(clock, ambiguous="infer", nonexistent="NaT")
    except Exception:
        # pandas has several errors for an hour that cannot be told from its double.
        there = index.tz_localize(clock, ambiguous="NaT", nonexistent="NaT")
    lost = int((there.isna() & ~index.isna()).sum())
    if lost:
        when = index[np.flatnonzero(there.isna() & ~index.isna())[0]]
        notes.append(
            f"{lost} rows lie in an hour that the clock of {plan.record.place.timezone} skips or has twice, on"
            f" {when:%d %B %Y}: left out."
        )
    return pd.DatetimeIndex(there)


def _parsed(text: pd.Series, where: str) -> pd.Series:
    """Read times of any usual form: ISO, day or month first (the order that makes the steps even), serial numbers."""
    import pandas as pd

    numbers = pd.to_numeric(text, errors="coerce")
    if numbers.notna().mean() > 0.9:
        middle = float(numbers.median())
        # Seconds and milliseconds of Unix, and days of spreadsheets, each for some years between 1987 and 2105.
        for unit, low, high, origin in (("s", 6e8, 4.2e9, "unix"), ("ms", 6e11, 4.2e12, "unix"),
                                        ("D", 3.2e4, 7.5e4, "1899-12-30")):  # fmt: skip
            if low < middle < high:
                zone = origin == "unix"
                return pd.to_datetime(numbers, unit=unit, origin=origin, utc=zone, errors="coerce").dt.round("s")
        raise WeatherError.single(where, f'time "{text.iloc[0][:30]}" is a bare number', "write dates and times")
    # Rows that name an offset can be told apart only in UTC.
    aware = text.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True).mean() > 0.5
    tries = []
    if text.iloc[0][:4].isdigit():
        read = pd.to_datetime(text, format="ISO8601", utc=aware, errors="coerce")
        if read.notna().mean() > 0.9:
            return read
    for day_first in (True, False):
        date = "%d/%m/%Y" if day_first else "%m/%d/%Y"
        # One form for all rows where there is one, which is quick; else each row for itself.
        for form in (f"{date} %I:%M %p", f"{date} %I:%M:%S %p", None, "mixed"):
            given: Any = {"dayfirst": day_first} if form in (None, "mixed") else {}
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    read = pd.to_datetime(text, utc=aware, errors="coerce", format=form, **given)
            except (ValueError, TypeError, OverflowError):
                continue
            if read.notna().mean() > 0.9:
                tries.append(read)
                break
    if not tries:
        return pd.Series(pd.NaT, index=text.index)
    return min(tries, key=lambda read: (read.isna().sum(), _uneven(read)))


def _uneven(read: pd.Series) -> float:
    """Sum of all leaps between rows: smallest where days and months are not taken for each other. [s]"""
    return float(read.diff().abs().sum().total_seconds())
