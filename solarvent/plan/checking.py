"""What a plan file says, checked: the library laid under it, and every mistake told: the place, and what to write."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from functools import cache
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from solarvent.base.errors import PartError, PlanError, Problem, nearest
from solarvent.plan.fields import Part
from solarvent.plan.library import Library, with_todays_keys
from solarvent.plan.parts import RECORDS, Panel
from solarvent.plan.plan_record import PlanRecord

#: Kinds of mistake of the checking library, in the words of this project.
_WRONG_TYPE = {
    "bool_type": ("must be true or false", "write it without quotes"),
    "int_type": ("must be a whole number", "write it without quotes and without a decimal point"),
    "float_type": ("must be a plain number", "write it without quotes and without a unit"),
    "string_type": ("must be text", "put it in quotes"),
    "list_type": ("must be a list", "put it in [ ]"),
    "model_type": ("must be a table", "begin it with its name in [brackets]"),
    "finite_number": ("must be a finite number", ""),
}
_RANGE = {
    "greater_than": ("more than", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("less than", "lt"),
    "less_than_equal": ("at most", "le"),
}
_Location = tuple[int | str, ...]
#: Section and number of parts whose entry of the library is not found: what it would give is not missing as well.
_Baseless = set[_Location]
_Content = TypeVar("_Content", bound=BaseModel)


def problems_of(
    error: ValidationError, model: type[BaseModel], content: dict[str, Any], prefix: str = ""
) -> list[tuple[_Location, Problem]]:
    """Turn the mistakes that checking `content` against a record reports into problems, each with its location.

    `content` lends the ids to the places, `prefix` says where it stands as a whole; indexes count from 0. A key that is
    missing because its name is misspelt is one mistake, not two.
    """
    details = error.errors(include_url=False)
    # Where an unknown key is near a missing one, that is the key which was meant.
    meant = {
        (*detail["loc"][:-1], word)
        for detail in details
        if detail["type"] == "extra_forbidden"
        for word in get_close_matches(str(detail["loc"][-1]), keys_at(model, detail["loc"][:-1]), n=1)
    }
    return [
        (detail["loc"], _problem(detail, model, content, prefix))
        for detail in details
        if not (detail["type"] == "missing" and detail["loc"] in meant)
    ]


def place(location: _Location, content: dict[str, Any]) -> str:
    """Write a place as people count.

    Examples
    --------
    >>> place(("fan", 1, "start_voltage"), {"fan": [{"id": "west"}, {"id": "east"}]})
    'fan[2] "east".start_voltage'
    """
    words = ""
    value: Any = content
    for step in location:
        known = step in value if isinstance(value, dict) else isinstance(value, list) and step in range(len(value))
        value = value[step] if known else None
        if isinstance(step, int):
            words += f"[{step + 1}]"
            if isinstance(value, dict) and isinstance(value.get("id"), str):
                words += f' "{value["id"][:40]}"'
        else:
            words += f".{step[:60]}" if words else step[:60]
    return words


#: What people call the azimuth of a panel.
_DIRECTIONS = ("facing", "direction", "orientation", "aspect", "bearing", "heading")
_FROM_NORTH = "in degrees from north: east is 90, south 180, south-west 225, west 270"


def _problem(detail: ErrorDetails, model: type[BaseModel], content: dict[str, Any], prefix: str) -> Problem:
    """Word one mistake."""
    location, kind, context, value = detail["loc"], detail["type"], detail.get("ctx", {}), detail["input"]
    where = prefix + ("." if prefix and location else "") + place(location, content)
    if kind == "extra_forbidden":
        word, keys = str(location[-1]), set(keys_at(model, location[:-1]))
        turned = word in _DIRECTIONS and "azimuth" in keys
        return Problem(
            where, "this key is not known", f"write azimuth, {_FROM_NORTH}" if turned else nearest(word, keys)
        )
    if kind == "missing":
        return Problem(where, "this is missing", _example(model, location))
    if kind in _WRONG_TYPE:
        what, write = _WRONG_TYPE[kind]
        if kind in ("list_type", "model_type") and _model_at(model, location) is not None:
            write = f"begin it with {_heading(location, kind == 'list_type' or isinstance(location[-1], int))}"
        if isinstance(value, str) and str(location[-1]).endswith("azimuth"):
            write = f"write it {_FROM_NORTH}"
        return Problem(where, what + (f", not {_shown(value)}" if isinstance(value, str | int | float) else ""), write)
    if kind in _RANGE:
        words, key = _RANGE[kind]
        write = f"it must be {words} {context[key]:g}"
        # "5" where 0.05 is meant: the usual slip with shares.
        if key == "le" and context[key] == 1 and 1 < value <= 100:
            write += f"; it is a share: {value / 100:g} for {value:g} %"
        return Problem(where, f"{_shown(value)} is out of range", write)
    if kind == "literal_error":
        choices = str(context["expected"]).replace("'", '"')
        if location == ("plan_version",):
            newer = f"the plan is of version {_shown(value)}, and this program reads version {choices}"
            return Problem(where, newer, "install a newer program, or write plan_version = 1 and see what it says")
        return Problem(where, f"{_shown(value)} is not one of the choices", f"write one of: {choices}")
    if kind in ("too_long", "too_short"):
        words = f"at most {context['max_length']}" if kind == "too_long" else f"at least {context['min_length']}"
        return Problem(where, f"{context['actual_length']} values stand here", f"give {words}")
    if kind == "string_too_long":
        return Problem(where, "the text is too long", f"use at most {context['max_length']} characters")
    return Problem(where, detail["msg"], str(context.get("write", "")))


def _shown(value: Any) -> str:
    """Write a value as it would stand in the file, cut to a sensible length."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value[:50]}"' if len(value) <= 50 else f'"{value[:50]}..."'
    # Python refuses to write numbers of more than some thousand digits.
    if isinstance(value, int) and abs(value) >= 10**20:
        return "a number of very many digits"
    return str(value) if isinstance(value, int | float) else "this"


