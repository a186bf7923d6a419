"""Every finding: a plan that has it, and its mended twin that has not."""

import ast
import re
import tomllib
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from sampled import one_in

import solarvent
from solarvent.findings.verdicts import find
from solarvent.plan.library import profiles
from solarvent.plan.plan import embedded_plan_path, load_plan
from solarvent.report.weather_text import weather_file
from solarvent.simulation.simulate import simulate
from solarvent.simulation.worst_case import coldest_air, worst_case
from solarvent.weather.reading import embedded_weather

MIDSUMMER = date(2001, 6, 21)
FAN = {"id": "east", "part": "fan-24v-120x25"}
HELD_12 = {"id": "east", "part": "fan-12v-120x25-held"}
RETRYING_12 = {"id": "east", "part": "fan-12v-120x25"}
WEST_12 = RETRYING_12 | {"id": "west"}
THREE = [{"id": f"panel-{k}", "part": "panel-30w"} for k in range(3)]
PLATE = {"id": "roof", "watts": "30 W", "v_oc": "22 V", "i_sc": "1.8 A", "v_mp": "18 V", "i_mp": "1.67 A"}
SQUARE = PLATE | {"v_mp": "19.6 V", "i_mp": "1.72 A", "watts": "33.7 W"}
TYPICAL_YEAR = {"weather": {"embedded": "latitude 36.1, longitude -79.95"}}
THERE = {"latitude": 36.1, "longitude": -79.95, "timezone": "America/New_York", "record_low": "-20 degC"}
SOUTH = {"latitude": -36.8, "longitude": 174.8, "timezone": "Pacific/Auckland"}
THIN = {"wiring.lead.wire": "24 AWG"}
BATTERY = {"kind": "lithium", "capacity": "300 Wh", "fuse": "5 A"}
MEASURED = {"curve": [[0, 20], [60, 12], [110, 0]]}

GAS = {"power": "20 kW", "fuel": "propane"}
LEAD = {"power": "350 W", "cable": "extension"}
DRUM = {"id": "drum", "part": "drum-208l"}
HOLE = {"id": "beside", "part": "plain-hole", "area": "0.1 m2"}
VENT = {"id": "vent", "part": "window-vent", "area": "0.4 m2", "opener": "wax-opener", "vent_weight": "9 kg"}

#: Beside a strong fan that blows in, a weak one.
WEAK = {
    "house.tightness": "tight", "house.cover": "boards", "fan.0.part": "fan-24v-120x38", "fan.0.blows_in": True,
    "fan.1.free_air_flow": "30 m3/h",
    "fan.1.shutoff_pressure": "5 Pa",
}  # fmt: skip

