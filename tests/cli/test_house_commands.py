"""``night``, ``need`` and ``about`` as a person meets them."""

import contextlib
import csv
import io
import json
from typing import NamedTuple

import pytest
from sampled import one_in

from solarvent.cli import main
from solarvent.plan.plan import embedded_plan_path


class Ran(NamedTuple):
    returncode: int
    stdout: str
    stderr: str


def solarvent(*words):
    """Run a command in this process, which spares the imports."""
    out, err, ends = io.StringIO(), io.StringIO(), pytest.raises(SystemExit, match=r"\d")
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), ends as left:
        main([str(word) for word in words])
    return Ran(left.value.code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    """The worked example with four drums."""
    text = embedded_plan_path().read_text(encoding="utf-8")
    path = tmp_path_factory.mktemp("plans") / "drums.toml"
    path.write_text(text + '\n[[mass]]\nid = "drums"\npart = "drum-208l"\ncount = 4\n', encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def night(plan):
    return json.loads(solarvent("night", plan, "--format", "json").stdout)


def test_night_json_has_the_promised_keys(night):
    assert night["schema"] == "solarvent.night/1"
    assert {"hours", "minimum_inside", "frost_margin", "heater_watts"} <= night.keys()
    assert len(night["hours"]) == 24
    assert {"time", "temp_air", "temp_inside", "temp_mass"} <= night["hours"][0].keys()
    assert night["minimum_inside"] == min(hour["temp_inside"] for hour in night["hours"])
    assert night["frost_margin"] == night["minimum_inside"]
    assert night["heater_watts"] > 0
    assert night["panel_could_feed_it"] is False


def test_night_text_fits_and_answers_the_questions(plan):
    for units in ("metric", "us"):
        run = solarvent("night", plan, "--units", units)
        assert run.returncode == 0, run.stderr
        assert max(map(len, run.stdout.splitlines())) <= 80
        for words in ("Lowest inside", "To hold", "heater", "panel cannot feed it", "dull days", "Dew", "monoxide"):
            assert words in run.stdout.replace("\n", " "), words
        assert ("degF" in run.stdout) == (units == "us")


def test_night_csv(plan):
    rows = list(csv.reader(io.StringIO(solarvent("night", plan, "--nights", 2, "--format", "csv").stdout)))
    assert len(rows) == 49
    assert "temp_inside [degC]" in rows[0]
    assert all(len(row) == len(rows[0]) for row in rows)


def test_a_night_of_ones_own_choice():
    night = json.loads(solarvent("night", "--date", "03-03", "--hold", "41 degF", "--format", "json").stdout)
    assert "-03-03T12" in night["hours"][0]["time"]
    assert night["hold"] == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("night", "--hold", "3"), "no unit"),
        (("night", "--hold", "300 degC"), "outside"),
        (("night", "--date", "13-40"), "is no day"),
        (("night", "--nights", "0"), "not in the range"),
        (("need", "--below", "32 degC"), "--outside"),
        (("need", "--below", "30 cfm", "--outside", "24 degC"), "flow"),
        (("need", "--below", "32 degC", "--outside", "24 degC", "--sun", "5 kW/m2"), "outside"),
    ],
)
def test_a_bad_command_line_says_what_to_write(words, message):
    run = solarvent(*words)
    assert run.returncode == 2
    assert message in run.stderr
    assert "Traceback" not in run.stderr


def test_no_29_february_in_a_typical_year():
    run = solarvent("night", "--date", "02-29")
    assert run.returncode == 1
    assert "29 February" in run.stderr


def test_how_many_air_changes_keep_it_below():
    run = solarvent("need", "--below", "32 degC", "--outside", "24 degC")
    assert run.returncode == 0
    assert "air changes an hour" in run.stdout.replace("\n", " ")
    assert "shade cloth" in run.stdout
    assert "EP406" in run.stdout
    assert max(map(len, run.stdout.splitlines())) <= 80
    data = json.loads(solarvent("need", "--below", "90 degF", "--outside", "75 degF", "--format", "json").stdout)
    assert data["schema"] == "solarvent.need/1"
    assert data["flow"] * 3600 > 100
    assert data["air_changes"] > 10


def test_a_house_that_was_measured_is_told_by_what_that_leaves_open(tmp_path):
    text = embedded_plan_path().read_text(encoding="utf-8")
    path = tmp_path / "measured.toml"
    path.write_text(text + '\n[house.measured]\nlight_factor = 1.0\nday_error = "1.2 K"\n', encoding="utf-8")
    ask = ("--below", "32 degC", "--outside", "24 degC")
    assert "good to 5 K" in " ".join(solarvent("need", *ask).stdout.split())
    assert "good to 1 K" in " ".join(solarvent("need", path, *ask).stdout.split())


def test_no_air_does_what_air_cannot():
    run = solarvent("need", "--below", "20 degC", "--outside", "24 degC")
    assert "never cools below" in run.stdout.replace("\n", " ")
    data = json.loads(solarvent("need", "--below", "20 degC", "--outside", "24 degC", "--format", "json").stdout)
    assert data["flow"] is None