def _heading(location: _Location, repeated: bool) -> str:
    """Write the TOML heading of a section: ``[house]``, ``[[fan]]``."""
    name = ".".join(str(step) for step in location if isinstance(step, str))
    return f"[[{name}]]" if repeated else f"[{name}]"


def _annotation_at(model: Any, location: _Location) -> Any:
    """Find the declared type of the key at a place; None off the map."""
    annotation: Any = model
    for step in location:
        if isinstance(step, str):
            record = _record_in(annotation)
            if record is None or step not in record.model_fields:
                return None
            annotation = record.model_fields[step].annotation
    return annotation


def _model_at(model: Any, location: _Location) -> Any:
    """Find the record that describes the table at a place; None where no table is wanted."""
    return _record_in(_annotation_at(model, location))


def _record_in(annotation: Any) -> Any:
    """Find the record inside ``list[Record]`` or ``Record | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (_record_in(inner) for inner in getattr(annotation, "__args__", ()))
    return next((record for record in found if record is not None), None)


def keys_at(model: type[BaseModel], location: _Location) -> list[str]:
    """Name the keys that are known at a place."""
    record = _model_at(model, location)
    return list(record.model_fields) if record is not None else []


def _example(model: type[BaseModel], location: _Location) -> str:
    """Suggest what to write where a key is missing."""
    name = str(location[-1])
    if _model_at(model, location) is not None:
        repeated = str(_annotation_at(model, location)).startswith("list")
        return f"begin it with {_heading(location, repeated)}"
    schema = _properties(_model_at(model, location[:-1])).get(name, {})
    if examples := schema.get("examples"):
        parent = _model_at(model, location[:-1])
        entry = ', or let an entry of the library give it: part = "..."' if issubclass(parent, Part) else ""
        return f'write it like {name} = "{examples[0]}"{entry}'
    return f"write a plain number: {schema['description']}" if "description" in schema else ""


@cache
def _properties(record: type[BaseModel]) -> dict[str, Any]:
    """Give the keys of a record as its JSON Schema words them; making that costs more than all else here."""
    return record.model_json_schema()["properties"]


#: Section of the plan -> kind of part in the library.
SECTIONS = {
    "panel": "panels",
    "fan": "fans",
    "lead": "leads",
    "splitter": "splitters",
    "converter": "converters",
    "opening": "openings",
    "mass": "masses",
}
#: Sections whose entries need no name, for nothing refers to them.
_NAMELESS = ("opening", "mass")


def check_plan(content: dict[str, Any], library: Library) -> PlanRecord:
    """Check the content of a plan file; the same errors as :func:`solarvent.plan.plan.load_plan`."""
    if not content:
        raise PlanError.single("", "the plan is empty", 'start from the file that "solarvent new" writes')
    if "kit_version" in content and "plan_version" not in content:
        ways = "pair it: solarvent pair FILE; or make a plan of it: solarvent new my-plan.toml --ask --box FILE"
        raise PlanError.single("", "this file says what is in a box, and is no plan", ways)
    merged, problems, baseless = with_library(content, SECTIONS, library)
    record = validated(PlanRecord, merged, problems, baseless)
    problems += _name_problems(merged, library, baseless)
    if problems or record is None:
        raise PlanError(problems)
    return record


def with_library(
    content: dict[str, Any], sections: Iterable[str], library: Library
) -> tuple[dict[str, Any], list[Problem], _Baseless]:
    """Lay the parts of a plan or a box over the library; also what is wrong, and the parts whose entry is not found."""
    merged: dict[str, Any] = dict(content)
    problems: list[Problem] = []
    baseless: _Baseless = set()
    for section in sections:
        if isinstance(entries := content.get(section), list):
            merged[section] = _over_the_library(section, entries, library, problems, baseless)
    return merged, problems, baseless


def validated(
    model: type[_Content], merged: dict[str, Any], problems: list[Problem], baseless: _Baseless
) -> _Content | None:
    """Check what a file says with the library under it; None if it cannot be, and the reasons join the `problems`."""
    try:
        return model.model_validate(merged)
    except ValidationError as error:
        problems += [
            problem
            for location, problem in problems_of(error, model, merged)
            if not (location[:2] in baseless and _may_come_from_the_base(location, merged))
        ]
        return None


def _over_the_library(
    section: str, entries: list[Any], library: Library, problems: list[Problem], baseless: _Baseless
) -> list[Any]:
    """Lay each entry of a section over the library entry that it names; note those whose entry is not found."""
    result, kind = [], SECTIONS[section]
    for number, entry in enumerate(entries):
        if isinstance(entry, dict):
            entry = with_todays_keys(kind, entry)
        if isinstance(entry, dict) and isinstance(entry.get("part"), str):
            try:
                entry = _laid_over(library.get(kind, entry["part"]), entry)
            except PartError as error:
                where = place((section, number, "part"), {section: entries})
                problems.extend(Problem(item.where or where, item.what, item.write) for item in error.problems)
                baseless.add((section, number))
        result.append(entry)
    return result


def _may_come_from_the_base(location: _Location, content: dict[str, Any]) -> bool:
    """Tell whether a mistake is only that the library entry, which was not found, lends no figures."""
    value: Any = content
    for step in location:
        if not isinstance(value, dict | list) or (isinstance(value, dict) and step not in value):
            return True
        value = value[step]  # type: ignore[index]
    return len(location) == 2


def _laid_over(base: dict[str, Any], entry: dict[str, Any]) -> dict[str, Any]:
    """Let the plan's figures win; a plate given in the plan replaces every form of plate in the library."""
    # A mixture of two plates would be a panel that nobody makes.
    plate = {"watts", "v_oc", "i_sc", "v_mp", "i_mp", "single_diode"}
    if "single_diode" in entry or {"v_oc", "i_sc", "v_mp", "i_mp"} <= entry.keys():
        base = {key: value for key, value in base.items() if key not in plate}
    return base | entry


