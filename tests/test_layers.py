"""The order of the folders: a module imports from its own and from those before it; what is heavy loads late."""

import ast
import configparser
import re
from functools import cache
from pathlib import Path

import pytest

import solarvent

PACKAGE = Path(solarvent.__file__).parent
ROOT = Path(__file__).parents[1]
FOLDERS = (
    *("base", "plan", "weather", "wiring", "electrical", "air", "house"),
    *("simulation", "findings", "studies", "bench", "report", "serve", "cli"),
)
HEAVY = {"pvlib", "pandas", "scipy", "matplotlib", "tabulate", "schemdraw", "jinja2", "dask", "distributed", "pyarrow"}
# An installed package has profiles/, which is data, inside.
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.parent != PACKAGE / "profiles")
PATHS = [path.relative_to(PACKAGE).as_posix() for path in MODULES]

in_a_clone = pytest.mark.skipif(not (ROOT / ".git").exists(), reason="the tests stand outside a clone")


@cache
def source(path):
    """A module as a tree: parsed when a test asks for it, for every process of the tests reads this file."""
    return ast.parse((PACKAGE / path).read_text(encoding="utf-8"))


def sources():
    """Path and tree of every module."""
    return [(path, source(path)) for path in PATHS]


def is_type_checking(node):
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def imports(tree, top_only=False):
    """Yield the modules that are imported at run time; with `top_only` without those inside functions."""
    waiting = list(tree.body)
    while waiting:
        node = waiting.pop()
        if is_type_checking(node):
            waiting += node.orelse
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            yield node.module
            # "from solarvent.weather import sun" imports a module too.
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif not (top_only and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)):
            waiting += list(ast.iter_child_nodes(node))


def folder_of(module):
    """Folder of a module by its dotted name; None for what is not of the package, or above all folders."""
    steps = module.split(".")
    return steps[1] if steps[0] == "solarvent" and len(steps) > 1 and steps[1] in FOLDERS else None


def inside(path):
    return path.split("/")[0] if "/" in path else None


def test_the_reader_of_imports_sees_what_it_should():
    tree = ast.parse(
        "from typing import TYPE_CHECKING\n"
        "import solarvent.cli\n"
        "if TYPE_CHECKING:\n    import pandas\n"
        "class A:\n    import pvlib\n"
        "def f():\n    from solarvent.weather import sun\n"
    )
    assert set(imports(tree)) >= {"solarvent.cli", "pvlib", "solarvent.weather", "solarvent.weather.sun"}
    assert "pandas" not in set(imports(tree))
    assert "solarvent.weather" not in set(imports(tree, top_only=True))
    assert "pvlib" in set(imports(tree, top_only=True))
    assert [folder_of(name) for name in ("solarvent.cli.answers", "solarvent", "numpy")] == ["cli", None, None]


def test_every_module_lies_in_a_folder():
    assert {inside(path) for path in PATHS} == {*FOLDERS, None}
    assert {path for path in PATHS if inside(path) is None} == {"__init__.py", "__main__.py"}


@pytest.mark.parametrize("path", PATHS)
def test_imports_follow_the_order_of_the_folders(path):
    if (own := inside(path)) is None:
        return
    later = FOLDERS[FOLDERS.index(own) + 1 :]
    assert not {name for name in imports(source(path)) if folder_of(name) in later}


def circles(arrows):
    """Give the modules that reach themselves over imports, from a mapping of each to those that it imports."""
    reached = {start: set(ends) for start, ends in arrows.items()}
    for middle in arrows:
        for start in arrows:
            if middle in reached[start]:
                reached[start] |= reached[middle]
    return {start for start, ends in reached.items() if start in ends}


def test_a_circle_is_seen():
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == {"a", "b", "c"}
    assert not circles({"a": {"b", "c"}, "b": {"c"}, "c": set()})


@pytest.mark.parametrize("folder", FOLDERS)
def test_no_module_imports_itself_round_its_folder(folder):
    own = {f"solarvent.{path[:-3].replace('/', '.')}": tree for path, tree in sources() if inside(path) == folder}
    assert not circles({name: set(imports(tree)) & own.keys() for name, tree in own.items()})


@pytest.mark.parametrize("path", PATHS)
def test_what_begins_with_an_underscore_stays_in_its_folder(path):
    taken = {
        f"{node.module}.{alias.name}"
        for node in ast.walk(source(path))
        if isinstance(node, ast.ImportFrom) and node.module.startswith("solarvent.")
        for alias in node.names
        if alias.name.startswith("_") and folder_of(node.module) != inside(path)
    }
    assert not taken