# Finding -> its level, its part, the change to the small plan that brings it, and the change that mends that plan.
TIGHT = {"house.tightness": "tight"}
STIFF = TIGHT | {"fan.0.part": "fan-24v-120x38", "fan.1.shutoff_pressure": "5 Pa"}
CASES = {
    "panel-behind-cover": ("warn", "roof", {"panel.0.behind": "single-glass"}, {}),
    "cell-shaded": ("warn", "roof", {"panel.0.lit_share_of_worst_cell": 0.5}, {}),
    "panel-flat": ("note", "roof", {"panel.0.tilt": 5}, {"panel.0.tilt": 15}),
    "watts-only": ("note", "roof", {"panel": [{"id": "roof", "watts": "30 W"}]}, {"panel": [PLATE]}),
    "plate-implausible": ("warn", "roof", {"panel": [PLATE | {"watts": "40 W"}]}, {"panel": [PLATE]}),
    "never-starts": ("stop", "east", {"fan.0.start_voltage": "23 V"}, {}),
    "starts-late": (
        "warn",
        "east",
        {"panel.0.part": "panel-5w", "fan.0.locked_rotor_ratio": 3.5},
        {"panel.0.part": "panel-5w", "fan.0.locked_rotor_ratio": 2.5},
    ),
    "may-not-start": ("warn", "east", {"fan.0.start_voltage": "18.5 V"}, {"fan.0.start_voltage": "16 V"}),
    "will-not-restart": (
        "warn",
        "east",
        {"panel.0.part": "panel-5w", "fan": [FAN | {"locked_rotor_ratio": 3.5}]},
        {"panel.0.part": "panel-30w", "fan": [FAN | {"locked_rotor_ratio": 3.5}]},
    ),
    "above-safe-voltage": (
        "stop",
        "panel-0",
        {"panel": THREE, "wiring.panels": "series"},
        {"panel": THREE, "wiring.panels": "parallel"},
    ),
    "over-voltage": ("stop", "east", {"fan.0": RETRYING_12}, {}),
    "over-voltage-one-failed": (
        "warn",
        "east",
        {"panel.0.part": "panel-5w", "fan": [RETRYING_12, WEST_12]},
        {"panel.0.part": "panel-5w", "fan": [FAN]},
    ),
    "open-circuit-voltage": ("warn", "east", {"fan.0": RETRYING_12}, {"fan.0": HELD_12}),
    "voltage-drop": ("warn", "east", THIN | {"wiring.lead.length": "40 m"}, THIN | {"wiring.lead.length": "10 m"}),
    "wire-thin": ("stop", "main-lead", THIN | {"panel.0.part": "panel-100w"}, THIN | {"panel.0.part": "panel-20w"}),
    "converter-over-voltage": (
        "stop",
        "converter",
        {"panel.0.part": "panel-24v-100w", "wiring.converter": "buck-12v", "fan": [RETRYING_12]},
        {"panel.0.part": "panel-100w", "wiring.converter": "buck-12v", "fan": [RETRYING_12]},
    ),
    "converter-overheats": (
        "stop",
        "converter",
        {"wiring.converter": "clamp-13v", "fan": [RETRYING_12]},
        {"panel.0.part": "panel-20w", "wiring.converter": "clamp-13v", "fan": [RETRYING_12]},
    ),
    "converter-hunts": (
        "warn",
        "converter",
        {"panel.0.part": "panel-10w", "wiring.converter": "buck-12v", "fan": [RETRYING_12, WEST_12]},
        {"panel.0.part": "panel-100w", "wiring.converter": "buck-12v", "fan": [RETRYING_12, WEST_12]},
    ),
    "converter-latches": (
        "stop",
        "converter",
        {"wiring.converter": "panel-usb-board-latching", "fan": [{"id": "east", "part": "fan-usb-120"}]},
        {"wiring.converter": "panel-usb-board", "fan": [{"id": "east", "part": "fan-usb-120"}]},
    ),
    "fan-holds-speed": ("note", "east", {"fan.0.speed_controlled": True}, {}),
    "controller-without-battery": (
        "stop",
        "converter",
        {"wiring.converter": "charge-controller-12v", "fan": [RETRYING_12]},
        {"wiring.converter": "charge-controller-12v", "fan": [RETRYING_12], "battery": BATTERY},
    ),
    "power-bank-switches-off": (
        "stop",
        "converter",
        {"wiring.converter": "power-bank-5v", "fan": [{"id": "east", "part": "fan-usb-80", "rated_current": "0.06 A"}]},
        {"wiring.converter": "power-bank-5v", "fan": [{"id": "east", "part": "fan-usb-80"}]},
    ),
    "battery-without-fuse": ("stop", "battery", {"battery": {"capacity": "300 Wh"}}, {"battery": BATTERY}),
    "battery-no-cut-off": ("warn", "battery", {"battery": BATTERY | {"cut_off": False}}, {"battery": BATTERY}),
    "battery-runs-flat": (
        "warn",
        "battery",
        {"battery": BATTERY | {"capacity": "3 Wh", "days": 0.1}, "panel.0.part": "panel-5w"},
        {"battery": BATTERY | {"capacity": "300 Wh"}},
    ),
    "over-voltage-charging": (
        "warn",
        "east",
        {"fan": [RETRYING_12], "battery": BATTERY},
        {"fan": [RETRYING_12], "battery": BATTERY | {"charging_voltage": "13.8 V"}},
    ),
    "battery-not-charged": (
        "stop",
        "battery",
        {"panel.0.part": "panel-6v-6w", "battery": BATTERY},
        {"panel.0.part": "panel-20w", "battery": BATTERY},
    ),
    "battery-small": ("warn", "battery", {"battery": BATTERY | {"days": 20.0}}, {"battery": BATTERY}),
    "inlet-none": ("stop", "", {"opening": []}, {}),
    "inlet-small": ("warn", "", {"opening.0.area": "0.01 m2"}, {"opening.0.area": "0.02 m2"}),
    "louvre-heavy": (
        "stop",
        "east",
        {"fan.0.outlet_opening": "gravity-shutter", "fan.0.shutoff_pressure": "12 Pa"},
        {"fan.0.outlet_opening": "light-shutter", "fan.0.shutoff_pressure": "12 Pa"},
    ),
    "fan-curve-left": (
        "warn",
        "west",
        STIFF | {"opening.0.area": "0.01 m2"},
        STIFF | {"opening.0.area": "0.5 m2"},
    ),
    "fan-drawn-past": ("note", "west", WEAK, WEAK | {"fan.0.blows_in": False}),
    "curve-typical": ("note", "east", {}, {"fan.0": FAN | MEASURED}),
    "purge-only": ("warn", "", {"target.flow": "400 m3/h"}, {}),
    "not-in-full-sun": ("note", "", {"target.flow": "160 m3/h"}, {}),
    "clock-far": ("warn", "", {"place.timezone": "Asia/Tokyo"}, {"place.timezone": "Europe/London"}),
    "record-low-warm": ("warn", "", {"place.record_low": "30 degC"}, {}),
    "plate-discounted": (
        "note",
        "roof",
        {"panel.0.part": "panel-usb-10w"},
        {"panel.0.part": "panel-usb-10w", "panel.0.plate_factor": 0.6},
    ),
    "panel-faces-pole": (
        "warn",
        "roof",
        {"place": SOUTH, "panel.0.azimuth": 225},
        {"place": SOUTH, "panel.0.azimuth": 315},
    ),
    "weather-elsewhere": ("stop", "", TYPICAL_YEAR, TYPICAL_YEAR | {"place": THERE}),
    "weather-made": ("note", "", {"weather": {"climate": "cool-maritime"}}, {}),
    "heater-fumes": ("stop", "heater", {"heater": GAS}, {"heater": GAS | {"flue": True}}),
    "heater-starved": ("warn", "heater", TIGHT | {"heater": GAS}, TIGHT | {"heater": {"power": "350 W"}}),
    "heater-extension": ("stop", "heater", {"heater": LEAD}, {"heater": LEAD | {"cable": "wall-socket"}}),
    "mass-load": ("stop", "drum", {"mass": [DRUM | {"stands_on": "deck"}]}, {"mass": [DRUM]}),
    "drum-history": ("stop", "drum", {"mass": [DRUM | {"history": "chemicals"}]}, {"mass": [DRUM]}),
    "air-short-circuit": (
        "warn",
        "beside",
        {"fan.0.wall_azimuth": 90, "fan.1.wall_azimuth": 90, "opening": [HOLE | {"wall_azimuth": 90}]},
        {"fan.0.wall_azimuth": 90, "fan.1.wall_azimuth": 90, "opening": [HOLE | {"wall_azimuth": 270}]},
    ),
    "opener-weak": (
        "warn",
        "vent",
        {"opening": [VENT]},
        {"opening": [VENT | {"opener": "wax-opener-strong"}]},
    ),
    "climate-elsewhere": (
        "warn",
        "",
        {"weather": {"climate": "hot-desert"}},
        {"weather": {"climate": "southern-temperate-oceanic"}},
    ),
}  # fmt: skip


