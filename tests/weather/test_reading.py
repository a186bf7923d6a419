import gzip
import importlib.util
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pvlib.iotools import read_tmy3
from pvlib.location import Location

from solarvent.base.errors import WeatherError
from solarvent.weather.reading import embedded_weather, read_weather

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")

HEAD = {
    "title": "Field station",
    "source": "own logger",
    "latitude": "36.1",
    "longitude": "-79.95",
    "altitude": "273",
    "stamp": "middle",
}
COLUMNS = "time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC],wind_speed [m/s],relative_humidity [%]"
ROWS = (
    "2023-06-01T11:30-05:00,800,650,200,26.0,2.0,60",
    "2023-06-01T12:30-05:00,820,660,210,27.0,2.5,55",
    "2023-06-01T13:30-05:00,780,640,190,27.5,,50",
    "2023-06-01T14:30-05:00,700,600,180,28.0,3.0,48",
)


def tmy3_file():
    return Path(importlib.util.find_spec("pvlib").origin).parent / "data" / "723170TYA.CSV"


@pytest.fixture
def write(tmp_path):
    """Write a small file, changed in one place, and return its path."""

    def make(columns=COLUMNS, rows=ROWS, name="year.csv", **head):
        lines = [f"# {key}: {value}" for key, value in (HEAD | head).items() if value is not None]
        path = tmp_path / name
        path.write_text("\n".join([*lines, columns, *rows]) + "\n", encoding="utf-8")
        return path

    return make


def changed(row, field, text):
    """The rows with one field of one row replaced."""
    rows = [line.split(",") for line in ROWS]
    rows[row][field] = text
    return [",".join(line) for line in rows]


def problems(path):
    with pytest.raises(WeatherError, match=r".") as caught:
        read_weather(path)
    return [str(problem) for problem in caught.value.problems]


def only_problem(path):
    found = problems(path)
    assert len(found) == 1, found
    return found[0]


# --- The year that ships ------------------------------------------------------------------------------------------


def test_the_year_that_ships_is_the_file_of_pvlib_hour_for_hour():
    shipped = embedded_weather()
    original, site = read_tmy3(tmy3_file(), coerce_year=2023)
    # Stamped at the end of each hour there, at the middle here.
    np.testing.assert_array_equal(shipped.index.asi8, (original.index - pd.Timedelta("30min")).asi8)
    for name in ("ghi", "dni", "dhi", "wind_speed", "wind_direction"):
        np.testing.assert_array_equal(shipped[name], original[name], err_msg=name)
    # Read at the end of the hour there, half way between two ends here; a typical year begins where it ends.
    for name, factor in (("temp_air", 1), ("relative_humidity", 1), ("pressure", 100)):
        ends = np.concatenate([original[name][-1:], original[name]]) * factor
        np.testing.assert_allclose(shipped[name], (ends[1:] + ends[:-1]) / 2, rtol=1e-12, err_msg=name)
    np.testing.assert_allclose(shipped["total_cover"], original["TotCld (tenths)"] * 0.8, atol=1e-12)
    np.testing.assert_allclose(shipped["opaque_cover"], original["OpqCld (tenths)"] * 0.8, atol=1e-12)
    for name in ("latitude", "longitude", "altitude"):
        assert shipped.attrs[name] == site[name]
    assert shipped.attrs["step"] == 3600
    assert "723170" in shipped.attrs["source"]


def test_the_maker_of_the_year_that_ships_makes_the_same_text_again():
    spec = importlib.util.spec_from_file_location(
        "make_weather", Path(__file__).parents[1] / "data" / "make_weather.py"
    )
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    made = maker.make()
    assert made[4:8] == bytes(4), "the gzip header carries a time"
    # The text, not the bytes: another zlib may pack the same text otherwise.
    from solarvent.plan.library import profiles

    shipped = (profiles() / "weather" / "tmy3_723170.csv.gz").read_bytes()
    assert gzip.decompress(made) == gzip.decompress(shipped)


def test_the_original_file_reads_to_the_same_table():
    original = read_weather(tmy3_file())
    pd.testing.assert_frame_equal(original, embedded_weather())
    assert original.attrs["title"].startswith("Typical year")
    assert "TMY3, station 723170" in original.attrs["source"]


def test_the_zone_has_a_name_that_pvlib_takes():
    # The reader of pvlib calls the zone "UTC-05:00", which its own Location refuses.
    original, _ = read_tmy3(tmy3_file(), coerce_year=2023)
    with pytest.raises(Exception, match=r"UTC-05:00"):
        Location(36.1, -79.95, tz=original.index.tz)
    weather = embedded_weather()
    place = Location(36.1, -79.95, tz=weather.index.tz)
    assert len(place.get_solarposition(weather.index[:3])) == 3


