"""A person's own log of a house: times, inside and outside temperature, light and volts, from a logger or a notebook.

Any table of text with one header line is read: commas, semicolons or tabs, decimal points or commas, in the encodings
that loggers use. Columns are known by their names and units, or told. Nothing is mended here in silence: what cannot
be read is an error with its line, what is left out is said in a sentence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import Problem, WeatherError, nearest
from solarvent.plan.plan import Plan
from solarvent.weather.csv_file import LARGEST_FILE, read_raw
from solarvent.weather.log_times import times_of
from solarvent.weather.table_checks import at_lines, refuse_crossed, without_stuck

if TYPE_CHECKING:
    import pandas as pd

#: What a column holds -> words by which its name is known, the whole name or a part of it between signs.
_WORDS = {
    "inside": "inside indoor indoors inner in innen greenhouse house tunnel coop shed hothouse interior internal",
    "outside": "outside outdoor outdoors outer out aussen ambient exterior external",
    "sun": "sun light lux lx irradiance ghi solar radiation pyranometer klx",
    "wind": "wind windspeed",
    "humidity": "humidity rh",
}
_TIME_WORDS = {"time", "datetime", "date", "timestamp", "when", "day", "clock", "zeit", "datum", "utc"}
_LEAST_WORDS, _MOST_WORDS = {"min", "minimum", "lowest", "low"}, {"max", "maximum", "highest", "high"}
#: Unit as it may stand in a header -> factor and shift to the unit inside.
_CELSIUS, _FAHRENHEIT = (1.0, 0.0), (1 / 1.8, -32 / 1.8)
_DEGREES = {"degc": _CELSIUS, "c": _CELSIUS, "celsius": _CELSIUS, "degf": _FAHRENHEIT, "f": _FAHRENHEIT,
            "fahrenheit": _FAHRENHEIT, "k": (1.0, -273.15)}  # fmt: skip
#: Of a watt of sunlight (common practice, no source). [lm/W]
_LUMENS = 110.0
_UNITS = {
    "inside": _DEGREES,
    "outside": _DEGREES,
    "sun": {"w/m2": (1.0, 0.0), "wm2": (1.0, 0.0), "kw/m2": (1000.0, 0.0), "lx": (1 / _LUMENS, 0.0),
            "lux": (1 / _LUMENS, 0.0), "klx": (1000 / _LUMENS, 0.0)},
    "wind": {"m/s": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "mph": (0.44704, 0.0)},
    "humidity": {"%": (1.0, 0.0), "rh": (1.0, 0.0)},
    "volts": {"v": (1.0, 0.0), "mv": (1e-3, 0.0)},
    "amperes": {"a": (1.0, 0.0), "ma": (1e-3, 0.0)},
}  # fmt: skip
_LIMITS = {"inside": (-45.0, 100.0), "outside": (-60.0, 60.0), "sun": (-20.0, 1800.0), "wind": (0.0, 75.0),
           "humidity": (0.0, 110.0), "volts": (-100.0, 600.0), "amperes": (-100.0, 100.0)}  # fmt: skip
#: What usual sensors give in place of a value: not joined, just switched on, no answer. [degC]
_SENSOR_CODES = (-127.0, 85.0, 999.0, 999.9, 9999.0, -99.0, -99.9, -999.0, -999.9, -9999.0)
_MOST_ROWS = 600_000
#: Of the whole log, of one of volts and amperes alone, and between two rows. [h]
_SHORTEST, _SHORTEST_VOLTS, _LONGEST_STEP = 36.0, 4.0, 12.6


@dataclass(frozen=True, eq=False)
class HouseLog:
    """What a person's log says.

    Attributes
    ----------
    name : str
        Of its file.
    table : pandas.DataFrame
        Indexed by time (UTC, as stamped), rising. `inside`, `outside` [degC], each also with ``_min`` and ``_max`` for
        a thermometer with memory, no `inside` where volts and amperes alone were logged; `sun` [W/m2, or only in
        proportion to it]; `wind` [m/s]; `humidity` [%]; ``volts.ID`` [V], ``amperes.ID`` [A] of a panel or fan. Those
        that the log has; NaN where a row says nothing.
    step : float
        Between two rows, mostly. [s]
    sun_unit : str
        Unit of its light as written; empty if none was.
    notes : tuple of str
        What was left out and what was taken for granted, sentences.
    """

    name: str
    table: pd.DataFrame
    step: float
    sun_unit: str
    notes: tuple[str, ...]


def read_log(
    path: str | Path, plan: Plan, columns: Mapping[str, str] | None = None, stamp: str = "middle", shift: float = 0.0
) -> HouseLog:
    """Read a log of a plan's house.

    Parameters
    ----------
    path : str or path-like
        A text file.
    plan : Plan
        For its clock, which times without a zone are taken to follow, and the ids of its parts.
    columns : mapping of str to str, optional
        What a column holds ("time", "inside", "outside", "sun", "volts.ID", ...) to its name in the header.
    stamp : {"middle", "start", "end"}
        What the time of a row stands at in its interval; a reading at a moment is its own middle.
    shift : float
        To be added to its times. [s]

    Returns
    -------
    HouseLog

    Raises
    ------
    WeatherError
        If it cannot be read, has no time or inside temperature, is too short, or is in another unit than it says.
    """
    import pandas as pd

    where = Path(path).name
    header, rows, lines, decimal = _table_of(_text(path, where), where)
    places, notes = _places(header, columns or {}, plan, where)
    raw = pd.DataFrame(rows, columns=range(len(header)))
    times, kept = times_of(raw, [header[at] for at in places["time"]], places["time"], plan, lines, where, notes)
    values: dict[str, np.ndarray] = {}
    sun_unit = ""
    for what, at in places.items():
        if what != "time":
            unit = _unit_of(header[at[0]], what)
            values[what] = _numbers(raw[at[0]], what, unit, header[at[0]], lines, where, decimal, notes)
            sun_unit = unit or "" if what == "sun" else sun_unit
    table = pd.DataFrame(values)[kept].set_index(times[kept])
    table = _in_order(table, where, notes)
    refuse_crossed(table, where)
    table = without_stuck(table, where, notes)
    span = (table.index[-1] - table.index[0]).total_seconds() / 3600 if len(table) else 0.0
    house = [name for name in table if name.startswith("inside")]
    if house and _SHORTEST_VOLTS <= span < _SHORTEST and any(name.startswith("amperes.") for name in table):
        notes.append(f"{span:.0f} hours say nothing of the house: its panels and fans alone are looked at.")
        table, house = table.drop(columns=house), []
    if span < (_SHORTEST if house else _SHORTEST_VOLTS):
        write = "two nights and the day between are the least; a week says more"
        write = write if house else "a sunny morning is the least; a day from dawn to dusk says more"
        raise WeatherError.single(where, f"the log covers {span:.0f} hours", write)
    # Loggers drop rows, so the mean would be too long.
    step = float(np.median(np.diff(table.index.as_unit("s").asi8)))
    if step > _LONGEST_STEP * 3600 and "inside_min" not in table:
        what = f"its rows are {step / 3600:.0f} h apart"
        raise WeatherError.single(where, what, "two readings a day, or the least and the most of each day, are needed")
    ahead = {"start": step / 2, "middle": 0.0, "end": -step / 2}[stamp] + shift
    table.index = table.index + pd.Timedelta(seconds=ahead)
    return HouseLog(where, table, step, sun_unit, tuple(notes))


def _text(path: str | Path, where: str) -> str:
    """Decode a log: UTF-8, UTF-16 with its mark, or the Western code page that older loggers write."""
    raw = read_raw(path)
    if len(raw) > LARGEST_FILE:
        raise WeatherError.single(where, f"the file has over {LARGEST_FILE:,} bytes", "cut it to some weeks")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", errors="replace")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
    if "\0" in text or raw[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise WeatherError.single(where, "this is no text file", "save the table as CSV")
    if not text.strip():
        raise WeatherError.single(where, "the file is empty", "give a CSV of times and temperatures")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _table_of(text: str, where: str) -> tuple[list[str], list[list[str]], np.ndarray, str]:
    """Find the header, and cut the rows below it: names, fields, line of each row, and the decimal sign."""
    import csv

    body = [(n, line) for n, line in enumerate(text.split("\n"), 1) if line.strip() and not line.startswith("#")]
    if len(body) > _MOST_ROWS:
        raise WeatherError.single(where, f"the file has over {_MOST_ROWS:,} lines", "give some weeks, or longer steps")
    sample = "\n".join(line for _, line in body[-200:])
    # The sign that stands most often in each of the last lines; of equals the semicolon, for a comma may be decimal.
    parted = max(";\t,", key=lambda sign: (min(line.count(sign) for _, line in body[-50:]), -";\t,".index(sign)))
    if parted not in sample:
        write = "part the columns by commas, semicolons or tabs, with a header like time,inside [degC],outside [degC]"
        raise WeatherError.single(where, "the lines are one column", write)
    try:
        cut = list(csv.reader((line for _, line in body), delimiter=parted))
    except csv.Error as reason:
        raise WeatherError.single(where, f"the table cannot be read: {reason}", "save it as CSV again") from None
    cut = [[field.strip() for field in fields] for fields in cut]
    width = len(cut[-1])
    first = next((row for row, fields in enumerate(cut) if len(fields) == width and any(map(_digit, fields))), len(cut))
    while first < len(cut) and _is_header(cut[first]):
        first += 1
    if first == 0 or first == len(cut):
        what = "there is no header of columns" if first == 0 else "there are no rows of numbers"
        raise WeatherError.single(where, what, 'begin with a line like "time,inside [degC],outside [degC]"')
    header, rows = cut[first - 1], cut[first:]
    lines = np.array([number for number, _ in body[first : first + len(rows)]])
    if len(header) == width - 1:
        header = [*header, ""]
    if len(header) != width:
        what = f"the header has {len(header)} columns, the rows {width}"
        raise WeatherError.single(f"{where} line {body[first - 1][0]}", what, "give each column one name")
    ragged = np.flatnonzero([len(fields) != width for fields in rows])
    if len(ragged):
        what = f"{len(rows[ragged[0]])} fields for {width} columns"
        raise WeatherError([at_lines(where, lines[ragged], what, "one field a column; is the last line cut off?")])
    decimal = "," if parted != "," and re.search(r"\d,\d", sample) else "."
    return header, rows, lines, decimal


def _digit(field: str) -> bool:
    return bool(re.match(r"^[-+]?\d", field))


def _is_header(fields: list[str]) -> bool:
    """Tell a header in which a number stands (like "2 m inside") from a row: hardly a field of it is a number."""
    given = [field for field in fields if field]
    return sum(bool(re.fullmatch(r"[-+]?[\d.,:/ TZ-]+", field)) for field in given) * 3 < len(given)


def _words(name: str) -> set[str]:
    """Words of a column's name, without its unit."""
    bare = re.sub(r"[\[(].*?[\])]", " ", name)
    bare = re.sub(r"([a-z])([A-Z])", r"\1 \2", bare)
    return set(re.split(r"[^a-z0-9]+", bare.casefold())) - {""}


