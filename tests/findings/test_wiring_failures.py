"""The ways in which wiring goes wrong, each as a plan that has it and the same plan mended."""

import ast
import json
from datetime import date
from pathlib import Path

import pytest
from faulty_wiring import CASES, EAST, MAIN, PANEL, WIRED, jack, panels, plate, plug

import solarvent
from solarvent.base.errors import PlanError
from solarvent.cli import main
from solarvent.findings.verdicts import find
from solarvent.plan.boxes import load_box
from solarvent.simulation.simulate import simulate
from solarvent.studies.pair import pair
from solarvent.wiring.harness import build_harness

MIDSUMMER = date(2001, 6, 21)


def wired(small_plan, changes=None):
    return small_plan(WIRED | (changes or {}))


def in_pair(loaded):
    return pair(loaded).findings


def in_run(loaded):
    return find(simulate(loaded, MIDSUMMER))


def of_code(findings, code):
    return [finding for finding in findings if finding.code == code]


def wiring_codes():
    """Read the codes of the wiring checks from their source."""
    found = set()
    for stem in ("joints", "wires"):
        path = Path(solarvent.__file__).parent / "findings" / f"{stem}.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                found.add(node.args[1].value)
    return found


def toml(content):
    """Write a plan as TOML, its tables in line."""
    if isinstance(content, dict):
        return "{" + ", ".join(f"{key} = {toml(value)}" for key, value in content.items()) + "}"
    if isinstance(content, list):
        return "[" + ", ".join(map(toml, content)) + "]"
    return json.dumps(content)


# --- each failure, and its mended twin ------------------------------------------------------------------


def test_the_wired_plan_is_sound(small_plan):
    answer = pair(wired(small_plan))
    assert (answer.feasible, answer.fed, answer.findings) == ("yes", 2, [])
    assert {finding.level for finding in in_run(wired(small_plan))} == {"note"}


def test_every_code_of_the_wiring_has_its_case():
    # battery-without-fuse is a matter of boxes, and stands below; wire-thin has its case in test_checks.py.
    assert wiring_codes() - {"battery-without-fuse", "wire-thin"} == {values[0] for values in CASES.values()}


@pytest.mark.parametrize("look", [in_pair, in_run])
@pytest.mark.parametrize("case", CASES)
def test_the_failure_is_found_with_its_part_and_gone_when_mended(small_plan, look, case):
    code, level, part, faulty, mended = CASES[case]
    found = of_code(look(wired(small_plan, faulty)), code)
    assert (level, part) in [(finding.level, finding.part) for finding in found]
    assert of_code(look(wired(small_plan, mended)), code) == []
    for finding in found:
        assert finding.text.endswith((".", ")"))
        assert finding.do.endswith(".")
        assert "nan" not in finding.text


@pytest.mark.parametrize("case", [case for case, values in CASES.items() if values[1] == "stop"])
def test_a_stop_makes_the_answer_no(small_plan, case):
    assert pair(wired(small_plan, CASES[case][3])).feasible == "no"


@pytest.mark.parametrize(
    ("case", "words"),
    [
        ("two jacks that should meet", "Put between roof and main: barrel 5.5 x 2.1 coupler, two plugs"),
        ("a splitter whose trunk is for the other sex", "a jack at its trunk"),
        ("a flat two-pin panel whose exposed pin is +", "Put between roof and main: flat two-pin polarity crosser"),
        ("a flat two-pin extension that crosses", "Put between main and split: flat two-pin polarity crosser"),
        ("a barrel of 2.1 mm against one of 2.5 mm", "toothpick"),
        ("a barrel of which nobody knows the centre", "Meter at the last plug"),
        ("bare wires by their colours", "Meter it"),
        ("the counting wire of a fan taken for its -", "Use red and black"),
    ],
)
def test_the_advice_says_what_to_get_or_to_do(small_plan, case, words):
    found = of_code(in_pair(wired(small_plan, CASES[case][3])), CASES[case][0])
    assert all(words in finding.do for finding in found)


@pytest.mark.parametrize(
    ("case", "words"),
    [
        ("a brushless fan that is reversed", "may be destroyed"),
        ("a protected brushless fan that is reversed", "will not turn"),
        ("a brushed fan that is reversed", "blows the wrong way"),
    ],
)
def test_a_reversed_fan_is_never_passed_whatever_it_does(small_plan, case, words):
    answer = pair(wired(small_plan, CASES[case][3]))
    (found,) = of_code(answer.findings, CASES[case][0])
    assert answer.feasible == "no"
    assert words in found.text


def test_a_pole_that_is_not_known_is_after_metering(small_plan):
    assert pair(wired(small_plan, {"panel.0.outlet.positive": None})).feasible == "after_metering"


# --- wire: only the simulation knows the currents --------------------------------------------------------


