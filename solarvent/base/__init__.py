"""The ground floor: units, errors, the glossary of result columns, and how a folder lends its public names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def lazy(package: str, modules: Mapping[str, str]) -> Callable[[str], Any]:
    """Give the ``__getattr__`` of a folder: a public name is loaded when it is asked for, so the folder is light.

    `package` is its ``__name__``; `modules` tells for each public name the module that holds it, and no module bears
    the name of what it exports.
    """

    def look_up(name: str) -> Any:
        if name not in modules:
            raise AttributeError(f"{package} has no public name {name!r}; it has {', '.join(modules)}")
        return getattr(import_module(f"{package}.{modules[name]}"), name)

    return look_up
