import json

import pytest

from solarvent.cli import main


def run(capsys, *args):
    with pytest.raises(SystemExit) as left:
        main(["checklist", *map(str, args)])
    out = capsys.readouterr()
    return left.value.code, out.out, out.err


def test_the_worked_example_gives_a_list_and_says_that_it_is_one(capsys):
    code, out, _ = run(capsys)
    assert code == 0
    assert "No plan was given" in out
    assert "Shopping list" in out


def test_the_faulty_twin_stops(capsys):
    from solarvent.plan.plan import embedded_plan_path

    code, out, _ = run(capsys, embedded_plan_path("faulty"))
    assert code == 3
    assert "Do not build it like this. Change this first:" in out
    assert "STOP  " in out
    # What to change fits on one sheet; the steps and what to buy follow once it is sound.
    assert len(out.splitlines()) < 45


def test_json_and_a_file(capsys, tmp_path):
    code, out, _ = run(capsys, "--format", "json", "--irradiance", 700, "--temp-cell", 40)
    assert code == 0
    data = json.loads(out)
    assert (data["irradiance"], data["temp_cell"]) == (700, 40)
    file = tmp_path / "list.md"
    assert run(capsys, "--format", "markdown", "-o", file)[0] == 0
    assert file.read_text(encoding="utf-8").startswith("# ")
    code, _, err = run(capsys, "-o", file)
    assert code == 1
    assert "--force" in err


@pytest.mark.parametrize(
    "args",
    [("--irradiance", "0"), ("--irradiance", "x"), ("--temp-cell", "200"), ("--format", "pdf"), ("--units", "si")],
)
def test_a_bad_option_is_one_line_and_exit_code_two(capsys, args):
    code, out, err = run(capsys, *args)
    assert (code, out) == (2, "")
    assert err.strip().splitlines()[-1].startswith("Error: ")


def test_a_missing_plan_is_one_line_and_exit_code_one(capsys):
    code, _, err = run(capsys, "nowhere.toml")
    assert code == 1
    assert "there is no such file" in err
