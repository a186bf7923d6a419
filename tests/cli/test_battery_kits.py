"""Kits with a battery through the commands: each fault as a plan that has it, and its mended twin."""

import json

import pytest
from in_process import solarvent
from sampled import one_in

PLAN = """
plan_version = 1
title = "Sloe lane, a van with a small garden"
[place]
latitude = 51.0
longitude = 0.0
timezone = "Europe/London"
[weather]
climate = "cool-maritime"
[house]
length = "3 m"
width = "2 m"
use = "shed"
[target]
flow = "120 m3/h"
[[panel]]
id = "roof"
part = "{panel}"
azimuth = 180
[[fan]]
id = "east"
part = "{fan}"
[[opening]]
id = "door"
part = "plain-hole"
area = "0.1 m2"
[battery]
{battery}
[wiring]
{wiring}
"""
SOUND = {
    "panel": "panel-30w",
    "fan": "fan-12v-120x25",
    "battery": 'kind = "lithium"\ncapacity = "300 Wh"\nfuse = "5 A"',
    "wiring": 'layout = "shared"\nlead = { length = "3 m" }',
}


@pytest.fixture
def kit(tmp_path):
    """Give a function that writes the plan with some of its places otherwise."""

    def write(**changes):
        path = tmp_path / "kit.toml"
        path.write_text(PLAN.format(**{**SOUND, **changes}), encoding="utf-8")
        return path

    return write


def told(path, *command):
    """Exit code, verdict, and the codes of the stops of a run."""
    answer = solarvent("run", path, "--day", "07-15", "--format", "json")
    data = json.loads(answer.stdout)
    return (
        answer.returncode,
        data["verdict"]["level"],
        {one["code"] for one in data["findings"] if one["level"] == "stop"},
    )


def test_the_commonest_kit_is_no_stop_in_any_command(kit):
    path = kit()
    code, _, stops = told(path)
    assert (code, stops) == (0, set())
    text = solarvent("run", path, "--units", "metric").stdout
    assert "never starts" not in text
    assert "V; its limit" not in text
    sized = json.loads(solarvent("size", path, "--format", "json").stdout)
    # 100 W are too much for the lead, and that alone.
    assert {option["verdict"] for option in sized["options"] if option["panel_watts"] <= 50} <= {"fits", "short"}
    lasted = {option["panel_watts"]: option["nights_wanted"] - option["nights_short"] for option in sized["options"]}
    assert lasted[100] >= lasted[30] >= lasted[5]
    assert lasted[100] > 0
    assert solarvent("checklist", path).returncode == 0
    metered = json.loads(solarvent("meter", path, "--irradiance", 600, "--temp-cell", 40, "--format", "json").stdout)
    assert metered["battery_voltage"] == pytest.approx(13.25, abs=0.2)
    assert metered["turning"]["fans"][0]["voltage"] < metered["battery_voltage"]


@pytest.mark.long
def test_hours_carry_the_charge_and_the_page_tells_of_the_battery(kit, tmp_path):
    path = kit()
    hours = json.loads(solarvent("run", path, "--day", "07-15", "--format", "json").stdout)["hours"]
    assert all(0 <= hour["state_of_charge"] <= 1 and hour["battery_voltage"] > 10 for hour in hours)
    evening = next(hour for hour in hours if "T20:00" in hour["time"])
    assert evening["fans"][0]["running"] == 1
    assert evening["battery_current"] < 0
    table = solarvent("run", path, "--day", "07-15", "--format", "csv").stdout
    assert "battery_voltage [V]" in table.splitlines()[0]
    page = solarvent("report", path, folder=tmp_path).stdout
    assert "The battery" in page
    assert "charge" in page


