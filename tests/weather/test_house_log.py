"""Logs as loggers and notebooks write them: what is read, what is told, and what is refused in one clear line."""

import numpy as np
import pandas as pd
import pytest

from solarvent.base.errors import WeatherError
from solarvent.weather.house_log import read_log

SUMMER = {"place": {"latitude": 51.2, "longitude": 1.1, "timezone": "Europe/London"}}


@pytest.fixture(scope="module")
def plan(small_plan):
    return small_plan(SUMMER)


def rows(start="2025-03-01", hours=72, step=1.0):
    """Times and two temperatures, as text and numbers."""
    times = pd.date_range(start, periods=int(hours / step), freq=f"{round(60 * step)}min")
    air = 8 + 5 * np.sin(2 * np.pi * (times.hour + times.minute / 60 - 9) / 24)
    return times, np.round(air, 1), np.round(air + 3 + 6 * (air > 9), 1)


def written(path, header="time,outside [degC],inside [degC]", form="%Y-%m-%d %H:%M", sign=",", change=None, **given):
    times, outside, inside = rows(**given)
    lines = [sign.join((f"{time:{form}}", f"{a}", f"{b}")) for time, a, b in zip(times, outside, inside, strict=True)]
    text = "\n".join([header, *lines]) + "\n"
    path.write_text(change(text) if change else text, encoding="utf-8")
    return path


FORMS = [
    "%Y-%m-%d %H:%M",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%d.%m.%Y %H:%M:%S",
    "%d %b %Y %H:%M",
    "%Y/%m/%d %H:%M",
]


@pytest.mark.parametrize("form", FORMS)
def test_times_of_any_usual_form_are_the_same_times(form, plan, tmp_path):
    table = read_log(written(tmp_path / "log.csv", form=form), plan).table
    assert table.index[0] == pd.Timestamp("2025-03-01", tz="UTC")
    assert len(table) == 72
    assert (np.diff(table.index.asi8) > 0).all()


def test_times_without_a_zone_follow_the_clock_on_the_wall(plan, tmp_path):
    table = read_log(written(tmp_path / "log.csv", start="2025-07-01"), plan).table
    assert table.index[0] == pd.Timestamp("2025-06-30 23:00", tz="UTC")
    aware = read_log(written(tmp_path / "utc.csv", form="%Y-%m-%dT%H:%MZ", start="2025-07-01"), plan).table
    assert aware.index[0] == pd.Timestamp("2025-07-01", tz="UTC")
    named = read_log(
        written(tmp_path / "n.csv", header="time UTC,outside [degC],inside [degC]", start="2025-07-01"), plan
    )
    assert named.table.index[0] == aware.index[0]


@pytest.mark.parametrize(("zone", "hours"), [("UTC+5:30", 5.5), ("GMT-03:30", -3.5), ("UTC +10", 10.0)])
def test_an_offset_in_the_header_is_that_of_all_times(zone, hours, plan, tmp_path):
    # India and Newfoundland are half an hour beside the full ones.
    header = f"time {zone},outside [degC],inside [degC]"
    table = read_log(written(tmp_path / "log.csv", header=header, start="2025-07-01"), plan).table
    assert table.index[0] == pd.Timestamp("2025-07-01", tz="UTC") - pd.Timedelta(hours=hours)


def test_rows_of_strange_years_are_told_by_the_first_of_them(plan, tmp_path):
    def change(text):
        lines = text.splitlines()
        for at, year in ((5, "1970"), (9, "1980")):
            lines[at] = year + lines[at][4:]
        return "\n".join(lines)

    log = read_log(written(tmp_path / "log.csv", change=change), plan)
    assert "2 rows are dated 1970: left out." in log.notes
    assert len(log.table) == 70


@pytest.mark.parametrize("cut", [0, 1])
def test_a_log_in_utf_16_is_read_even_where_its_last_letter_is_cut(cut, plan, tmp_path):
    path = written(tmp_path / "log.csv")
    coded = path.read_text().encode("utf-16")
    path.write_bytes(coded[: len(coded) - cut])
    assert len(read_log(path, plan).table) == 72