#: Key of a plan -> kind of part that its word names.
_REFERENCES = {
    "wire": "wires",
    "diode": "diodes",
    "blocking_diode": "diodes",
    "converter": "converters",
    "behind": "covers",
    "cover": "covers",
    "outlet_opening": "openings",
    "climate": "climates",
    "opener": "openers",
    "crop": "crops",
}


def _name_problems(content: dict[str, Any], library: Library, baseless: _Baseless) -> list[Problem]:
    """Find ids left out or used twice, and words that name no entry of the library.

    It looks at the raw content, so that these are told together with everything else that is wrong.
    """
    problems = []
    seen: dict[str, str] = {}
    for section in SECTIONS:
        entries = content.get(section)
        for number, entry in enumerate(entries if isinstance(entries, list) else []):
            if not isinstance(entry, dict):
                continue
            where, name = place((section, number), content), entry.get("id")
            if "id" not in entry and section not in _NAMELESS:
                problems.append(Problem(where, "id is missing", f'write it like id = "{section}-{number + 1}"'))
            elif isinstance(name, str) and name in seen:
                problems.append(Problem(where, f"{seen[name]} has the same id", "give each part an id of its own"))
            elif isinstance(name, str):
                seen[name] = where
            problems += _unknown_words(where, entry, library)
            # The library knows kinds of opening, not how large somebody's is; its records cannot ask for it.
            if section == "opening" and "area" not in entry and (section, number) not in baseless:
                problems.append(Problem(where, "area is missing", 'write it like area = "0.05 m2"'))
            if section == "panel":
                problems += _impossible_plate(where, entry)
    for location in (("weather",), ("house",), ("plants",), ("wiring",), ("wiring", "lead"), ("wiring", "branch")):
        table: Any = content
        for step in location:
            table = table.get(step) if isinstance(table, dict) else None
        problems += _unknown_words(".".join(location), table, library) if isinstance(table, dict) else []
    return problems