def test_a_caller_may_change_the_table_without_harm():
    first = embedded_weather()
    first["ghi"] = -1.0
    first.attrs["title"] = "changed"
    again = embedded_weather()
    assert again["ghi"].max() == 1013
    assert again.attrs["title"] != "changed"


def test_the_middle_of_the_hour_makes_morning_and_afternoon_alike():
    # Of a year's clear hours, the light is as high an hour before solar noon as after. Stamps half an hour off show.
    weather = embedded_weather()
    from solarvent.weather.sun import solar_position

    position = solar_position(weather.index, 36.1, -79.95, 273.0)
    clear = weather["dni"].to_numpy() > 0.6 * position.dni_extra
    index = (weather["ghi"].to_numpy() / np.cos(np.radians(position.zenith)))[clear & (position.zenith < 70)]
    east = (position.azimuth < 180)[clear & (position.zenith < 70)]
    assert np.median(index[east]) == pytest.approx(np.median(index[~east]), rel=0.02)


def test_the_module_is_light_to_import():
    heavy = ["pandas", "pvlib", "scipy", "matplotlib"]
    code = f"import sys, solarvent.weather.reading; print([name for name in {heavy!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- The plain CSV ------------------------------------------------------------------------------------------------


def test_a_small_file_reads(write):
    weather = read_weather(write())
    assert list(weather.columns) == [
        "ghi", "dni", "dhi", "temp_air", "wind_speed", "wind_direction", "relative_humidity", "pressure",
        "total_cover", "opaque_cover",
    ]  # fmt: skip
    assert str(weather.index[0]) == "2023-06-01 11:30:00-05:00"
    assert weather["ghi"].tolist() == [800.0, 820.0, 780.0, 700.0]
    assert np.isnan(weather["wind_speed"].iloc[2])
    assert weather["pressure"].isna().all()
    assert weather.attrs == {
        "title": "Field station",
        "source": "own logger",
        "latitude": 36.1,
        "longitude": -79.95,
        "altitude": 273.0,
        "step": 3600.0,
        "notes": (),
    }


@pytest.mark.parametrize(("stamp", "first"), [("start", "12:00"), ("middle", "11:30"), ("end", "11:00")])
def test_stamps_move_to_the_middle_of_the_interval(write, stamp, first):
    weather = read_weather(write(stamp=stamp))
    assert f"{weather.index[0]:%H:%M}" == first


@pytest.mark.parametrize(("air", "second"), [("start", (28.1 + 29.0) / 2), (None, 28.1), ("end", (27.5 + 28.1) / 2)])
def test_air_that_was_read_at_a_moment_moves_to_the_middle(write, air, second):
    rows = [
        f"{line.split(',')[0]},800,640,190,{warmth},2,50"
        for line, warmth in zip(ROWS[:3], (27.5, 28.1, 29.0), strict=True)
    ]
    weather = read_weather(write(rows=rows, air=air))
    assert weather["temp_air"].iloc[1] == pytest.approx(second)
    # A short file has nothing before its first hour and nothing after its last.
    assert weather["temp_air"].iloc[0 if air == "end" else -1] == (27.5 if air == "end" else 29.0)


def test_air_read_at_another_moment_is_refused(write):
    assert only_problem(write(air="noon")).endswith(
        'air is "noon"; write # air: start or end for air read at that moment; leave it out for means'
    )


def test_units_in_the_header_are_turned_into_those_inside(write):
    columns = "time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC],pressure [hPa],opaque_cover [tenths]"
    rows = [line.rsplit(",", 2)[0] + ",993,10" for line in ROWS]
    weather = read_weather(write(columns=columns, rows=rows))
    assert weather["pressure"].iloc[0] == pytest.approx(99300.0)
    assert weather["opaque_cover"].iloc[0] == pytest.approx(8.0)


def test_packed_files_windows_line_ends_and_a_byte_order_mark_read_alike(write, tmp_path):
    plain = write()
    text = plain.read_bytes()
    other = tmp_path / "other.csv.gz"
    other.write_bytes(gzip.compress(b"\xef\xbb\xbf" + text.replace(b"\n", b"\r\n")))
    pd.testing.assert_frame_equal(read_weather(plain), read_weather(str(other)))


