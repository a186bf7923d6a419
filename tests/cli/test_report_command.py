"""``solarvent report`` as a person meets it: one file, exit codes, and what the installed package holds."""

import configparser
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from solarvent.cli import main

ROOT = Path(__file__).parents[2]


def report(capsys, *args):
    with pytest.raises(SystemExit) as left:
        main(["report", *map(str, args)])
    return left.value.code, *capsys.readouterr()


def test_the_page_is_one_file_and_says_where(tmp_path, capsys):
    page = tmp_path / "plan.html"
    code, out, said = report(capsys, "-o", page)
    assert (code, out) == (0, "")
    assert str(page) in said
    assert [path.name for path in tmp_path.iterdir()] == ["plan.html"]
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert text.endswith("</html>\n")
    assert "No plan was given" in text


def test_a_stop_ends_with_its_exit_code_and_still_writes_the_page(tmp_path, capsys):
    code, _, _ = report(capsys, "faulty", "-o", tmp_path / "faulty.html")
    assert code == 3
    assert "Do not build it like this." in (tmp_path / "faulty.html").read_text(encoding="utf-8")


def test_a_page_that_is_there_stays_before_any_work_is_done(tmp_path, capsys, monkeypatch):
    page = tmp_path / "plan.html"
    page.write_text("precious")
    monkeypatch.setattr("solarvent.simulation.simulate.simulate", lambda *_: pytest.fail("it was worked out first"))
    code, _, said = report(capsys, "-o", page)
    assert code == 1
    assert "--force" in said
    assert page.read_text() == "precious"


def test_help_has_an_example_and_loads_nothing_heavy():
    heavy = ("pvlib", "pandas", "scipy", "matplotlib", "schemdraw", "jinja2")
    script = (
        "import sys; from solarvent.cli import main\n"
        "try: main(['report', '--help'])\n"
        f"finally: print([name for name in {heavy} if name in sys.modules])"
    )
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    run = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": path},
        check=False,
    )
    assert "Example:  solarvent report my-plan.toml -o plan.html" in run.stdout
    assert run.stdout.splitlines()[-1] == "[]"


def test_the_package_holds_its_templates():
    # Run against the installed wheel too, where a file that is not listed would be missing.
    names = {path.name for path in files("solarvent.report").joinpath("templates").iterdir()}
    assert {"page.html", "page.css"} <= names


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="the tests stand outside a clone")
def test_the_templates_are_listed_as_data_of_the_package():
    setup = configparser.ConfigParser()
    setup.read(ROOT / "setup.cfg", encoding="utf-8")
    assert setup["options.package_data"]["solarvent.report"] == "templates/*"


@pytest.mark.parametrize(("flags", "encoding", "drawn"), [
    ([], "utf-8", True), (["--ascii"], "utf-8", False), ([], "cp1252", False),
])  # fmt: skip
def test_bars_of_the_run_are_blocks_where_the_console_has_them(flags, encoding, drawn):
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    run = subprocess.run(
        [sys.executable, "-m", "solarvent", "run", "--day", "07-15", "--full", *flags],
        capture_output=True, check=False, env=os.environ | {"PYTHONPATH": path, "PYTHONIOENCODING": encoding},
    )  # fmt: skip
    text = run.stdout.decode(encoding)
    assert ("█" in text) == drawn
    assert ("@" in text) != drawn
    assert "?" not in text


def test_a_terminal_is_no_place_for_a_page(capsys, monkeypatch):
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    code, out, said = report(capsys)
    assert (code, out) == (2, "")
    assert "add -o my-plan.html" in said
