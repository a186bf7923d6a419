"""Consoles and pipes that are not what one hopes for: other code pages, few columns, closed, full, interrupted."""

import contextlib
import importlib
import io
import json
import os
import re
import signal
import subprocess
import sys

import click
import pytest
from sampled import one_in, sampled

from solarvent.cli import main

CODE_PAGES = ("ascii", "cp1252", "cp437", "cp850", "shift_jis")
posix = pytest.mark.skipif(os.name == "nt", reason="pipes and signals of POSIX")


def printed(args, encoding="utf-8"):
    """Run a command in this process on a console of some code page; exit code, and what was printed in bytes."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as left:
        main(list(map(str, args)))
    for stream in (out, err):
        stream.flush()
    return left.value.code, out.buffer.getvalue(), err.buffer.getvalue()


def process(*args, **options):
    """Start the command in a process of its own."""
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    environment = os.environ | {"PYTHONPATH": path} | options.pop("environment", {})
    words = [sys.executable, "-m", "solarvent", *map(str, args)]
    return subprocess.Popen(words, env=environment, stderr=subprocess.PIPE, **options)


@pytest.fixture(scope="module")
def foreign_plan(tmp_path_factory):
    """A plan whose title no single code page holds, in a folder that none does either."""
    folder = tmp_path_factory.mktemp("Jardín 温室")
    path = folder / "mój plan.toml"
    with contextlib.redirect_stderr(io.StringIO()), pytest.raises(SystemExit, match=r"^0$"):
        main(["new", str(path)])
    text = path.read_text("utf-8")
    path.write_text(re.sub("^title = .*", 'title = "Gärtchen 温室 – 12 Ω 🌱"', text, flags=re.M), "utf-8")
    return path


@pytest.mark.parametrize("encoding", CODE_PAGES)
def test_a_console_of_any_code_page_shows_all_but_foreign_letters(foreign_plan, encoding):
    code, out, err = printed(["run", foreign_plan, "--day", "07-15", "--full"], encoding)
    assert code == 0
    assert err == b""
    text = out.decode(encoding)
    title, _, rest = text.partition("\n")
    assert re.fullmatch(r"G.rtchen .. . 12 . .", title), title
    # But for the name of the file, which the last lines tell.
    assert "?" not in rest[: rest.index("Next: ")]
    # The next command stays on one line, however long the name of the file.
    assert max(len(line) for line in rest.splitlines() if not line.startswith("Next: solarvent ")) <= 80


def test_a_console_without_blocks_gets_bars_of_plain_letters(foreign_plan):
    bars = [
        printed(["run", foreign_plan, "--day", "07-15", "--full"], encoding)[1]
        for encoding in ("ascii", "cp437", "utf-8")
    ]
    # Between the title and the name of the file, whose letters are foreign to these consoles.
    plain = [text.decode(encoding) for text, encoding in zip(bars, ("ascii", "cp437"), strict=False)]
    assert len({text[text.index("\n") : text.index("Next: ")] for text in plain}) == 1
    assert bars[0].count(b"\n") == bars[2].count(b"\n")
    assert "\u2588" in bars[2].decode("utf-8")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_data_come_through_any_code_page_unharmed(foreign_plan, encoding):
    code, out, _ = printed(["run", foreign_plan, "--day", "07-15", "--format", "json"], encoding)
    assert code == 0
    assert json.loads(out.decode("utf-8"))["title"] == "Gärtchen 温室 – 12 Ω 🌱"


def test_the_page_is_in_the_letters_that_it_declares_on_any_console(foreign_plan):
    code, out, _ = printed(["report", foreign_plan], "cp1252")
    assert code == 0
    page = out.decode("utf-8")
    assert 'charset="utf-8"' in page.lower()
    assert "Gärtchen 温室 – 12 Ω 🌱" in page


@pytest.mark.parametrize("encoding", ["ascii", "cp437"])
def test_a_mistake_in_a_foreign_place_is_told_on_any_console(foreign_plan, encoding):
    code, out, err = printed(["run", foreign_plan.with_name("brak pliku ż.toml")], encoding)
    assert (code, out) == (1, b"")
    assert err.decode(encoding).endswith("there is no such file; check the path\n")


@pytest.mark.parametrize(
    "args", [["run", "--day", "07-15"], ["pair"], ["parts", "fans"], ["checklist"], ["--help"], ["rnu"]]
)
def test_nothing_is_ever_coloured(args, monkeypatch):
    for name in ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE"):
        monkeypatch.setenv(name, "1")
        _, out, err = printed(args)
        assert b"\x1b" not in out + err


@pytest.mark.parametrize("columns", ["40", "20", "0", "-1", "wide", "100000"])
@pytest.mark.parametrize("args", [["--help"], ["run", "--help"], ["size", "--help"]])
def test_help_reads_in_any_width(args, columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    code, out, _ = printed(args)
    text = out.decode("utf-8")
    assert code == 0
    # The library behind the commands takes no fewer than fifty columns, and we want no more than a hundred; an example
    # stays on its line, to be copied.
    plain = [
        line
        for line in text.splitlines()
        if not line.startswith(("  Example:", "Usage:")) and " solarvent " not in line
    ]
    assert max(map(len, plain)) <= (50 if columns in ("40", "20") else 100)
    assert len(plain) > 10


SCREENS = [
    command.split()
    for command in (
        "run", "run faulty", "run coop", "run --full", "size --fans 2", "size --fans 2 --full", "size default",
        "airflow", "airflow --oktas 6", "airflow --year", "airflow --orient", "night", "night coop", "pair",
        "pair trio-unmetered", "pair trio-wrong-splitter",
        "compare default faulty", "compare default coop --full", "need --below 30degC --outside 24degC", "checklist",
        "checklist faulty", "meter", "meter coop", "parts", "parts fans", "weather look",
    )
]  # fmt: skip
ONE_SCREEN = ("run", "size", "airflow", "night", "pair", "compare")
WITH_MORE = (*ONE_SCREEN, "need", "checklist", "meter")


@pytest.mark.parametrize("columns", sampled([40, 80], [20, 200]))
@pytest.mark.parametrize("args", one_in(2, SCREENS), ids=" ".join)
def test_every_screen_fits_the_width_that_is_said(args, columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    code, out, _ = printed(args)
    assert code in (0, 3)
    # A command is on one line, to be copied.
    lines = [line for line in out.decode("utf-8").splitlines() if not line.startswith("Next: solarvent ")]
    assert max(map(len, lines)) <= min(max(columns, 40), 120)


@pytest.mark.parametrize(
    "args", one_in(2, (screen for screen in SCREENS if screen[0] in WITH_MORE and "--full" not in screen)), ids=" ".join
)
def test_an_answer_is_one_screen_that_ends_with_what_comes_next(args, monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)
    lines = printed(args)[1].decode("utf-8").splitlines()
    assert len(lines) <= 45 or args[0] not in ONE_SCREEN
    assert [number for number, line in enumerate(lines, -len(lines)) if line.startswith("Next: ")] in ([-1], [-2], [-3])


# --- Colours, silence ---------------------------------------------------------------------------------------------


class Terminal(io.TextIOWrapper):
    """A stream that says it is a terminal."""

    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("flags", "environment", "coloured"),
    [([], {}, True), (["--no-color"], {}, False), ([], {"NO_COLOR": "1"}, False), ([], {"TERM": "dumb"}, False)],
)
def test_a_terminal_gets_weight_and_colours_unless_its_owner_does_not_want_them(
    flags, environment, coloured, monkeypatch
):
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    stream = Terminal(io.BytesIO(), encoding="utf-8")
    with contextlib.redirect_stdout(stream), pytest.raises(SystemExit):
        main(["run", "--day", "07-15", *flags])
    stream.flush()
    text = stream.buffer.getvalue().decode("utf-8")
    assert ("\x1b[" in text) == coloured
    assert "WARN" in text or "NOTE" in text


def test_a_pipe_gets_no_colours():
    assert b"\x1b[" not in printed(["run", "--day", "07-15"])[1]


def test_quiet_leaves_the_answer_alone(tmp_path):
    assert printed(["run", "--day", "07-15", "-o", str(tmp_path / "a.txt"), "--quiet"])[2] == b""
    assert b"written" in printed(["run", "--day", "07-15", "-o", str(tmp_path / "b.txt")])[2]


def test_a_hyphen_as_file_is_the_screen(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert printed(["run", "--day", "07-15", "-o", "-"])[1] == printed(["run", "--day", "07-15"])[1]
    assert list(tmp_path.iterdir()) == []


# --- Closed, full, interrupted ------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize(("args", "code"), [(["parts", "fans"], 0), (["pair", "trio-wrong-splitter"], 3)])
def test_a_reader_that_leaves_early_changes_no_exit_code(args, code):
    reader, writer = os.pipe()
    os.close(reader)
    with process(*args, stdout=writer) as running:
        os.close(writer)
        assert running.stderr.read() == b""
        assert running.wait(timeout=60) == code


@posix
def test_messages_that_nobody_reads_change_no_exit_code():
    reader, writer = os.pipe()
    os.close(reader)
    with process("run", "nowhere.toml", stdout=writer) as running:
        running.stderr.close()
        os.close(writer)
        assert running.wait(timeout=60) == 1


@posix
@pytest.mark.parametrize(
    ("closed", "args", "code"),
    [
        ("1", ["parts", "fans"], 1),
        ("2", ["parts", "fnas"], 1),
        ("0", ["parts", "fans"], 0),
        ("1", ["parts", "fnas"], 1),
    ],
)
def test_a_stream_that_is_closed_is_no_surprise(closed, args, code):
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    run = subprocess.run(
        ["sh", "-c", f'exec "$@" {closed}>&-', "sh", sys.executable, "-m", "solarvent", *args],
        env=os.environ | {"PYTHONPATH": path}, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert run.returncode == code
    assert "Traceback" not in run.stderr
    if (closed, args) == ("1", ["parts", "fans"]):
        assert run.stderr == "solarvent: there is no screen and no pipe to write to; name a file with -o\n"


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="a disk that is full")
@pytest.mark.parametrize("args", [["parts", "fans"], ["--help"]])
def test_a_full_disk_behind_the_screen_is_told(args):
    with open("/dev/full", "wb") as full, process(*args, stdout=full) as running:
        message = running.stderr.read().decode()
        assert running.wait(timeout=60) == 1
    assert re.fullmatch(r"solarvent: (the answer cannot be written: )?No space left on device(; .*)?\n", message)


#: The command under a limit to the size of files, or to memory, which stands for a full disk and a small machine.
_LIMITED = """
import resource, sys
resource.setrlimit(getattr(resource, sys.argv[1]), (int(sys.argv[2]),) * 2)
from solarvent.cli import main
main(sys.argv[3:])
"""


def limited(name, limit, *args, folder=None):
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    # Where coverage is measured, its own file would meet the limit too.
    usual = {key: value for key, value in os.environ.items() if not key.startswith("COVERAGE")}
    return subprocess.run(
        [sys.executable, "-c", _LIMITED, name, str(limit), *args], cwd=folder,
        env=usual | {"PYTHONPATH": path}, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


@posix
def test_a_disk_that_fills_up_leaves_the_old_file_and_no_litter(tmp_path):
    run = limited("RLIMIT_FSIZE", 1000, "schema", "-o", "new.json", folder=tmp_path)
    assert run.returncode == 1
    assert run.stderr == "solarvent: new.json: the file cannot be written: File too large; choose another place\n"
    assert os.listdir(tmp_path) == []
    (tmp_path / "old.json").write_text("{}")
    run = limited("RLIMIT_FSIZE", 1000, "schema", "-o", "old.json", "--force", folder=tmp_path)
    assert run.returncode == 1
    assert (tmp_path / "old.json").read_text() == "{}"
    assert os.listdir(tmp_path) == ["old.json"]


@posix
@pytest.mark.parametrize(
    ("args", "place"),
    [
        (["run", "-o", "answer"], "solarvent.plan.plan.load_plan"),
        (["pair", "usb-pair", "-o", "answer"], "solarvent.studies.pair.pair"),
        (["schema", "-o", "answer"], "os.fsync"),
        (["parts"], "solarvent.cli.options.click.echo"),
    ],
)
def test_interrupted_it_stops_with_a_word_and_leaves_nothing(tmp_path, monkeypatch, args, place):
    monkeypatch.chdir(tmp_path)
    with monkeypatch.context() as patch:
        real = importlib.import_module(place.rpartition(".")[0]) if "click" not in place else click

        def interrupt(*args, **options):
            patch.undo()
            signal.raise_signal(signal.SIGINT)

        patch.setattr(real, place.rpartition(".")[2], interrupt)
        code, out, err = printed(args)
    assert (code, out, err.decode().strip()) == (130, b"", "solarvent: stopped")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    ("reason", "message"),
    [
        (MemoryError(), "solarvent: there is not enough memory for this\n"),
        (OSError(5, "Input/output error", "year.csv"), "solarvent: year.csv: Input/output error\n"),
        (OSError("something of the system"), "solarvent: something of the system\n"),
    ],
)
def test_what_the_system_refuses_is_told(monkeypatch, reason, message):
    def refuse(*args):
        raise reason

    monkeypatch.setattr("solarvent.plan.plan.load_plan", refuse)
    assert printed(["run"]) == (1, b"", message.encode())
