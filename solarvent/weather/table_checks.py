"""What a weather table or a log must hold before it is used: times in order, and values that physics allows."""

from __future__ import annotations

from datetime import tzinfo
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import Problem, WeatherError
from solarvent.weather.sun import FIRST_YEAR, LAST_YEAR

if TYPE_CHECKING:
    import pandas as pd

MOST_PROBLEMS = 20
IRRADIANCE = ("ghi", "dni", "dhi")
REQUIRED = (*IRRADIANCE, "temp_air")
"""Columns without which there is no answer; the others may be left out or have gaps."""
SENSOR_OFFSET = -4.0
"""Lowest irradiance that a thermal sensor shows at night (Long & Dutton 2002). [W/m2]"""
LONGEST_STEP = 3600.0
STAMPS = {"start": 0.5, "middle": 0.0, "end": -0.5}
"""What a time stamp stands at, and the steps from there to the middle of its interval."""
#: A thermometer is stuck that shows one value for so long [h] while the other one moves by so much [K] (our choice; in
#: steady rain the air outside may stay the same for nine hours).
_STUCK_HOURS, _STUCK_MOVED = {"inside": 6.0, "outside": 12.0}, 3.0

# Column, lowest, highest, what the value should be. Widest that has been observed, rounded outwards.
_RANGES = (
    ("temp_air", -90.0, 60.0, "degrees Celsius: degF less 32, by 1.8; kelvin less 273.15"),
    ("wind_speed", 0.0, 75.0, "metres a second: km/h by 3.6, mph by 2.237"),
    ("wind_direction", 0.0, 360.0, "degrees from north, clockwise"),
    ("relative_humidity", 0.0, 110.0, "per cent"),
    ("pressure", 30_000.0, 110_000.0, "station pressure in pascal: hPa or mbar times 100"),
    ("total_cover", 0.0, 8.0, "oktas 0-8, or tenths with [tenths] in the header"),
    ("opaque_cover", 0.0, 8.0, "oktas 0-8, or tenths with [tenths] in the header"),
)


def raise_mistakes(problems: list[Problem], where: str) -> None:
    """Raise the mistakes found so far, if there are any, the first twenty in words."""
    if len(problems) > MOST_PROBLEMS:
        more = len(problems) - MOST_PROBLEMS
        problems = [*problems[:MOST_PROBLEMS], Problem(where, f"and {more} more mistakes", "mend these first")]
    if problems:
        raise WeatherError(problems)


def at_lines(where: str, lines: np.ndarray, what: str, write: str) -> Problem:
    """One problem for one kind of mistake: its first line as the place, the others counted."""
    others = "".join(f", {line}" for line in lines[1:4])
    more = f", ... {len(lines) - 4} more" if len(lines) > 4 else ""
    listed = f" (and line{'s' if len(lines) > 2 else ''} {others[2:]}{more})" if len(lines) > 1 else ""
    return Problem(f"{where} line {lines[0]}", what + listed, write)


def read_numbers(column: pd.Series, name: str, lines: np.ndarray, where: str) -> tuple[np.ndarray, list[Problem]]:
    """Read a column as floats, empty as NaN, and find the rows that hold anything else."""
    import pandas as pd

    values = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float)
    bad = np.flatnonzero((np.isnan(values) & column.notna().to_numpy()) | np.isinf(values))
    if not len(bad):
        return values, []
    what = f'{name} "{str(column.iloc[bad[0]])[:40]}" is not a number'
    return values, [at_lines(where, lines[bad], what, "write digits with a decimal point, or leave it empty")]


def mend_offsets(table: pd.DataFrame) -> list[str]:
    """Set irradiance from -4 to 0 W/m2 to 0 in place, and say how often."""
    notes = []
    for name in IRRADIANCE:
        values = table[name].to_numpy()
        slight = (values < 0) & (values >= SENSOR_OFFSET)
        if slight.any():
            table[name] = np.where(slight, 0.0, values)
            notes.append(
                f"{int(slight.sum())} values of {name} between -4 and 0 W/m2 (night offset of a sensor) became 0"
            )
    return notes


def to_the_middle(table: pd.DataFrame, step: float, zone: tzinfo) -> None:
    """Put the index of a checked table, in place, from its stamps to the middle of each step [s], in a time zone."""
    import pandas as pd

    middle = table.index + pd.Timedelta(seconds=STAMPS[table.attrs.pop("stamp")] * step)
    table.index = middle.tz_convert(zone).rename("time")
    table.attrs["step"] = step


