"""The command line as a person meets it: exit codes, messages, files, and what it does not load."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from in_process import solarvent

from solarvent.cli import main
from solarvent.cli.options import quoted

BROKEN = sorted((Path(__file__).parent.parent / "data" / "broken").glob("*.toml"))
HEAVY = ("pvlib", "pandas", "scipy", "matplotlib")


def own_process(*args, **environment):
    """Run the command in a process of its own."""
    # A folder that was named on the way in would not be found from another one.
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    return subprocess.run(
        [sys.executable, "-m", "solarvent", *map(str, args)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONPATH": path, "PYTHONIOENCODING": "utf-8"} | environment,
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def default_run():
    return own_process("run", "--format", "json")


@pytest.fixture(scope="module")
def result(default_run):
    return json.loads(default_run.stdout)


def test_the_embedded_example_runs_and_no_finding_says_stop(default_run, result):
    assert default_run.returncode == 0, default_run.stderr
    assert "stop" not in {finding["level"] for finding in result["findings"]}


def test_run_json_has_the_promised_keys(result):
    assert result["schema"] == "solarvent.run/1"
    assert {"title", "findings", "panels", "hours", "totals"} <= result.keys()
    assert len(result["hours"]) == 8760
    hour = result["hours"][5000]
    assert {
        "time", "month", "oktas", "poa_global", "temp_air", "temp_cell", "panel_voltage", "panel_current", "flow",
        "air_changes", "temp_inside", "fans",
    } <= hour.keys()  # fmt: skip
    assert {"id", "voltage", "current", "running", "flow"} <= hour["fans"][0].keys()
    assert all(0 <= fan["running"] <= 1 for hour in result["hours"] for fan in hour["fans"])


def test_findings_stand_worst_first_and_say_what_to_do():
    run = solarvent("run", "faulty", "--format", "json")
    findings = json.loads(run.stdout)["findings"]
    levels = [finding["level"] for finding in findings]
    assert levels == sorted(levels, key=["stop", "warn", "note"].index)
    assert levels[0] == "stop"
    assert all(finding["do"] for finding in findings)
    assert run.returncode == 3


def test_the_text_fits_a_plain_terminal_and_leads_with_findings():
    text = solarvent("run", "--full").stdout
    assert max(map(len, text.splitlines())) <= 80
    assert text.index("Findings") < text.index("In short") < text.index("A clear day") < text.index("The year by month")
    assert "No plan was given" in text
    assert "licensed" in text


@pytest.mark.parametrize("units", ["metric", "us"])
def test_units_change_the_text(units):
    text = solarvent("run", "--day", "07-15", "--full", "--units", units).stdout
    assert ("[cfm]" in text) == (units == "us")
    assert ("[degC]" in text) == (units == "metric")


def test_a_day_at_a_finer_step():
    run = solarvent("run", "--day", "07-15", "--step", "10 min", "--format", "json")
    assert len(json.loads(run.stdout)["hours"]) == 144


def test_csv_carries_units_in_its_heading():
    run = solarvent("run", "--day", "07-15", "--format", "csv")
    rows = list(csv.reader(io.StringIO(run.stdout)))
    assert len(rows) == 25
    assert "poa_global [W/m2]" in rows[0]
    assert all(len(row) == len(rows[0]) for row in rows)


def test_meter_json_has_the_promised_keys():
    readings = json.loads(solarvent("meter", "--irradiance", "600", "--temp-cell", "45", "--format", "json").stdout)
    assert readings["open_circuit"]["voltage"] > 15
    assert readings["short_circuit"]["current"] > 0
    for state in ("standing", "turning"):
        assert {"panel_voltage", "panel_current", "fans"} <= readings[state].keys()
    assert readings["start_irradiance"] > 0
    assert readings["run_down_irradiance"] > 0


def test_new_writes_a_plan_that_runs_and_never_clobbers(tmp_path):
    first = solarvent("new", "mine.toml", folder=tmp_path)
    assert first.returncode == 0
    assert solarvent("run", "mine.toml", "--day", "07-15", folder=tmp_path).returncode == 0
    (tmp_path / "mine.toml").write_text("precious")
    again = solarvent("new", "mine.toml", folder=tmp_path)
    assert again.returncode == 1
    assert "--force" in again.stderr
    assert (tmp_path / "mine.toml").read_text() == "precious"
    assert solarvent("new", "mine.toml", "--force", folder=tmp_path).returncode == 0


def test_output_goes_to_a_file_whole(tmp_path):
    run = solarvent("run", "--day", "07-15", "-o", tmp_path / "day.txt")
    assert run.returncode == 0
    assert run.stdout == ""
    assert (tmp_path / "day.txt").read_text(encoding="utf-8").split("\n\n")[-1].startswith("Caution: ")
    assert os.listdir(tmp_path) == ["day.txt"]


def test_schema_is_json_schema_and_knows_the_sections():
    schema = json.loads(solarvent("schema").stdout)
    assert {"place", "house", "panel", "fan", "wiring"} <= schema["properties"].keys()


@pytest.mark.parametrize("kind", ["panels", "fans", "wires", "covers", "openings"])
def test_parts_lists_and_shows(kind):
    listed = json.loads(solarvent("parts", kind, "--format", "json").stdout)["parts"]
    part = next(iter(listed))
    assert part in solarvent("parts", kind).stdout
    assert json.loads(solarvent("parts", kind, part, "--format", "json").stdout)["parts"][part] == listed[part]


def test_own_parts_lie_over_the_library(tmp_path):
    (tmp_path / "fans.toml").write_text('parts_version = 1\n[my-fan]\nname = "from the attic"\n', encoding="utf-8")
    assert "from the attic" in solarvent("parts", "fans", "--parts", tmp_path).stdout


@pytest.mark.parametrize("plan", BROKEN, ids=lambda path: path.stem)
def test_a_broken_plan_gives_one_clear_line_a_mistake(plan, capsys):
    with pytest.raises(SystemExit) as left:
        main(["run", str(plan)])
    printed = capsys.readouterr()
    assert left.value.code == 1
    assert printed.out == ""
    assert printed.err
    assert all(line.startswith("solarvent: ") for line in printed.err.splitlines())


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("run", "no-such.toml"), 1, "no such file"),
        (("run", "."), 1, "folder"),
        (("runn",), 2, 'did you mean "run"'),
        (("run", "--month", "13"), 2, "13"),
        (("run", "--day", "31-31"), 2, "write it like 07-15"),
        (("run", "--step", "10 min"), 2, "--day"),
        (("run", "--day", "07-15", "--step", "7 parsecs"), 2, "parsecs"),
        (("meter", "--irradiance", "-5"), 2, "irradiance"),
        (("meter", "--irradiance", "600W/m2"), 2, '"600W/m2" is no number; write digits alone, without a unit'),
        (("airflow", "--month", "Jul"), 2, '"Jul" is no whole number; write digits alone'),
        (("meter", "--irradiance", "nan"), 2, "nan is not a number"),
        (("meter", "--temp-cell", "nan"), 2, "nan is not a number"),
        (("checklist", "--irradiance", "nan"), 2, "nan is not a number"),
        (("size", "--tilt", "nan"), 2, "nan is not a number"),
        (("parts", "fnas"), 1, 'did you mean "fans"'),
        (("parts", "fans", "fan-12v-120x52"), 1, "did you mean"),
        (("parts", "fans", "--parts", "nowhere"), 1, "nowhere"),
    ],
)
def test_a_slip_on_the_command_line_is_told_in_a_line(args, code, words, tmp_path):
    run = solarvent(*args, folder=tmp_path)
    assert run.returncode == code
    assert words in run.stderr
    assert "Traceback" not in run.stderr


@pytest.mark.parametrize(
    "args",
    [
        ("run", "--day", "07-15"),
        ("airflow", "--month", "7", "--oktas", "8"),
        ("night",),
        ("checklist",),
        ("meter", "--irradiance", "800"),
        ("weather", "look"),
    ],
)
def test_no_metric_unit_is_left_in_a_text_in_us_units(args, capsys):
    with pytest.raises(SystemExit, match=r"^0$"):
        main([*args, "--units", "us"])
    text = " ".join(capsys.readouterr().out.split())
    assert re.findall(r"\S+ (?:degC|m/s|m3/h|km/h|kg)\b", text) == []


@pytest.mark.parametrize(
    "args",
    [
        ("--help",),
        ("parts",),
        ("parts", "fans"),
        ("schema",),
        ("new", "x.toml"),
        ("pair", "trio-wrong-splitter"),
        ("pair", "trio-right-splitter", "--format", "json"),
    ],
)
def test_light_commands_load_nothing_heavy(args, tmp_path):
    # Loose parts are joined by an integer program, and scipy has its solver.
    heavy = [name for name in HEAVY if name != "scipy" or args[0] != "pair"]
    code = (
        "import sys; sys.argv = ['solarvent', *sys.argv[1:]]\n"
        "from solarvent.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"heavy = [name for name in {heavy!r} if name in sys.modules]\n"
        "sys.exit(f'loaded: {heavy}' if heavy else 0)\n"
    )
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    run = subprocess.run(
        [sys.executable, "-c", code, *args], capture_output=True, text=True, cwd=tmp_path, check=False,
        env=os.environ | {"PYTHONPATH": path},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr


def test_a_closed_pipe_is_no_error():
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    reader, writer = os.pipe()
    os.close(reader)
    run = subprocess.run(
        [sys.executable, "-m", "solarvent", "parts", "fans"], stdout=writer, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONPATH": path}, check=False,
    )  # fmt: skip
    os.close(writer)
    assert "Traceback" not in run.stderr


def test_a_console_of_another_code_page_does_not_stop_it():
    run = own_process("parts", "wires", PYTHONIOENCODING="cp437")
    assert run.returncode == 0
    assert "Traceback" not in run.stderr


@pytest.mark.parametrize(("kit", "code", "words"), [
    ("pv-pair-barrel-fans", 0, "[ ]"),
    # The fans of this box see more than they bear on its panel, and the list says so.
    ("trio-right-splitter", 3, "Change this first"),
])  # fmt: skip
def test_three_commands_from_a_box_to_a_printed_checklist(kit, code, words, tmp_path):
    assert solarvent("pair", kit, folder=tmp_path).returncode == code
    assert solarvent("new", "mine.toml", "--box", kit, folder=tmp_path).returncode == 0
    assert solarvent("checklist", "mine.toml", "-o", "list.txt", folder=tmp_path).returncode == code
    assert words in (tmp_path / "list.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("words", [("run",), ("checklist",), ("airflow",), ("pair", "box-of-panel", "box-of-fans")])
def test_what_comes_next_has_the_same_parts(words, tmp_path):
    folder = tmp_path / "my parts"
    folder.mkdir()
    run = solarvent(*words, "--parts", folder)
    assert f"--parts {quoted(folder)}" in " ".join(run.stdout.split()).rpartition("Next: solarvent")[2]
