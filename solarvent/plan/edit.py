"""Writing in plan files: values as TOML, and single places changed while notes and layout stay as they are."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping, MutableMapping
from dataclasses import replace
from typing import Any

from solarvent.base.errors import PlanError
from solarvent.base.findings import Edit
from solarvent.plan.checking import SECTIONS
from solarvent.plan.library import RENAMED


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
    there is no such part.

    Examples
    --------
    >>> print(set_key('[[fan]]\\nid = "east"  # the left one\\n', "fan", "east", "readings", "[[11.2, 0.23]]"), end="")
    [[fan]]
    id = "east"  # the left one
    readings = [[11.2, 0.23]]
    """
    return edited(text, [Edit(section, part, key, tomllib.loads(f"{key} = {value}")[key])])


def edited(text: str, changes: Iterable[Edit]) -> str:
    """Make changes in the text of a plan; notes, order and layout of everything else stay.

    Raises
    ------
    PlanError
        If a part is not there, or a change would touch something else.

    Examples
    --------
    >>> print(edited('[house]  # of glass\\nuse = "shed"\\n', [Edit("house", "", "use", "coop")]), end="")
    [house]  # of glass
    use = "coop"
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import Array

    # The changes are made in a text of plain lines that ends with one; what it was is put back at the end.
    ended = text.endswith("\n")
    ending = "\r\n" if "\r\n" in text else "\n"
    text = text.replace("\r\n", "\n")
    last = text.rpartition("\n")[2]
    text += "" if ended else "\n"
    # Each change is made twice: in the plain content and in the text; they must come to the same.
    wanted = tomllib.loads(text)
    for change in changes:
        _make(wanted, change)
        try:
            document = tomlkit.parse(text)
            if not change.key and change.value is not None and not isinstance(document.get(change.section), Array):
                # At the end of the file: in between, it would part a note from what stands below it.
                text += f"\n{table_text(change.section, change.value)}\n"
            else:
                _make(document, change)
                text = tomlkit.dumps(document)
            same = tomllib.loads(text) == wanted
        except (TOMLKitError, tomllib.TOMLDecodeError):
            same = False
        if not same:
            what = f"{change.key or change.section} cannot be changed without touching something else"
            raise PlanError.single(change.part or change.section, what, _by_hand(change))
    if not ended and text.endswith(f"\n{last}\n"):
        text = text[:-1]
    return text.replace("\n", ending)


def table_text(section: str, content: Mapping[str, Any]) -> str:
    """Write a new part as a table of an array."""
    return "\n".join([f"[[{section}]]", *(f"{key} = {toml_value(value)}" for key, value in content.items())])


def _by_hand(change: Edit) -> str:
    """Say what to write where."""
    value = toml_value(change.value)
    if not change.key:
        return f"write it yourself: a [[{change.section}]] with {value}"
    where = f'the {change.section} with id = "{change.part}"' if change.part else f"[{change.section}]"
    return f"write it yourself: under {where} put the line  {change.key} = {value}"


def _make(content: MutableMapping[str, Any], change: Edit) -> None:
    """Make one change in the content of a plan, be it plain or with its notes and layout."""
    if not change.key and change.value is not None:
        content.setdefault(change.section, []).append(_value(content, dict(change.value)))
        return
    entries = content.get(change.section)
    if isinstance(entries, list):
        number = _number(entries, change)
        if not change.key:
            del entries[number]
            if not entries:
                del content[change.section]
            return
        table = entries[number]
    elif not change.key:
        content.pop(change.section, None)
        return
    elif not change.section:
        table = content
    else:
        if entries is None:
            content[change.section] = {}
        table = content[change.section]
    way, value = change.key.split("."), change.value
    # Down the tables that are there; what is missing below them is written as one value.
    while len(way) > 1 and way[0] in table:
        table = table[way.pop(0)]
    for step in reversed(way[1:]):
        value = None if value is None else {step: value}
    _set(table, way[0], replace(change, value=value))


def _number(entries: list[Any], change: Edit) -> int:
    """Find a part by its id, or as "opening 2" where it has none."""
    for number, entry in enumerate(entries):
        if entry.get("id", f"{change.section} {number + 1}") == change.part:
            return number
    raise PlanError.single(change.part, f"there is no {change.section} of that name", _by_hand(change))


def _set(table: Any, key: str, change: Edit) -> None:
    """Set a key, or take it out; where it stands under an older name, that line takes the name of today."""
    older = next((old for old, new in RENAMED.get(SECTIONS.get(change.section, ""), {}).items() if new == key), None)
    if older is not None and older in table:
        if change.value is not None and key not in table:
            table[older] = change.value
            _move(table, older, key)
            return
        table.pop(older)
    if change.value is None:
        table.pop(key, None)
    elif change.section == "wiring" and key == "runs" and len(table.get(key, ())) == len(change.value):
        # Run by run, so that the notes between them stay.
        for number, run in enumerate(change.value):
            if list(table[key][number]) != run:
                table[key][number] = run
    else:
        there = key in table
        table[key] = _value(table, change.value)
        if not there:
            _move(table, key, key)


def _value(table: Any, value: Any) -> Any:
    """Lay a table within a table out on one line."""
    import tomlkit

    return tomlkit.value(toml_value(value)) if isinstance(value, dict) and hasattr(table, "value") else value


def _move(table: Any, old: str, key: str) -> None:
    """Give a line the name of today in its place; a new line, which stands last, goes up to the last other key.

    What begins behind that key may be a note on the next table. The lines are what is written: nothing is read from
    the table after this.
    """
    from tomlkit.items import InlineTable, SingleKey, Table

    if isinstance(table, InlineTable) or not isinstance(table, Table):
        if key != old:
            table[key] = table.pop(old)
        return
    lines = table.value.body
    at = max(number for number, (name, _) in enumerate(lines) if name is not None and name.key == old)
    _, item = lines.pop(at)
    if key == old:
        plain = [k for k, (other, value) in enumerate(lines[:at]) if other is not None and not isinstance(value, Table)]
        at = plain[-1] + 1 if plain else 0
    lines.insert(at, (SingleKey(key, sep=" = "), item))