def findings(loaded, day=MIDSUMMER):
    return find(simulate(loaded, day))


def codes(loaded):
    return {finding.code for finding in findings(loaded)}


def test_the_small_plan_is_sound(small_plan):
    assert {finding.level for finding in findings(small_plan())} == {"note"}


@pytest.mark.parametrize("code", one_in(3, CASES))
def test_the_finding_is_there_with_its_part_and_gone_when_mended(small_plan, code):
    level, part, faulty, mended = CASES[code]
    found = [finding for finding in findings(small_plan(faulty)) if finding.code == code]
    assert [(finding.level, finding.part) for finding in found if finding.part == part] == [(level, part)]
    assert code not in {finding.code for finding in findings(small_plan(mended)) if finding.part == part}
    for finding in found:
        assert finding.text.strip().endswith((".", ")"))
        assert finding.do.strip().endswith((".", "?"))
        assert "nan" not in finding.text


def raised():
    """Give the modules that raise each code, read from the source."""
    modules = {}
    for path in Path(solarvent.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] == "Finding":
                for word in ast.walk(node.args[1]):
                    assert isinstance(word, ast.Constant), f"{path.name}: a code is written where it is raised"
                    modules.setdefault(word.value, set()).add(path.relative_to(path.parents[1]).as_posix())
    return modules