def test_thin_and_long_wire_loses_too_much(small_plan):
    # 40 m of 24 AWG; the twin has 14 AWG.
    thin = wired(small_plan, {"lead.0.wire": "24 AWG", "lead.0.length": "40 m"})
    thick = wired(small_plan, {"lead.0.wire": "14 AWG", "lead.0.length": "40 m"})
    assert of_code(in_run(thin), "voltage-drop")
    assert not of_code(in_run(thick), "voltage-drop")


def test_ten_metres_of_thin_wire_lose_what_the_table_says(small_plan):
    # 10 m each way at 1 A: 24 AWG 1.7 V, 22 AWG 1.1 V, 18 AWG 0.4 V (tables of the gauge, common practice).
    for gauge, volts in (("24 AWG", 1.7), ("22 AWG", 1.1), ("18 AWG", 0.4)):
        assert 2 * 10 * small_plan().wire(gauge).resistance_per_metre == pytest.approx(volts, abs=0.06)


def test_poor_wire_is_also_in_the_simulated_loss(small_plan):
    def lost(quality):
        long = {"lead.0.wire": "24 AWG", "lead.0.length": "40 m", "lead.0.wire_quality": quality}
        return max(finding.value for finding in of_code(in_run(wired(small_plan, long)), "voltage-drop"))

    assert lost(1.6) > 1.3 * lost(1.0)


@pytest.mark.parametrize(("diode", "low", "high"), [("schottky-3a", 0.25, 0.5), ("silicon-1a", 0.6, 0.8)])
def test_a_diode_takes_what_the_trade_says_of_it(small_plan, diode, low, high):
    # Schottky 0.3 to 0.5 V, silicon 0.7 V (common practice).
    (found,) = of_code(in_pair(wired(small_plan, {"lead.0.diode": diode})), "diode-drop")
    assert low < found.value < high


def test_a_diode_has_its_use_where_panels_are_side_by_side(small_plan):
    several = panels({}, {}, {})
    several["lead"] = [MAIN | {"diode": "schottky-3a"}]
    assert not of_code(in_pair(wired(small_plan, several)), "diode-drop")


def test_a_diode_in_each_line_protects_like_a_fuse(small_plan):
    changes = panels({}, {}, {}, fuses=True)
    changes["lead"] = [
        {key: value for key, value in lead.items() if key != "fuse"} | {"diode": "schottky-3a"}
        if "fuse" in lead
        else lead
        for lead in changes["lead"]
    ]
    assert not of_code(in_pair(wired(small_plan, changes)), "panels-without-fuse")


# --- several sources ------------------------------------------------------------------------------------


def test_a_panel_that_feeds_into_a_panel_is_refused(small_plan):
    more = {"panel": [PANEL, PANEL | {"id": "wall"}], "wiring": {"runs": [["roof", "main", "wall"]]}}
    with pytest.raises(PlanError, match="two sources back to back"):
        build_harness(wired(small_plan, more))


@pytest.mark.parametrize(("low", "level"), [(16.3, None), (16.1, "warn"), (14.5, "warn"), (14.3, "stop")])
def test_unlike_panels_are_judged_at_a_tenth_and_a_fifth(small_plan, low, level):
    # Spread of Vmp above 10 % warn, above 20 % stop (common practice, no source).
    found = of_code(in_pair(wired(small_plan, panels(plate(18.0), plate(low)))), "panels-unlike")
    assert [finding.level for finding in found] == ([level] if level else [])


def test_the_voltages_of_panels_in_series_add_up(small_plan):
    (found,) = of_code(in_pair(wired(small_plan, panels({}, {}, arrangement="series"))), "panels-in-series")
    alone = wired(small_plan).record.panel[0].v_oc
    assert found.value == pytest.approx(2 * alone)
    assert found.value > found.limit


def test_panels_in_series_that_no_part_minds_are_no_mistake(small_plan):
    six = {"part": "panel-6v-6w"}
    assert not of_code(in_pair(wired(small_plan, panels(six, six, arrangement="series"))), "panels-in-series")


def test_a_converter_keeps_the_panels_voltage_from_the_fan(small_plan):
    buck = {"id": "buck", "part": "buck-12v", "inlet": jack(), "outlet": plug()}
    changes = {
        "panel.0.part": "panel-24v-100w",
        "lead": [],
        "splitter": [],
        "converter": [buck],
        "fan": [EAST | {"part": "fan-12v-120x25"}],
    }
    through = changes | {"wiring": {"runs": [["roof", "buck", "east"]]}}
    straight = changes | {"wiring": {"runs": [["roof", "east"]]}, "converter": []}
    assert not of_code(in_pair(wired(small_plan, through)), "voltage-sides")
    assert of_code(in_pair(wired(small_plan, straight)), "voltage-sides")


