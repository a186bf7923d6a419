"""Plans, boxes and weather in rough shape and in odd places: paths, line ends, sizes, links, pipes."""

import contextlib
import gzip
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from solarvent.cli import main
from solarvent.plan.plan import embedded_plan_path

posix = pytest.mark.skipif(os.name == "nt", reason="links, pipes and devices of POSIX")
PLAN = embedded_plan_path().read_text(encoding="utf-8")
#: Quick, and reads the whole plan; the text would name the file in the command that comes next.
QUICK = ("meter", "--irradiance", "600", "--format", "json")


def printed(*args):
    """Run a command in this process; exit code, answer and messages."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as left:
        main(list(map(str, args)))
    return left.value.code, out.getvalue(), err.getvalue()


def told(*args):
    """Run a command that must refuse its input; its one message."""
    code, out, err = printed(*args)
    assert (code, out) == (1, "")
    (line,) = err.splitlines()
    assert line.startswith("solarvent: ")
    return line.removeprefix("solarvent: ")


@pytest.fixture(scope="module")
def usual():
    return printed(QUICK[0], "default", *QUICK[1:])[1]


# --- Places ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["with space.toml", "Gärtchen/溫室 plan.toml", "a b/c 'd' \"e\".toml", "-plan.toml", "no-ending", "plan.TOML"],
)
def test_a_plan_is_found_under_any_name(tmp_path, monkeypatch, usual, name):
    if os.name == "nt" and '"' in name:
        pytest.skip("Windows has no such name")
    (tmp_path / name).parent.mkdir(exist_ok=True)
    (tmp_path / name).write_text(PLAN, encoding="utf-8")
    assert printed(QUICK[0], tmp_path / name, *QUICK[1:])[1] == usual
    monkeypatch.chdir(tmp_path)
    assert printed(QUICK[0], *QUICK[1:], "--", name)[1] == usual
    answer = (tmp_path / name).with_name("the answer ø.txt")
    assert printed(QUICK[0], *QUICK[1:], "-o", answer, "--", name)[0] == 0
    assert answer.read_text(encoding="utf-8") == usual


def test_relative_paths_with_steps_up_and_a_drive_of_another_system(tmp_path, monkeypatch, usual):
    (tmp_path / "a" / "b").mkdir(parents=True)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    monkeypatch.chdir(tmp_path / "a" / "b")
    assert printed(QUICK[0], "../../plan.toml", *QUICK[1:])[1] == usual
    assert printed(QUICK[0], f"..{os.sep}..{os.sep}.{os.sep}plan.toml", *QUICK[1:])[1] == usual
    place = r"C:\garden\plan.toml"
    assert told("run", place) == f"{place}: there is no such file; check the path"


def test_a_weather_file_lies_beside_the_plan_wherever_the_command_runs(tmp_path, monkeypatch):
    folder = tmp_path / "far away"
    folder.mkdir()
    (folder / "my year.csv").write_text(
        "# latitude: 36.1\n# longitude: -79.95\n# altitude: 273\n# stamp: start\n"
        "time,ghi [W/m2],dni [W/m2],dhi [W/m2],temp_air [degC]\n"
        + "".join(f"2023-06-21T{hour:02}:00-05:00,{300 if 7 < hour < 18 else 0},0,{300 if 7 < hour < 18 else 0},20\n"
                  for hour in range(24)),
        encoding="utf-8",
    )  # fmt: skip
    plan = PLAN.replace('embedded = "latitude 36.1, longitude -79.95"', 'file = "my year.csv"')
    (folder / "plan.toml").write_text(plan, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert printed("run", "far away/plan.toml")[0] == 0


@posix
def test_a_plan_behind_a_link_and_one_behind_a_loop(tmp_path, usual):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "link.toml").symlink_to("plan.toml")
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    assert printed(QUICK[0], tmp_path / "link.toml", *QUICK[1:])[1] == usual
    assert "loop.toml: the file cannot be read; Too many levels of symbolic links" in told(
        "run", tmp_path / "loop.toml"
    )


@posix
def test_a_plan_through_a_pipe(usual):
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    run = subprocess.run(
        [sys.executable, "-m", "solarvent", QUICK[0], "/dev/stdin", *QUICK[1:]], input=PLAN.encode(),
        env=os.environ | {"PYTHONPATH": path, "PYTHONIOENCODING": "utf-8"}, capture_output=True, timeout=120,
        check=True,
    )  # fmt: skip
    assert run.stdout.decode() == usual


@posix
def test_devices_in_place_of_files():
    assert told("run", os.devnull) == 'the plan is empty; start from the file that "solarvent new" writes'
    assert told("weather", "look", os.devnull) == "null: the file is empty; give a TMY3, EPW or CSV file"
    # Endless: read only as far as shows that it is too large.
    assert told("run", "/dev/zero").startswith("/dev/zero: the file has more than 1,000,000 bytes")
    assert told("weather", "look", "/dev/zero").startswith("zero: the file has over 50,000,000 bytes")


@pytest.mark.parametrize("args", [["run"], ["weather", "look"], ["pair"], ["checklist"]])
def test_a_folder_in_place_of_a_file(tmp_path, args):
    assert "this is a folder" in told(*args, tmp_path)
    assert "this is a folder; name a file in it" in told("schema", "-o", tmp_path)


@posix
@pytest.mark.parametrize("args", [["run"], ["weather", "look"], ["parts", "--parts"], ["schema", "-o"]])
def test_a_name_longer_than_any_file_may_have(args):
    assert len(told(*args, "n" * 300)) < 450
    assert "there is no such kit and no such file" in told("pair", "n" * 300)


def test_what_is_read_is_never_written_over(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("plan.toml").write_text(PLAN, encoding="utf-8")
    for output in ("plan.toml", "./plan.toml", tmp_path / "plan.toml"):
        line = told(QUICK[0], "plan.toml", *QUICK[1:], "-o", output, "--force")
        assert line.endswith("this file is what is read here; choose another name")
    assert Path("plan.toml").read_text(encoding="utf-8") == PLAN
    Path("other.txt").write_text("old")
    assert printed(QUICK[0], "plan.toml", *QUICK[1:], "-o", "other.txt", "--force")[0] == 0


# --- Letters and line ends -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text.encode().replace(b"\n", b"\r\n"),
        lambda text: text.encode("utf-8-sig"),
        lambda text: text.encode("utf-8-sig").replace(b"\n", b"\r\n"),
        lambda text: text.rstrip("\n").encode(),
        lambda text: text.encode() + b"\n\n\t\n",
    ],
    ids=["CRLF", "byte order mark", "both", "no last line end", "blank lines"],
)
def test_a_plan_of_any_editor_reads_alike(tmp_path, usual, spoil):
    path = tmp_path / "plan.toml"
    path.write_bytes(spoil(PLAN))
    assert printed(QUICK[0], path, *QUICK[1:])[1] == usual


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32", "latin-1", "cp1252"])
def test_a_plan_in_other_letters_is_told(tmp_path, encoding):
    path = tmp_path / "plan.toml"
    path.write_bytes(PLAN.replace("Bramble", "Brämble").encode(encoding))
    assert "the text is not UTF-8; save the file as UTF-8" in told("run", path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x00" * 100, "cannot read"),
        (b"\x89PNG\r\n\x1a\n", "the text is not UTF-8"),
        (gzip.compress(b"plan_version = 1", mtime=0), "the text is not UTF-8"),
        (b"a = " + b"[" * 100_000, "the brackets are nested too deeply"),
        (b"a = " + b"{b = " * 5_000 + b"1" + b"}" * 5_000, "the brackets are nested too deeply"),
        (b"a" + b".a" * 5_000 + b" = 1", "too many words joined by points"),
        (b"[" + b"a." * 5_000 + b"a]", "too many words joined by points"),
        (b"a = " + b"9" * 10_000, "a number in it has too many digits"),
        (b'a = """' + b"x" * 900_000, "something is begun and not finished"),
        (b"x" * 1_000_001, "the file has more than 1,000,000 bytes"),
    ],
    ids=["zeros", "picture", "packed", "deep list", "deep table", "long key", "long heading", "long number", "no end",
         "large"],
)  # fmt: skip
def test_what_is_no_plan_is_told_in_a_line(tmp_path, content, words):
    path = tmp_path / "plan.toml"
    path.write_bytes(content)
    for args in (["run"], ["pair"]):
        assert words in told(*args, path)


