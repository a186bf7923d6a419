"""Writing in plan files: values as TOML, and single keys changed while every other character stays as it is."""

from __future__ import annotations

import json
import re
import tomllib
from typing import Any

from solarvent.base.errors import PlanError
from solarvent.plan.checking import SECTIONS
from solarvent.plan.library import RENAMED

_HEADER = re.compile(r"^\s*\[")


def toml_value(value: Any) -> str:
    """Write a value on one line as it is to stand in a plan file; keys of a dict without a value (None) are left out.

    Examples
    --------
    >>> print(toml_value({"wire": "18 AWG", "length": "4 m", "diode": None}))
    { wire = "18 AWG", length = "4 m" }
    """
    if isinstance(value, dict):
        inside = ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items() if item is not None)
        return f"{{ {inside} }}"
    if isinstance(value, list):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    # TOML escapes as JSON does, but forbids one character more to stand as it is.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def set_key(text: str, section: str, part: str, key: str, value: str) -> str:
    """Set one key of one part, by its section (``"panel"``, ``"fan"`` ...) and id, and give the text of the plan.

    `key` goes by its name of today; it is added if it is not there, and put in the place of an older name. PlanError if
    the file is laid out so that this cannot be done safely; the message tells the line to write by hand.

    Examples
    --------
    >>> print(set_key('[[fan]]\\nid = "east"  # the left one\\n', "fan", "east", "readings", "[[11.2, 0.23]]"), end="")
    [[fan]]
    id = "east"  # the left one
    readings = [[11.2, 0.23]]
    """
    before = tomllib.loads(text.replace("\r\n", "\n"))
    entries = before.get(section, [])
    number = next((k for k, entry in enumerate(entries) if entry.get("id") == part), None)
    lines = text.splitlines(keepends=True)
    span = None if number is None else _table(lines, section, number)
    by_hand = f'write it yourself: under the {section} with id = "{part}" put the line  {key} = {value}'
    if span is None:
        raise PlanError.single(part, "the plan is laid out so that it cannot be changed line by line", by_hand)
    older = next((old for old, new in RENAMED.get(SECTIONS.get(section, ""), {}).items() if new == key), None)
    changed = _changed(lines, span, key, older, value)
    wanted = {**before, section: [dict(entry) for entry in entries]}
    wanted[section][number].pop(older, None)
    wanted[section][number][key] = tomllib.loads(f"{key} = {value}")[key]
    if _content(changed) != wanted:
        raise PlanError.single(part, f"{key} cannot be changed without touching something else", by_hand)
    return changed


def _content(text: str) -> dict[str, Any] | None:
    """Read a text, or give None if it is no longer TOML."""
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError:
        return None


def _table(lines: list[str], section: str, number: int) -> tuple[int, int] | None:
    """Lines of one table of an array of tables, from below its header to the next header."""
    header = re.compile(rf"^\s*\[\[\s*{section}\s*\]\]")
    starts = [at for at, line in enumerate(lines) if header.match(line)]
    if number >= len(starts):
        return None
    first = starts[number] + 1
    after = (at for at in range(first, len(lines)) if _HEADER.match(lines[at]))
    return first, next(after, len(lines))


def _changed(lines: list[str], span: tuple[int, int], key: str, older: str | None, value: str) -> str:
    """Replace the value on its line, keeping the note behind it, or add a line below the last key.

    Where the key stands under an older name, that line is the one, and takes the name of today.
    """
    first, end = span
    ending = "\r\n" if any(line.endswith("\r\n") for line in lines) else "\n"
    names = "|".join(re.escape(name) for name in (key, older) if name)
    there = re.compile(rf"^(\s*)(?:{names})(\s*=\s*)([^#\r\n]*?)(\s*(?:#[^\r\n]*)?)(\r?\n?)$")
    for at in range(first, end):
        if found := there.match(lines[at]):
            line = f"{found[1]}{key}{found[2]}{value}{found[4]}{found[5]}"
            return "".join([*lines[:at], line, *lines[at + 1 :]])
    last = max(
        (at for at in range(first, end) if lines[at].strip() and not lines[at].lstrip().startswith("#")),
        default=first - 1,
    )
    kept = lines[: last + 1]
    if not kept[-1].endswith("\n"):
        kept[-1] += ending
    return "".join([*kept, f"{key} = {value}{ending}", *lines[last + 1 :]])
