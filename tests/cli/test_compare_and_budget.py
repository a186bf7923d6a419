"""``solarvent compare`` and ``solarvent run --budget`` as a person meets them."""

import json

import pytest
from in_process import solarvent


def test_compare_gives_rows_with_differences_first():
    run = solarvent("compare", "default", "faulty", "--format", "json")
    assert run.returncode == 0, run.stderr
    data = json.loads(run.stdout)
    assert data["schema"] == "solarvent.compare/1"
    assert all({"what", "left", "right"} <= row.keys() for row in data["rows"])
    assert data["rows"][0]["differs"]
    assert not data["rows"][-1]["differs"]


@pytest.mark.parametrize(
    ("args", "words", "code"),
    [
        (["default"], "Missing argument 'RIGHT'. Write it like: solarvent compare my-plan.toml", 2),
        (["default", "nowhere.toml"], "no such file", 1),
    ],
)
def test_compare_wants_two_plans(args, words, code):
    run = solarvent("compare", *args)
    assert run.returncode == code
    assert words in run.stderr


def test_two_trials_of_one_plan_are_told_apart_by_their_files():
    run = solarvent("compare", "default", "default")
    assert "(default)" in run.stdout
    assert run.stdout.startswith("Left:  Bramble Row")


def test_the_budget_is_a_table_for_the_wall():
    run = solarvent("run", "--budget")
    assert run.returncode == 0, run.stderr
    assert max(map(len, run.stdout.splitlines())) <= 80
    assert "Days of July" in run.stdout
    assert "year" in run.stdout


def test_the_budget_as_data():
    data = json.loads(solarvent("run", "--budget", "--format", "json").stdout)
    assert data["schema"] == "solarvent.budget/2"
    assert [month["month"] for month in data["months"]] == list(range(1, 13))
    lines = solarvent("run", "--budget", "--format", "csv").stdout.splitlines()
    assert lines[0].startswith("month,energy_made [Wh],energy_usable [Wh]")
    assert len(lines) == 13