def test_a_night_is_a_span_over_midnight(kit):
    path = kit()
    night = json.loads(
        solarvent("airflow", path, "--oktas", 0, "--from", "20:00", "--to", "06:00", "--format", "json").stdout
    )
    assert [hour["time"][11:16] for hour in night["hours"]][:5] == ["20:00", "21:00", "22:00", "23:00", "00:00"]
    assert night["hours"][0]["time"] < night["hours"][-1]["time"]
    assert night["running_share"] > 0.5
    without = kit(battery='kind = "lithium"')
    refused = solarvent("airflow", without, "--from", "20:00", "--to", "06:00")
    assert refused.returncode == 2
    assert "battery" in refused.stderr


LEAD = 'kind = "lead-acid"\ncapacity = "300 Wh"\nfuse = "5 A"'
IN_RUNS = """runs = [["roof", "keeper", "cord", "east"]]
[[converter]]
id = "keeper"
part = "charge-controller-pwm"
[[lead]]
id = "cord"
length = "2 m"
"""
FUSED = 'kind = "lithium"\ncapacity = "300 Wh"\nfans_at = "battery"\nfuse = "{} A"'
FAULTS = {
    "a fan for another voltage": (
        {"fan": "fan-24v-120x25", "battery": LEAD},
        {"fan": "fan-12v-120x25", "battery": LEAD},
        "never-starts",
    ),
    "a usb fan straight on 12 V": (
        {"fan": "fan-usb-120"},
        {"fan": "fan-usb-120", "wiring": 'layout = "shared"\nconverter = "buck-5v"'},
        "over-voltage",
    ),
    "a panel that is too low": ({"panel": "panel-6v-6w"}, {"panel": "panel-20w"}, "battery-not-charged"),
    "no fuse": (
        {"battery": 'kind = "lithium"\ncapacity = "300 Wh"'},
        {"battery": SOUND["battery"]},
        "battery-without-fuse",
    ),
    "a fuse that the lead cannot bear": (
        {"battery": FUSED.format(20), "wiring": IN_RUNS},
        {"battery": FUSED.format(5), "wiring": IN_RUNS},
        "wire-thin",
    ),
    "too many volts for the controller": (
        {"panel": "panel-24v-100w", "wiring": 'layout = "shared"\nconverter = "charge-controller-12v"'},
        {"panel": "panel-24v-100w", "wiring": 'layout = "shared"\nconverter = "charge-controller-mppt"'},
        "converter-over-voltage",
    ),
}


@pytest.mark.parametrize("name", one_in(3, FAULTS))
def test_a_faulty_kit_is_stopped_and_its_twin_is_not(kit, name):
    fault, mended, code = FAULTS[name]
    path = kit(**fault)
    left, level, stops = told(path)
    assert (left, level) == (3, "stop")
    assert code in stops
    listed = solarvent("checklist", path)
    assert listed.returncode == 3
    assert len(listed.stdout.splitlines()) < 45
    path = kit(**mended)
    assert code not in told(path)[2]
    assert solarvent("checklist", path).returncode == 0


def test_ampere_hours_want_volts(kit):
    bare = 'capacity = "100 Ah"\nfuse = "20 A"'
    for command in ("run", "checklist"):
        refused = solarvent(command, kit(battery=bare))
        assert refused.returncode == 1
        assert 'write voltage = "12 V" beside it, or energy: "1200 Wh" for 12 V' in refused.stderr
    known = kit(battery=bare + '\nvoltage = "12 V"')
    assert solarvent("run", known).returncode == 0
    assert "100 Ah" in solarvent("checklist", known).stdout


def test_the_checklist_joins_the_battery_first_and_the_panel_last(kit):
    text = " ".join(solarvent("checklist", kit()).stdout.split())
    order = [
        "The battery first: take the 5 A fuse out",
        "east on controller",
        "Last of all join",
        "the battery last",
        "switch the fans on",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "5 A fuse with holder (a hand's breadth from the + pole" in text
    assert text.index("What the plan says you have") < text.index("Shopping list")


def test_a_battery_in_the_runs_is_told_to_leave_them(kit):
    path = kit(wiring='runs = [["roof", "battery", "east"]]')
    refused = solarvent("run", path)
    assert refused.returncode == 1
    assert "it hangs on its controller by itself" in refused.stderr
