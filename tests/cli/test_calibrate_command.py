"""``calibrate`` as a person meets it."""

import json
import shutil

import pytest
from test_house_commands import solarvent
from written_logs import a_log

from solarvent.plan.plan import embedded_plan_path, load_plan

PLAN = """# our shed
plan_version = 1
title = "Bean shed"

[place]
latitude = 51.2
longitude = 1.1
timezone = "Europe/London"

[weather]
climate = "cool-maritime"

[house]            # 3 by 2, as we measured it
length = "3 m"
width = "2 m"
planting = "empty"

# ours since May
[[panel]]
id = "roof"
part = "panel-20w"

[[fan]]
id = "east"
part = "fan-24v-120x25"

[wiring]
layout = "shared"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("calibrate")
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    a_log(folder / "log.csv")
    return folder


@pytest.fixture(scope="module")
def written(folder):
    """The command that writes, on a copy of the plan."""
    shutil.copy(folder / "plan.toml", folder / "own.toml")
    ran = solarvent("calibrate", folder / "own.toml", folder / "log.csv", "--shut", "--write")
    assert ran.returncode == 0, ran.stderr
    return ran


def test_it_says_first_what_the_readings_tell(written):
    text = written.stdout
    assert text.index("The log") < text.index("What these readings tell") < text.index("On readings that were")
    assert max(map(len, text.splitlines())) <= 80


def test_what_was_found_stands_in_the_plan_and_every_note_is_still_there(written, folder):
    text = (folder / "own.toml").read_text(encoding="utf-8")
    for note in ("# our shed", "# 3 by 2, as we measured it", "# ours since May"):
        assert note in text
    found = load_plan(folder / "own.toml").record.house.measured
    assert found.source.startswith("solarvent calibrate, log.csv, 2025-04-10 to 2025-04-15")
    assert found.night_error is not None
    assert "written:" in written.stderr
    assert f"Next: solarvent run {folder / 'own.toml'}" in written.stderr


def test_night_uses_what_was_found(written, folder):
    band = [
        json.loads(solarvent("night", folder / name, "--format", "json").stdout)["band"]
        for name in ("plan.toml", "own.toml")
    ]
    found = load_plan(folder / "own.toml").record.house.measured
    assert found.night_error <= band[1] < band[0] == 3.0


def test_json_carries_its_schema_and_the_figures(folder):
    ran = solarvent("calibrate", folder / "plan.toml", folder / "log.csv", "--shut", "--format", "json")
    data = json.loads(ran.stdout)
    assert data["schema"] == "solarvent.calibrate/1"
    assert [each["name"] for each in data["figures"]] == ["leakage", "light", "cover", "storage", "ground"]
    assert len(data["by_hour"]) == 24


def test_a_page_has_the_picture(folder):
    page = folder / "page.html"
    ran = solarvent("calibrate", folder / "plan.toml", folder / "log.csv", "--shut", "--format", "html", "-o", page)
    assert ran.returncode == 0
    text = page.read_text(encoding="utf-8")
    assert "<svg" in text
    assert "Your own readings" in text


def test_a_mistake_is_one_line(folder):
    ran = solarvent("calibrate", folder / "plan.toml", folder / "nothing.csv")
    assert ran.returncode == 1
    assert ran.stderr.count("\n") == 1
    ran = solarvent("calibrate", folder / "plan.toml", folder / "log.csv", "--inside", "T9")
    assert 'no column is called "T9"' in ran.stderr


@pytest.mark.parametrize("form", ["text", "json", "csv", "html"])
def test_volts_and_amperes_alone_have_an_answer_in_every_form(form, folder):
    lines = ["time,sun [W/m2],roof [V],roof [A]"]
    lines += [f"2025-06-10 {hour:02d}:{minute:02d},{600 + 20 * hour},5.0,{0.6 + 0.02 * hour}"
              for hour in range(9, 15) for minute in range(0, 60, 10)]  # fmt: skip
    (folder / "volts.csv").write_text("\n".join(lines))
    ran = solarvent("calibrate", folder / "plan.toml", folder / "volts.csv", "--format", form)
    assert ran.returncode == 0, ran.stderr
    if form == "text":
        assert "They tell nothing of the house" in ran.stdout
        assert "plate_factor" in ran.stdout
    if form == "json":
        assert json.loads(ran.stdout)["noise"] is None


def test_without_its_light_nights_alone_are_held_out_and_it_is_said(folder):
    dark = a_log(folder / "dark.csv", 8, light=False)
    ran = solarvent("calibrate", folder / "plan.toml", dark, "--shut")
    assert "that were not fitted (nights alone, for the log has no light)" in " ".join(ran.stdout.split())
    lit = solarvent("calibrate", folder / "plan.toml", folder / "log.csv", "--shut")
    assert "nights alone" not in lit.stdout


def test_a_shift_has_a_unit(folder):
    ran = solarvent("calibrate", folder / "plan.toml", folder / "log.csv", "--shift", "3")
    assert ran.returncode == 2
    ran = solarvent("calibrate", folder / "plan.toml", folder / "log.csv", "--shift", "-5 h")
    assert "about 5 h behind the sun" in ran.stderr


def test_a_plan_that_ships_is_never_written_to(folder):
    before = embedded_plan_path("coop").read_bytes()
    ran = solarvent("meter", "coop", "--panel-short", "roof-panel=0.9A", "--irradiance", "900", "--write")
    assert ran.returncode == 1
    assert "ships with the program" in ran.stderr
    assert embedded_plan_path("coop").read_bytes() == before


def test_days_are_those_of_the_clock_on_the_wall(folder):
    # In British summer time, an hour ahead of UTC: six whole days of the wall's clock.
    log = a_log(folder / "wall.csv", light=False)
    log.write_text(log.read_text(encoding="utf-8").replace("Z,", ","), encoding="utf-8")
    ran = solarvent("calibrate", folder / "plan.toml", folder / "wall.csv", "--shut")
    assert "wall.csv: 6 days, 144 readings" in " ".join(ran.stdout.split())
    # What was given beside plan and log, as --shut here, must be given again.
    assert "Next: the same command with --write" in ran.stderr
