"""``solarvent size`` as a person meets it."""

import csv
import io
import json

import pytest
from in_process import solarvent


@pytest.fixture(scope="module")
def answer():
    return solarvent("size", "--fans", "2", "--format", "json")


def test_the_number_of_fans_is_enough_for_an_answer(answer):
    assert answer.returncode == 0, answer.stderr
    data = json.loads(answer.stdout)
    assert data["schema"] == "solarvent.size/1"
    assert len(data["options"]) >= 3
    for option in data["options"]:
        assert {
            "panel_watts", "converter", "starts", "stops", "hours_at_target", "fan_voltage_max", "verdict", "findings",
            "reason",
        } <= option.keys()  # fmt: skip
        assert set(option["starts"]) == {"clear", "5 oktas", "7 oktas", "overcast"}
        assert option["verdict"] in ("fits", "short", "stop")
        assert (option["verdict"] == "stop") == any(finding["level"] == "stop" for finding in option["findings"])
    assert {option["converter"] for option in data["options"]} == {"none", "24 V fan", "12 V buck", "clamp"}
    # Two small fans cannot hold the greenhouse of the example to 6 K, and no panel changes that.
    assert data["options"][data["choice"]["index"]]["verdict"] == "short"
    assert "such fans" in data["notes"][-1]


def test_the_text_fits_a_plain_terminal_and_leads_with_the_choice():
    text = solarvent("size", "--fans", "2", "--full").stdout
    assert max(map(len, text.splitlines())) <= 80
    assert text.index("Choice") < text.index("Straight on the panel") < text.index("Cautions")
    assert "No plan was given" in text


def test_csv_gives_one_line_an_option(answer):
    rows = list(csv.DictReader(io.StringIO(solarvent("size", "--fans", "2", "--format", "csv").stdout)))
    options = json.loads(answer.stdout)["options"]
    assert [float(row["panel_watts [W]"]) for row in rows] == [option["panel_watts"] for option in options]
    assert [row["verdict"] for row in rows] == [option["verdict"] for option in options]


def test_the_reverse_chooses_fans_for_a_panel():
    data = json.loads(solarvent("size", "--panel", "20 W", "--fan", "fan-24v-120x25", "--format", "json").stdout)
    assert {option["panel_watts"] for option in data["options"]} == {20.0}
    assert data["choice"]["fans"] >= 1
    assert len({option["fans"] for option in data["options"]}) > 3


def test_usb_fans_come_behind_a_regulator():
    data = json.loads(solarvent("size", "--fans", "1", "--fan", "fan-usb-120", "--format", "json").stdout)
    assert data["choice"]["converter"] in ("USB regulator", "5 V buck")
    straight = [option for option in data["options"] if option["converter"] == "none"]
    assert {option["verdict"] for option in straight} == {"stop"}


def test_a_plan_alone_sizes_its_own_fans_with_its_thermostat(tmp_path):
    plan = tmp_path / "plan.toml"
    solarvent("new", plan)
    plan.write_text(plan.read_text("utf-8") + "\n[thermostat]\n", "utf-8")
    run = solarvent("size", plan, "--watts", "20", "--format", "json")
    data = json.loads(run.stdout)
    assert {option["as_wired"] for option in data["options"]} == {True}
    assert any("own fans" in note for note in data["notes"])
    assert any("thermostat" in note for note in data["notes"])
    assert all(option["hours_line_open"] > 0 for option in data["options"])


def test_if_every_option_says_stop_the_exit_code_says_so():
    run = solarvent("size", "--fans", "6", "--watts", "5", "--fan", "fan-12v-172x51")
    assert run.returncode == 3
    assert "every one says stop" in run.stdout


@pytest.mark.parametrize(
    ("args", "words", "code"),
    [
        (["--fan", "fan-24v-120x25"], "give --fans", 2),
        (["--fans", "2", "--panel", "20 W"], "give --fans", 2),
        (["--panel", "20 W", "--watts", "10"], "--watts goes with --fans", 2),
        (["--panel", "20 V"], "20 V", 2),
        (["--fans", "0"], "0 is not in the range", 2),
        (["--fans", "2", "--fan", "fan-24v-120x24"], "fan-24v-120x25", 1),
        (["--fans", "2", "--target", "much"], "is no target", 1),
        (["--fans", "2", "--wire", "17 AWG"], "17 AWG", 1),
    ],
)
def test_mistakes_are_told_in_plain_words(args, words, code):
    run = solarvent("size", *args)
    assert run.returncode == code
    assert words in run.stderr
    assert "Traceback" not in run.stderr