def test_seconds_since_1970_and_days_of_a_spreadsheet_are_times(plan, tmp_path):
    text = written(tmp_path / "log.csv").read_text().splitlines()
    cut = [line.split(",") for line in text[1:]]
    stamps = pd.to_datetime([fields[0] for fields in cut])
    serial = (stamps - pd.Timestamp("1899-12-30")) / pd.Timedelta(days=1)
    for name, values in (("unix", stamps.as_unit("s").asi8), ("sheet", serial)):
        lines = [f"{value},{a},{b}" for value, (_, a, b) in zip(values, cut, strict=True)]
        (tmp_path / name).write_text("\n".join([text[0], *lines]))
        assert read_log(tmp_path / name, plan).table.index[0] == pd.Timestamp("2025-03-01", tz="UTC")


def test_semicolons_decimal_commas_and_lines_above_the_header_are_read(plan, tmp_path):
    def change(text):
        return "Logger 7\nSerial;123\n" + text.replace(".", ",")

    path = written(tmp_path / "log.csv", header="Datum;Temperatur außen (°C);T innen (°C)", sign=";", change=change)
    table = read_log(path, plan).table
    assert table["outside"].iloc[9] == pytest.approx(8.0)
    assert len(table) == 72


def test_a_unit_in_the_header_is_used(plan, tmp_path):
    path = written(tmp_path / "log.csv", header="time,outside [degF],inside [degF]")
    table = read_log(path, plan).table
    assert table["outside"].iloc[9] == pytest.approx((8.0 - 32) / 1.8)


@pytest.mark.parametrize(("what", "unit", "said", "value"), [
    # NIST SP 811, appendix B (from memory); 110 lm/W of sunlight (common practice, no source).
    ("outside", "K", 283.15, 10.0), ("outside", "F", 50.0, 10.0), ("humidity", "%", 60.0, 60.0),
    ("wind", "m/s", 4.0, 4.0), ("wind", "km/h", 36.0, 10.0), ("wind", "mph", 10.0, 4.4704),
    ("sun", "W/m2", 500.0, 500.0), ("sun", "kW/m2", 0.5, 500.0), ("sun", "klx", 55.0, 500.0),
    ("sun", "lux", 55_000.0, 500.0), ("sun", "lx", 55_000.0, 500.0),
])  # fmt: skip
def test_every_usual_unit_is_turned_into_the_one_inside(what, unit, said, value, plan, tmp_path):
    lines = [f"{time:%Y-%m-%d %H:%M},{a},{said * (1 + a / 1e5)}" for time, a, _ in zip(*rows(), strict=True)]
    (tmp_path / "log.csv").write_text("\n".join([f"time,inside [degC],{what} [{unit}]", *lines]))
    np.testing.assert_allclose(read_log(tmp_path / "log.csv", plan).table[what], value, rtol=5e-3)


def test_the_newest_row_may_come_first(plan, tmp_path):
    def newest_first(text):
        head, *lines = text.splitlines()
        return "\n".join([head, *lines[::-1]])

    path = written(tmp_path / "log.csv", change=lambda text: text + text.splitlines()[-1])
    forward = read_log(path, plan)
    backward = read_log(written(tmp_path / "back.csv", change=lambda text: newest_first(path.read_text())), plan)
    pd.testing.assert_frame_equal(forward.table, backward.table)
    assert forward.notes == backward.notes
    assert not any("out of order" in note for note in forward.notes)


def test_a_column_may_be_told(plan, tmp_path):
    path = written(tmp_path / "log.csv", header="time,T1,T2")
    with pytest.raises(WeatherError, match="no column is known as the inside"):
        read_log(path, plan)
    table = read_log(path, plan, {"inside": "T2", "outside": "T1"}).table
    assert (table["inside"] > table["outside"]).all()


def test_the_hour_that_the_clock_skips_is_told_and_left_out(plan, tmp_path):
    log = read_log(written(tmp_path / "log.csv", start="2025-03-29"), plan)
    assert len(log.table) == 71
    assert any("skips" in note for note in log.notes)


