"""EPW, the weather files of building simulation: eight lines of header, then 8760 or 8784 hours of 35 fields."""

from __future__ import annotations

import datetime
import io
import re
import warnings
from typing import TYPE_CHECKING

import numpy as np

from solarvent.base.errors import Problem, WeatherError
from solarvent.weather.table_checks import FIRST_YEAR, LAST_YEAR, at_lines, raise_mistakes, read_numbers

if TYPE_CHECKING:
    import pandas as pd

_HEAD_LINES = 8
_FIRST_LINE = _HEAD_LINES + 1
#: Our column -> name in pvlib's reader, factor to the unit inside, least value that means "missing".
_COLUMNS = {
    "ghi": ("ghi", 1.0, 9999.0),
    "dni": ("dni", 1.0, 9999.0),
    "dhi": ("dhi", 1.0, 9999.0),
    "temp_air": ("temp_air", 1.0, 99.9),
    "wind_speed": ("wind_speed", 1.0, 999.0),
    "wind_direction": ("wind_direction", 1.0, 999.0),
    "relative_humidity": ("relative_humidity", 1.0, 999.0),
    "pressure": ("atmospheric_pressure", 1.0, 999999.0),
    "total_cover": ("total_sky_cover", 0.8, 99.0),
    "opaque_cover": ("opaque_sky_cover", 0.8, 99.0),
}
_MOST_HOURS = 8784
_LARGEST_STAMP = 99_999
_FEWEST_FIELDS = 24
"""Up to and with opaque_sky_cover."""


def read_epw(text: str, where: str, typical_year: int) -> tuple[pd.DataFrame, np.ndarray]:
    """Read an EPW file through pvlib, which stamps the start of each hour.

    The table, with the line of the file for each row, is as from `read_csv`; the codes for missing values are NaN.
    `typical_year` is set on a file whose months come from several years. The file counts hours 1 to 24, each named
    after its end. Light is the sum over the hour; the other values were observed at its end and stand at its middle
    here, as with TMY3.

    Raises
    ------
    WeatherError
        Every mistake in the form of the file, at most twenty.
    """
    import pandas as pd
    from pvlib import iotools

    head = text.split("\n", _HEAD_LINES)
    raise_mistakes(_head_problems(head, where), where)
    hours = head[_HEAD_LINES].rstrip().split("\n")
    if len(hours) > _MOST_HOURS:
        what = f"{len(hours)} hours under the header, a year has 8760 or 8784"
        raise WeatherError.single(where, what, "give one year")
    rows = [row.split(",") for row in hours]
    lines = np.arange(len(rows)) + _FIRST_LINE
    stamps, problems = _stamps(rows, lines, where)
    raise_mistakes(problems, where)
    years = np.unique(stamps[:, 0])
    own_year = len(years) == 1 and FIRST_YEAR <= years[0] <= LAST_YEAR
    leap_day = np.flatnonzero((stamps[:, 1] == 2) & (stamps[:, 2] == 29))
    if len(leap_day) and not own_year:
        what = "29 February in a typical year, whose months come from several years"
        raise WeatherError([at_lines(where, lines[leap_day], what, "leave these rows out")])
    try:
        with warnings.catch_warnings():
            # A word among the numbers; it is told below, with its line.
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            raw, site = iotools.read_epw(io.StringIO(text), coerce_year=None if own_year else typical_year)
    except Exception as reason:
        # The reader's errors are of many kinds, none of which tells a person where to look.
        what = f"not an EPW file: {(str(reason) or type(reason).__name__).splitlines()[0]}"
        raise WeatherError.single(where, what, "fetch it again, or give a CSV of the columns needed") from None
    columns = {}
    for name, (label, factor, missing) in _COLUMNS.items():
        values, found = read_numbers(raw[label], name, lines, where)
        columns[name] = np.where(values >= missing, np.nan, values * factor)
        problems += found
    raise_mistakes(problems, where)
    table = pd.DataFrame(columns, index=pd.DatetimeIndex(raw.index))
    kind = "year" if own_year else "Typical year"
    town = ", ".join(word for word in (site["city"].strip(), site["country"].strip()) if word not in ("", "-"))
    table.attrs = {
        "title": f"{kind.capitalize()}{f' {years[0]}' if own_year else ''}, {town or 'no name'}",
        "source": f"EPW, {site['data_type'].strip() or 'source not named'}, station {site['WMO_code'].strip() or '-'}",
        "latitude": site["latitude"],
        "longitude": site["longitude"],
        "altitude": site["altitude"],
        "stamp": "start",
        "air": "end",
        "codes": {name: f"{missing:g}" for name, (_, _, missing) in _COLUMNS.items()},
        "notes": _cut_short(head[_HEAD_LINES - 1], stamps),
    }
    return table, lines