# --- plans that speak of no connector, and boxes --------------------------------------------------------


def test_run_is_silent_on_joints_where_no_joint_is_described(small_plan):
    found = {finding.code for finding in in_run(small_plan())}
    assert not found & {"connectors-not-described", "polarity-unknown"}
    assert {"connectors-not-described", "polarity-unknown"} <= {finding.code for finding in pair(small_plan()).findings}


#: What a plan file says besides the wiring.
GROUND = {
    "plan_version": 1,
    "place": {"latitude": 51.0, "longitude": 0.0, "timezone": "UTC", "record_low": "-10 degC"},
    "weather": {"clear_sky": True},
    "house": {"length": "3 m", "width": "2 m", "use": "shed"},
    "opening": [{"id": "door", "part": "plain-hole", "area": "0.1 m2"}],
}
BOX = """
kit_version = 1
[[battery]]
voltage = "12 V"
fuse = "5 A"
outlet = { family = "barrel-5.5x2.1", body = "plug", positive = "centre" }
[[fan]]
part = "fan-12v-120x25"
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }
"""
USB_BOX = """
kit_version = 1
[[panel]]
part = "panel-usb-10w"
outlet = { family = "usb-a", body = "jack" }
[[fan]]
part = "fan-usb-80"
inlet = { family = "usb-micro-b", body = "jack" }
[[lead]]
usb_wires = "WIRES"
inlet = { family = "usb-a", body = "plug" }
outlet = { family = "usb-micro-b", body = "plug" }
crosses = false
"""


#: A folding panel with a barrel at its own voltage and a USB port, and a fan for each.
TWO_SIDES = """
kit_version = 1
[[panel]]
part = "panel-20w"
outlet = { family = "barrel-5.5x2.1", body = "plug", positive = "centre" }
other_outlets = [{ family = "usb-a", body = "jack" }]
[[fan]]
id = "large"
part = "fan-24v-120x25"
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }
[[fan]]
id = "small"
part = "fan-usb-80"
inlet = { family = "usb-a", body = "plug" }
"""


def boxed(tmp_path, text):
    path = tmp_path / "box.toml"
    path.write_text(text, encoding="utf-8")
    return pair(load_box([str(path)]))


def test_a_battery_without_a_fuse_is_a_stop_though_everything_fits(tmp_path):
    bare = boxed(tmp_path, BOX.replace('fuse = "5 A"', ""))
    assert (bare.feasible, bare.fed, bare.buy) == ("no", 1, [])
    (found,) = of_code(bare.findings, "battery-without-fuse")
    assert (found.level, found.part) == ("stop", "battery")
    fused = boxed(tmp_path, BOX)
    assert (fused.feasible, fused.findings) == ("yes", [])


def test_each_fan_of_a_box_with_two_voltages_hangs_on_its_own_side(tmp_path):
    answer = boxed(tmp_path, TWO_SIDES)
    assert (answer.feasible, answer.findings) == ("yes", [])
    assert {(join.source_port, join.sink) for join in answer.joins} == {("outlet", "large"), ("outlet 2", "small")}


def test_a_usb_fan_with_the_barrel_of_the_higher_side_is_a_stop(tmp_path):
    barrel = 'inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }'
    mixed = TWO_SIDES.replace('inlet = { family = "usb-a", body = "plug" }', barrel)
    mixed = mixed[: mixed.index("[[fan]]")] + mixed[mixed.rindex("[[fan]]") :]
    answer = boxed(tmp_path, mixed)
    (found,) = of_code(answer.findings, "voltage-sides")
    assert answer.feasible == "no"
    assert "may be destroyed" in found.text


def test_a_data_lead_in_the_box_feeds_nothing(tmp_path):
    data = boxed(tmp_path, USB_BOX.replace("WIRES", "data"))
    assert (data.feasible, data.fed) == ("no", 0)
    assert {"usb-data-only", "fan-not-fed"} <= {finding.code for finding in data.findings}
    assert boxed(tmp_path, USB_BOX.replace("WIRES", "power")).feasible == "yes"


@pytest.mark.parametrize("command", ["pair", "run"])
@pytest.mark.parametrize(("centre", "code"), [("centre", 0), ("sleeve", 3)])
def test_a_stop_leaves_with_exit_code_three(tmp_path, capsys, command, centre, code):
    outlet = {"panel": [PANEL | {"outlet": plug(positive=centre)}]}
    content = GROUND | WIRED | outlet
    path = tmp_path / "plan.toml"
    path.write_text("\n".join(f"{key} = {toml(value)}" for key, value in content.items()), encoding="utf-8")
    day = ["--day", "06-21"] if command == "run" else []
    with pytest.raises(SystemExit, match=str(code)):
        main([command, str(path), *day])
    assert ("polarity-reversed" in capsys.readouterr().out) == (code == 3)
