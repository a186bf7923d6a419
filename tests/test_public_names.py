"""What the package offers to notebooks and programs."""

import ast
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

import solarvent
from solarvent.plan.plan import Plan

PACKAGE = Path(solarvent.__file__).parent


@pytest.mark.parametrize("name", solarvent.__all__)
def test_every_public_name_is_there_and_says_what_it_is(name):
    assert name in dir(solarvent)
    assert getattr(solarvent, name).__doc__


def test_a_name_that_is_not_public_is_told_with_those_that_are():
    with pytest.raises(AttributeError, match=r"has no public name 'simulat'; it has .*simulate"):
        solarvent.simulat  # noqa: B018


def test_what_editors_are_told_is_what_is_there():
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    [block] = [node for node in tree.body if isinstance(node, ast.If)]
    told = {
        alias.asname or alias.name: f"{node.module}.{alias.name}"
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.module.startswith("solarvent.")
        for alias in node.names
    }
    assert {*told, "many", "plot_day", "plot_start", "plot_wiring", "report_page"} == set(solarvent.__all__)
    for name, home in told.items():
        assert f"{getattr(solarvent, name).__module__}.{getattr(solarvent, name).__qualname__}" == home


def test_no_class_name_has_two_meanings():
    names = [
        node.name.lstrip("_")
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    ]
    assert {name for name in names if names.count(name) > 1} == set()


def first_arguments():
    """Each public function that takes a plan or a simulation, with the kind of its first argument."""
    for name in solarvent.__all__:
        public = getattr(solarvent, name)
        if inspect.isfunction(public):
            first = next(iter(inspect.signature(public).parameters.values()))
            if kind := re.search(r"\b(Plan|Simulation)\b", str(first.annotation)):
                yield name, kind[0]


@pytest.mark.parametrize(("name", "kind"), list(first_arguments()))
def test_what_is_no_plan_and_no_simulation_is_refused_in_words(name, kind):
    public = getattr(solarvent, name)
    wanted = [one for one in inspect.signature(public).parameters.values() if one.default is one.empty]
    refused = f"(this is int, and no {kind}|this is no path but int); give "
    with pytest.raises(solarvent.PlanError, match=refused) as told:
        public(*[5] * max(len(wanted), 1))
    assert len(str(told.value).splitlines()) == 1


@pytest.mark.parametrize("name", ["load_box", "load_plan", "plan_from"])
def test_what_is_no_file_and_no_content_is_refused_in_words(name):
    with pytest.raises(solarvent.PlanError, match=f"^{name}: .*int; give "):
        getattr(solarvent, name)(5)


def test_a_plan_goes_from_its_content_to_its_page():
    plan = solarvent.plan_from(
        {
            "plan_version": 1,
            "place": {"latitude": 51.0, "longitude": 0.0},
            "weather": {"clear_sky": True},
            "house": {"length": "3 m", "width": "2 m", "use": "shed"},
            "panel": [{"id": "roof", "part": "panel-30w"}],
            "fan": [{"id": "east", "part": "fan-24v-120x25"}],
            "wiring": {"layout": "shared"},
        }
    )
    assert isinstance(plan, Plan)
    page = solarvent.report_page(plan, month=6)
    assert page.startswith("<!DOCTYPE html>")
    assert "June" in page


@pytest.mark.parametrize("folder", ["plan", "weather", "report", "studies", "findings", "bench"])
def test_a_folder_is_light_to_import(folder):
    script = f"import sys, solarvent.{folder}; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=PACKAGE.parent)
    heavy = {"numpy", "pandas", "pvlib", "scipy", "pydantic", "click", "matplotlib", "tabulate"}
    assert not set(run.stdout.split()) & heavy