def check_weather(table: pd.DataFrame, lines: np.ndarray, where: str) -> float:
    """Refuse a table whose times or values cannot be right, with all mistakes at once, and give its step. [s]

    Its index is as stamped in the file, with a time zone; `attrs` holds latitude, longitude, altitude, stamp and, for a
    table of one row, step [s]. `lines`, shape (steps,), are those of the file for each row.

    Raises
    ------
    WeatherError
        Every mistake, at most twenty.
    """
    step, problems = _check_times(table, lines, where)
    problems += _check_missing(table, lines, where)
    problems += _check_ranges(table, lines, where)
    if step is not None:
        problems += _check_irradiance(table, lines, where, step)
    raise_mistakes(problems, where)
    assert step is not None, "times without a step are a mistake that was raised"
    return step


def _check_times(table: pd.DataFrame, lines: np.ndarray, where: str) -> tuple[float | None, list[Problem]]:
    """The step, and what is wrong with the order of the times."""
    index = table.index
    stated = table.attrs.pop("step", None)
    if index.year.min() < FIRST_YEAR or index.year.max() > LAST_YEAR:
        strange = np.flatnonzero((index.year < FIRST_YEAR) | (index.year > LAST_YEAR))
        what = f"the year {index.year[strange[0]]} is outside {FIRST_YEAR} to {LAST_YEAR}"
        return None, [at_lines(where, lines[strange], what, "check the date")]
    if len(index) == 1:
        if stated is None:
            write = 'add a line "# step: 60" (minutes)'
            return None, [Problem(f"{where} line {lines[0]}", "one row does not tell the step", write)]
        return stated, []
    seconds = np.diff(index.as_unit("s").asi8)
    ahead = seconds[seconds > 0]
    step = _most_common(ahead) if len(ahead) else stated
    problems = []
    repeated, back = np.flatnonzero(seconds == 0) + 1, np.flatnonzero(seconds < 0) + 1
    if len(repeated):
        what = f"the time {index[repeated[0]].isoformat()} stands twice"
        problems.append(at_lines(where, lines[repeated], what, "keep one row for each time"))
    if len(back):
        what = f"{index[back[0]].isoformat()} is before the row above it"
        problems.append(at_lines(where, lines[back], what, "sort the rows by time"))
    if step is None:
        return None, problems
    # Longer by half is a gap, shorter is an uneven step.
    gaps = np.flatnonzero(seconds > 1.5 * step) + 1
    uneven = np.flatnonzero((seconds > 0) & (seconds <= 1.5 * step) & (seconds != step)) + 1
    if len(gaps):
        missing = round(seconds[gaps - 1].sum() / step) - len(gaps)
        what = (
            f"{missing} steps of {step / 60:g} min are missing; the first gap is after {index[gaps[0] - 1].isoformat()}"
        )
        problems.append(at_lines(where, lines[gaps], what, "fill them in; gaps are not bridged"))
    if len(uneven):
        what = f"this row comes {seconds[uneven[0] - 1] / 60:g} min after the last, others {step / 60:g} min"
        problems.append(at_lines(where, lines[uneven], what, "give rows at an even step"))
    if stated is not None and stated != step and not problems:
        what = f'"# step" says {stated / 60:g} min, the rows are {step / 60:g} min apart'
        problems.append(Problem(where, what, "make them agree"))
    if step > LONGEST_STEP:
        what = f"the rows are {step / 3600:g} h apart"
        problems.append(Problem(where, what, "give an hour or less: a longer step hides when a fan starts"))
    return step, problems


def _most_common(values: np.ndarray) -> float:
    """The value that occurs most often, the least of them if there are several."""
    found, counts = np.unique(values, return_counts=True)
    return float(found[np.argmax(counts)])


def _check_missing(table: pd.DataFrame, lines: np.ndarray, where: str) -> list[Problem]:
    """Gaps in the columns without which there is no answer."""
    problems = []
    codes = table.attrs.pop("codes", {})
    for name in REQUIRED:
        missing = np.flatnonzero(np.isnan(table[name].to_numpy()))
        if len(missing):
            what = f"{name} is missing" + (f" (empty, or the file's code for it, {codes[name]})" if codes else "")
            problems.append(at_lines(where, lines[missing], what, "fill it in; gaps are not bridged"))
    return problems