def _unknown_words(where: str, table: dict[str, Any], library: Library) -> list[Problem]:
    """Check the keys of one table that name a library entry, and the entries that they name."""
    problems = []
    for key, kind in _REFERENCES.items():
        if isinstance(name := table.get(key), str):
            try:
                library_record(kind, name, library)
            except PartError as error:
                problems += [Problem(item.where or f"{where}.{key}", item.what, item.write) for item in error.problems]
    return problems


def library_record(kind: str, name: str, library: Library) -> Any:
    """Look an entry of the library up, and check it."""
    content = library.get(kind, name)
    try:
        return RECORDS[kind].model_validate(content)
    except ValidationError as error:
        found = problems_of(error, RECORDS[kind], content, f'{kind} "{name[:40]}"')
        raise PartError([problem for _, problem in found]) from None


def _impossible_plate(where: str, entry: dict[str, Any]) -> list[Problem]:
    """Find a plate whose best point lies outside its own voltage or current; unreadable figures are told elsewhere."""
    try:
        panel = Panel.model_validate(entry)
    except ValidationError:
        return []
    checks = (
        ("v_mp", panel.v_mp, "v_oc", panel.v_oc, "V", "voltage"),
        ("i_mp", panel.i_mp, "i_sc", panel.i_sc, "A", "current"),
    )
    return [
        Problem(
            f"{where}.{key}",
            f"an impossible plate: {best:g} {unit} is not below {limit_key}, {limit:g} {unit}",
            f"look at the label again: the {word} of the best point is the smaller one",
        )
        for key, best, limit_key, limit, unit, word in checks
        if best is not None and limit is not None and best >= limit
    ]
