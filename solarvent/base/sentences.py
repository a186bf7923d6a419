"""Words put together as a person would say them."""

from __future__ import annotations

from collections.abc import Iterable


def listed(names: Iterable[str]) -> str:
    """Write names one after the other, each once.

    Parameters
    ----------
    names : iterable of str
        One or more.

    Returns
    -------
    str
        The names with commas, and "and" before the last one.

    Examples
    --------
    >>> listed(["east", "middle", "east", "west"])
    'east, middle and west'
    """
    *before, last = dict.fromkeys(names)
    return f"{', '.join(before)} and {last}" if before else last
