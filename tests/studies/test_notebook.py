"""The library as a notebook uses it."""

import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

import solarvent
from solarvent.base.columns import COLUMNS

ROOT = Path(__file__).parents[2]
JULY = date(2000, 7, 15)


@pytest.fixture(scope="module")
def result():
    return solarvent.run(solarvent.load_plan(), JULY)


def test_hours_are_a_table_whose_every_column_has_its_unit(result):
    assert len(result.hours) == 24
    assert set(result.hours.attrs["units"]) == set(result.hours.columns)
    assert result.hours.attrs["units"]["poa_global"] == "W/m2"
    assert result.hours.attrs["units"]["voltage.bench"] == "V"
    assert result.hours.attrs["units"]["air_changes"] == ""
    assert {name.split(".")[0] for name in result.hours} <= set(COLUMNS)


def test_units_stay_with_a_part_of_the_table(result):
    assert result.hours[["flow"]].iloc[10:12].attrs["units"]["flow"] == "m3/s"


def test_findings_and_totals_are_those_of_the_run(result):
    assert [finding.level for finding in result.findings] == sorted(
        (finding.level for finding in result.findings), key=["stop", "warn", "note"].index
    )
    assert result.totals["energy_used"] <= result.totals["energy_made"]
    assert result.simulated.plan.record.title == result.hours.attrs["title"]


def test_a_path_does_as_well_as_a_plan(result, tmp_path):
    from solarvent.plan.plan import embedded_plan_path

    path = tmp_path / "mine.toml"
    path.write_text(embedded_plan_path().read_text(encoding="utf-8"), encoding="utf-8")
    for plan in (None, path, str(path)):
        assert solarvent.run(plan, JULY).hours.equals(result.hours)


def test_the_simulated_table_itself_is_not_touched(result):
    assert result.hours is not result.simulated.hours
    assert "units" not in result.simulated.hours.attrs


def test_importing_the_package_loads_next_to_nothing():
    script = "import sys, solarvent; print(*sys.modules)"
    path = os.pathsep.join(os.path.abspath(part) for part in sys.path if part)
    run = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": path},
    )
    loaded = set(run.stdout.split())
    assert not loaded & {"numpy", "pandas", "pvlib", "pydantic", "click", "matplotlib"}
    assert {name for name in loaded if name.startswith("solarvent")} == {"solarvent"}


@pytest.mark.skipif(not (ROOT / "README.md").exists(), reason="the tests stand without the README")
def test_the_example_of_the_readme_runs(capsys):
    [example] = re.findall(r"^```python\n(.*?)^```$", (ROOT / "README.md").read_text("utf-8"), re.MULTILINE | re.DOTALL)
    # The example is for people, who want the year; one day proves it as well.
    namespace = {}
    exec(example.replace("solarvent.run(plan)", "solarvent.run(plan, JULY)"), {"JULY": JULY}, namespace)
    assert len(namespace["july"]) == 24
    assert capsys.readouterr().out


def test_a_result_is_shown_without_all_that_was_worked_out():
    assert len(repr(solarvent.run(day=JULY))) < 8000
