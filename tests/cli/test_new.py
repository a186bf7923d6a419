"""``solarvent new``: what it asks, what it writes, and that it writes nothing by halves."""

import json
import os
import re
import select
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from solarvent.base.quantities import parse
from solarvent.cli import main
from solarvent.cli.files import new_command

pty = pytest.importorskip("pty") if sys.platform != "win32" else None
ENTER = "\n" * 30


def new(folder, *args, answers=ENTER):
    return CliRunner().invoke(new_command, [str(folder / "mine.toml"), *args], input=answers)


def test_enter_all_the_way_writes_a_plan_that_runs(tmp_path, capsys):
    done = new(tmp_path, "--ask")
    assert done.exit_code == 0
    assert "Next: solarvent run" in done.output
    with pytest.raises(SystemExit) as left:
        main(["run", str(tmp_path / "mine.toml"), "--day", "07-15"])
    assert left.value.code == 0
    assert "Next: solarvent checklist" in capsys.readouterr().out


def test_the_units_of_the_surroundings_are_offered_first(tmp_path, monkeypatch):
    monkeypatch.setenv("SOLARVENT_UNITS", "us")
    assert new(tmp_path, "--ask").exit_code == 0
    plan = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))
    assert (plan["units"], plan["house"]["length"]) == ("us", "10 ft")


def test_a_question_is_explained_and_a_bad_answer_is_asked_again(tmp_path):
    done = new(tmp_path, "--ask", answers="us\n?\n3\n8\n8 x 6 ft\n" + ENTER)
    assert "Choose the nearest." in done.output
    assert 'write it like "7 ft x 5 ft"' in done.output
    plan = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))
    assert (plan["house"]["use"], plan["house"]["length"]) == ("coop", "8 ft")


def test_a_question_can_be_gone_back_to(tmp_path):
    # Before the first there is none; a coop would have been asked for its hens, a shed is asked for its roof.
    done = new(tmp_path, "--ask", answers="<\nus\n3\n8 ft x 6 ft\n<\n<\n2\n2\n7 ft x 5 ft\n" + ENTER)
    assert done.exit_code == 0
    house = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))["house"]
    assert (house["use"], house["shape"], house["length"]) == ("shed", "lean-to", "7 ft")


@pytest.mark.parametrize("answers", ["", "\n2\n", "us\n3\n8 x 6 ft"])
def test_the_end_of_the_answers_leaves_no_file(tmp_path, answers):
    done = new(tmp_path, "--ask", answers=answers)
    assert done.exit_code == 1
    assert os.listdir(tmp_path) == []


def test_a_plan_that_is_there_is_not_asked_for_again(tmp_path):
    (tmp_path / "mine.toml").write_text("precious", encoding="utf-8")
    done = new(tmp_path, "--ask")
    assert "the file is there already" in str(done.exception)
    assert "Your units" not in done.output
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == "precious"


def test_with_a_box_only_place_and_house_are_asked(tmp_path):
    done = new(tmp_path, "--ask", "--box", "trio-right-splitter", answers="\n2\n\n4 m x 3 m\n\n\n\n\nSW 40\n" + ENTER)
    assert done.exit_code == 0, done.output
    assert "How many of them" not in done.output
    plan = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))
    assert (plan["house"]["use"], plan["house"]["length"], len(plan["fan"])) == ("shed", "4 m", 3)
    assert (plan["panel"][0]["tilt"], plan["panel"][0]["azimuth"]) == (40, 225)


def test_a_box_that_cannot_be_joined_is_told_before_any_question(tmp_path):
    done = new(tmp_path, "--ask", "--box", "usb-panel-barrel-fan")
    assert "cannot be joined" in str(done.exception)
    assert "Your units" not in done.output


def test_what_joins_the_boxes_is_in_the_plan_and_not_yet_owned(tmp_path):
    done = new(tmp_path, "--box", "trio-wrong-splitter")
    assert "still to buy, and in the plan already: 1 x" in done.output
    plan = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))
    assert [part["owned"] for part in plan["splitter"]] == [False]
    assert len(plan["wiring"]["runs"]) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals on Windows")
@pytest.mark.parametrize("leaves", ["answers", "Ctrl-C", "end of input"])
def test_on_a_terminal(tmp_path, leaves):
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    ours, theirs = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-m", "solarvent", "new", "my plan.toml", "--ask"], stdin=theirs, stdout=theirs, stderr=theirs,
        cwd=tmp_path, env=os.environ | {"PYTHONPATH": path, "COLUMNS": "40", "NO_COLOR": "1"}, start_new_session=True,
        preexec_fn=_take_the_terminal,
    )  # fmt: skip
    os.close(theirs)
    seen = ""
    sent = 0
    keys = {"answers": "\r", "Ctrl-C": "\x03", "end of input": "\x04"}
    patience = 12
    while patience:
        if not select.select([ours], [], [], 5)[0]:
            # On a busy machine a Ctrl-C may fall where Python loses it; a person presses it again.
            patience -= 1
            if leaves == "Ctrl-C" and sent > 2:
                os.write(ours, keys[leaves].encode())
            continue
        try:
            seen += os.read(ours, 4096).decode("utf-8", "replace")
        except OSError:
            break
        if seen.count("]? ") > sent:
            sent += 1
            os.write(ours, (keys[leaves] if sent > 2 else "\r").encode())
    os.close(ours)
    code = run.wait(timeout=60)
    written = os.listdir(tmp_path)
    if leaves == "answers":
        assert (code, written) == (0, ["my plan.toml"])
        assert "solarvent run 'my plan.toml'" in seen
    else:
        assert (code, written) == (130, [])
        assert "stopped" in seen
    assert "Traceback" not in seen


