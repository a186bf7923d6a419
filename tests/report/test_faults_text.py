import json

from click.testing import CliRunner

from solarvent.cli.about import about_command
from solarvent.report.about_text import faults, faults_json, render_faults


def test_the_text_shows_every_fault_with_its_finding_or_its_step():
    text = render_faults()
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split())
    for fault in faults():
        for words in (fault.what, fault.why, fault.do, *fault.codes, fault.step):
            assert words in flat


def test_every_sentence_is_whole():
    for fault in faults():
        for words in (fault.what, fault.why, fault.do):
            assert words[0].isupper() or words[0].isdigit()
            assert words[-1] in ".?"


def test_the_json_has_the_same_faults():
    data = json.loads(faults_json())
    assert data["schema"] == "solarvent.faults/1"
    assert [one["slug"] for one in data["faults"]] == [fault.slug for fault in faults()]


def test_about_faults_prints_them():
    done = CliRunner().invoke(about_command, ["faults"])
    assert done.exit_code == 0
    assert "over-voltage-cold" in done.output
    assert json.loads(CliRunner().invoke(about_command, ["faults", "--format", "json"]).output)["faults"]
