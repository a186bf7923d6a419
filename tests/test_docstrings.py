"""The examples in the docstrings give what they say."""

import doctest
import pkgutil
import re
from importlib import import_module
from pathlib import Path

import pytest

import solarvent

OPTIONS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
NAMES = ["solarvent"] + [module.name for module in pkgutil.walk_packages(solarvent.__path__, "solarvent.")]


@pytest.mark.parametrize("name", [name for name in NAMES if not name.endswith("__main__")])
def test_the_examples_hold(name, capsys):
    failed, _ = doctest.testmod(import_module(name), optionflags=OPTIONS)
    assert not failed, capsys.readouterr().out


def test_the_examples_are_found():
    found = doctest.DocTestFinder().find(import_module("solarvent.air.fan"))
    assert sum(bool(test.examples) for test in found) >= 3


def test_a_wrong_example_is_seen():
    wrong = doctest.DocTestParser().get_doctest(">>> 1 + 1\n3\n", {}, "wrong", None, 0)
    assert doctest.DocTestRunner(optionflags=OPTIONS).run(wrong).failed == 1


REFERENCE = re.compile(r":(?:func|class|mod|attr|data):`~?(\w+(?:\.\w+)*)`")


def target(name):
    """What a name with dots leads to; AttributeError if it leads nowhere."""
    steps = name.split(".")
    for split in range(len(steps), 0, -1):
        try:
            found = import_module(".".join(steps[:split]))
        except ModuleNotFoundError:
            continue
        for step in steps[split:]:
            # The fields of a record are no attributes of its class.
            known = step in getattr(found, "__annotations__", {})
            found = None if known else getattr(found, step)
        return found
    raise AttributeError(name)


@pytest.mark.parametrize("name", [name for name in NAMES if not name.endswith("__main__")])
def test_what_a_docstring_refers_to_is_there(name):
    for reference in REFERENCE.findall(Path(import_module(name).__file__).read_text(encoding="utf-8")):
        target(reference if reference.startswith("solarvent.") else f"{name}.{reference}")


def test_a_reference_that_leads_nowhere_is_seen():
    with pytest.raises(AttributeError, match="fanned"):
        target("solarvent.air.fan.fanned")