def _check_ranges(table: pd.DataFrame, lines: np.ndarray, where: str) -> list[Problem]:
    """Values that no station has seen, most of them in another unit."""
    problems = []
    for name, lowest, highest, write in _RANGES:
        values = table[name].to_numpy()
        outside = np.flatnonzero((values < lowest) | (values > highest))
        if len(outside):
            what = f"{name} {values[outside[0]]:g} is outside {lowest:g} to {highest:g}"
            problems.append(at_lines(where, lines[outside], what, f"write {write}"))
    humidity = table["relative_humidity"].to_numpy()
    if np.any(humidity > 0) and np.nanmax(humidity) <= 1:
        what = "relative_humidity is nowhere above 1"
        problems.append(Problem(where, what, "write per cent, 0 to 100, not a share"))
    return problems


def _check_irradiance(table: pd.DataFrame, lines: np.ndarray, where: str, step: float) -> list[Problem]:
    """The physically possible limits of the Baseline Surface Radiation Network (Long & Dutton 2002)."""
    import pandas as pd
    from pvlib.irradiance import get_extra_radiation
    from pvlib.solarposition import ephemeris

    times = table.index + pd.Timedelta(seconds=STAMPS[table.attrs["stamp"]] * step)
    elevation = ephemeris(times, table.attrs["latitude"], table.attrs["longitude"])["elevation"].to_numpy()
    sine = np.clip(np.sin(np.radians(elevation)), 0, None)
    extra = np.asarray(get_extra_radiation(times.day_of_year.to_numpy()))
    limits = {"ghi": 1.5 * extra * sine**1.2 + 100, "dni": extra, "dhi": 0.95 * extra * sine**1.2 + 50}
    problems = []
    for name, limit in limits.items():
        values = table[name].to_numpy()
        negative, excess = np.flatnonzero(values < SENSOR_OFFSET), np.flatnonzero(values > limit)
        if len(negative):
            what = f"{name} {values[negative[0]]:g} W/m2 is negative"
            problems.append(at_lines(where, lines[negative], what, "write 0 by night, and leave out codes for missing"))
        if len(excess):
            row = excess[0]
            what = (
                f"{name} {values[row]:g} W/m2 is impossible with the sun {elevation[row]:.0f} deg high: "
                f"at most {limit[row]:.0f} W/m2 (BSRN limit)"
            )
            write = "check the unit, the offset from UTC, # stamp, # latitude and # longitude"
            problems.append(at_lines(where, lines[excess], what, write))
    peak = np.nanmax(table["ghi"].to_numpy(), initial=0.0)
    if 0 < peak < 2 and np.max(limits["ghi"]) > 400:
        what = f"ghi is nowhere above {peak:g}"
        problems.append(Problem(where, what, "write W/m2: kW/m2 times 1000, MJ/m2 an hour times 278"))
    return problems


def refuse_crossed(table: pd.DataFrame, where: str) -> None:
    """Refuse a log of a thermometer with memory whose least lies above its most."""
    for name in ("inside", "outside"):
        if {f"{name}_min", f"{name}_max"} <= set(table):
            above = table[f"{name}_min"] > table[f"{name}_max"]
            if above.any():
                what = f"{name} min lies above {name} max on {above.idxmax():%d %B}"
                raise WeatherError.single(where, what, f"are they swapped? say --{name}-min NAME --{name}-max NAME")


def without_stuck(table: pd.DataFrame, where: str, notes: list[str]) -> pd.DataFrame:
    """Leave out the readings of a thermometer that stays at one value for hours while the other one moves."""
    if not {"inside", "outside"} <= set(table):
        return table
    out = {}
    for name, other in (("inside", "outside"), ("outside", "inside")):
        times, values = table.index.to_series(), table[name]
        run = (values != values.shift()).cumsum()
        lasting, moved = times.groupby(run), table[other].groupby(run)
        hours = (lasting.max() - lasting.min()).dt.total_seconds() / 3600
        stuck = (hours >= _STUCK_HOURS[name]) & (moved.max() - moved.min() >= _STUCK_MOVED)
        out[name] = values.where(~run.map(stuck))
        if not out[name].notna().any():
            raise WeatherError.single(where, f"{name} stays at {values.iloc[0]:g}", "is it a sensor that is stuck?")
        if stuck.any():
            first = f"{lasting.min()[stuck].iloc[0]:%d %B %H:%M}".lstrip("0")
            notes.append(
                f"The {name} thermometer stands still {stuck.sum()} times, {hours[stuck].sum():.0f} hours together, the"
                f" first from {first} UTC, while the other one moves: a stuck sensor, left out."
            )
    return table.assign(**out)