def test_least_and_most_of_each_day_are_read(plan, tmp_path):
    header = "date,outside min [degC],outside max [degC],inside min [degC],inside max [degC]"
    lines = [f"2025-03-{day:02d} 08:00,2,11,4,24" for day in range(1, 9)]
    (tmp_path / "log.csv").write_text("\n".join([header, *lines]))
    log = read_log(tmp_path / "log.csv", plan)
    assert {"outside_min", "outside_max", "inside_min", "inside_max"} <= set(log.table)
    assert log.step == 86_400


def test_what_is_left_out_is_told(plan, tmp_path):
    def change(text):
        lines = text.splitlines()
        lines[5] = lines[5].rpartition(",")[0] + ",-127.0"
        lines[9] = lines[9].rpartition(",")[0] + ",n/a"
        return "\n".join([*lines, lines[-1], lines[-2].replace("inside", "")])

    log = read_log(written(tmp_path / "log.csv", change=change), plan)
    told = " ".join(log.notes)
    assert "sensor at fault" in told
    assert "no numbers" in told
    assert "stand twice" in told
    assert log.table["inside"].isna().sum() == 2


@pytest.mark.parametrize(("column", "name"), [(1, "outside"), (2, "inside")])
def test_a_stuck_thermometer_is_told_and_left_out(column, name, plan, tmp_path):
    def change(text):
        lines = [line.split(",") for line in text.splitlines()]
        for fields in lines[28:41]:
            fields[column] = lines[28][column]
        return "\n".join(map(",".join, lines))

    log = read_log(written(tmp_path / "log.csv", change=change), plan)
    [told] = [note for note in log.notes if "stands still" in note]
    assert f"The {name} thermometer stands still 1 times, 12 hours together, the first from 2 March 03:00" in told
    assert log.table[name].isna().sum() == 13


def replaced(old, new):
    return lambda text: text.replace(old, new)


def per_line(work):
    """Change each line of values."""

    def change(text):
        head, *lines = text.splitlines()
        return "\n".join([head, *(work(number, line) for number, line in enumerate(lines))])

    return change


