"""What a checked record finds wrong, told in plain words: the place, the mistake, and what to write."""

from __future__ import annotations

from difflib import get_close_matches
from functools import cache
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from solarvent.base.errors import Problem, nearest
from solarvent.plan.fields import Part

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


def problems_of(
    error: ValidationError, model: type[BaseModel], content: dict[str, Any], prefix: str = ""
) -> list[tuple[_Location, Problem]]:
    """Turn the mistakes that checking `content` against a record reports into problems, each with its location.

    `content` lends the ids to the places, `prefix` says where it stands as a whole; indexes count from 0. A key that is
    missing because its name is misspelt is one mistake, not two.
    """
    details = error.errors(include_url=False)
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


def on_one_line(problem: Problem) -> Problem:
    """Keep a problem on one line whatever the file holds: line breaks and control signs become blanks."""

    def tidy(text: str) -> str:
        return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())

    return Problem(tidy(problem.where), tidy(problem.what), tidy(problem.write))


def _problem(detail: ErrorDetails, model: type[BaseModel], content: dict[str, Any], prefix: str) -> Problem:
    """Word one mistake."""
    location, kind, context, value = detail["loc"], detail["type"], detail.get("ctx", {}), detail["input"]
    where = prefix + ("." if prefix and location else "") + place(location, content)
    if kind == "extra_forbidden":
        return Problem(where, "this key is not known", nearest(str(location[-1]), keys_at(model, location[:-1])))
    if kind == "missing":
        return Problem(where, "this is missing", _example(model, location))
    if kind in _WRONG_TYPE:
        what, write = _WRONG_TYPE[kind]
        if kind in ("list_type", "model_type") and _model_at(model, location) is not None:
            write = f"begin it with {_heading(location, kind == 'list_type' or isinstance(location[-1], int))}"
        return Problem(where, what + (f", not {_shown(value)}" if isinstance(value, str | int | float) else ""), write)
    if kind in _RANGE:
        words, key = _RANGE[kind]
        write = f"it must be {words} {context[key]:g}"
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
