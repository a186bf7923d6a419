"""A small sound plan as its file has it, and a way to change places in such content."""

from __future__ import annotations

import copy
from typing import Any

#: An invented shed under a clear sky: one panel, two alike fans, a large inlet. No finding says stop or warn.
SMALL: dict[str, Any] = {
    "plan_version": 1,
    "title": "Pea shed",
    "place": {"latitude": 51.0, "longitude": 0.0, "timezone": "UTC", "record_low": "-10 degC"},
    "weather": {"clear_sky": True},
    "house": {"length": "3 m", "width": "2 m", "use": "shed"},
    "target": {"flow": "120 m3/h", "months": [5, 6, 7, 8, 9]},
    "panel": [{"id": "roof", "part": "panel-30w", "tilt": 35, "azimuth": 200}],
    "fan": [{"id": "east", "part": "fan-24v-120x25"}, {"id": "west", "part": "fan-24v-120x25"}],
    "opening": [{"id": "door", "part": "plain-hole", "area": "0.1 m2"}],
    "wiring": {"layout": "shared", "lead": {"wire": "18 AWG", "length": "4 m"}},
}


def changed(content: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """Copy a plan with the values at dotted places changed; None takes a key out."""
    result = copy.deepcopy(content)
    for place, value in changes.items():
        *way, last = [int(step) if step.isdigit() else step for step in place.split(".")]
        table: Any = result
        for step in way:
            table = table[step] if isinstance(table, list) else table.setdefault(step, {})
        if value is None:
            del table[last]
        else:
            table[last] = copy.deepcopy(value)
    return result