BROKEN = {
    "empty": (lambda text: "", "the file is empty"),
    "blank": (lambda text: "\n \n", "the file is empty"),
    "binary": (lambda text: "PK\x03\x04" + text, "no text file"),
    "a header alone": (lambda text: text.splitlines()[0], "one column|no rows|no header"),
    "no header": (lambda text: "\n".join(text.splitlines()[1:]), "no header"),
    "one column": (lambda text: text.replace(",", "_"), "one column"),
    "prose": (lambda text: "dear diary\nit was warm\n", "one column"),
    "fields missing": (per_line(lambda n, line: line.rpartition(",")[0] if n == 7 else line), "line 9.*2 fields for 3"),
    "fields too many": (per_line(lambda n, line: line + ",1" if n == 7 else line), "4 fields for 3"),
    "no time": (replaced("time,", "number,"), "no column is known as the time"),
    "words for times": (per_line(lambda n, line: "noon," + line.partition(",")[2]), "is not a time"),
    "bare counts for times": (per_line(lambda n, line: f"{n}," + line.partition(",")[2]), "bare number"),
    "year 1970": (per_line(lambda n, line: "1970" + line[4:]), "the year 1970"),
    "no inside": (replaced("inside", "pressure"), "inside"),
    "two insides": (replaced("outside", "indoor"), "may each be inside"),
    "words for temperatures": (per_line(lambda n, line: line.rpartition(",")[0] + ",warm"), "holds no numbers"),
    "mostly words": (per_line(lambda n, line: line.rpartition(",")[0] + (",warm" if n % 3 else ",5")), "not a number"),
    "degF without a unit": (
        lambda text: per_line(lambda n, line: line.rpartition(",")[0] + f",{60 + n % 24}")(
            text.replace("inside [degC]", "inside")
        ),
        "which is degF",
    ),
    "degF under degC": (per_line(lambda n, line: line.rpartition(",")[0] + f",{78 + n % 40}"), "which is degF"),
    "kelvin": (per_line(lambda n, line: line.rpartition(",")[0] + f",{280 + n % 9}"), "looks like kelvin"),
    "far too cold": (per_line(lambda n, line: line.rpartition(",")[0] + f",{-60 + n % 9}"), "lies around -5"),
    "a day alone": (lambda text: "\n".join(text.splitlines()[:20]), "covers 18 hours"),
    "one row": (lambda text: "\n".join(text.splitlines()[:2]), "covers 0 hours"),
    "all one time": (per_line(lambda n, line: "2025-03-01 00:00" + line[16:]), "no row is left|covers 0"),
    "a row every day": (per_line(lambda n, line: line if n % 24 == 0 else ""), "24 h apart"),
    "sun in counts": (
        lambda text: per_line(lambda n, line: line + f",{n * 400}")(text.replace("]\n", "],sun [W/m2]\n", 1)),
        "outside -20 to 1800",
    ),
    "a number too large": (per_line(lambda n, line: line.rpartition(",")[0] + ",1e5"), "outside -45 to 100"),
    "stuck all along": (per_line(lambda n, line: line.rpartition(",")[0] + ",20.0"), "inside stays at 20"),
    "least over most": (
        lambda text: "date,outside,inside max,inside min\n" + "".join(f"2025-03-{d:02d},5,4,24\n" for d in range(1, 9)),
        "inside min lies above inside max on 01 March",
    ),
    "a least without a most": (replaced("inside [degC]", "inside min [degC]"), "no column is known as the inside"),
    "year 9999": (per_line(lambda n, line: "9999" + line[4:]), "the year 9999"),
    "UTF-16 without its mark": (lambda text: "\0".join(text), "no text file"),
    "a quote that never ends": (lambda text: text.replace("\n2025-03-02", '\n"2025-03-02', 1), "header has 3|be read"),
    "a page": (lambda text: "<html><table><tr><td>1</td></tr></table></html>\n" * 5, "one column"),
    "JSON": (lambda text: '{"inside": [1, 2, 3], "outside": [1, 2]}', "no rows of numbers"),
    "endless numbers": (per_line(lambda n, line: line.rpartition(",")[0] + ",inf"), "holds no numbers"),
    "empty inside": (per_line(lambda n, line: line.rpartition(",")[0] + ","), "holds no numbers"),
    "header too short": (
        lambda text: "# by hand\n\n" + text.replace("time,outside [degC],inside", "inside"),
        "line 3: the header has 1 columns",
    ),
    "as many lines as are read": (lambda text: "a\n" * 600_000, "one column"),
    "a line more": (lambda text: "a\n" * 600_001, "over 600,000 lines"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_log_is_one_clear_line(name, plan, tmp_path):
    change, words = BROKEN[name]
    path = written(tmp_path / "log.csv", change=change)
    with pytest.raises(WeatherError, match=words) as told:
        read_log(path, plan)
    assert len(told.value.problems) == 1
    assert told.value.problems[0].write


@pytest.mark.parametrize("name", ["nothing.csv", "."])
def test_a_file_that_is_not_there_is_one_clear_line(name, plan, tmp_path):
    with pytest.raises(WeatherError, match=r"no such file|folder"):
        read_log(tmp_path / name, plan)


def test_a_first_row_that_says_only_when_is_a_row(plan, tmp_path):
    header = "time,outside [degC],inside [degC],sun [W/m2],wind [m/s]"
    first = "2025-02-28 23:00,,,,\n2025-03-01"
    path = written(tmp_path / "log.csv", change=per_line(lambda n, line: line + ",0,1.5"), header=header)
    path.write_text(path.read_text().replace("2025-03-01", first, 1))
    log = read_log(path, plan)
    assert len(log.table) == 73
    assert np.isnan(log.table["inside"].iloc[0])


def test_a_told_column_that_is_not_there_is_named(plan, tmp_path):
    with pytest.raises(WeatherError, match='no column is called "T9"'):
        read_log(written(tmp_path / "log.csv"), plan, {"inside": "T9"})
