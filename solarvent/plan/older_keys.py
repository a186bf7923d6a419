"""Keys that plans and parts had under another name before: still read, and told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

#: Kind of part -> older key -> the key of today.
RENAMED: Mapping[str, Mapping[str, str]] = {
    "panels": {"soiling": "soiling_ratio"},
    "fans": {"run_down_voltage": "stop_voltage"},
}


def with_todays_keys(kind: str, entry: dict[str, Any]) -> dict[str, Any]:
    """Give an entry its keys of today; where both stand in it, the older one stays and counts as unknown."""
    renamed = RENAMED.get(kind, {})
    return {renamed[key] if key in renamed and renamed[key] not in entry else key: entry[key] for key in entry}


def older_keys(kind: str, entry: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield the older keys of an entry, each with that of today."""
    for old, new in RENAMED.get(kind, {}).items():
        if old in entry and new not in entry:
            yield old, new
