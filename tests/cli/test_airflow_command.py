"""``airflow`` as a person meets it: one sky, all skies, the real afternoons, which way to face."""

import csv
import io
import json
import re
import subprocess
import sys

import pytest

from solarvent.cli import main

SOUTH = """
plan_version = 1
[place]
latitude = -36.8
longitude = 174.8
timezone = "Pacific/Auckland"
[weather]
climate = "{climate}"
[house]
length = "3 m"
width = "2 m"
[target]
air_changes = 20
[[panel]]
id = "roof"
part = "panel-20w"
azimuth = 315
[[fan]]
id = "east"
part = "fan-24v-120x25"
[[opening]]
part = "plain-hole"
area = "0.1 m2"
[wiring]
layout = "shared"
"""


@pytest.fixture
def airflow(capsys):
    """Run the command in this process; gives exit code, output and errors."""

    def call(*args):
        with pytest.raises(SystemExit) as left:
            main(["airflow", *map(str, args)])
        printed = capsys.readouterr()
        return left.value.code, printed.out, printed.err

    return call


@pytest.fixture
def south(tmp_path):
    path = tmp_path / "south.toml"
    path.write_text(SOUTH.format(climate="cool-maritime"), encoding="utf-8")
    return path


def test_json_of_one_sky_has_the_promised_keys(airflow):
    code, out, _ = airflow("--month", 7, "--oktas", 7, "--from", 12, "--to", 18, "--format", "json")
    data = json.loads(out)
    assert code == 0
    assert data["schema"] == "solarvent.airflow/1"
    assert [hour["time"][11:16] for hour in data["hours"]] == [f"{hour}:00" for hour in range(12, 18)]
    assert all(hour["time"].endswith("-04:00") for hour in data["hours"])
    for hour in data["hours"]:
        assert {"time", "flow", "air_changes", "running"} <= hour.keys()
        assert 0 <= hour["running"] <= 1
    for mean, name in (("mean_flow", "flow"), ("mean_air_changes", "air_changes"), ("running_share", "running")):
        assert data[mean] == pytest.approx(sum(hour[name] for hour in data["hours"]) / 6, abs=1e-5)
    assert data["other_reading"]["sunlit_share"] == pytest.approx(1 / 8)
    low, high = (data["bands"][name]["mean_flow"] for name in ("low", "high"))
    assert low < data["mean_flow"] < high


def test_all_skies_and_the_year_have_the_same_keys(airflow):
    for args in ((), ("--year", "--month", 7)):
        data = json.loads(airflow(*args, "--format", "json")[1])
        assert {"schema", "hours", "mean_flow", "mean_air_changes", "running_share"} <= data.keys()
    assert len(data["afternoons"]) == 365
    assert len(data["hottest"]) == 10
    assert len(data["months"]) == 12


def test_one_line_answers(airflow):
    out = " ".join(airflow("--month", 7, "--oktas", 8)[1].split())
    assert re.search(
        r"On an overcast July afternoon: \d+ \(\d+ \.\. \d+\) air changes an hour \(\d+ m3/h\), running \d+% of the"
        r" time; wanted \d+\.",
        out,
    )
    assert "America/New_York in July, UTC-4 (daylight saving time)" in out
    assert "(no daylight saving)" in " ".join(airflow("--month", 1, "--oktas", 0)[1].split())
    assert "January morning" in airflow("--month", 1, "--oktas", 0, "--from", 8, "--to", 12)[1]


def test_broken_cloud_shows_both_readings(airflow):
    out = " ".join(airflow("--month", 7, "--oktas", 6, "--full")[1].split())
    assert "the brightest third at 1.01 of a clear sky, the dullest at 0.48" in out
    assert "The other reading, gaps 25% of the time (1 - oktas / 8) and shadows at 0.59" in out


