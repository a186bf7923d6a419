"""Public names of a folder that are loaded when they are asked for, so that the folder itself is light to import."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def lazy(package: str, modules: Mapping[str, str]) -> Callable[[str], Any]:
    """Give the ``__getattr__`` of a folder.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    modules : mapping of str to str
        Public name to the module of the folder that holds it; no module bears the name of what it exports.

    Returns
    -------
    callable
        Looks a name up; AttributeError for one that is not public.
    """

    def look_up(name: str) -> Any:
        if name not in modules:
            raise AttributeError(f"{package} has no public name {name!r}; it has {', '.join(modules)}")
        return getattr(import_module(f"{package}.{modules[name]}"), name)

    return look_up