def _head_problems(head: list[str], where: str) -> list[Problem]:
    """What is wrong with the eight lines before the rows."""
    if len(head) <= _HEAD_LINES or not head[_HEAD_LINES].strip():
        return [Problem(where, "the EPW file ends within its header", "fetch it again")]
    problems = []
    place = head[0].split(",")
    names = {6: "latitude", 7: "longitude", 8: "offset from UTC", 9: "altitude"}
    limits = {6: 90.0, 7: 180.0, 8: 14.0, 9: 9000.0}
    for field, name in names.items():
        text = place[field].strip() if field < len(place) else ""
        if not abs(_number(text)) <= limits[field]:
            what = f'{name} "{text}" is not a number of at most {limits[field]:g}'
            problems.append(Problem(f"{where} line 1", what, f"field {field + 1} of LOCATION holds it"))
    periods = [word.strip() for word in head[_HEAD_LINES - 1].split(",")]
    if periods[0].upper() != "DATA PERIODS":
        problems.append(Problem(f"{where} line 8", "it is not DATA PERIODS", "an EPW file has eight lines of header"))
    elif len(periods) > 2 and periods[2] != "1":
        what = f"{periods[2]} records an hour"
        problems.append(Problem(f"{where} line 8", what, "give a file of one an hour, or a CSV of the columns needed"))
    return problems


def _stamps(rows: list[list[str]], lines: np.ndarray, where: str) -> tuple[np.ndarray, list[Problem]]:
    """Year, month, day and hour of each row, and what is wrong with the form of the rows."""
    short, unread, hours = [], [], []
    stamps = np.zeros((len(rows), 4), dtype=int)
    for number, row in enumerate(rows):
        if len(row) < _FEWEST_FIELDS:
            short.append(number)
            continue
        try:
            year, month, day, hour = (int(word) for word in row[:4])
            if max(map(abs, (year, month, day, hour))) > _LARGEST_STAMP:
                raise ValueError
            # A typical February may carry the year of a leap or of a common one.
            datetime.date(2000, month, day)
        except ValueError:
            unread.append(number)
            continue
        if not 1 <= hour <= 24:
            hours.append(number)
        stamps[number] = year, month, day, hour
    problems = []
    if short:
        what = f"{len(rows[short[0]])} values, an EPW row has 35"
        problems.append(at_lines(where, lines[short], what, "fetch it again"))
    if unread:
        what = f'"{",".join(rows[unread[0]][:4])[:40]}" is not year, month, day, hour'
        problems.append(at_lines(where, lines[unread], what, "fetch it again"))
    if hours:
        what = f"hour {stamps[hours[0], 3]}"
        problems.append(at_lines(where, lines[hours], what, "EPW counts the hours of a day 1 to 24"))
    return stamps, problems


def _cut_short(periods: str, stamps: np.ndarray) -> list[str]:
    """Say that the hours do not span the days that DATA PERIODS promises; only a form that can be read is judged."""
    words = [word.strip() for word in periods.split(",")]
    if len(words) != 7 or words[1] != "1":
        return []
    promised = [found for word in words[5:7] if (found := re.match(r"(\d{1,2})/ *(\d{1,2})(?:$|/)", word))]
    if len(promised) != 2:
        return []
    notes = []
    for word, row, day, hour in (("begin", 0, promised[0], 1), ("end", -1, promised[1], 24)):
        wanted, given = [int(day[1]), int(day[2]), hour], [int(number) for number in stamps[row, 1:4]]
        if wanted != given:
            is_there, should_be = (f"{number[0]}/{number[1]} hour {number[2]}" for number in (given, wanted))
            notes.append(
                f"The hours {word} with {is_there}, and line 8 (DATA PERIODS) promises {should_be}: see whether the"
                " file is whole."
            )
    return notes


def _number(text: str) -> float:
    """The number in a text, NaN if there is none."""
    try:
        return float(text)
    except ValueError:
        return float("nan")
