"""Years of a station, read through pvlib.

TMY3, typical years of the United States: a line of the station, a header, 8760 hours. EPW, the weather files of
building simulation: eight lines of header, then 8760 or 8784 hours of 35 fields.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import Problem, WeatherError, nearest
from solarvent.weather.sun import FIRST_YEAR, LAST_YEAR
from solarvent.weather.table_checks import REQUIRED, at_lines, raise_mistakes, read_numbers

if TYPE_CHECKING:
    import pandas as pd

TMY_YEAR = 2023
"""The year that stands on a typical year, whose months come from many: no leap day, present clock-change rules."""
TMY3_FIELDS = 7
"""Of its first line: the station."""
_TMY3_COLUMNS = {
    "ghi": ("GHI (W/m^2)", 1.0),
    "dni": ("DNI (W/m^2)", 1.0),
    "dhi": ("DHI (W/m^2)", 1.0),
    "temp_air": ("Dry-bulb (C)", 1.0),
    "wind_speed": ("Wspd (m/s)", 1.0),
    "wind_direction": ("Wdir (degrees)", 1.0),
    "relative_humidity": ("RHum (%)", 1.0),
    "pressure": ("Pressure (mbar)", 100.0),
    "total_cover": ("TotCld (tenths)", 0.8),
    "opaque_cover": ("OpqCld (tenths)", 0.8),
}
_TMY3_MISSING, _TMY3_HOURS, _TMY3_FIRST_LINE = -9900, 8760, 3
_HEAD_LINES = 8
_FIRST_LINE = _HEAD_LINES + 1
#: Our column -> name in pvlib's reader, factor to the unit inside, least value that means "missing".
_EPW_COLUMNS = {
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


def read_tmy3(text: str, where: str) -> tuple[pd.DataFrame, np.ndarray]:
    """Read a TMY3 file: the table, stamped at the end of each hour, and the line of each row, as from `read_csv`."""
    import pandas as pd
    from pvlib import iotools

    header = [name.strip() for name in text.split("\n", 2)[1].split(",")]
    needed = [name for name, _ in _TMY3_COLUMNS.values()]
    others = set(header) - set(needed)
    missing = [
        Problem(f"{where} line 2", f'no column "{name}"', nearest(name, others))
        for name in needed
        if name not in header
    ]
    raise_mistakes(missing, where)
    station = text.split("\n", 1)[0].split(",")
    if len(station) != TMY3_FIELDS:
        what = f"{len(station)} values, the station has {TMY3_FIELDS} (number, name, state, offset, place)"
        raise WeatherError.single(f"{where} line 1", what, "fetch it again")
    rows = sum(1 for line in text.split("\n")[2:] if line.strip())
    if rows != _TMY3_HOURS:
        raise WeatherError.single(where, f"a typical year has {_TMY3_HOURS} hours, this file {rows}", "fetch it again")
    raw, site = _by_pvlib(iotools.read_tmy3, "a TMY3", text, where, coerce_year=TMY_YEAR, map_variables=False)
    columns, problems = {}, []
    lines = np.arange(len(raw)) + _TMY3_FIRST_LINE
    for name, (label, factor) in _TMY3_COLUMNS.items():
        values, found = read_numbers(raw[label], name, lines, where)
        columns[name] = np.where(values <= _TMY3_MISSING, np.nan, values * factor)
        problems += found
    raise_mistakes(problems, where)
    table = pd.DataFrame(columns, index=raw.index)
    name = site["Name"].strip('" ')
    table.attrs = {
        "title": f"Typical year, {name.title()}, {site['State']}",
        "source": f"National Solar Radiation Data Base, TMY3, station {site['USAF']} (Wilcox & Marion 2008)",
        "latitude": site["latitude"],
        "longitude": site["longitude"],
        "altitude": site["altitude"],
        "stamp": "end",
        "air": "end",
        "codes": dict.fromkeys(REQUIRED, "-9900"),
    }
    return table, lines


def read_epw(text: str, where: str) -> tuple[pd.DataFrame, np.ndarray]:
    """Read an EPW file through pvlib, which stamps the start of each hour.

    The table, with the line of the file for each row, is as from `read_csv`; the codes for missing values are NaN.
    `TMY_YEAR` is set on a file whose months come from several years. The file counts hours 1 to 24, each named
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
    own = None if own_year else TMY_YEAR
    raw, site = _by_pvlib(iotools.read_epw, "an EPW", text, where, coerce_year=own)
    columns = {}
    for name, (label, factor, missing) in _EPW_COLUMNS.items():
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
        "codes": {name: f"{missing:g}" for name, (_, _, missing) in _EPW_COLUMNS.items()},
        "notes": _cut_short(head[_HEAD_LINES - 1], stamps),
    }
    return table, lines


def _by_pvlib(reader: Callable[..., Any], kind: str, text: str, where: str, **options: Any) -> tuple[Any, Any]:
    """Let pvlib read a kind of file: its table and its site."""
    import pandas as pd

    try:
        with warnings.catch_warnings():
            # A word among the numbers; it is told later, with its line.
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            return reader(io.StringIO(text), **options)
    except Exception as reason:
        # The reader's errors are of many kinds, none of which tells a person where to look.
        what = f"not {kind} file: {(str(reason) or type(reason).__name__).splitlines()[0]}"
        raise WeatherError.single(where, what, "fetch it again, or give a CSV of the columns needed") from None


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
