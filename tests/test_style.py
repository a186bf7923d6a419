"""Habits of the project that a reader would have to check by eye: messages are tested, numbers have a unit."""

import ast
import re
from pathlib import Path

import pytest

import solarvent

TESTS = sorted(Path(__file__).parent.rglob("*.py"))
PHYSICS = ("weather", "electrical", "air", "house")
MODULES = sorted(Path(solarvent.__file__).parent.rglob("*.py"))
MOST_LINES = 400  # of a module; our choice
KERNELS = sorted(path for name in PHYSICS for path in (Path(solarvent.__file__).parent / name).glob("*.py"))
#: Heading, its line, and what stands under it up to the next heading.
FIGURES = re.compile(r"^(?:Parameters|Attributes)\n-+\n(.*?)(?=\n\n\w+\n-+|\Z)", re.DOTALL | re.MULTILINE)


def raises_without_match(tree):
    """Lines of `pytest.raises` that take any message; the end of a command has none."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.raises":
            told = any(keyword.arg == "match" for keyword in node.keywords)
            if not told and ast.unparse(node.args[0]) != "SystemExit":
                yield node.lineno


def names_of_the_moment(tree):
    """Lines of decorators that pack with gzip, which writes the time: the name of a test would change by the second."""
    for function in ast.walk(tree):
        for decorator in getattr(function, "decorator_list", []):
            for node in ast.walk(decorator):
                packs = isinstance(node, ast.Call) and ast.unparse(node.func) == "gzip.compress"
                if packs and not any(keyword.arg == "mtime" for keyword in node.keywords):
                    yield node.lineno


def figures_without_unit(tree):
    """Figures in the docstrings of public functions and records beside which no unit stands in brackets."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            for section in FIGURES.findall(ast.get_docstring(node) or ""):
                for entry in re.split(r"\n(?=\S)", section):
                    kind = entry.partition("\n")[0].partition(" : ")[2]
                    if re.search(r"float|array", kind) and not re.search(r"of u?(bool|int)", kind) and "[" not in entry:
                        yield f"{node.name}: {entry.partition(' : ')[0]}"


def bound_twice(tree):
    """Names of a module that are bound a second time, so that the first is lost to the functions that mean it."""
    seen = set()
    for node in tree.body:
        bound = [node.name] if isinstance(node, ast.FunctionDef | ast.ClassDef) else []
        for target in getattr(node, "targets", []) + ([node.target] if isinstance(node, ast.AnnAssign) else []):
            bound += [
                one.id for one in ast.walk(target) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)
            ]
        yield from (name for name in bound if name in seen and name != "_")
        seen |= set(bound)


def test_the_readers_see_what_they_should():
    code = "with pytest.raises(ValueError):\n    f()\nwith pytest.raises(ValueError, match='x'):\n    f()\n"
    assert list(raises_without_match(ast.parse(code))) == [1]
    code = "@mark([gzip.compress(b'a'), gzip.compress(b'a', mtime=0)])\ndef test(): ...\n"
    assert list(names_of_the_moment(ast.parse(code))) == [1]
    assert list(bound_twice(ast.parse("LIMIT = 40\nFREE, LIMIT = 4, 8\nROWS = [1]\nROWS[0] = 2\n"))) == ["LIMIT"]
    text = "Sum.\n\nParameters\n----------\nlow : float\n    Of it.\nhigh : array\n    Of it. [V]"
    assert list(figures_without_unit(ast.parse(f'def add(low, high):\n    """{text}"""'))) == ["add: low"]


@pytest.mark.parametrize("path", TESTS, ids=lambda path: path.name)
def test_every_error_that_is_expected_is_known_by_its_words(path):
    assert list(raises_without_match(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize("path", TESTS, ids=lambda path: path.name)
def test_the_names_of_tests_stay_the_same(path):
    # Else the processes that share a run find unlike tests.
    assert list(names_of_the_moment(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize("path", KERNELS, ids=lambda path: path.name)
def test_every_figure_of_a_kernel_has_its_unit(path):
    assert list(figures_without_unit(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_no_name_of_a_module_is_bound_twice(path):
    assert list(bound_twice(ast.parse(path.read_text(encoding="utf-8")))) == []


def test_no_module_is_too_long_to_be_read():
    assert [path.stem for path in MODULES if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES] == []
