"""``solarvent many`` as it is typed; how it is carried out by dask is tested in tests/studies/test_many.py."""

import csv
import json
from io import StringIO

import pytest
from in_process import solarvent

PLACES = """id,latitude,longitude,panel.tilt,fan.bench.part
home,36.1,-79.9,35,
steep,36.2,-80.0,70,fan-24v-120x38
wrong,36.2,-800,70,fan-24v-12
"""


@pytest.fixture
def places(tmp_path):
    (tmp_path / "places.csv").write_text(PLACES, encoding="utf-8")
    return tmp_path / "places.csv"


def test_the_summary_comes_first_and_all_is_kept_in_the_folder(places, tmp_path):
    done = solarvent("many", "default", places, "-o", tmp_path / "out", "--on", "one")
    assert done.returncode == 0
    assert "It fits at 0 of 2 places (0%), 2 fall short of air; 1 more could not be worked out." in " ".join(
        done.stdout.split()
    )
    assert 'row 4 "wrong": longitude: "-800" is no longitude' in done.stderr
    assert 'row 4 "wrong": fan[3] "bench".part: there is no "fan-24v-12" among the fans' in done.stderr
    assert (tmp_path / "out" / "summary.txt").read_text(encoding="utf-8") == done.stdout
    assert (tmp_path / "out" / "places.svg").read_text(encoding="utf-8").startswith("<svg")
    # Nothing is left to do, and the other forms come of what is there.
    rows = list(csv.DictReader(StringIO(solarvent("many", "default", places, "-o", tmp_path / "out", "--format",
                                                  "csv").stdout)))  # fmt: skip
    assert [row["verdict"] for row in rows] == ["short", "short", "failed"]
    read = json.loads(solarvent("many", "default", places, "-o", tmp_path / "out", "--format", "json").stdout)
    assert [row["id"] for row in read["rows"]] == ["home", "steep", "wrong"]
    assert (read["schema"], read["chain"], read["failures"]) == ("solarvent.many/1", "run", 1)
    places.write_text("id,latitude,longitude\na,36,-80\n", encoding="utf-8")
    again = solarvent("many", "coop", places, "-o", tmp_path / "out")
    assert again.returncode == 1
    assert "the folder holds the results of another plan" in again.stderr


def test_where_nothing_is_kept_it_is_said_how(places):
    done = solarvent("many", "default", places, "--on", "one")
    assert f"Next: solarvent many default {places} -o results   keeps every row" in done.stderr
    designs = places.with_name("designs.csv")
    designs.write_text("id,watts\nsmall,10\n", encoding="utf-8")
    done = solarvent("many", "default", places, "--designs", designs, "--on", "one")
    assert f"Next: solarvent many default {places} --designs {designs} -o results   keeps" in done.stderr


def test_each_row_is_that_of_run(places):
    row = json.loads(solarvent("many", "default", places, "--on", "one", "--format", "json").stdout)["rows"][0]
    alone = json.loads(solarvent("run", "default", "--format", "json").stdout)
    assert (row["verdict"], row["reason"]) == (alone["verdict"]["level"], alone["verdict"]["sentence"])
    assert row["do"] == alone["verdict"]["first"]["do"]
    # 5 km to the east the sun of the same hours stands a little otherwise.
    assert row["mean_flow"] == pytest.approx(alone["verdict"]["figures"][1]["value"], rel=0.01)


def test_a_strict_table_ends_the_command_with_all_its_mistakes(places, tmp_path):
    done = solarvent("many", "default", places, "-o", tmp_path / "out", "--strict")
    assert done.returncode == 1
    assert done.stderr.count('row 4 "wrong"') == 2
    assert not (tmp_path / "out").exists()


def test_what_cannot_be_begun_is_told_without_a_traceback(places, tmp_path):
    for words, told in (
        (["default", tmp_path / "none.csv"], "there is no such file"),
        (["default", places, "--designs", tmp_path / "none.csv"], "there is no such file"),
        (["default", places, "--weather", tmp_path / "none"], "this is not a folder"),
        (["default", places, "--weather", tmp_path], "no weather file in it tells its place"),
        (["default", places, "--scheduler", "nowhere"], "this is no address of a scheduler"),
    ):
        done = solarvent("many", *words)
        assert done.returncode == 1
        assert told in done.stderr
        assert "Traceback" not in done.stderr
