"""A weather summary on paper: eighty columns, both unit systems, data for programs, a file that reads back."""

import csv
import io
import json

import numpy as np
import pandas as pd
import pytest

from solarvent.report.weather_text import render_weather, weather_csv, weather_file, weather_json
from solarvent.weather.reading import embedded_weather, read_weather
from solarvent.weather.span import summarise

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")


@pytest.fixture(scope="module")
def summary():
    return summarise(embedded_weather())


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_text_fits_a_plain_terminal_in_both_systems(summary, system):
    text = render_weather(summary, system, "a note to begin with " * 8)
    assert max(map(len, text.splitlines())) <= 80
    assert ("[degF]" in text) == (system == "us")
    assert text.index("By month") < text.index("The hottest days")
    assert "1566 kWh/m2" in text
    assert "calm in 12% of the hours" in text
    assert "missing  nothing" in text


def test_what_is_unknown_is_a_dash_and_what_is_missing_is_named():
    weather = embedded_weather()
    weather[["wind_speed", "wind_direction", "opaque_cover"]] = np.nan
    weather.attrs |= {"title": "x" * 300, "source": "", "notes": ("Something was mended.",)}
    text = render_weather(summarise(weather))
    assert max(map(len, text.splitlines())) <= 80
    assert "wind     not known" in text
    assert "wind_speed (100%), wind_direction (100%), opaque_cover (100%)" in " ".join(text.split())
    assert "note     Something was mended." in text
    january = next(line for line in text.splitlines() if line.startswith("Jan"))
    assert january.split()[-3:] == ["-", "-", "-"]


def test_json_has_no_nan_and_carries_its_schema(summary):
    data = json.loads(weather_json(summary), parse_constant=lambda word: pytest.fail(word))
    assert data["schema"] == "solarvent.weather/1"
    assert [month["month"] for month in data["months"]] == list(range(1, 13))
    assert sum(month["irradiation"] for month in data["months"]) == pytest.approx(data["irradiation"], abs=1e-3)
    assert data["temp_air_max"]["value"] == data["hottest"][0]["temp_air"] == 35.6
    assert pd.Timestamp(data["hottest"][0]["time"]).utcoffset() == pd.Timedelta("-5h")


def test_csv_carries_units(summary):
    rows = list(csv.reader(io.StringIO(weather_csv(summary))))
    assert len(rows) == 13
    assert rows[0][:4] == ["month", "days", "irradiation [kWh/m2]", "clear_sky_index"]
    assert "temp_high [degC]" in rows[0]


def test_a_written_table_reads_back(tmp_path):
    weather = embedded_weather()
    weather["total_cover"] = np.nan
    path = tmp_path / "again.csv"
    path.write_text(weather_file(weather) + "\n", encoding="utf-8")
    assert "total_cover" not in path.read_text(encoding="utf-8")
    again = read_weather(path)
    pd.testing.assert_frame_equal(again, weather, atol=0.06)
    assert again.attrs == weather.attrs


def test_line_breaks_in_a_title_do_not_break_the_file(tmp_path):
    weather = embedded_weather().iloc[:48]
    weather.attrs |= {"title": "two\nlines\n# stamp: end"}
    path = tmp_path / "again.csv"
    path.write_text(weather_file(weather) + "\n", encoding="utf-8")
    again = read_weather(path)
    assert again.attrs["title"] == "two lines # stamp: end"
    assert (again.index == weather.index).all()
