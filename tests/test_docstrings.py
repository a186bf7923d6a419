"""The examples in the docstrings give what they say."""

import doctest
import pkgutil
from importlib import import_module

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