def test_one_row_reads_if_the_step_is_told(write):
    weather = read_weather(write(rows=ROWS[:1], step="60"))
    assert weather.attrs["step"] == 3600
    assert "one row does not tell the step" in only_problem(write(rows=ROWS[:1]))


def test_summer_time_in_the_offsets_is_understood(write):
    rows = ["2023-11-05T00:30-04:00,0,0,0,9,1,80", "2023-11-05T01:30-04:00,0,0,0,9,1,80"]
    rows += ["2023-11-05T01:30-05:00,0,0,0,9,1,80", "2023-11-05T02:30-05:00,0,0,0,9,1,80"]
    weather = read_weather(write(rows=rows))
    assert weather.attrs["step"] == 3600
    assert [f"{time:%H:%M}" for time in weather.index] == ["00:30", "01:30", "02:30", "03:30"]


def test_a_leap_day_is_a_day(write):
    rows = [f"2024-02-{28 + hour // 24:02d}T{hour % 24:02d}:30-05:00,0,0,0,5,1,70" for hour in range(48)]
    rows.append("2024-03-01T00:30-05:00,0,0,0,5,1,70")
    weather = read_weather(write(rows=rows))
    assert len(weather) == 49
    assert weather.index[-1].day_of_year == 61


def test_half_hour_zones_and_ten_minute_steps_read(write):
    rows = [f"2023-06-01T12:{minute:02d}+05:30,800,600,200,30,1,40" for minute in range(0, 60, 10)]
    weather = read_weather(write(rows=rows, latitude="28.6", longitude="77.2"))
    assert weather.attrs["step"] == 600
    assert weather.index[0].utcoffset() == pd.Timedelta("5h30min")


def test_night_offsets_of_a_sensor_become_0_and_are_noted(write):
    weather = read_weather(write(rows=changed(0, 2, "-3.2")))
    assert weather["dni"].iloc[0] == 0
    assert weather.attrs["notes"] == ("1 values of dni between -4 and 0 W/m2 (night offset of a sensor) became 0",)


# --- What is refused ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            changed(1, 0, "2023-06-01T12:30"),
            r'year.csv line 9: time "2023-06-01T12:30" has no offset from UTC; write 20',
        ),
        ([row.replace("-05:00", "") for row in ROWS], "line 8: time .* no offset .*and lines 9, 10, 11"),
        (changed(1, 0, "2023-06-01T24:30-05:00"), "line 9: time .* has hour 24; write 00:00 of the next day"),
        (changed(1, 0, "2023-02-29T12:30-05:00"), 'line 9: time "2023-02-29T12:30-05:00" is not a time; write 2023-'),
        (changed(1, 0, ""), 'line 9: time "" is not a time'),
        (changed(1, 0, "1/6/2023 12:30"), "line 9: .* is not a time"),
        (changed(1, 0, "2023-06-01T11:30-05:00"), "line 9: the time 2023-06-01T11:30:00-05:00 stands twice; keep one"),
        (ROWS[::-1], "line 9: 2023-06-01T13:30:00-05:00 is before the row above it .*; sort the rows by time"),
        ([*ROWS[:2], ROWS[3]], "line 10: 1 steps of 60 min are missing; the first gap is after 2023-06-01T12:30"),
        (changed(3, 0, "2023-06-01T14:15-05:00"), "line 11: this row comes 45 min after the last, others 60 min"),
        ([ROWS[0], "2023-06-02T11:30-05:00,800,650,200,26,2,60"], "the rows are 24 h apart; give an hour or less"),
        (changed(1, 0, "1823-06-01T12:30-05:00"), "line 9: the year 1823 is outside 1901 to 2099"),
        (changed(1, 1, "-50"), r"line 9: ghi -50 W/m2 is negative; write 0 by night"),
        (changed(1, 1, "-9900"), "line 9: ghi -9900 W/m2 is negative"),
        (changed(1, 1, "2900"), r"line 9: ghi 2900 W/m2 is impossible with the sun 7\d deg high: at most 20\d\d W/m2"),
        (changed(1, 2, "1700"), "line 9: dni 1700 W/m2 is impossible"),
        (changed(1, 3, "1500"), r"line 9: dhi 1500 W/m2 is impossible .* \(BSRN limit\)"),
        (changed(1, 1, ""), "line 9: ghi is missing; fill it in; gaps are not bridged"),
        (changed(1, 4, "NaN"), "line 9: temp_air is missing"),
        (changed(1, 1, "8oo"), 'line 9: ghi "8oo" is not a number; write digits'),
        (changed(1, 1, "inf"), 'line 9: ghi "inf" is not a number'),
        (changed(1, 4, "81"), "line 9: temp_air 81 is outside -90 to 60; write degrees Celsius: degF less 32"),
        (changed(1, 4, "300"), "temp_air 300 is outside .* kelvin less 273.15"),
        (changed(1, 5, "-1"), "line 9: wind_speed -1 is outside 0 to 75; write metres a second"),
        (changed(1, 6, "180"), "line 9: relative_humidity 180 is outside"),
        ([ROWS[0], ROWS[1] + ",7", *ROWS[2:]], "line 9: 8 values for 7 columns; one value a column, decimal point"),
        ([ROWS[0], ROWS[1].replace("27.0", "27,0"), *ROWS[2:]], "line 9: 8 values for 7 columns"),
        ([], "there are no rows under the header"),
    ],
)
def test_rows_that_cannot_be_right_are_refused(write, rows, message):
    path = write(rows=rows)
    with pytest.raises(WeatherError, match=message):
        read_weather(path)


