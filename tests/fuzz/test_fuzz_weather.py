"""Weather files: cut, shuffled, with other codes, zones, stamps, line ends and letters."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from fuzzing import cases, check_error, guard, strict_json
from hypothesis import given
from hypothesis import strategies as st
from mutations import NUMBERS, TEXTS, mangled

from solarvent.base.errors import WeatherError
from solarvent.report.weather_text import render_weather, weather_csv, weather_file, weather_json
from solarvent.weather.reading import embedded_weather, read_weather
from solarvent.weather.span import summarise

HOURS = 72


def _csv() -> list[str]:
    """Three days of the year that ships, from noon on, as our CSV."""
    weather = embedded_weather().iloc[4000 : 4000 + HOURS]
    return weather_file(weather).split("\n")


def _epw() -> list[str]:
    """The same days as EPW."""
    head = [
        "LOCATION,Brambleford,-,XXX,TMY3,999999,36.10,-79.95,-5.0,273.0", "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0", "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,invented", "COMMENTS 2,", "DATA PERIODS,1,1,Data,Sunday, 6/16, 6/18",
    ]  # fmt: skip
    weather = embedded_weather()
    june = weather[(weather.index.month == 6) & (weather.index.day >= 16)].iloc[:HOURS]
    rows = [
        f"1998,6,{time.day},{time.hour + 1},60,?9,{row.temp_air:.1f},5.0,"
        f"{row.relative_humidity:.0f},{row.pressure:.0f},0,0,320,"
        f"{row.ghi:.0f},{row.dni:.0f},{row.dhi:.0f},0,0,0,0,{row.wind_direction:.0f},{row.wind_speed:.1f},"
        f"{row.total_cover / 0.8:.0f},{row.opaque_cover / 0.8:.0f},16,77777,9,999999999,20,0.1,0,88,0.2,0,1"
        for time, row in zip(june.index, june.itertuples(), strict=True)
    ]
    return head + rows


def _tmy3() -> list[str]:
    """The whole TMY3 file that pvlib ships."""
    return (Path(pvlib.__file__).parent / "data" / "723170TYA.CSV").read_text("utf-8").splitlines()


_CODES = st.sampled_from([
    "", "nan", "NaN", "-9900", "9999", "99", "99.9", "999", "999999", "inf", "-inf", "1e400", "8oo", '"5"', "1,5",
    "-1", "-3.9", "1e6", "٣", "0x1F", "1_000", "--", "24:00", "2023-06-01T13:00Z", "2023-06-01T13:00+23:59",
    "0001-01-01T00:00+00:00", "9999-12-31T23:00-12:00", "2023-02-30T00:00Z", "#", ";", "\t",
])  # fmt: skip
_HEAD_WORDS = st.sampled_from([
    "# latitude: nan", "# latitude: 1e2", "# longitude: 180", "# stamp: end", "# stamp: Ende", "# step: 0",
    "# step: 1e-9", "# step:", "# altitude: -9999", "# title: \u202eevil", "#", "LOCATION,",
    "LOCATION,a,b,c,d,e,90,180,14,9000", "DATA PERIODS,1,1,,,13/45,0/0", "DATA PERIODS", "time", "time,time", "1", "",
])  # fmt: skip


@st.composite
def spoilt_lines(draw: st.DrawFn, lines: list[str], head: int) -> list[str]:
    """Give a file with rows and fields cut, doubled, swapped, or written over."""
    lines = list(lines)
    for _ in range(draw(st.integers(0, 3))):
        if len(lines) < 2:
            break
        change = draw(
            st.sampled_from(["field", "field", "head", "cut", "double", "swap rows", "swap columns", "short", "all"])
        )
        row = draw(st.integers(0, len(lines) - 1))
        if change in ("field", "short"):
            fields = lines[row].split(",")
            number = draw(st.integers(0, len(fields) - 1))
            fields[number : number + 1] = (
                [draw(st.one_of(_CODES, TEXTS, NUMBERS.map(str)))] if change == "field" else []
            )
            lines[row] = ",".join(fields)
        elif change == "head":
            lines[draw(st.integers(0, min(head, len(lines)) - 1))] = draw(_HEAD_WORDS)
        elif change == "cut":
            del lines[row : row + draw(st.sampled_from([1, 2, 24, 10_000]))]
        elif change == "double":
            lines[row:row] = [lines[row]] * draw(st.integers(1, 3))
        elif change == "swap rows":
            other = draw(st.integers(0, len(lines) - 1))
            lines[row], lines[other] = lines[other], lines[row]
        elif change == "swap columns":
            left, right = draw(st.integers(0, 9)), draw(st.integers(0, 9))
            lines[head:] = [_swapped(line, left, right) for line in lines[head:]]
        elif change == "all":
            number, word = draw(st.integers(0, 24)), draw(_CODES)
            lines[head:] = [_with(line, number, word) for line in lines[head:]]
    return lines


def _swapped(line: str, left: int, right: int) -> str:
    fields = line.split(",")
    if max(left, right) < len(fields):
        fields[left], fields[right] = fields[right], fields[left]
    return ",".join(fields)


def _with(line: str, number: int, word: str) -> str:
    fields = line.split(",")
    if number < len(fields):
        fields[number] = word
    return ",".join(fields)


#: Line end, bytes of the text, and packing.
_END = st.sampled_from(["\n", "\n", "\r\n", "\r", "\n\n", "\n\r"])
_ENCODINGS: list[Callable[[str], bytes]] = [
    lambda text: text.encode("utf-8", "replace"),
    lambda text: text.encode("utf-8", "replace"),
    lambda text: text.encode("utf-8-sig", "replace"),
    lambda text: text.encode("utf-16", "replace"),
    lambda text: text.encode("utf-16-le", "replace"),
    lambda text: text.encode("latin-1", "replace"),
    lambda text: gzip.compress(text.encode("utf-8", "replace"), 1),
    lambda text: gzip.compress(text.encode("utf-8", "replace"), 1)[:-9],
]
_TOKENS = [
    b",",
    b"\n",
    b"\r",
    b"#",
    b'"',
    b"\x00",
    b"\xff",
    b"nan",
    b"-9900",
    b"[",
    b"]",
    b":",
    b"T",
    b"+05:30",
    b"\x1f\x8b",
    b"\xef\xbb\xbf",
]


@st.composite
def files(draw: st.DrawFn, lines: list[str], head: int) -> bytes:
    """Give the bytes of a spoilt weather file."""
    text = draw(_END).join(draw(spoilt_lines(lines, head)))
    raw = draw(st.sampled_from(_ENCODINGS))(text)
    return draw(mangled([raw], _TOKENS, most=2)) if draw(st.integers(0, 3)) == 0 else raw


def check_weather_file(path: Path) -> None:
    """A file is refused in words, or is a table without holes of which a summary can be made."""
    try:
        weather = read_weather(path)
    except WeatherError as error:
        check_error(error)
        return
    needed = weather[["ghi", "dni", "dhi", "temp_air"]].to_numpy()
    assert np.isfinite(needed).all()
    assert not np.isinf(weather.to_numpy()).any()
    assert weather.index.is_monotonic_increasing
    assert weather.index.is_unique
    assert weather.index.tz is not None
    assert (np.diff(weather.index.as_unit("ns").asi8) == weather.attrs["step"] * 1e9).all()
    summary = summarise(weather)
    for system in ("metric", "us"):
        # The words of the file itself may be any, and are cut into lines.
        text = " ".join(render_weather(summary, system).split())
        for words in ("title", "source"):
            text = text.replace(" ".join(weather.attrs[words].split()), "")
        assert re.search(r"\b(nan|inf|NaT)\b", text) is None
    strict_json(weather_json(summary))
    assert re.search(r"\b(nan|inf)\b", weather_csv(summary)) is None
    written = path.with_suffix(".again")
    written.write_text(weather_file(weather), "utf-8")
    again = read_weather(written)
    pd.testing.assert_index_equal(again.index, weather.index, exact=False)


def check_raw(path, raw, kind):
    path.write_bytes(raw)
    with guard(kind):
        check_weather_file(path)


@cases("CSV")
@given(files(_csv(), 8))
def test_a_csv_file_is_read_or_its_mistakes_are_told(tmp_path_factory, raw):
    check_raw(tmp_path_factory.getbasetemp() / "year.csv", raw, "CSV")


@cases("EPW")
@given(files(_epw(), 8))
def test_an_epw_file_is_read_or_its_mistakes_are_told(tmp_path_factory, raw):
    check_raw(tmp_path_factory.getbasetemp() / "year.epw", raw, "EPW")


@cases("TMY3")
@given(files(_tmy3(), 2))
def test_a_tmy3_file_is_read_or_its_mistakes_are_told(tmp_path_factory, raw):
    check_raw(tmp_path_factory.getbasetemp() / "tmy3.csv", raw, "TMY3")
