"""The manual page and the completion of the shell, both made from the commands themselves."""

import shutil
import subprocess

import pytest
from in_process import solarvent

from solarvent.cli import _COMMANDS


def test_the_manual_names_every_command_and_its_options():
    page = solarvent("about", "manual").stdout
    assert page.startswith(".TH SOLARVENT 1 ")
    assert [name for name in _COMMANDS if f".SH SOLARVENT {name.upper()}" not in page] == []
    assert r"\-\-format" in page
    assert "SOLARVENT_UNITS" in page
    # A line that begins with a full stop is an order to the typesetter: only those that are meant stand there.
    orders = {line.split()[0] for line in page.splitlines() if line.startswith(".")}
    assert orders == {".TH", ".SH", ".B", ".I", ".PP", ".TP", ".br"}


@pytest.mark.skipif(shutil.which("man") is None, reason="no man on this machine")
def test_man_reads_it_without_a_warning(tmp_path):
    solarvent("about", "manual", "-o", tmp_path / "solarvent.1")
    shown = subprocess.run(
        ["man", "--warnings", "-l", str(tmp_path / "solarvent.1")], capture_output=True, text=True, check=True,
        env={"MANWIDTH": "80", "PATH": "/usr/bin:/bin", "MANPAGER": "cat"},
    )  # fmt: skip
    assert shown.stderr == ""
    assert "EXIT STATUS" in shown.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_shell_gets_its_completion(shell, monkeypatch):
    monkeypatch.setenv("_SOLARVENT_COMPLETE", f"{shell}_source")
    done = solarvent()
    assert done.returncode == 0
    assert "_SOLARVENT_COMPLETE" in done.stdout


def test_the_units_come_from_the_environment(monkeypatch):
    monkeypatch.setenv("SOLARVENT_UNITS", "us")
    assert "degF" in solarvent("run", "--day", "07-15").stdout
    assert "degC" in solarvent("run", "--day", "07-15", "--units", "metric").stdout
