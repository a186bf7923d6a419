"""EPW files: the same hours as pvlib reads, and what is refused. The files are made here from the year that ships."""

import gzip
import io

import numpy as np
import pandas as pd
import pytest
from epw import HEADER, epw_rows
from pvlib.iotools import read_epw

from solarvent.base.errors import WeatherError
from solarvent.weather.reading import embedded_weather, read_weather

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")

GHI, DNI, TEMP, HUMIDITY, PRESSURE, DIRECTION, WIND, TOTAL, OPAQUE = 13, 14, 6, 8, 9, 20, 21, 22, 23


TYPICAL = epw_rows()


@pytest.fixture
def write(tmp_path):
    def make(rows=TYPICAL, header=HEADER, name="year.epw"):
        path = tmp_path / name
        path.write_text("\n".join([*header, *(",".join(row) for row in rows)]) + "\n", encoding="utf-8")
        return path

    return make


def with_field(line, field, text, rows=TYPICAL):
    """The rows with one field of one line of the file replaced."""
    changed = list(rows)
    changed[line - 9] = [text if number == field else old for number, old in enumerate(rows[line - 9])]
    return changed


def with_header(line, text):
    return [text if number == line else old for number, old in enumerate(HEADER, start=1)]


def test_an_epw_file_reads_hour_for_hour_as_pvlib_reads_it(write):
    path = write()
    ours = read_weather(path)
    theirs, site = read_epw(path, coerce_year=2023)
    # pvlib stamps the start of each hour, the middle stands here.
    assert (ours.index == theirs.index + pd.Timedelta("30min")).all()
    for name in ("ghi", "dni", "dhi", "wind_speed", "wind_direction"):
        np.testing.assert_array_equal(ours[name], theirs[name], err_msg=name)
    # Read at the end of the hour: half way between two ends here.
    for name, their in (("temp_air",) * 2, ("relative_humidity",) * 2, ("pressure", "atmospheric_pressure")):
        ends = np.concatenate([theirs[their][-1:], theirs[their]])
        np.testing.assert_allclose(ours[name], (ends[1:] + ends[:-1]) / 2, rtol=1e-12, err_msg=name)
    np.testing.assert_allclose(ours["total_cover"], theirs["total_sky_cover"] * 0.8, atol=1e-12)
    np.testing.assert_allclose(ours["opaque_cover"], theirs["opaque_sky_cover"] * 0.8, atol=1e-12)
    for name in ("latitude", "longitude", "altitude"):
        assert ours.attrs[name] == site[name]
    assert ours.attrs["step"] == 3600
    assert ours.attrs["title"] == "Typical year, Brambleford, XXX"
    assert ours.attrs["source"] == "EPW, TMY3, station 999999"


def test_the_hours_are_those_of_the_year_that_the_file_was_made_from(write):
    # Hour 1 of the file, from midnight to one, is the first hour of the TMY3 year: stamps half an hour off would show.
    ours, source = read_weather(write()), embedded_weather()
    pd.testing.assert_index_equal(ours.index, source.index)
    np.testing.assert_allclose(ours["ghi"], source["ghi"])


def test_packed_and_windows_files_read_alike(write, tmp_path):
    path = write()
    packed = tmp_path / "year.epw.gz"
    packed.write_bytes(gzip.compress(path.read_bytes().replace(b"\n", b"\r\n")))
    pd.testing.assert_frame_equal(read_weather(path), read_weather(packed))


def test_a_file_of_one_year_keeps_its_year_and_its_leap_day(write):
    weather = read_weather(write(epw_rows(2012, leap_day=True)))
    assert len(weather) == 8784
    assert set(weather.index.year) == {2012}
    assert (weather.index.strftime("%m-%d") == "02-29").sum() == 24
    assert weather.attrs["title"].startswith("Year 2012")


def test_a_typical_february_in_a_leap_year_has_28_days(write):
    rows = [["2004" if row[1] == "2" else row[0], *row[1:]] for row in TYPICAL]
    weather = read_weather(write(rows))
    assert len(weather) == 8760
    assert set(weather.index.year) == {2023}


def test_a_year_that_no_calendar_has_counts_as_a_typical_one(write):
    assert set(read_weather(write([["0", *row[1:]] for row in TYPICAL])).index.year) == {2023}


def test_half_hour_zones_read(write):
    # 79 degrees east, five and a half hours ahead.
    header = with_header(1, "LOCATION,Brambleford,-,XXX,TMY3,999999,36.10,82.50,5.5,273.0")
    weather = read_weather(write(header=header))
    assert weather.index[0].utcoffset() == pd.Timedelta("5h30min")


