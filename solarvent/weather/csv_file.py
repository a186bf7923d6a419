"""The plain CSV of weather, and the text of any weather file: read, unpacked and decoded."""

from __future__ import annotations

import datetime
import gzip
import io
import os
import re
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from solarvent.base.errors import Problem, WeatherError, nearest
from solarvent.weather.table_checks import REQUIRED, STAMPS, at_lines, raise_mistakes, read_numbers

if TYPE_CHECKING:
    import pandas as pd


LARGEST_FILE = 50_000_000
"""Bytes, after unpacking; a year of hours has one or two million."""
MOST_LINES = 150_000
"""A year of five minutes, or a summer of single ones: what a plan can be run on in less than 1 GiB."""
LONGEST_LINE = 20_000
"""Bytes; the head lines of an EPW file have a few thousand."""


def read_raw(path: str | Path) -> bytes:
    """Read the bytes of a file, or as many as show that it is too large; WeatherError if it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            return file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise WeatherError.single(str(path), "there is no such file", "check the path") from None
    except (OSError, ValueError) as reason:
        if os.path.isdir(path):
            raise WeatherError.single(str(path), "this is a folder", "name a weather file in it") from None
        what = getattr(reason, "strerror", None) or str(reason)
        raise WeatherError.single(str(path), "the file cannot be read", what) from None


def decode(raw: bytes, where: str) -> str:
    r"""Give the text of a weather file, with ``"\\n"`` at the end of each line.

    Parameters
    ----------
    raw : bytes
        UTF-8 with or without a byte order mark, gzipped or not; lines end as on any system.
    where : str
        Name of the file, for the messages.

    Returns
    -------
    str

    Raises
    ------
    WeatherError
        Damaged, not UTF-8, or larger, longer or wider than a weather file is.

    Examples
    --------
    >>> decode(b"\xef\xbb\xbftime\r\n", "year.csv")
    'time\n'
    """
    if raw[:2] == b"\x1f\x8b":
        try:
            with gzip.open(io.BytesIO(raw)) as packed:
                # A byte more than is allowed tells that it is too much, however much is packed.
                raw = packed.read(LARGEST_FILE + 1)
        except (OSError, EOFError, zlib.error) as reason:
            raise WeatherError.single(where, f"the gzip file is damaged: {reason}", "fetch it again") from None
    if len(raw) > LARGEST_FILE:
        what = f"the file has over {LARGEST_FILE:,} bytes"
        raise WeatherError.single(where, what, "give one year of hours; it has one or two million")
    _refuse_a_strange_shape(raw, where)
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as reason:
        line = raw[: reason.start].count(b"\n") + 1
        raise WeatherError.single(f"{where} line {line}", "the text is not UTF-8", "save the file as UTF-8") from None


def _refuse_a_strange_shape(raw: bytes, where: str) -> None:
    """Refuse very many lines and very long ones before any of them becomes an object of its own."""
    code = np.frombuffer(raw, dtype=np.uint8)
    ends = np.flatnonzero((code == ord("\n")) | (code == ord("\r")))
    # A line that ends in both signs is followed by an empty one, which does no harm here.
    lengths = np.diff(ends, prepend=-1, append=len(raw))
    if max(raw.count(b"\n"), raw.count(b"\r")) > MOST_LINES:
        what = f"the file has over {MOST_LINES:,} lines"
        raise WeatherError.single(where, what, "give a year of hours, of five minutes at the finest")
    if lengths.max() > LONGEST_LINE:
        row = int(np.argmax(lengths))
        line = raw[: ends[row - 1] + 1].count(b"\n") + 1 if row else 1
        what = f"a line of over {LONGEST_LINE:,} bytes"
        raise WeatherError.single(f"{where} line {line}", what, "is it a weather file?")


COLUMNS: dict[str, dict[str, float]] = {
    "ghi": {"W/m2": 1},
    "dni": {"W/m2": 1},
    "dhi": {"W/m2": 1},
    "temp_air": {"degC": 1},
    "wind_speed": {"m/s": 1},
    "wind_direction": {"deg": 1},
    "relative_humidity": {"%": 1},
    "pressure": {"Pa": 1, "hPa": 100},
    "total_cover": {"oktas": 1, "tenths": 0.8},
    "opaque_cover": {"oktas": 1, "tenths": 0.8},
}
"""Columns with the units that may stand in their names, and the factor to the unit used inside."""

_TIME_EXAMPLE = "write 2023-06-01T13:00-05:00"
_HEAD_NUMBERS = {
    "latitude": (-90.0, 90.0, "degrees, south negative"),
    "longitude": (-180.0, 180.0, "degrees, west negative"),
    "altitude": (-450.0, 9000.0, "metres above sea level"),
}


def read_csv(text: str, where: str) -> tuple[pd.DataFrame, np.ndarray]:
    """Read the plain CSV that `solarvent.weather.reading` describes: the table, and the line of the file for each row.

    The table has all of `COLUMNS`, NaN where the file has none, under the times as stamped; `attrs` from the head
    lines.

    Raises
    ------
    WeatherError
        Every mistake in the head, the header and the form of the rows, at most twenty.
    """
    import pandas as pd

    body = [(number, line) for number, line in enumerate(text.split("\n"), start=1) if line.strip()]
    head_length = next((row for row, (_, line) in enumerate(body) if not line.startswith("#")), len(body))
    attrs, problems = _read_head(body[:head_length], where)
    if head_length == len(body):
        problems.append(
            Problem(where, "there is no header of columns", 'write "time,ghi [W/m2],..." after the # lines')
        )
        raise_mistakes(problems, where)
    names, factors, found = _read_header(*body[head_length], where)
    rows = body[head_length + 1 :]
    problems += found
    if not rows:
        problems.append(Problem(where, "there are no rows under the header", "give at least one interval"))
    raise_mistakes(problems, where)

    lines = np.array([number for number, _ in rows])
    counts = np.array([line.count(",") for _, line in rows]) + 1
    ragged = np.flatnonzero(counts != len(names))
    if len(ragged):
        what = f"{counts[ragged[0]]} values for {len(names)} columns"
        raise WeatherError(
            [at_lines(where, lines[ragged], what, "one value a column, decimal point, no comma in numbers")]
        )
    # Quotes have no meaning here: with them a comma inside a field would not be counted above.
    content = io.StringIO("\n".join(line for _, line in rows))
    raw = pd.read_csv(
        content, header=None, names=names, dtype={"time": str}, quoting=3, skipinitialspace=True, low_memory=False
    )
    columns: dict[str, np.ndarray] = {}
    problems = []
    for name in COLUMNS:
        missing: tuple[np.ndarray, list[Problem]] = np.full(len(raw), np.nan), []
        values, found = read_numbers(raw[name], name, lines, where) if name in names else missing
        columns[name] = values * factors.get(name, 1)
        problems += found
    index, found = _read_times(raw["time"], lines, where)
    raise_mistakes(problems + found, where)
    table = pd.DataFrame(columns, index=index)
    table.attrs = attrs
    return table, lines


def _read_head(body: list[tuple[int, str]], where: str) -> tuple[dict[str, Any], list[Problem]]:
    """Title, source, place and stamp from the lines that start with #."""
    given = {}
    for number, line in body:
        key, colon, value = line.lstrip("# ").partition(":")
        if colon:
            given[key.strip().lower()] = (number, value.strip())
    attrs: dict[str, Any] = {key: given[key][1] if key in given else "" for key in ("title", "source")}
    problems = []
    for key, (lowest, highest, unit) in _HEAD_NUMBERS.items():
        if key not in given:
            problems.append(Problem(where, f'no line "# {key}: ..."', f"add one before the header, in {unit}"))
            continue
        number, value = given[key]
        attrs[key] = _number(value)
        if not lowest <= attrs[key] <= highest:
            what = f'{key} "{value}" is not a number from {lowest:g} to {highest:g}'
            problems.append(Problem(f"{where} line {number}", what, f"write {unit}"))
    number, attrs["stamp"] = given.get("stamp", (0, ""))
    if attrs["stamp"] not in STAMPS:
        place = f"{where} line {number}" if number else where
        what = f'stamp is "{attrs["stamp"]}"' if number else 'no line "# stamp: ..."'
        write = "write # stamp: start, middle or end, for what the time of a row stands at in its interval"
        problems.append(Problem(place, what, write))
    number, attrs["air"] = given.get("air", (0, "middle"))
    if attrs["air"] not in STAMPS:
        write = "write # air: start or end for air read at that moment; leave it out for means"
        problems.append(Problem(f"{where} line {number}", f'air is "{attrs["air"]}"', write))
    if "step" in given:
        number, value = given["step"]
        attrs["step"] = 60 * _number(value)
        if not attrs["step"] > 0:
            problems.append(
                Problem(f"{where} line {number}", f'step "{value}" is no time', "write minutes, for example 60")
            )
    return attrs, problems


