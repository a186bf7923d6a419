"""What is told of the package is what runs: a trace of real commands enters what the checks call, and every model."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from all_checks import calculations
from reference_table import called_functions

from solarvent.report.models_text import models

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning")

TRACE = Path(__file__).parents[1] / "helpers" / "reached.py"


@pytest.fixture(scope="module")
def reached():
    """Every function that the commands enter, as (module, qualified name)."""
    done = subprocess.run([sys.executable, TRACE], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return {tuple(one) for one in json.loads(done.stdout)}


def test_the_trace_enters_the_chain_from_end_to_end(reached):
    assert ("solarvent.cli.run", "command") in reached
    assert ("solarvent.simulation.simulate", "simulate") in reached
    assert ("solarvent.air.airflow", "house_flow") in reached


#: The warmth of a wire is known, and comes into the circuits next.
WAITING = {("solarvent.wiring.cable", "temperature_factor")}


@pytest.mark.parametrize("calculation", calculations(), ids=lambda one: one.rows[0].id)
def test_a_check_calls_what_a_command_reaches(calculation, reached):
    called = called_functions(calculation)
    assert called
    assert not [one for one in called if one not in reached | WAITING]


@pytest.mark.parametrize("model", models(), ids=lambda one: one.name)
def test_a_model_that_is_told_of_runs(model, reached):
    assert model.modules
    entered = {module for module, _ in reached}
    assert not [name for name in model.modules if f"solarvent.{name.replace('/', '.')}" not in entered]