# --- Sizes -----------------------------------------------------------------------------------------------------------

#: Commands, and then the most memory that they ever held. On Linux what getrusage tells begins with what the process
#: held that started this one, so the figure of the program itself is read.
_MEASURED = """
import pathlib, resource, sys
from solarvent.cli import main
for args in sys.argv[1:]:
    try:
        main(args.split("|"))
    except SystemExit as left:
        print(args.split("|")[0], left.code, file=sys.stderr)
own = pathlib.Path("/proc/self/status")
lines = own.read_text().splitlines() if own.exists() else []
peak = [int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM:")]
print(*(peak or [resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]), file=sys.stderr)
"""


@posix
def test_the_largest_files_stay_within_a_gibibyte(tmp_path):
    hundred = 100_000_000
    files = {
        "zeros.toml": b"",
        "zeros.csv": b"",
        "lines.csv": b"# x\n" * 150_001,
        "columns.csv": b"a," * 24_000_000,
        "fields.csv": b"# x\n" + (b"a," * 150 + b"\n") * 150_000,
        "bomb.csv.gz": gzip.compress(bytes(60_000_000), 1),
        "hours.epw": b"LOCATION,a,b,c,d,e,1,2,3,4\n" * 7 + b"DATA PERIODS,1,1\n" + (b"9," * 34 + b"9\n") * 149_000,
    }
    for name, content in files.items():
        path = tmp_path / name
        path.write_bytes(content)
        if not content:
            os.truncate(path, hundred)
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    commands = [f"run|{name}" if name.endswith("toml") else f"weather|look|{name}" for name in files]
    run = subprocess.run(
        [sys.executable, "-c", _MEASURED, *commands], cwd=tmp_path, env=os.environ | {"PYTHONPATH": path},
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    *messages, peak = run.stderr.splitlines()
    assert messages.count("weather 1") + messages.count("run 1") == len(files)
    assert int(peak) < 2**30


# --- Plans that take long -------------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self):
        return True


TWO = """
[[panel]]
id = "wall"
part = "panel-20w"
"""
SHADE = "lit_share_of_worst_cell = 0.5\nbypass_diodes = "


@pytest.mark.parametrize(
    ("fans", "more", "slow"),
    [
        (6, TWO, False),
        (6, "", False),
        (6, SHADE + "2", False),
        (4, SHADE + "2" + TWO, True),
        (4, SHADE + "1" + TWO, False),
        (3, SHADE + "2" + TWO, False),
        (1, SHADE + "2" + TWO + SHADE + "2", True),
        (1, SHADE + "2" + TWO + SHADE + "1", False),
    ],
)
def test_who_waits_for_unlike_fans_on_unlike_panels_is_told_why(tmp_path, fans, more, slow):
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'plan_version = 1\nplace = {latitude = 45, longitude = 8}\nweather = {climate = "humid-continental"}\n'
        'house = {length = "4 m", width = "3 m"}\nwiring = {layout = "shared"}\n'
        '[[panel]]\nid = "roof"\npart = "panel-30w"\n'
        + more
        + "".join(
            f'\n[[fan]]\nid = "fan-{number}"\npart = "fan-24v-120x25"\nstart_voltage = "{12 + number / 10} V"\n'
            for number in range(fans)
        ),
        encoding="utf-8",
    )
    err = Terminal()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as left:
        main([QUICK[0], str(plan), *QUICK[1:]])
    assert left.value.code == 0, err.getvalue()
    assert ("combinations" in err.getvalue()) == slow
