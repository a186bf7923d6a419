"""Four kinds of people, each on the shortest way to a first useful answer, with the commands that README names."""

import shlex

import pytest
from click.testing import CliRunner

from solarvent.cli import _group

#: A box of a panel and one of fans whose plugs do not fit it, as their owner changed the shipped ones.
FANS = """
kit_version = 1
[[fan]]
id = "fan"
count = 2
part = "fan-24v-120x25"
inlet = { family = "barrel-5.5x2.1", body = "jack", positive = "centre" }
"""


@pytest.fixture
def typed(tmp_path, monkeypatch):
    """Give a function that runs one command in a folder of its own, with the lines that are typed to its questions."""
    monkeypatch.chdir(tmp_path)

    def run(command, *answers, code=0):
        words = shlex.split(command)
        assert words.pop(0) == "solarvent"
        done = CliRunner().invoke(_group, words, input="".join(f"{answer}\n" for answer in answers))
        assert done.exit_code == code, done.output
        return done.output

    run.folder = tmp_path
    return run


def test_two_boxes_whose_plugs_do_not_fit_five_commands_to_a_checklist(typed):
    typed("solarvent new panel-box.toml --copy box-of-panel")
    typed("solarvent new fan-box.toml --copy box-of-fans")
    (typed.folder / "fan-box.toml").write_text(FANS, encoding="utf-8")
    shown = typed("solarvent pair panel-box.toml fan-box.toml", code=3)
    assert "Least to buy" in shown
    assert "solarvent new my-plan.toml --ask --box panel-box.toml --box fan-box.toml" in " ".join(shown.split())
    asked = typed(
        "solarvent new my-plan.toml --ask --box panel-box.toml --box fan-box.toml",
        "us", "greenhouse", "1", "8'6\" x 10'", "8 ft 6 in x 10 ft", "5.5 ft x 8", "film", "5",
        "36 N 80 W", "New York", "south 40 deg", "8 in x 12 in",
    )  # fmt: skip
    assert "still to buy" in asked
    steps = typed("solarvent checklist my-plan.toml")
    have, _, wanted = steps.partition("Shopping list")
    assert "fan-1 and fan-2" in have
    assert "new-" not in have
    assert "new-" in wanted.partition("Before opening")[0]
    assert "in2" in steps


def test_a_coop_with_a_usb_panel_three_commands(typed):
    typed(
        "solarvent new my-plan.toml --ask",
        "metric", "coop", "2 m x 1.5", "1.2 m x 1.6 m", "boards", "6", "51.5, -2.6", "London", "1", "usb", "10 W", "11",
        "0", "flat", "120 mm USB fan", "20", "1", "no", "", "2 m 20 AWG", "20 cm x 30 cm",
    )  # fmt: skip
    assert "fan-1" in typed("solarvent run my-plan.toml")
    assert "Wiring, from the fans to the panel" in typed("solarvent checklist my-plan.toml")


def test_a_van_with_a_battery_four_commands(typed):
    typed(
        "solarvent new my-plan.toml --ask",
        "us", "van", "13 x 7 ft", "6 ft x 6 ft", "", "39.7 N 105 W", "denver", "", "100 W", "7", "0", "flat",
        "120 x 25 mm", "3", "2", "no", "battery", "12 V 100 Ah", "lithium", "15 A", "23:00", "10 ft 14 AWG",
        "8 in x 12 in",
    )  # fmt: skip
    assert "battery" in typed("solarvent run my-plan.toml")
    assert "12 V, 100 Ah" in typed("solarvent checklist my-plan.toml")
    typed("solarvent report my-plan.toml -o my-report.html")
    assert "<svg" in (typed.folder / "my-report.html").read_text(encoding="utf-8")


def test_an_engineer_two_lines_to_a_table():
    import solarvent

    hours = solarvent.run(solarvent.load_plan()).hours
    assert len(hours) == 8760
    assert hours.attrs["units"]["flow"] == "m3/s"