def _kind(name: str, plan: Plan) -> str | None:
    """Tell what a column holds by its name and unit; None if it says nothing that is known."""
    words = _words(name)
    unit = re.search(r"[\[(]\s*(m?[VA])\s*[\])]|[_ ](m?[VA]|volts?|amps?|amperes?)$", name)
    for part in (*plan.record.panel, *plan.record.fan):
        if part.id in name.lower() and (unit or words & {"volts", "voltage", "current", "amperes"}):
            ampere = bool(words & {"current", "amperes", "amps", "amp"}) or (unit and "A" in (unit[1] or unit[2] or ""))
            return f"{'amperes' if ampere else 'volts'}.{part.id}"
    for what, known in _WORDS.items():
        if words & set(known.split()):
            if what in ("inside", "outside"):
                if words & {"humidity", "rh", "ok", "valid", "flag", "light", "lux", "dew"} or "%" in name:
                    continue
                return what + ("_min" if words & _LEAST_WORDS else "_max" if words & _MOST_WORDS else "")
            return what
    return "time" if words & _TIME_WORDS else None


def _places(
    header: list[str], told: Mapping[str, str], plan: Plan, where: str
) -> tuple[dict[str, list[int]], list[str]]:
    """Find the columns: what each holds to its place in the header; told ones first."""
    found: dict[str, list[int]] = {}
    for what, name in told.items():
        fit = [k for k, given in enumerate(header) if given == name] or [
            k for k, given in enumerate(header) if _bare(given).lower() == name.lower()
        ]
        if not fit:
            raise WeatherError.single(where, f'no column is called "{name[:40]}"', nearest(name, header))
        found[what] = fit[:1]
    taken = {column for places in found.values() for column in places}
    notes, unknown = [], []
    for at, name in enumerate(header):
        if at in taken:
            continue
        kind = _kind(name, plan) if name else None
        if kind is None:
            unknown.append(name)
        elif kind != "time" and kind in found:
            if kind in told:
                continue
            choices = ", ".join(f'"{header[k]}"' for k in (found[kind][0], at))
            option = kind.replace("_", "-").replace(".", " ")
            raise WeatherError.single(where, f"{choices} may each be {kind}", f"say which: --{option} NAME")
        elif kind not in told:
            found.setdefault(kind, []).append(at)
    for both in ({"inside_min", "inside_max"}, {"outside_min", "outside_max"}):
        there = both & found.keys()
        if len(there) == 1:
            unknown.append(header[found.pop(there.pop())[0]])
    if unknown and any(unknown):
        names = ", ".join(f'"{name[:30]}"' for name in unknown[:6] if name)
        notes.append(f"Columns that are not used: {names}.")
    if "time" not in found:
        raise WeatherError.single(where, "no column is known as the time", "name it time, or say --time NAME")
    parts = {kind: [name for name in found if name.startswith(kind)] for kind in ("volts.", "amperes.")}
    if not found.keys() & {"inside", "inside_min"} and not all(parts.values()):
        write = 'name it like "inside [degC]", or say --inside NAME'
        raise WeatherError.single(where, "no column is known as the inside temperature", write)
    return found, notes