def test_each_code_is_raised_in_one_module():
    assert {code: sorted(paths) for code, paths in raised().items() if len(paths) > 1} == {}


def test_every_code_of_the_checks_has_its_case():
    # A new finding without a case is seen. A code that is not among the cases here is named in a test of its own.
    # Faulty wirings stand in a list of their own, which a test goes through case by case.
    written, tests = set(raised()), Path(__file__).parents[1]
    tested = {
        node.value
        for path in (*tests.rglob("test_*.py"), tests / "helpers" / "faulty_wiring.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    # The catalogue of failures is tested entry by entry in test_failures.py.
    catalogue = tomllib.loads((profiles() / "faults.toml").read_text(encoding="utf-8"))["faults"]
    tested |= {fault["codes"][0] for fault in catalogue if "codes" in fault}
    assert set(CASES) <= written
    assert written <= tested


# --- more than one way to the same finding --------------------------------------------------------------


def test_a_plate_may_be_too_square_or_too_small_for_its_watts(small_plan):
    assert "plate-implausible" in codes(small_plan({"panel": [SQUARE]}))
    small = PLATE | {"width": "0.3 m", "height": "0.3 m"}
    large = PLATE | {"width": "0.4 m", "height": "0.6 m"}
    assert "plate-inflated" in codes(small_plan({"panel": [small]}))
    assert "plate-inflated" not in codes(small_plan({"panel": [large]}))


def test_five_parameters_in_place_of_a_plate_leave_nothing_to_doubt(small_plan):
    five = {"I_L_ref": "1.81 A", "I_o_ref": 1e-9, "R_s": "0.6 ohm", "R_sh_ref": "200 ohm", "a_ref": "1.03 V"}
    found = codes(small_plan({"panel": [{"id": "roof", "single_diode": five}]}))
    assert not found & {"watts-only", "plate-implausible"}


def test_a_very_long_thin_lead_is_a_stop(small_plan):
    (east, west) = [f for f in findings(small_plan(THIN | {"wiring.lead.length": "90 m"})) if f.code == "voltage-drop"]
    assert (east.level, east.limit, west.level) == ("stop", 0.10, "stop")
    assert 0.10 < east.value < 0.35


@pytest.mark.parametrize("layout", ["series", "runs"])
def test_fans_that_share_the_voltage_do_not_count_it_as_lost(small_plan, layout):
    runs = [["roof", "chain", "east"], ["roof", "chain", "west"]]
    changes = {"wiring.layout": "series"}
    if layout == "runs":
        chain = {"id": "chain", "arrangement": "series"}
        changes = {"wiring": {"runs": runs}, "splitter": [chain]}
    assert "voltage-drop" not in codes(small_plan(changes))


def test_voltage_lost_before_fans_in_series_is_told(small_plan):
    fans = [RETRYING_12 | {"rated_current": "1 A"}, WEST_12 | {"rated_current": "1 A"}]
    changes = {"wiring.layout": "series", "fan": fans, "wiring.lead.length": "40 m"}
    assert "voltage-drop" in codes(small_plan(changes))


@pytest.mark.parametrize(("panels", "current"), [("series", 1.8), ("parallel", 3 * 1.8)])
def test_a_wire_carries_the_sum_of_parallel_panels_but_one_of_those_in_series(small_plan, panels, current):
    changes = {"panel": THREE, "wiring.panels": panels, "wiring.lead.wire": "28 AWG", "wiring.lead.length": "0.5 m"}
    (found,) = [f for f in findings(small_plan(changes)) if (f.code, f.part) == ("wire-thin", "main-lead")]
    # 1.56 x Isc: NEC 690.8, twice 125 %.
    assert found.value == pytest.approx(1.56 * current, rel=2e-3)


def test_a_measured_curve_is_held_against_the_louvre_too(small_plan):
    weak = {"curve": [[0, 12], [60, 6], [110, 0]], "outlet_opening": "gravity-shutter"}
    assert "louvre-heavy" in codes(small_plan({"fan.0": FAN | weak}))


def test_a_fan_that_holds_its_speed_keeps_its_pressure_below_its_rated_voltage(small_plan):
    # At some 20 V of its 24 V: by the voltage it would make 7 Pa, too little for the blades; by its speed, all of it.
    fan = {"id": "east", "part": "fan-24v-120x25", "shutoff_pressure": "10.5 Pa", "outlet_opening": "gravity-shutter"}
    assert "louvre-heavy" in codes(small_plan({"fan": [fan]}))
    steady = codes(small_plan({"fan": [fan | {"speed_controlled": True}]}))
    assert not steady & {"louvre-heavy", "never-starts"}


def test_a_fan_that_turns_one_other_way_is_not_over_voltage_twice(small_plan):
    found = findings(small_plan({"fan": [RETRYING_12, WEST_12]}))
    east = {finding.code for finding in found if finding.part == "east"}
    assert "over-voltage" in east
    assert "over-voltage-one-failed" not in east


def test_weather_without_wind_counts_as_calm_and_says_so(small_plan, tmp_path):
    lines = ["# latitude: 51", "# longitude: 0", "# altitude: 50", "# stamp: middle"]
    lines += ["time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC]"]
    sun = {hour: 700 - 22 * (hour - 11.5) ** 2 for hour in range(7, 17)}
    for hour in range(24):
        light = max(sun.get(hour, 0.0), 0.0)
        lines.append(f"2021-06-21T{hour:02}:30+00:00,{light:.1f},0,{light:.1f},20")
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    # The weather lies beside the plan.
    loaded = small_plan({"weather": {"file": "day.csv"}}, path=tmp_path / "plan.toml")
    run = simulate(loaded)
    assert run.hours["flow"].notna().all()
    assert run.hours["flow"].max() > 0
    (found,) = [finding for finding in find(run) if finding.code == "wind-unknown"]
    assert (found.level, found.value) == ("note", 1.0)


# --- what ships -----------------------------------------------------------------------------------------


def test_the_worked_example_has_no_stop_and_its_faulty_twin_has_several(default_run):
    assert "stop" not in {finding.level for finding in find(default_run)}
    faulty = find(simulate(load_plan(embedded_plan_path("faulty"))))
    # Each mistake that the file's comments own up to.
    expected = {
        "over-voltage", "voltage-drop", "wire-thin", "louvre-heavy", "open-circuit-voltage", "inlet-small",
        "plate-implausible", "panel-behind-cover", "panel-dirty", "panel-hot", "wire-poor", "purge-only",
    }  # fmt: skip
    assert expected <= {finding.code for finding in faulty}
    assert {"over-voltage", "voltage-drop", "wire-thin", "louvre-heavy"} == {
        finding.code for finding in faulty if finding.level == "stop"
    }
    levels = [finding.level for finding in faulty]
    assert levels == sorted(levels, key=("stop", "warn", "note").index)


def test_texts_follow_the_units_that_are_asked_for(small_plan):
    run = simulate(small_plan({"opening.0.area": "0.01 m2", "target.flow": "400 m3/h"}), MIDSUMMER)
    us = " ".join(finding.text for finding in find(run, "us"))
    metric = " ".join(finding.text for finding in find(run))
    assert "cfm" in us
    assert "m3/h" not in us
    assert "m3/h" in metric
    assert "cfm" not in metric


@pytest.mark.parametrize("code", ["louvre-heavy", "mass-load", "opener-weak"])
def test_no_metric_unit_is_left_in_us_units(small_plan, code):
    run = simulate(small_plan(CASES[code][2]), MIDSUMMER)
    (found,) = [finding for finding in find(run, "us") if finding.code == code]
    assert re.findall(r"\d (?:Pa|kPa|kg|m2)\b", found.text) == []


def test_a_year_of_weather_that_breaks_off_is_said_with_the_months_that_it_lacks(small_plan, tmp_path):
    lines = weather_file(embedded_weather()).splitlines()
    plan = {"weather": {"file": "part.csv"}, "place": THERE}
    said = {}
    for name, rows in (("part", 4000), ("whole", 8760)):
        (tmp_path / "part.csv").write_text("\n".join(lines[: rows - 8760 or None]) + "\n", encoding="utf-8")
        loaded = small_plan(plan, tmp_path / "plan.toml")
        said[name] = [item for item in find(simulate(loaded)) if item.code == "weather-short"]
    (found,) = said["part"]
    assert found.level == "warn"
    assert "167 days" in found.text
    assert "July, August, September" in found.text
    assert said["whole"] == []
    assert "weather-short" not in codes(loaded)


def test_a_fan_whose_light_never_comes_in_the_year_never_starts(small_plan):
    dirty = small_plan({"panel.0.soiling_ratio": 0.02})
    (found,) = [item for item in find(simulate(dirty)) if (item.code, item.part) == ("never-starts", "east")]
    assert found.level == "stop"
    assert found.value < found.limit
    assert "never-starts" not in {item.code for item in find(simulate(small_plan()))}
    # One dull day is no such thing.
    assert "never-starts" not in codes(dirty)


# --- the worst case -------------------------------------------------------------------------------------


def test_the_cold_open_circuit_lies_just_under_the_table_of_the_code(small_plan):
    # NEC (NFPA 70) Table 690.7(A), -11 to -15 degC: 1.16 and -16 to -20: 1.18. The table is on the safe side of
    # crystalline silicon with -0.33 %/K.
    for low, factor in (("-15 degC", 1.16), ("-20 degC", 1.18)):
        loaded = small_plan({"place.record_low": low})
        run = simulate(loaded, MIDSUMMER)
        volts = worst_case(run.circuits, coldest_air(loaded, {"temp_air": pd.Series([20.0])})).open_circuit["roof"]
        assert 0.95 * factor * 22.0 < volts < factor * 22.0


def test_without_a_record_low_the_coldest_hour_less_five_counts(small_plan):
    loaded = small_plan({"place.record_low": None})
    worst = worst_case(simulate(loaded, MIDSUMMER).circuits, coldest_air(loaded, {"temp_air": pd.Series([-3.0, 9.0])}))
    assert worst.temp_air == -8.0


def test_a_failed_fan_leaves_the_others_more_and_a_lone_fan_has_no_other(small_plan):
    loaded = small_plan()
    worst = worst_case(simulate(loaded, MIDSUMMER).circuits, 20.0)
    assert all(worst.one_failed[name] > worst.turning[name] for name in ("east", "west"))
    alone = small_plan({"fan": [FAN]})
    assert worst_case(simulate(alone, MIDSUMMER).circuits, 20.0).one_failed == {}


def test_weather_from_the_next_county_is_a_warning_only(small_plan):
    near = THERE | {"latitude": 38.0}
    findings = find(simulate(small_plan(TYPICAL_YEAR | {"place": near})))
    assert [one.level for one in findings if one.code == "weather-elsewhere"] == ["warn"]


def test_behind_a_converter_a_wire_bears_what_the_converter_gives_and_no_more(small_plan):
    def thin(limit):
        changes = {
            "panel.0.part": "panel-100w", "wiring.layout": None, "wiring.lead": None,
            "wiring.runs": [["roof", "board", "cord", "east"]],
            "converter": [{"id": "board", "part": "buck-12v", "current_limit": limit}],
            "lead": [{"id": "cord", "length": "2 m", "wire": "24 AWG"}],
            "fan": [{"id": "east", "part": "fan-12v-120x25"}],
        }  # fmt: skip
        return [f for f in findings(small_plan(changes)) if f.code == "wire-thin"]

    # 24 AWG bears 2 A in the library; the panel's 5.9 A do not come through.
    assert thin("2 A") == []
    assert [(found.value, found.limit) for found in thin("3 A")] == [(3.0, 2.0)]