def _take_the_terminal():
    """Make the pseudo-terminal the one that controls this process, so that its Ctrl-C is a signal."""
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    # A test run in the background ignores the signal, and so would its children.
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_without_questions_it_is_the_embedded_example(tmp_path):
    assert new(tmp_path).exit_code == 0
    shipped = Path(__file__).parents[2] / "profiles" / "plans" / "default.toml"
    if shipped.exists():
        assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == shipped.read_text(encoding="utf-8")


def test_a_panel_with_a_socket_is_metered_at_the_socket(tmp_path, capsys):
    answers = "\ncoop\n\n\n\n\n\n\nUSB, 10 W\n\n\nUSB fan, 120\n" + ENTER
    assert new(tmp_path, "--ask", answers=answers).exit_code == 0
    with pytest.raises(SystemExit, match=r"^0$"):
        main(["meter", str(tmp_path / "mine.toml"), "--irradiance", "800"])
    assert "there a meter reads 5 V with nothing joined" in " ".join(capsys.readouterr().out.split())


# --- mending --------------------------------------------------------------------------------------------

FAULTY = """plan_version = 1
weather = { clear_sky = true }   # no file yet
place = { latitude = 51.0, longitude = 0.0, timezone = "UTC", record_low = "-10 degC" }
house = { length = "3 m", width = "2 m", use = "shed" }

[[panel]]
id = "roof"   # from the shop
part = "panel-30w"
tilt = 35
azimuth = 200

[[fan]]
id = "east"
part = "fan-12v-120x25"  # a gift

[[opening]]
id = "door"
part = "plain-hole"
area = "0.1 m2"

# how it is wired
[wiring]
layout = "shared"
lead = { wire = "18 AWG", length = "4 m" }
"""


@pytest.fixture
def faulty(tmp_path):
    path = tmp_path / "my plan.toml"
    path.write_bytes(("\ufeff" + FAULTY).replace("\n", "\r\n").encode())
    return path


def left_with(*words):
    with pytest.raises(SystemExit, match=r"\d") as left:
        main(["new", *map(str, words)])
    return left.value.code


def test_a_finding_is_mended_in_the_file_and_shown(faulty, capsys):
    assert left_with(faulty, "--mend", "over-voltage") == 0
    shown, said = capsys.readouterr()
    assert said == f"Next: solarvent run '{faulty}'\n"
    # What the finding names first is tried, and it is said why another one stands in the plan.
    assert "Tried before, and left: Get a step-down converter" in shown
    added = next(line[1:] for line in shown.splitlines() if line.startswith("+converter"))
    assert "Nothing says stop any more." in shown
    after = faulty.read_bytes().decode()
    assert after == "\ufeff" + FAULTY.replace("\n", "\r\n").replace('"4 m" }\r\n', f'"4 m" }}\r\n{added}\r\n')
    assert [path.name for path in faulty.parent.iterdir()] == [faulty.name]


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("inlet", ["none", "20 cm2"])
def test_an_inlet_is_opened_as_large_as_the_finding_and_the_checklist_want_it(tmp_path, capsys, units, inlet):
    answers = f"{units}\n" + "\n" * 10 + f"\n\n\n\n\n{inlet}\n"
    assert new(tmp_path, "--ask", answers=answers).exit_code == 0
    path = str(tmp_path / "mine.toml")
    with pytest.raises(SystemExit):
        main(["run", path, "--format", "json"])
    (finding,) = (one for one in json.loads(capsys.readouterr().out)["findings"] if one["code"].startswith("inlet-"))
    wanted = re.search(r"Open ([0-9.]+ (?:cm2|in2)) with nothing in it", finding["do"])[1]
    assert wanted.endswith("in2" if units == "us" else "cm2")
    assert left_with(path, "--mend", finding["code"]) == 0
    opening = tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8"))["opening"][-1]
    assert 1 < parse(opening["area"], "area") / parse(wanted, "area") < 1.1
    assert opening["area"] in capsys.readouterr().out
    for words in (["run", path, "--full"], ["checklist", path]):
        with pytest.raises(SystemExit):
            main(words)
    shown = " ".join(capsys.readouterr().out.split())
    assert "inlet-" not in shown.replace("new-inlet", "")
    assert f"{wanted} at the least" in shown


def test_a_finding_that_is_not_there_is_told_with_those_that_are(faulty, capsys):
    before = faulty.read_bytes()
    assert left_with(faulty, "--mend", "voltage-high") == 1
    assert "over-voltage" in capsys.readouterr().err
    assert faulty.read_bytes() == before


def test_what_no_change_of_parts_mends_is_said_and_nothing_is_written(faulty, capsys):
    before = faulty.read_bytes()
    assert left_with(faulty, "--mend", "curve-typical") == 1
    assert "no way with these parts" in capsys.readouterr().err
    assert faulty.read_bytes() == before


@pytest.mark.parametrize("words", [("--ask",), ("--copy", "coop"), ("--box", "usb-pair")])
def test_mending_goes_alone(faulty, words):
    assert left_with(faulty, "--mend", "over-voltage", *words) == 2


def test_a_plan_that_ships_is_not_mended(capsys):
    assert left_with("faulty", "--mend", "over-voltage") == 1
    assert "--copy faulty" in capsys.readouterr().err