def test_the_levels_of_the_plan_are_told(airflow, tmp_path):
    text = SOUTH.format(climate="cool-maritime") + "\n[sky]\nsunlit_level = 1.05\nshadow_level = 0.30\n"
    (tmp_path / "levels.toml").write_text(text, encoding="utf-8")
    out = " ".join(airflow(tmp_path / "levels.toml", "--month", 1, "--oktas", 6, "--full")[1].split())
    # (0.718 - 0.30) / 0.75, by hand.
    assert "56% of the time in gaps, at 1.05 of a clear sky, and the rest in shadow, at 0.30, as the plan gives" in out


@pytest.mark.parametrize(
    "args", [("--oktas", 6), ("--oktas", 0, "--step", "15 min"), (), ("--year",), ("--orient",)], ids=str
)
@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_text_fits_a_plain_terminal(airflow, args, units):
    code, out, _ = airflow(*args, "--units", units, "--full")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "licensed" in out


def test_a_row_for_each_step(airflow):
    out = airflow("--oktas", 3, "--from", "12:30", "--to", "14", "--step", "30 min", "--format", "csv")[1]
    rows = list(csv.reader(io.StringIO(out)))
    assert [row[0][11:16] for row in rows[1:]] == ["12:30", "13:00", "13:30"]
    assert "flow [m3/s]" in rows[0]


def test_csv_of_the_year_has_a_row_a_day_and_of_the_grid_one_a_way(airflow):
    assert len(airflow("--year", "--format", "csv")[1].splitlines()) == 366
    assert len(airflow("--orient", "--format", "csv")[1].splitlines()) == 64


def test_the_southern_hemisphere_with_a_climate(airflow, south):
    out = " ".join(airflow(south, "--oktas", 7, "--full")[1].split())
    # With no month given it is the hottest of the months of need, which lie about the new year there.
    assert re.search(r"nearly overcast (November|December|January|February|March) afternoon", out)
    assert "UTC+13 (daylight saving time)" in out
    assert "wanted 20." in out
    assert "Wanted: what the plan asks for" in out
    grid = json.loads(airflow(south, "--orient", "--format", "json")[1])["grid"]
    best = max(grid, key=lambda way: way["year_light"])
    assert best["surface_azimuth"] == 0


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("--oktas", "12"), 2, "0<=x<=9"),
        (("--cover", "thin"), 2, "--cover goes with --oktas 8"),
        (("--year", "--oktas", "3"), 2, "--year and --orient stand alone"),
        (("--year", "--orient"), 2, "--year and --orient stand alone"),
        (("--from", "18", "--to", "12"), 2, "--from 18:00 is not before --to 12:00"),
        (("--from", "noon"), 2, "write it like 12 or 12:30"),
        (("--from", "12:60"), 2, "write it like 12 or 12:30"),
        (("--step", "7 min", "--oktas", "3"), 2, "not a whole part of an hour"),
        (("--month", "0"), 2, "1<=x<=12"),
        (("no-such.toml",), 1, "no such file"),
        (("--orient", "--from", "0", "--to", "4"), 1, "no light in the hours of need"),
    ],
)
def test_a_slip_is_told_in_a_line(airflow, args, code, words):
    left, out, errors = airflow(*args)
    assert left == code
    assert words in errors
    assert out == ""


def test_it_is_in_the_overview():
    listed = subprocess.run([sys.executable, "-m", "solarvent", "--help"], capture_output=True, text=True, check=True)
    assert "airflow" in listed.stdout


@pytest.mark.parametrize("more", [(), ("--oktas", "3"), ("--year",), ("--format", "json")])
def test_the_polar_night_is_answered(airflow, tmp_path, more):
    text = SOUTH.format(climate="subpolar-oceanic").replace("air_changes = 20", 'rise = "6 K"')
    text = text.replace("-36.8", "78.2").replace("174.8", "15.6").replace("Pacific/Auckland", "Arctic/Longyearbyen")
    (tmp_path / "polar.toml").write_text(text, encoding="utf-8")
    code, out, err = airflow(tmp_path / "polar.toml", "--month", "12", *more)
    assert (code, err) == (0, "")
    assert "nan" not in out.lower()