@pytest.mark.parametrize("path", PATHS)
def test_heavy_packages_are_loaded_where_they_are_needed(path):
    assert not {name.split(".")[0] for name in imports(source(path), top_only=True)} & HEAVY


def test_nothing_but_the_weather_may_reach_the_network():
    nets = {"requests", "urllib", "http", "socket", "ftplib"}
    reaching = {path for path, tree in sources() if {name.split(".")[0] for name in imports(tree)} & nets}
    # The page listens, and takes addresses apart; it asks nobody.
    assert not {path for path in reaching if path != "weather/fetch.py" and not path.startswith("serve/")}
    asking = {"requests", "urllib.request", "http.client", "ftplib"}
    assert not {path for path, tree in sources() if path.startswith("serve/") and set(imports(tree)) & asking}


def test_only_the_command_line_prints_and_nothing_evaluates():
    calls = {
        (path, node.func.id)
        for path, tree in sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not {(path, name) for path, name in calls if name in ("eval", "exec")}
    assert not {(path, name) for path, name in calls if name == "print" and not path.startswith("cli/")}


@pytest.mark.parametrize("path", PATHS)
def test_every_module_says_what_it_is(path):
    assert ast.get_docstring(source(path))


def test_the_package_says_that_its_types_may_be_read():
    assert (PACKAGE / "py.typed").is_file()


@in_a_clone
def test_the_list_of_packages_is_that_of_the_folders():
    setup = configparser.ConfigParser()
    setup.read(ROOT / "setup.cfg", encoding="utf-8")
    listed = set(setup["options"]["packages"].split())
    folders = {f"solarvent.{path.parent.name}" for path in PACKAGE.glob("*/__init__.py")}
    assert listed == {"solarvent", "solarvent.profiles", *folders}
    assert all((PACKAGE / name / "__init__.py").exists() for name in FOLDERS)


@in_a_clone
def test_the_top_of_the_repository_holds_nothing_new():
    top = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert top <= {"README.md", "DEVELOPERS.md", "setup.cfg", "pyproject.toml", "solarvent", "tests", "profiles"}


def test_every_result_has_its_place_in_the_glossary():
    # Read from the source, so that a column of a rare plan is seen too.
    from solarvent.base.columns import COLUMNS

    written = set()
    for path in ("simulation/simulate.py", "simulation/year.py"):
        for node in ast.walk(source(path)):
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Subscript):
                target = node.targets[0]
                if isinstance(target.value, ast.Name) and target.value.id in ("columns", "table"):
                    key = target.slice.values[0] if isinstance(target.slice, ast.JoinedStr) else target.slice
                    if isinstance(key, ast.Constant):
                        written.add(str(key.value).split(".")[0])
            if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "columns":
                written |= {key.value for key in node.value.keys}
    assert {"voltage", "flow", "temp_inside", "first_start"} <= written
    assert written <= set(COLUMNS)


WORKS_OUT = FOLDERS[FOLDERS.index("weather") : FOLDERS.index("report")]
REPORT = [path for path in PATHS if inside(path) == "report"]


def functions_taken(tree):
    """Functions from folders that work something out; the names of types and constants begin with a capital."""
    return {
        f"{node.module}.{alias.name}"
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and folder_of(node.module) in WORKS_OUT
        for alias in node.names
        if not alias.name.lstrip("_")[0].isupper()
    }


@pytest.mark.parametrize("path", REPORT)
def test_the_report_works_nothing_out(path):
    # What an answer holds comes with it: a renderer asks no simulation, and needs no solver.
    assert not functions_taken(source(path))
    assert not {name.split(".")[0] for name in imports(source(path))} & {"pvlib", "scipy"}


def test_a_renderer_that_works_something_out_is_seen():
    tree = ast.parse(
        "from solarvent.simulation.simulate import Simulation, simulate\nfrom solarvent.weather import sun\n"
    )
    assert functions_taken(tree) == {"solarvent.simulation.simulate.simulate", "solarvent.weather.sun"}


@in_a_clone
def test_the_modules_that_the_guide_names_are_there():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Changes")[0]
    named = set(re.findall(rf"`((?:{'|'.join(FOLDERS)})/\w+)(?:\.py)?`", text))
    assert len(named) > 15
    assert {name for name in named if f"{name}.py" not in PATHS} == {"report/templates"} & named
    files = {path.rpartition("/")[2] for path in PATHS} | {path.name for path in Path(__file__).parent.rglob("*.py")}
    assert set(re.findall(r"`(?:[\w/]*/)?(\w+\.py)`", text)) <= files