def _quantity(what: str) -> str:
    """What a column measures, without "_min", "_max" or the id of a part."""
    return what.partition("_m")[0].partition(".")[0]


def _unit_of(name: str, what: str) -> str | None:
    """Unit in the name of a column, as one of `_UNITS`; None if there is none."""
    known = _UNITS[_quantity(what)]
    given = re.search(r"[\[(]\s*([^\])]*?)\s*[\])]", name)
    said = given[1] if given else re.split(r"[\s_,]+", name)[-1]
    plain = said.replace("°", "deg").replace("º", "deg").replace("²", "2").replace(" ", "").lower()
    return plain if plain in known else None


def _numbers(
    column: pd.Series, what: str, unit: str | None, name: str, lines: np.ndarray, where: str, decimal: str,
    notes: list[str],
) -> np.ndarray:  # fmt: skip
    """Read the numbers of a column into the unit inside; codes of sensors and words for missing become NaN."""
    import pandas as pd

    kind = _quantity(what)
    text = column.str.replace("−", "-").str.replace(r"\s*(?:°?[CF]|deg[CF]|lx|lux|%|V|A)$", "", regex=True)
    if decimal == ",":
        text = text.str.replace(",", ".")
    values = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, copy=True)
    values[~np.isfinite(values)] = np.nan
    if not np.isfinite(values).any():
        raise WeatherError.single(where, f'the column "{name}" holds no numbers', "choose another column for it")
    wrong = np.isnan(values) & (column.str.strip() != "").to_numpy()
    # Some words among the numbers are gaps; mostly words is the wrong column (our choice).
    if wrong.mean() > 0.5:
        what_is = f'{name} "{column[wrong].iloc[0][:30]}" is not a number'
        raise WeatherError([at_lines(where, lines[np.flatnonzero(wrong)], what_is, "write digits, or leave it empty")])
    if wrong.any():
        notes.append(
            f'{wrong.sum()} values of "{name}", like "{column[wrong].iloc[0][:20]}", are no numbers: left out.'
        )
    factor, add = _UNITS[kind][unit] if unit else (1.0, 0.0)
    if kind in ("inside", "outside"):
        # Codes are written in the unit of the column, so they are looked for before it is turned.
        code = np.isin(values, _SENSOR_CODES)
        if code.any():
            notes.append(f'{code.sum()} values of "{name}" are the {values[code][0]:g} of a sensor at fault: left out.')
            values[code] = np.nan
        _refuse_wrong_degrees(values * factor + add, unit, name, where)
        if unit is None:
            notes.append(f'"{name}" has no unit: taken as degC.')
    values = values * factor + add
    low, high = _LIMITS[kind]
    if kind == "sun" and unit is None:
        high = np.inf
    outside = (values < low) | (values > high)
    # A few are slips; one in twenty is another unit (our choice).
    if outside.mean() > 0.05:
        shown = f"{name} has {values[outside][0]:g}, outside {low:g} to {high:g}"
        raise WeatherError([at_lines(where, lines[np.flatnonzero(outside)], shown, "write its unit in the header")])
    if outside.any():
        notes.append(f'{outside.sum()} values of "{name}" cannot be, like {values[outside][0]:g}: left out.')
        values[outside] = np.nan
    return np.asarray(values)