def _read_header(number: int, line: str, where: str) -> tuple[list[str], dict[str, float], list[Problem]]:
    """Names of the columns, factor to the unit inside for each, and what is wrong."""
    place = f"{where} line {number}"
    if ";" in line or "\t" in line:
        return (
            [],
            {},
            [Problem(place, "the fields are not parted by commas", "save as CSV with commas and decimal points")],
        )
    names, factors, problems = [], {}, []
    for label in line.split(","):
        name, _, unit = (part.strip(" ]") for part in label.partition("["))
        names.append(name)
        if name == "time":
            continue
        if name not in COLUMNS:
            problems.append(
                Problem(place, f'no column is called "{name}"', nearest(name, ["time", *COLUMNS]) or "leave it out")
            )
        elif unit not in COLUMNS[name]:
            what = f"{name} is in [{unit}]" if unit else f"{name} has no unit"
            choices = " or ".join(f'"{name} [{known}]"' for known in COLUMNS[name])
            problems.append(Problem(place, what, f"write {choices}"))
        else:
            factors[name] = COLUMNS[name][unit]
    for name in ("time", *REQUIRED):
        if name not in names:
            unit = "" if name == "time" else f" [{next(iter(COLUMNS[name]))}]"
            problems.append(Problem(place, f"the column {name} is missing", f'add "{name}{unit}"'))
    problems += [
        Problem(place, f"{name} stands twice", "keep one") for name in dict.fromkeys(names) if names.count(name) > 1
    ]
    return names, factors, problems