def test_about_models_tells_how_far_to_trust_them():
    run = solarvent("about", "models")
    assert run.returncode == 0
    assert max(map(len, run.stdout.splitlines())) <= 80
    for words in (
        "known error",
        "What moves the hottest hour most",
        "What moves the coldest hour most",
        "tenth of a degree",
    ):
        assert words in run.stdout.replace("\n", " ")
    data = json.loads(solarvent("about", "models", "--format", "json").stdout)
    assert {"name", "equation", "source", "valid", "known_error"} < data["models"][0].keys()
    assert len(data["sensitivity"]) >= 5


def test_run_carries_the_house():
    data = json.loads(solarvent("run", "--day", "07-15", "--format", "json").stdout)
    house = data["totals"]["house"]
    assert list(house["cases"]) == ["closed", "openings", "fans", "both"]
    assert house["cases"]["closed"]["maximum"] > house["cases"]["both"]["maximum"]
    assert all(hour["temp_inside"] is not None for hour in data["hours"])
    text = solarvent("run", "--day", "07-15", "--full").stdout
    assert "The house: how warm it gets" in text


def test_a_dangerous_heater_stops_the_run(tmp_path):
    text = embedded_plan_path().read_text(encoding="utf-8")
    plan = tmp_path / "stove.toml"
    plan.write_text(text + '\n[heater]\npower = "3 kW"\nfuel = "paraffin"\n', encoding="utf-8")
    run = solarvent("run", plan, "--day", "01-15")
    assert run.returncode == 3
    assert "heater-fumes" in run.stdout


@pytest.mark.parametrize(
    ("section", "message"),
    [
        ('[[mass]]\npart = "drum-300l"\n', "masses"),
        ('[[mass]]\npart = "drum-208l"\ncount = 0\n', "count"),
        ('[heater]\npower = "2 kW"\nfuel = "coal"\n', "propane"),
        ("[heater]\n", "power"),
        ('[plants]\ncrop = "cactus"\n', "crop"),
        ("[screen]\nsaving = 1.4\n", "saving"),
        ("[shade]\ntransmitance = 0.5\n", "transmittance"),
        ('[battery]\nkind = "nickel"\n', "lithium"),
    ],
)
def test_a_mistake_in_the_new_sections_is_told(tmp_path, section, message):
    text = embedded_plan_path().read_text(encoding="utf-8")
    plan = tmp_path / "wrong.toml"
    plan.write_text(text + "\n" + section, encoding="utf-8")
    run = solarvent("run", plan)
    assert run.returncode == 1
    assert message in run.stderr
    assert "Traceback" not in run.stderr


# --- faults of the house, each with its mended twin, as two commands tell them ---------------------------

#: Finding -> what it adds to the worked example, what its twin adds, the part, and the two commands.
FAULTS = {
    "thermostat-ac": (
        '[thermostat]\ncontact = "ac"\n', '[thermostat]\ncontact = "dc"\n', "thermostat", ("run", "compare")),
    "drum-in-shade": (
        '[[mass]]\nid = "drum"\npart = "drum-208l"\nsunlit = false\n', '[[mass]]\nid = "drum"\npart = "drum-208l"\n',
        "drum", ("run", "night")),
    "opener-late": (
        '[[opening]]\nid = "vent"\npart = "window-vent"\narea = "0.2 m2"\non = "roof"\nopener = "wax-opener"\n'
        'opens_at = "40 degC"\n',
        '[[opening]]\nid = "vent"\npart = "window-vent"\narea = "0.2 m2"\non = "roof"\nopener = "wax-opener"\n',
        "vent", ("run", "night")),
    "heater-small": ('[heater]\npower = "40 W"\n', '[heater]\npower = "20 kW"\n', "heater", ("night", "report")),
}  # fmt: skip


@pytest.mark.parametrize("code", one_in(4, FAULTS))
def test_a_fault_of_the_house_is_told_by_two_commands_and_gone_when_mended(tmp_path, code):
    faulty, mended, part, commands = FAULTS[code]
    example = embedded_plan_path().read_text(encoding="utf-8")
    for name, addition in (("faulty", faulty), ("mended", mended)):
        path = tmp_path / f"{name}.toml"
        path.write_text(f"{example}\n{addition}", encoding="utf-8")
        for command in commands:
            if command == "report":
                page = tmp_path / f"{name}.html"
                assert solarvent("report", path, "-o", page).returncode in (0, 3)
                # The section of the night says it in words.
                assert ("on the coldest night takes" in page.read_text(encoding="utf-8")) == (name == "faulty")
                continue
            words = [path, path] if command == "compare" else [path]
            told = solarvent(command, *words, "--format", "json").stdout
            assert (f'"{code}"' in told or code in told) == (name == "faulty"), command
            if command != "compare" and name == "faulty":
                findings = json.loads(told)["findings"]
                assert [one["part"] for one in findings if one["code"] == code] == [part]
