"""JSON that any reader takes: no NaN, no infinity, nothing beyond ASCII."""

from __future__ import annotations

import json
from datetime import date, time
from math import isfinite
from typing import Any


def to_json(content: Any, indent: int | None = None) -> str:
    r"""Write plain data as JSON.

    Parameters
    ----------
    content : dict, list, tuple, str, number, bool, None, date or time
        The data; what is not a finite number becomes null, a date or time becomes text.
    indent : int, optional
        Spaces of a level; without it, all on one line.

    Returns
    -------
    str
        Letters beyond ASCII are escaped, so that no code page of a console or a pipe can spoil them.

    Examples
    --------
    >>> to_json({"title": "Öd", "flow": float("nan")})
    '{"title": "\\u00d6d", "flow": null}'
    """
    return json.dumps(_plain(content), allow_nan=False, indent=indent)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    # TOML has dates and times, JSON has not.
    return value.isoformat() if isinstance(value, date | time) else value