def test_light_in_kilowatts_and_humidity_as_a_share_are_noticed(write):
    rows = [f"2023-06-01T{hour}:30-05:00,0.8,0.6,0.2,27,2,0.6" for hour in range(11, 15)]
    found = problems(write(rows=rows))
    assert "relative_humidity is nowhere above 1; write per cent, 0 to 100, not a share" in found[0]
    assert "ghi is nowhere above 0.8; write W/m2: kW/m2 times 1000" in found[1]


def test_light_by_night_points_to_the_offset_and_the_place(write):
    found = problems(write(longitude="100.0"))
    assert [text.split(" W/m2")[0] for text in found] == [
        "year.csv line 8: ghi 800",
        "year.csv line 8: dhi 200",
    ]
    assert "with the sun -31 deg high: at most 100 W/m2 (BSRN limit) (and lines 9, 10, 11); check the unit" in found[0]
    assert "the offset from UTC, # stamp, # latitude and # longitude" in found[0]


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        (COLUMNS.replace("ghi [W/m2]", "ghi"), r'line 7: ghi has no unit; write "ghi \[W/m2\]"'),
        (COLUMNS.replace("degC", "degF"), r'line 7: temp_air is in \[degF\]; write "temp_air \[degC\]"'),
        (COLUMNS.replace("wind_speed [m/s]", "windspeed [m/s]"), 'called "windspeed"; did you mean "wind_speed"'),
        (COLUMNS.replace("time", "date"), 'the column time is missing; add "time"'),
        (COLUMNS.replace("wind_speed [m/s]", "ghi [W/m2]"), "ghi stands twice; keep one"),
        (COLUMNS.replace(",", ";"), "line 7: the fields are not parted by commas; save as CSV"),
        (COLUMNS.replace("dhi [W/m2],", ""), r'the column dhi is missing; add "dhi \[W/m2\]"'),
    ],
)
def test_a_header_that_cannot_be_right_is_refused(write, columns, message):
    with pytest.raises(WeatherError, match=message):
        read_weather(write(columns=columns))


@pytest.mark.parametrize(
    ("head", "message"),
    [
        ({"latitude": None}, 'year.csv: no line "# latitude: ..."; add one before the header, in degrees, south neg'),
        ({"latitude": "36 N"}, 'line 3: latitude "36 N" is not a number from -90 to 90; write degrees'),
        ({"longitude": "400"}, 'line 4: longitude "400" is not a number from -180 to 180'),
        ({"altitude": "900 ft"}, 'line 5: altitude "900 ft" is not a number .* metres above sea level'),
        ({"stamp": None}, 'no line "# stamp: ..."; write # stamp: start, middle or end'),
        ({"stamp": "ending"}, 'line 6: stamp is "ending"; write # stamp: start, middle or end'),
        ({"step": "hourly"}, 'line 7: step "hourly" is no time; write minutes'),
        ({"step": "30"}, '"# step" says 30 min, the rows are 60 min apart; make them agree'),
    ],
)
def test_head_lines_that_cannot_be_right_are_refused(write, head, message):
    with pytest.raises(WeatherError, match=message):
        read_weather(write(**head))


def test_mistakes_of_all_kinds_are_told_at_once(write):
    rows = changed(0, 1, "-50")
    rows[1] = rows[1].replace("27.0", "88")
    rows[2] = rows[2].replace("190", "")
    found = problems(write(rows=rows))
    assert [text.partition(";")[0] for text in found] == [
        "year.csv line 10: dhi is missing",
        "year.csv line 9: temp_air 88 is outside -90 to 60",
        "year.csv line 8: ghi -50 W/m2 is negative",
    ]
    head = problems(write(columns=COLUMNS.replace("ghi", "gih"), latitude=None, stamp="now"))
    assert len(head) == 4


