"""What is told of the package is what runs: a trace of real commands enters what the checks call, and every model."""

import ast
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from all_checks import calculations
from reference_table import called_functions

import solarvent
from solarvent.report.about_text import models

# pvlib uses a name of pandas that pandas 4 will drop.
pytestmark = [pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear:DeprecationWarning"), pytest.mark.long]

PACKAGE = Path(solarvent.__file__).parent
#: What no command of the list enters, and why it stands there all the same.
UNREACHED = {
    ("solarvent.electrical.unlike_sources", "UnlikeSources.surplus"): "each kind of join has one of its own",
    ("solarvent.electrical.source_side", "HeldSource.current_bound"): "of any source; a battery gets by without",
    ("solarvent.weather.table_checks", "at_lines"): "names the lines of a weather file that has mistakes",
}
TRACE = Path(__file__).parents[1] / "helpers" / "reached.py"


@pytest.fixture(scope="module")
def reached(tmp_path_factory):
    """Every function that the commands enter, as (module, qualified name); traced once for all workers of a run."""
    base = tmp_path_factory.getbasetemp()
    told = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "reached.json"
    try:
        told.with_suffix(".begun").touch(exist_ok=False)
    except FileExistsError:
        while not told.exists():
            time.sleep(0.5)
    else:
        done = subprocess.run([sys.executable, TRACE], capture_output=True, text=True, check=False)
        part = told.with_suffix(".part")
        part.write_text(done.stdout if done.returncode == 0 else json.dumps(done.stderr), encoding="utf-8")
        part.replace(told)
    found = json.loads(told.read_text(encoding="utf-8"))
    assert isinstance(found, list), found
    return {tuple(one) for one in found}


def public_functions(folder):
    """The functions, methods and properties of a folder that other modules may call, as (module, qualified name)."""
    for path in sorted((PACKAGE / folder).glob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            is_shape_only = isinstance(node, ast.ClassDef) and "Protocol" in map(ast.unparse, node.bases)
            members = node.body if isinstance(node, ast.ClassDef) and not is_shape_only else []
            for function in (node, *members):
                if isinstance(function, ast.FunctionDef) and not function.name.startswith("_"):
                    name = function.name if function is node else f"{node.name}.{function.name}"
                    yield f"solarvent.{folder}.{path.stem}", name


def test_the_trace_enters_the_chain_from_end_to_end(reached):
    assert ("solarvent.cli.answers", "run_command") in reached
    assert ("solarvent.simulation.simulate", "simulate") in reached
    assert ("solarvent.air.airflow", "house_flow") in reached


@pytest.mark.parametrize("calculation", calculations(), ids=lambda one: one.rows[0].id)
def test_a_check_calls_what_a_command_reaches(calculation, reached):
    called = called_functions(calculation)
    assert called
    assert not [one for one in called if one not in reached]


@pytest.mark.parametrize("model", models(), ids=lambda one: one.name)
def test_a_model_that_is_told_of_runs(model, reached):
    assert model.modules
    assert len(set(model.modules)) == len(model.modules)
    entered = {module for module, _ in reached}
    assert not [name for name in model.modules if f"solarvent.{name.replace('/', '.')}" not in entered]


@pytest.mark.parametrize("folder", ["weather", "wiring", "electrical", "air", "house", "simulation", "findings"])
def test_nothing_public_from_weather_to_findings_is_left_unreached(folder, reached):
    assert not [one for one in public_functions(folder) if one not in reached | UNREACHED.keys()]


def test_what_is_excused_is_unreached(reached):
    assert not UNREACHED.keys() & reached