@pytest.mark.parametrize(
    ("field", "code", "column"),
    [
        (WIND, "999", "wind_speed"),
        (WIND, "999.0", "wind_speed"),
        (DIRECTION, "999", "wind_direction"),
        (HUMIDITY, "999", "relative_humidity"),
        (PRESSURE, "999999", "pressure"),
        (TOTAL, "99", "total_cover"),
        (OPAQUE, "99", "opaque_cover"),
        (OPAQUE, "", "opaque_cover"),
    ],
)
def test_codes_for_missing_are_gaps_where_gaps_are_allowed(write, field, code, column):
    weather = read_weather(write(with_field(20, field, code)))
    assert np.isnan(weather[column].iloc[11])
    assert weather[column].isna().sum() == 1


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            with_field(20, GHI, "9999"),
            r"year.epw line 20: ghi is missing \(empty, or the file's code for it, 9999\); fill it in",
        ),
        (with_field(20, DNI, "9999."), "year.epw line 20: dni is missing"),
        (with_field(20, TEMP, "99.9"), "year.epw line 20: temp_air is missing"),
        (with_field(20, TEMP, "warm"), 'year.epw line 20: temp_air "warm" is not a number; write digits'),
        (with_field(20, OPAQUE, "many"), 'year.epw line 20: opaque_cover "many" is not a number'),
        (TYPICAL + TYPICAL[:25], "8785 hours under the header, a year has 8760 or 8784; give one year"),
        (with_field(20, GHI, "1500"), r"year.epw line 20: ghi 1500 W/m2 is impossible with the sun \d+ deg high"),
        (with_field(20, TEMP, "75"), "year.epw line 20: temp_air 75 is outside"),
        (with_field(20, PRESSURE, "993"), "year.epw line 20: pressure 993 is outside"),
        (with_field(20, OPAQUE, "12"), "year.epw line 20: opaque_cover 9.6 is outside"),
        (with_field(32, 3, "25"), "year.epw line 32: hour 25; EPW counts the hours of a day 1 to 24"),
        (with_field(9, 3, "0"), "year.epw line 9: hour 0; EPW counts"),
        (with_field(20, 3, "12.5"), 'line 20: "1998,1,1,12.5" is not year, month, day, hour'),
        (with_field(20, 1, "2147483648"), 'line 20: "1998,2147483648,1,12" is not year, month, day, hour'),
        (with_field(20, 0, "1" * 40), 'line 20: "1{40}.*" is not year, month, day, hour'),
        (with_field(20, 3, "9" * 30), 'line 20: "1998,1,1,9*" is not year'),
        (with_field(20, 1, "13"), 'line 20: "1998,13,1,12" is not year'),
        (with_field(20, 3, "11"), "line 20: the time 2023-01-01T10:00:00-05:00 stands twice"),
        (
            [*TYPICAL[:50], *TYPICAL[53:]],
            "line 59: 3 steps of 60 min are missing; the first gap is after 2023-01-03T01",
        ),
        ([*TYPICAL[:50], TYPICAL[50][:20], *TYPICAL[51:]], "line 59: 20 values, an EPW row has 35; fetch it again"),
        (epw_rows(leap_day=True), "line 1425: 29 February in a typical year, .*; leave these rows out"),
    ],
)
def test_rows_that_cannot_be_right_are_refused(write, rows, message):
    with pytest.raises(WeatherError, match=message):
        read_weather(write(rows))


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (with_header(1, "LOCATION,Brambleford,-,XXX,TMY3,999999,north,-79.95,-5.0,273.0"), 'line 1: latitude "north"'),
        (with_header(1, "LOCATION,Brambleford,-,XXX,TMY3,999999,36.1,-279.95,-5.0,273.0"), 'longitude "-279.95"'),
        (with_header(1, "LOCATION,Brambleford,-,XXX,TMY3,999999,36.1,-79.95"), 'line 1: offset from UTC ""'),
        (
            with_header(1, "LOCATION,Brambleford,-,XXX,TMY3,999999,36.1,-79.95,7.0,273"),
            "ghi .* is impossible .* offset",
        ),
        (with_header(8, "DATA PERIODS,1,4,Data,Sunday, 1/ 1,12/31"), "line 8: 4 records an hour; give a file of one"),
        (HEADER[:7], "line 8: it is not DATA PERIODS; an EPW file has eight lines of header"),
        (HEADER[:1], "line 8: it is not DATA PERIODS"),
    ],
)
def test_headers_that_cannot_be_right_are_refused(write, header, message):
    with pytest.raises(WeatherError, match=message):
        read_weather(write(header=header))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (TYPICAL[:2000], "The hours end with 3/25 hour 8, and line 8 (DATA PERIODS) promises 12/31 hour 24"),
        (TYPICAL[:-1], "The hours end with 12/31 hour 23, and line 8 (DATA PERIODS) promises 12/31 hour 24"),
        (TYPICAL[24:], "The hours begin with 1/2 hour 1, and line 8 (DATA PERIODS) promises 1/1 hour 1"),
    ],
)
def test_hours_that_do_not_span_the_data_periods_are_noted(write, rows, words):
    (note,) = read_weather(write(rows)).attrs["notes"]
    assert note == f"{words}: see whether the file is whole."


@pytest.mark.parametrize(
    "periods",
    [
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
        "DATA PERIODS,1,1,Data,Sunday,1/1/1998,12/31/1998",
        "DATA PERIODS,2,1,Data,Sunday, 1/ 1, 6/30,Rest,Sunday, 7/ 1,12/31",
        "DATA PERIODS,1,1,Data,Sunday,New Year,12/31",
        "DATA PERIODS,1,1",
    ],
)
def test_a_whole_file_is_not_noted_however_it_words_its_periods(write, periods):
    assert read_weather(write(header=with_header(8, periods))).attrs["notes"] == ()


def test_a_file_that_ends_in_its_header_is_refused(write):
    with pytest.raises(WeatherError, match="the EPW file ends within its header"):
        read_weather(write(rows=[]))


def test_the_test_file_is_what_pvlib_takes_for_an_epw_file():
    text = "\n".join([*HEADER, *(",".join(row) for row in TYPICAL[:24])])
    data, _ = read_epw(io.StringIO(text))
    assert len(data) == 24
    assert data["opaque_sky_cover"].between(0, 10).all()
