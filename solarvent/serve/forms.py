"""What a form says, as changes of the plan: each field has the place of its value in the plan file as its name."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from math import inf, isfinite
from pathlib import Path
from typing import Any

from solarvent.base.errors import PlanError
from solarvent.base.findings import Edit
from solarvent.base.quantities import EXAMPLES, shown_unit
from solarvent.plan.edit import edited
from solarvent.plan.library import Library, toml_content
from solarvent.plan.plan_record import plan_schema

#: Where the folder of own parts stands, as for every command.
PARTS = "SOLARVENT_PARTS"
LONGEST_VALUE, _LONGEST_PLACE = 1000, 80
#: Keys that no field shows: names by which parts are joined, and what a program or a laboratory writes.
_NOT_TYPED = {"id", "source", "single_diode", "measured", "efficiency"}
_OF_LIBRARY = re.compile(r"an entry of the ([a-z]+)")
#: A description that stands for itself; others go on from their key, as "height" from "of its top above the panels", or
#: are those of a kind of quantity.
_STANDS_ALONE = re.compile(
    r"(?!(?:of|at|in|if|as|on|by|from|behind|between|below|against|left|that|more|an?) |.* with its unit: )[a-z-]+,? "
)
_FIRST_WORDS = re.compile(r"(.*?)(?:; |, (?=an entry )|$)")
_BARE_NUMBER = re.compile(r"[+-]?[0-9]*\.?[0-9]+", re.ASCII)
_NUMBER_BEFORE = re.compile(r"^\s*[+-]?[0-9]*\.?[0-9]+(?:[eE][+-]?[0-9]+)?\s*", re.ASCII)
_DIMENSIONS = {example: dimension for dimension, example in EXAMPLES.items()}


def library() -> Library:
    """The parts that plans here may name: those that ship, with a folder of own parts laid over them if one is given.

    It is asked for in the workers too, which are processes of their own, and so stands where they find it.
    """
    return _library(os.environ.get(PARTS, ""))


@cache
def _library(folder: str) -> Library:
    return Library(Path(folder) if folder else None)


@cache
def _schema() -> dict[str, Any]:
    return plan_schema()


@lru_cache(10_000)
def described(place: str) -> dict[str, Any] | None:
    """What the schema says of a place in a plan, whatever the number of a part; None if a plan has no such place."""
    node: Any = _schema()
    for step in place.split("."):
        node = node.get("items") if step.isdecimal() else node.get("properties", {}).get(step)
        if node is None:
            return None
        node = _resolved(node)
    return dict(node)


def _resolved(node: dict[str, Any]) -> dict[str, Any]:
    """Follow a reference, and leave out that a value may be absent; what is said of the place itself counts."""
    own = {key: node[key] for key in ("description", "default") if node.get(key) is not None}
    for choice in node.get("anyOf", ()):
        if choice.get("type") != "null":
            return _resolved(choice) | own
    return _schema()["$defs"][node["$ref"].rsplit("/", 1)[1]] | own if "$ref" in node else node


def dimension_of(place: str) -> str:
    """Kind of quantity that stands at a place; empty if it is none."""
    found = described(place) or {}
    return next((_DIMENSIONS[one] for one in found.get("examples", ()) if one in _DIMENSIONS), "")


@dataclass(frozen=True)
class Entry:
    """A place in a plan as a field: what it is called, what may be chosen, and what else there is to be said of it.

    `kind` are the parts of the library that may be named there; `usual` is what holds where nothing is written.
    """

    place: str
    label: str
    choices: Mapping[str, str]
    kind: str
    usual: str
    hint: str


def entries_below(at: str, usual: Mapping[str, Any], before: str = "") -> Iterator[Entry]:
    """Yield everything that a plan may say below a place, in the words of the schema.

    `usual` are figures that hold where nothing is written, of a part of the library; else those of the schema do.
    """
    for key in (described(at) or {}).get("properties", {}):
        place = f"{at}.{key}"
        found = described(place) or {}
        if key in _NOT_TYPED or "properties" in _items(found):
            continue
        if "properties" in found:
            inside = usual.get(key)
            yield from entries_below(place, inside if isinstance(inside, dict) else {}, f"{key}: ")
            continue
        label, hint = before + key.replace("_", " "), found.get("description", "")
        kind = _OF_LIBRARY.search(hint)
        # That of a choice tells what there is to choose.
        if "enum" not in found and _STANDS_ALONE.match(hint) and (first := _FIRST_WORDS.match(hint)):
            label, hint = before + first[1], "; ".join(filter(None, (label, hint[first.end() :])))
        choices = {word: word for word in (("yes", "no") if found.get("type") == "boolean" else found.get("enum", ()))}
        otherwise = shown(usual.get(key, found.get("default")))
        yield Entry(place, label, choices, kind[1] if kind else "", otherwise, hint)


def content_of(text: str, where: str = "the plan") -> dict[str, Any]:
    """Content of a plan or a box, sound or not; PlanError if its text is no TOML."""
    return toml_content(text.replace("\r\n", "\n"), where, PlanError)


def parts_of(content: Mapping[str, Any], section: str) -> list[dict[str, Any]]:
    """The tables of a section of parts; none where it is missing or is anything but a list of tables."""
    found = content.get(section)
    return found if isinstance(found, list) and all(isinstance(part, dict) for part in found) else []


def table_of(content: Mapping[str, Any], section: str) -> dict[str, Any]:
    """The table of a section that is there once; an empty one where it is missing or anything else."""
    found = content.get(section)
    return found if isinstance(found, dict) else {}


def counted(text: str) -> int | None:
    """Read a plain count or the number of a part; None if it is none, or absurd."""
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text, re.ASCII) else None


def value_at(content: Any, place: str) -> Any:
    """What stands at a place; None if there is nothing."""
    for step in place.split("."):
        if isinstance(content, dict) and step in content:
            content = content[step]
        elif isinstance(content, list) and (number := counted(step)) is not None and number < len(content):
            content = content[number]
        else:
            return None
    return content


def shown(value: Any) -> str:
    """A value as it stands in a field; members of a list stand with commas, rows of a list of lists with semicolons."""
    if value is None or isinstance(value, dict):
        return ""
    if isinstance(value, list):
        return ("; " if any(isinstance(one, list) for one in value) else ", ").join(map(shown, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def changes_of(form: Mapping[str, str], now: str, base: str, system: str) -> dict[str, Any]:
    """Give the changes of a plan that a form asks for.

    `now` is the plan as it is, `base` as it was when the form was made: what the person left alone there stays as it is
    now, so that two tabs do not undo each other. Fields that are no place of a plan are left to others.

    Raises
    ------
    PlanError
        If something is typed that cannot stand at its place.
    """
    fields = {place: found for place in form if (found := _field(place)) is not None}
    if not fields:
        # A button is pressed where the plan itself cannot be read.
        return {}
    before, present = content_of(base), content_of(now)
    changes: dict[str, Any] = {}
    for place, found in fields.items():
        typed = form[place].strip().replace("\r\n", "\n")
        stood = shown(value_at(before, place)).strip()
        # A field of one line leaves line ends out.
        if typed in (stood, stood.replace("\n", "")):
            continue
        if len(typed) > LONGEST_VALUE:
            raise PlanError.single(place, "this is too long", f"write at most {LONGEST_VALUE} letters")
        old = value_at(present, place)
        value = _value(place, found, typed, old if old is not None else found.get("default"), system)
        if value != old:
            changes[place] = value
    # Without its kind there is no connector.
    for end in [place.removesuffix(".family") for place in changes if place.endswith(".family") and not changes[place]]:
        changes = {place: value for place, value in changes.items() if not place.startswith(f"{end}.")} | {end: None}
    return changes


def _field(place: str) -> dict[str, Any] | None:
    """What the schema says of a place that one field holds; None if there is no such place."""
    found = described(place) if len(place) <= _LONGEST_PLACE else None
    if found is None or "properties" in found or found.get("type") == "object" or "properties" in _items(found):
        return None
    return found


def _items(found: Mapping[str, Any]) -> dict[str, Any]:
    """What the schema says of the members of a list."""
    return _resolved(found.get("items", {}))


def _value(place: str, found: Mapping[str, Any], typed: str, old: Any, system: str) -> Any:
    """Turn what was typed into what stands in a plan file."""
    kind = found.get("type")
    if not typed:
        return None
    if kind == "array":
        members = _items(found)
        rows = re.split(r"[;\n]" if members.get("type") == "array" else ",", typed)
        return [_value(place, members, row.strip(), None, system) for row in rows if row.strip()]
    if kind in ("number", "integer"):
        number = number_of(place, typed)
        return int(number) if number.is_integer() else number
    if kind == "boolean":
        return typed == "yes"
    dimension = dimension_of(place)
    if dimension and _BARE_NUMBER.fullmatch(typed):
        # It keeps the unit that stood there; of "8 ft 6 in" the feet.
        unit = _NUMBER_BEFORE.sub("", old).partition(" ")[0] if isinstance(old, str) else ""
        return f"{typed} {unit or _usual_unit(dimension, system)}"
    return typed


def number_of(place: str, typed: str) -> float:
    """Read a plain number."""
    try:
        number = float(typed)
    except ValueError:
        number = inf
    if not isfinite(number):
        raise PlanError.single(place, f'"{typed[:40]}" is not a number', "write it like 30")
    return number


def _usual_unit(dimension: str, system: str) -> str:
    """Unit of a bare number where nothing stands yet."""
    # Openings are small: nobody has them in square metres.
    return shown_unit(dimension, system) if dimension != "area" else "in2" if system == "us" else "cm2"


def changed_text(text: str, changes: Mapping[str, Any]) -> str:
    """Change a plan or box file by places, as for :meth:`solarvent.plan.plan.Plan.with_`; notes stay.

    A place one behind the last part of a section adds a part; None takes a key, a part or a section out. PlanError if
    the file is laid out so that it cannot be changed safely.
    """
    content = content_of(text)
    return edited(text, [edit for place, value in changes.items() for edit in _edits(content, place, value)])


def _edits(content: Mapping[str, Any], place: str, value: Any) -> Iterator[Edit]:
    """Yield the edits that bring a value to a place."""
    section, *steps = place.split(".")
    present = content.get(section)
    _require_shape(content, place, value)
    if not steps:
        yield from _edits_of_section(section, content, value)
    elif isinstance(value, dict) and steps[0].isdecimal() and len(steps) == 1:
        yield Edit(section, "", "", value)
    elif isinstance(present, list) or steps[0].isdecimal():
        parts = parts_of(content, section)
        number = counted(steps[0])
        if number is None or number >= len(parts):
            raise PlanError.single(place, f"there is no {section} of that number", "load the page again")
        yield Edit(section, _name_of(section, parts, number), ".".join(steps[1:]), value)
    else:
        yield Edit(section, "", ".".join(steps), value)


def _require_shape(content: Mapping[str, Any], place: str, value: Any) -> None:
    """Refuse a change in what is no table, or no list of tables, where a plan has one; PlanError names the place."""
    steps = place.split(".")
    # A key in a section of parts names none of them, which is told elsewhere.
    wanted: dict[str, Any] = {
        ".".join(steps[:at]): list if steps[at].isdecimal() else dict | list for at in range(1, len(steps))
    }
    if len(steps) == 1 and isinstance(value, dict | list):
        wanted[place] = type(value)
    for above, kind in wanted.items():
        found = value_at(content, above)
        if found is not None and not isinstance(found, kind):
            what = "it is not written as a plan has it"
            raise PlanError.single(above, what, "mend it in the plan file itself, or take it out there")


def _edits_of_section(section: str, content: Mapping[str, Any], value: Any) -> Iterator[Edit]:
    """Yield the edits that put a section in place, or take it out; a single value at the top is a key of its own."""
    if isinstance(value, dict):
        yield from (Edit(section, "", key, item) for key, item in value.items())
    elif isinstance(value, list):
        yield from (Edit(section, "", "", dict(item)) for item in value)
    elif parts := parts_of(content, section):
        yield from (Edit(section, _name_of(section, parts, at), "", None) for at in reversed(range(len(parts))))
    elif isinstance(content.get(section), dict):
        yield Edit(section, "", "", None)
    else:
        yield Edit("", "", section, value)


def _name_of(section: str, parts: list[dict[str, Any]], number: int) -> str:
    """Name a part as edits do: by its id, or by its number where it has none."""
    return str(parts[number].get("id", f"{section} {number + 1}"))


def with_form(form: Mapping[str, str], now: str, base: str, system: str) -> str:
    """Give the plan as a form changes it; PlanError as from :func:`changes_of`."""
    changes = changes_of(form, now, base, system)
    return changed_text(now, changes) if changes else now