def test_a_long_list_of_mistakes_is_cut_short(write):
    columns = ",".join(["time", *(f"column_{number} [W/m2]" for number in range(30))])
    found = problems(write(columns=columns))
    assert len(found) == 21
    assert found[-1] == "year.csv: and 14 more mistakes; mend these first"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "file: the file is empty; give a TMY3, EPW or CSV"),
        (b"\n \n", "the file is empty"),
        (b"# title: only this\n", "there is no header of columns"),
        (b"# caf\xe9\ntime\n", "file line 1: the text is not UTF-8; save the file as UTF-8"),
        (b"\x1f\x8bbroken", "the gzip file is damaged"),
        (gzip.compress(b"# title: cut\n" * 400, mtime=0)[:-20], "the gzip file is damaged"),
        (b"LOCATION,Somewhere,-,XXX\n", "the EPW file ends within its header"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "file line 1: the text is not UTF-8"),
        (b"just words\n", 'no column is called "just words"'),
    ],
)
def test_files_that_are_no_weather_are_refused(tmp_path, content, message):
    path = tmp_path / "file"
    path.write_bytes(content)
    with pytest.raises(WeatherError, match=message):
        read_weather(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(WeatherError, match=r"nowhere\.csv: there is no such file; check the path"):
        read_weather(tmp_path / "nowhere.csv")
    with pytest.raises(WeatherError, match="this is a folder; name a weather file in it"):
        read_weather(tmp_path)


# --- TMY3 files that are not whole ---------------------------------------------------------------------------------


@pytest.fixture
def tmy3(tmp_path):
    """Write a changed TMY3 file and return its path."""
    lines = tmy3_file().read_text().splitlines()

    def make(change):
        changed_lines = change(list(lines))
        path = tmp_path / "tmy3.csv"
        path.write_text("\n".join(changed_lines) + "\n", encoding="utf-8")
        return path

    return make


def with_field(lines, line, field, text):
    fields = lines[line - 1].split(",")
    fields[field] = text
    lines[line - 1] = ",".join(fields)
    return lines


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda lines: lines[:-100], "a typical year has 8760 hours, this file 8660; fetch it again"),
        (lambda lines: [*lines[:500], lines[499], *lines[501:]], "line 501: the time .* stands twice"),
        (
            lambda lines: with_field(lines, 15, 4, "-9900"),
            r"tmy3.csv line 15: ghi is missing \(empty, or the file's code for it, -9900\); fill",
        ),
        (lambda lines: with_field(lines, 15, 4, "-50"), "tmy3.csv line 15: ghi -50 W/m2 is negative"),
        (lambda lines: with_field(lines, 15, 31, "99.0"), "tmy3.csv line 15: temp_air 99 is outside"),
        (
            lambda lines: with_field(lines, 15, 0, "first"),
            r"^tmy3.csv: not a TMY3 file: time data .first. .*; fetch it again.*$",
        ),
        (lambda lines: with_field(lines, 2, 4, "GHI (Wm-2)"), 'line 2: no column "GHI .*did you mean "GHI'),
        (lambda lines: with_field(lines, 1, 4, "north"), "not a TMY3 file"),
        (lambda lines: with_field(lines, 1, 5, "79.95"), r"ghi .* is impossible with the sun -\d+ deg high"),
        (lambda lines: lines[:2], "tmy3.csv: a typical year has 8760 hours, this file 0; fetch it again"),
        (lambda lines: ["garbage", *lines[1:]], "tmy3.csv line 1: 1 values, the station has 7 .*; fetch it again"),
        (
            lambda lines: with_field(lines, 4001, 4, "abc"),
            '^tmy3.csv line 4001: ghi "abc" is not a number; write digits',
        ),
    ],
)
def test_tmy3_files_that_are_not_whole_are_refused(tmy3, change, message):
    with pytest.raises(WeatherError, match=message):
        read_weather(tmy3(change))


def test_codes_for_missing_in_the_other_columns_are_gaps(tmy3):
    weather = read_weather(tmy3(lambda lines: with_field(with_field(lines, 15, 46, "-9900"), 16, 25, "-9900")))
    assert np.isnan(weather["wind_speed"].iloc[12])
    assert np.isnan(weather["total_cover"].iloc[13])
    assert weather["wind_speed"].isna().sum() == 1
