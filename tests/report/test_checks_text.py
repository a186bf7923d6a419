import csv
import io
import json

import pytest
from click.testing import CliRunner

from solarvent.cli.about import about_command
from solarvent.report.about_text import checks, checks_csv, checks_json, groups, render_checks


@pytest.fixture(scope="module")
def text():
    return render_checks()


def test_it_fits_a_plain_terminal(text):
    assert max(map(len, text.splitlines())) <= 80


def test_the_counts_stand_at_the_top_and_are_those_of_the_table(text):
    top = " ".join(text.split("\n\n")[0].split())
    missed = [check for check in checks() if not check["within"]]
    assert f"{len(checks())} checks: {len(checks()) - len(missed)} within tolerance, {len(missed)} not" in top
    assert text.index("source read") < text.index("Not within tolerance")


def test_those_that_miss_stand_first_each_with_its_reason(text):
    missed = [check for check in checks() if not check["within"]]
    assert missed
    part = text[text.index("Not within tolerance") : text.index("Published figures that are wrong")]
    flat = " ".join(part.split())
    for check in missed:
        assert check["why_missed"]
        assert f"{check['id']} {check['what']}" in flat
        assert f"why: {check['why_missed']}" in flat
    assert text.index("Not within tolerance") < text.index("Sun and clear sky")


def test_wrong_figures_stand_beside_the_right_ones(text):
    flat = " ".join(text.split())
    for check in checks():
        if check["wrong"] is not None:
            assert check["why_wrong"] in flat
            assert abs(check["got"] - check["wrong"]) > abs(check["got"] - check["expected"])


def test_every_check_is_in_the_text_once_under_its_topic(text):
    lines = text[text.index("\nSun and clear sky\n") :].splitlines()
    for check in checks():
        assert sum(line.startswith(f"{check['id']} ") for line in lines) == 1, check["id"]
    starred = {line.split()[0] for line in lines if "*" in line[48:]}
    assert starred == {check["id"] for check in checks() if not check["within"]}


def test_within_says_what_the_numbers_say():
    for check in checks():
        near = abs(check["got"] - check["expected"]) <= check["tolerance"] * abs(check["expected"]) * (1 + 1e-6)
        assert near == check["within"], check["id"]


def test_a_number_is_written_to_two_digits_of_its_tolerance(text):
    line = next(line for line in text.splitlines() if line.startswith("NV-03 "))
    assert line.split()[-4:] == ["1.8244", "0.0036", "1.8215", "m3/s"]


def test_json_has_a_schema_and_numbers():
    data = json.loads(checks_json())
    assert data["schema"] == "solarvent.checks/1"
    assert len(data["checks"]) >= 100
    for check in data["checks"]:
        assert {"id", "what", "source", "provenance", "expected", "got", "tolerance", "unit"} <= check.keys()
        assert all(isinstance(check[name], int | float) for name in ("expected", "got", "tolerance"))


def test_csv_has_a_line_for_each():
    rows = list(csv.DictReader(io.StringIO(checks_csv())))
    assert [row["id"] for row in rows] == [check["id"] for check in checks()]
    assert float(rows[0]["expected"]) == pytest.approx(checks()[0]["expected"])


@pytest.mark.parametrize(("form", "begins"), [("text", "Checks against"), ("json", '{"schema"'), ("csv", "id,topic")])
def test_the_command_gives_each_form(form, begins):
    done = CliRunner().invoke(about_command, ["checks", "--format", form])
    assert done.exit_code == 0
    assert done.stdout.startswith(begins)


def test_the_help_has_an_example():
    assert "Example:  solarvent about checks" in CliRunner().invoke(about_command, ["checks", "--help"]).stdout


def test_groups_of_one_topic_stand_together():
    topics = [group["topic"] for group in groups()]
    assert len(set(topics)) == sum(now != then for now, then in zip(topics, [None, *topics], strict=False))