def _number(text: str) -> float:
    """The number in a text, NaN if there is none."""
    return float(text) if re.fullmatch(r"[-+]?\d+(\.\d*)?", text) else float("nan")


def _read_times(column: pd.Series, lines: np.ndarray, where: str) -> tuple[pd.DatetimeIndex | None, list[Problem]]:
    """Times at one fixed offset, or what is wrong with them."""
    import pandas as pd

    try:
        index = pd.DatetimeIndex(pd.to_datetime(column, format="ISO8601"))
    except ValueError:
        index = None
    if index is not None and index.tz is not None and not index.hasnans:
        return index, []
    # Slow, but only for files with a mistake or with two offsets (summer time).
    times: list[datetime.datetime] = []
    unread: list[int] = []
    naive: list[int] = []
    midnight: list[int] = []
    for row, text in enumerate(column.fillna("")):
        try:
            times.append(datetime.datetime.fromisoformat(text.strip()))
        except ValueError:
            (midnight if re.search(r"[T ]24:", text) else unread).append(row)
        else:
            if times[-1].tzinfo is None:
                naive.append(row)
    problems = []
    for rows, what, write in (
        (unread, "is not a time", _TIME_EXAMPLE),
        (midnight, "has hour 24", "write 00:00 of the next day"),
        (naive, "has no offset from UTC", f"{_TIME_EXAMPLE}: the offset of the clock the station keeps"),
    ):
        if rows:
            shown = f'time "{column.fillna("").iloc[rows[0]]}" {what}'
            problems.append(at_lines(where, lines[rows], shown, write))
    if problems:
        return None, problems
    offset = datetime.timezone(times[0].utcoffset() or datetime.timedelta())
    return pd.DatetimeIndex([instant.astimezone(offset) for instant in times]), []
