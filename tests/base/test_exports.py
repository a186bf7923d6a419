import subprocess
import sys
from importlib import import_module

import pytest

from solarvent.base import lazy


def test_a_name_is_loaded_from_its_module():
    look_up = lazy("solarvent.base", {"Finding": "findings"})
    assert look_up("Finding") is import_module("solarvent.base.findings").Finding


def test_a_name_that_is_not_public_is_refused_with_those_that_are():
    with pytest.raises(AttributeError, match="base has no public name 'other'; it has Finding"):
        lazy("solarvent.base", {"Finding": "findings"})("other")


@pytest.mark.parametrize("folder", ["findings", "bench", "wiring"])
def test_what_a_folder_exports_is_there_and_is_no_module(folder):
    package = import_module(f"solarvent.{folder}")
    for name in package.__all__:
        assert callable(getattr(package, name))


@pytest.mark.parametrize("folder", ["findings", "bench", "wiring"])
def test_a_folder_is_light_to_import(folder):
    ask = (
        f"import sys, solarvent.{folder}; print(sorted(name for name in sys.modules if name.startswith('solarvent.')))"
    )
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == str(["solarvent.base", f"solarvent.{folder}"])