def _refuse_wrong_degrees(values: np.ndarray, unit: str | None, name: str, where: str) -> None:
    """Refuse temperatures that can only be of another unit than is said, or than degC if none is."""
    middle, high = np.nanmedian(values), np.nanpercentile(values, 98)
    # No house is that warm in degF or degC.
    if 200 < middle < 400:
        raise WeatherError.single(where, f"{name} looks like kelvin", f'write "{_bare(name)} [K]" in the header')
    if middle < 400 and (middle > (75 if unit else 42) or high > (95 if unit else 78)):
        said = "is said to be in degC but " if unit else "has no unit, and "
        write = f'write the unit in the header, like "{_bare(name)} [degF]"'
        raise WeatherError.single(where, f"{name} {said}lies around {middle:.0f}, which is degF", write)
    if middle < -25:
        write = "is degF written over degC?"
        raise WeatherError.single(where, f"{name} lies around {middle:.0f} degC", write)


def _bare(name: str) -> str:
    return re.sub(r"\s*[\[(].*", "", name)


def _in_order(table: pd.DataFrame, where: str, notes: list[str]) -> pd.DataFrame:
    """Bring the rows in order; of those with one time, alike ones count once and others not at all."""
    back = int((np.diff(table.index.asi8) < 0).sum())
    # Some loggers write the newest row first.
    if back > len(table) / 4:
        table = table[::-1]
        back = int((np.diff(table.index.asi8) < 0).sum())
    if back:
        notes.append(f"The rows are out of order in {back} places: sorted by time.")
        table = table.sort_index(kind="stable")
    double = table.index.duplicated(keep=False)
    if double.any():
        same = table.reset_index().duplicated(keep=False).to_numpy()
        unlike = double & ~same
        count, first = int(table.index.duplicated().sum()), table.index[double][0]
        notes.append(
            f"{count} times stand twice, the first {first:%Y-%m-%d %H:%M} UTC: "
            + ("rows that differ are left out." if unlike.any() else "alike, counted once.")
        )
        table = table[~unlike]
        table = table[~table.index.duplicated()]
    if table.empty:
        problem = Problem(where, "no row is left", "give each time one row")
        raise WeatherError([problem])
    return table
